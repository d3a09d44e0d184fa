"""What is said of tiles to be laid: counts, slivers and where they are, what to buy, the plan."""

from html import escape

import numpy as np

from flatcheck.bond import Pattern
from flatcheck.pattern import SLIVER, Laying, narrowest, slivers
from flatcheck.places import wall_called, where
from flatcheck.report.paper import page, plan_of
from flatcheck.report.words import many, tile_size
from flatcheck.room import Room, from_walls
from flatcheck.survey import Survey
from flatcheck.tile import Tile
from flatcheck.tiling import SPARE, better_start, laid, lots
from flatcheck.units import Style, format_distance, format_length

_SHARES = {1 / 2: "a half", 1 / 3: "a third", 1 / 4: "a quarter", 2 / 3: "two thirds"}


def tiling_words(survey: Survey, room: Room) -> list[str]:
    """How the tile of a survey would lie in its room: counts, slivers, boxes, a better origin."""
    laying, style = laid(survey, room), survey.show
    pattern = survey.pattern or Pattern()
    said = [f"{tile_size(laying.tile, style)} tile, {pattern_words(pattern, style)}"]
    said.append(f"  {many(laying.full, 'full tile')}, {many(laying.cuts, 'cut tile')}.")
    for lot in lots(laying):
        size = ""
        if len(lots(laying)) > 1:
            own = tile_size(Tile(*lot.size_mm), style)
            size = f" of {own} ({lot.full} full, {lot.cut} cut)"
        boxes = f" ({lot.boxes} whole boxes of {laying.tile.per_box})" if lot.boxes else ""
        said.append(f"  To buy: {many(lot.buy, 'tile')}{size}{boxes}.")
    said.append(f"  Every cut takes a tile, and {SPARE:.0%} more are for breakage.")
    named = sliver_words(laying, room, style)
    said += [f"  {words}" for words in named]
    if len(slivers(laying)):
        start = better_start(survey, room)
        x, y = (format_distance(at, style) for at in start.pattern.origin)
        if start.slivers < len(slivers(laying)):
            left = many(start.slivers, "sliver") if start.slivers else "no sliver"
            said.append(
                f"  With a corner of a tile {x} east and {y} north of the zero corner there would "
                f"be {left} and {many(start.cuts, 'cut tile')}: origin = "
                f'["{start.pattern.origin[0]:.1f} mm", "{start.pattern.origin[1]:.1f} mm"].'
            )
        else:
            said.append("  No origin that was tried leaves fewer.")
    return said


def pattern_words(pattern: Pattern, style: Style, origin: bool = True) -> str:
    """A pattern in a few words, as: running bond at a third, turned by 45 degrees."""
    said = pattern.kind
    if pattern.kind == "running bond":
        share = next((w for v, w in _SHARES.items() if abs(v - pattern.offset_ratio) < 0.005), None)
        said += f" at {share or f'{pattern.offset_ratio:.0%}'}"
    if pattern.second_mm:
        said += f" with {tile_size(Tile(*pattern.second_mm), style)}"
    if pattern.rotation_deg:
        said += f", turned by {pattern.rotation_deg:g} degrees"
    if origin and pattern.origin != (0.0, 0.0):
        x, y = (format_distance(at, style) for at in pattern.origin)
        said += f", from {x} east and {y} north"
    return said


def sliver_words(laying: Laying, room: Room, style: Style, share: float = SLIVER) -> list[str]:
    """Which cuts are slivers, wall by wall, with the narrowest of each and where it is."""
    named = slivers(laying, share)
    if not len(named):
        return [f"No cut is narrower than {_SHARES.get(share, f'{share:.0%}')} of its tile."]
    ratio, wide = narrowest(laying)
    by_wall: dict[str, list[int]] = {}
    middles = {k: tuple(np.mean(laying.pieces[k], axis=0).tolist()) for k in named.tolist()}
    for k in named.tolist():
        tape = from_walls(room, middles[k])
        by_wall.setdefault("" if room.assumed or not tape else tape[0][0], []).append(k)
    said = [
        f"{many(len(named), 'cut')} narrower than {_SHARES.get(share, f'{share:.0%}')} of the tile:"
    ]
    for name, ones in by_wall.items():
        k = ones[0]
        near = f" nearest the {wall_called(name)}" if name else ""
        x, y = middles[k]
        said.append(
            f"  {len(ones)}{near}, the narrowest {format_length(float(wide[k]), style)} "
            f"({ratio[k]:.0%}), {where(room, (x, y), style)}"
        )
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
    about = f"{laying.full} full and {laying.cuts} cut tiles, {len(slivers(laying))} slivers"
    return paper.svg([*drawn, *rim], about)
