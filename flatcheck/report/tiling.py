"""What is said of tiles to be laid: counts, slivers and where they are, what to buy, the plan."""

from html import escape

import numpy as np

from flatcheck.bond import Pattern
from flatcheck.language import say, several
from flatcheck.pattern import SLIVER, Laying, narrowest, slivers
from flatcheck.places import wall_called, where
from flatcheck.report.doubts import tile_doubts
from flatcheck.report.paper import page, plan_of
from flatcheck.report.words import tile_size
from flatcheck.room import Room, from_walls
from flatcheck.survey import Survey
from flatcheck.tile import Tile
from flatcheck.tiling import SPARE, better_start, laid, lots
from flatcheck.units import Style, format_distance, format_length

_SHARES = {
    1 / 2: say("a half"),
    1 / 3: say("a third"),
    1 / 4: say("a quarter"),
    2 / 3: say("two thirds"),
}


def tiling_words(survey: Survey, room: Room) -> list[str]:
    """How the tile of a survey would lie in its room: counts, slivers, boxes, a better origin."""
    laying, style = laid(survey, room), survey.show
    pattern = survey.pattern or Pattern()
    full = several(laying.full, "{number} full tile", "{number} full tiles")
    said = [
        say(
            "{size} tile, {pattern}",
            size=tile_size(laying.tile, style),
            pattern=pattern_words(pattern, style),
        ),
        *(f"  {words}" for words in tile_doubts(laying.tile, room, style)),
        f"  {full}, {_cut_tiles(laying.cuts)}.",
    ]
    for lot in lots(laying):
        tiles = several(lot.buy, "{number} tile", "{number} tiles")
        if len(lots(laying)) > 1:
            tiles = say(
                "{tiles} of {size} ({full} full, {cut} cut)",
                tiles=tiles,
                size=tile_size(Tile(*lot.size_mm), style),
                full=lot.full,
                cut=lot.cut,
            )
        if lot.boxes:
            boxes = several(
                lot.boxes,
                "{number} whole box of {each}",
                "{number} whole boxes of {each}",
                each=laying.tile.per_box,
            )
            tiles = f"{tiles} ({boxes})"
        said.append("  " + say("To buy: {tiles}.", tiles=tiles))
    spare = say("Every cut takes a tile, and {share:.0%} more are for breakage.", share=SPARE)
    said.append(f"  {spare}")
    said += [f"  {words}" for words in sliver_words(laying, room, style)]
    if len(slivers(laying)):
        start = better_start(survey, room)
        x, y = (format_distance(at, style) for at in start.pattern.origin)
        if start.slivers < len(slivers(laying)):
            left = several(start.slivers, "{number} sliver", "{number} slivers")
            origin = ", ".join(f'"{at:.1f} mm"' for at in start.pattern.origin)
            better = say(
                "With a corner of a tile {east} east and {north} north of the zero corner there "
                "would be {slivers} and {cuts}: {origin}.",
                east=x,
                north=y,
                slivers=left if start.slivers else say("no sliver"),
                cuts=_cut_tiles(start.cuts),
                origin=f"origin = [{origin}]",
            )
        else:
            better = say("No origin that was tried leaves fewer.")
        said.append(f"  {better}")
    return said


def _cut_tiles(count: int) -> str:
    return several(count, "{number} cut tile", "{number} cut tiles")


def pattern_words(pattern: Pattern, style: Style, origin: bool = True) -> str:
    """A pattern in a few words, as: running bond at a third, turned by 45 degrees."""
    said = say(pattern.kind)
    if pattern.kind == "running bond":
        share = next((w for v, w in _SHARES.items() if abs(v - pattern.offset_ratio) < 0.005), None)
        said = say("running bond at {share}", share=share or f"{pattern.offset_ratio:.0%}")
    if pattern.second_mm:
        size = tile_size(Tile(*pattern.second_mm), style)
        said = say("{pattern} with {size}", pattern=said, size=size)
    if pattern.rotation_deg:
        said = say(
            "{pattern}, turned by {angle:g} degrees", pattern=said, angle=pattern.rotation_deg
        )
    if origin and pattern.origin != (0.0, 0.0):
        x, y = (format_distance(at, style) for at in pattern.origin)
        said = say("{pattern}, from {east} east and {north} north", pattern=said, east=x, north=y)
    return said


def sliver_words(laying: Laying, room: Room, style: Style, share: float = SLIVER) -> list[str]:
    """Which cuts are slivers, wall by wall, with the narrowest of each and where it is."""
    named, part = slivers(laying, share), _SHARES.get(share, f"{share:.0%}")
    if not len(named):
        return [say("No cut is narrower than {share} of its tile.", share=part)]
    ratio, wide = narrowest(laying)
    by_wall: dict[str, list[int]] = {}
    middles = {k: tuple(np.mean(laying.pieces[k], axis=0).tolist()) for k in named.tolist()}
    for k in named.tolist():
        tape = from_walls(room, middles[k])
        by_wall.setdefault("" if room.assumed or not tape else tape[0][0], []).append(k)
    said = [
        several(
            len(named),
            "{number} cut narrower than {share} of the tile:",
            "{number} cuts narrower than {share} of the tile:",
            share=part,
        )
    ]
    for name, ones in by_wall.items():
        k = ones[0]
        x, y = middles[k]
        found = say("{count}, the narrowest {width} ({share:.0%}), {place}")
        if name:
            found = say("{count} nearest the {wall}, the narrowest {width} ({share:.0%}), {place}")
        found = found.format(
            count=len(ones),
            wall=wall_called(name),
            width=format_length(float(wide[k]), style),
            share=ratio[k],
            place=where(room, (x, y), style),
        )
        said.append(f"  {found}")
    return said


def tiling_html(survey: Survey, room: Room) -> str:
    """One self-contained page: the drawing and what is said of it."""
    words = tiling_words(survey, room)
    body = f"<h2>{escape(words[0])}</h2>{drawing(laid(survey, room), survey, room)}"
    return page(survey.title, body + "".join(f"<p>{escape(w.strip())}</p>" for w in words[1:]))


def drawing(laying: Laying, survey: Survey, room: Room) -> str:
    """The room to scale as SVG with every tile: cut ones light gray, slivers dark."""
    paper, rim = plan_of(room)
    fill = np.where(laying.cut, "#ddd", "#fff")
    fill[slivers(laying)] = "#777"
    drawn = []
    for kind in ("#fff", "#ddd", "#777"):
        drawn.append(f'<g fill="{kind}" stroke="#000" stroke-width="0.1">')
        drawn += [
            paper.line("tile", laying.pieces[k], closed=True) for k in np.flatnonzero(fill == kind)
        ]
        drawn.append("</g>")
    drawn += [paper.line("drain", drain.outline.corners_mm, closed=True) for drain in survey.drains]
    about = say(
        "{full} full and {cut} cut tiles, {slivers} slivers",
        full=laying.full,
        cut=laying.cuts,
        slivers=len(slivers(laying)),
    )
    return paper.svg([*drawn, *rim], about)
