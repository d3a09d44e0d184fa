"""What lippage a tile would have on this floor, in words, beside others, and on paper."""

from collections.abc import Sequence

import numpy as np

from flatcheck.forecast import FELT_MM, Answer, Forecast, Way
from flatcheck.instrument import fine
from flatcheck.language import say, several
from flatcheck.places import about
from flatcheck.report.correction import columns
from flatcheck.report.paper import plan_of
from flatcheck.selection import Row
from flatcheck.surface import Surface
from flatcheck.units import STYLES, Style, format_distance, format_length, format_volume
from flatcheck.verdict import Outcome

MOST_PLACES = 5
"""So many places are named, the worst first."""

BETWEEN = say(
    "Between readings the floor is taken to run straight; a hump that no reading met is not "
    "foreseen. A forecast judges no floor: check the floor by its rule, and the tile when laid."
)

STROKES = {Outcome.WITHIN: "within", Outcome.CLOSE: "close", Outcome.OUT: "out"}
"""The class of line that each outcome is drawn in."""


def forecast_words(found: Forecast, floor: Surface, style: Style) -> list[str]:
    """The answer, what each way of laying comes to, and the places that will not do."""
    said = [answer_words(found)]
    said.append(
        say(
            "In an even bed of {thickness}, each tile as the floor lies: {result}",
            thickness=format_length(found.bed.usual_mm, closely(style)),
            result=_way_words(found, found.even, style),
        )
    )
    close = found.outcomes.count(Outcome.CLOSE)
    if close:
        turned = several(
            close,
            "At {number} joint reading error alone could turn the answer (the readings tell a step "
            "to {step} or so).",
            "At {number} joints reading error alone could turn the answer (the readings tell a "
            "step to {step} or so).",
            step=fine(2 * float(np.median(found.u_mm)), style),
        )
        said.append(f"  {turned}")
    if found.best is not None:
        bed = found.bed.least_mm, found.bed.most_mm
        least, most = (format_length(thick, closely(style)) for thick in bed)
        between = say("between {least} and {most}", least=least, most=most)
        if len(found.best.unbedded):
            between = say("{between} where that can be kept", between=between)
        said.append(
            say(
                "At best, with the bed {between}: {result}",
                between=between,
                result=_way_words(found, found.best, style),
            )
        )
    way = found.better
    said += _places(found, way, floor, style)
    if float(found.flat_mm.max(initial=0.0)) > 0:
        said.append(
            say(
                "The tile's own bow leaves {step} at the worst joint on a floor without fault.",
                step=fine(float(found.flat_mm.max()), style),
            )
        )
    apart = format_distance(found.apart_mm, style)
    if len(found.unread):
        said.append(
            several(
                len(found.unread),
                "{number} tile would lie where nobody read, farther from any reading than the "
                "usual {apart}; the floor there is taken to go on as around it, and may not.",
                "{number} tiles would lie where nobody read, farther from any reading than the "
                "usual {apart}; the floor there is taken to go on as around it, and may not.",
                apart=apart,
            )
        )
    if found.coarse:
        said.append(
            say(
                "Readings {apart} apart show little of what lies under a tile {narrow} wide.",
                apart=apart,
                narrow=format_distance(found.narrow_mm, style),
            )
        )
    return [*said, BETWEEN, say("Mortar: {said}", said=found.bed.material.said)]


def closely(style: Style) -> Style:
    """The units of a style, so fine that a published limit is said as it is written."""
    return STYLES["in/64" if style.unit == "in" else "mm/0.1"]


def answer_words(found: Forecast) -> str:
    """The answer in one sentence, with what it hangs on."""
    if found.answer is Answer.AS_IS:
        seen = ", " + say("as far as the readings show") if found.blind else ""
        if found.good(found.even):
            return say("This floor can be tiled as it is, in an even bed{seen}.", seen=seen)
        return say(
            "This floor can be tiled as it is, but only with the bed made up tile by tile{seen}.",
            seen=seen,
        )
    if found.answer is Answer.NOT:
        return say(
            "Not with this tile in this pattern: its own bow is too much for it on any floor."
        )
    return say(
        "This floor cannot be tiled so as it is; a correction of the floor could help, or another "
        "tile or pattern."
    )


def _way_words(found: Forecast, way: Way, style: Style) -> str:
    out = int(np.count_nonzero(found.out(way)))
    joints = len(found.limit_mm)
    over = say("no joint between two tiles")
    if out:
        over = several(
            out,
            "{number} joint of {joints} ({share:.0%}) will be out",
            "{number} joints of {joints} ({share:.0%}) will be out",
            joints=joints,
            share=out / joints,
        )
    elif joints:
        over = several(joints, "all {number} joint within", "all {number} joints within")
    loose = ""
    if len(way.unbedded):
        loose = "; " + several(
            len(way.unbedded),
            "{number} tile cannot be bedded within the limits",
            "{number} tiles cannot be bedded within the limits",
        )
    worst = say("no lippage")
    if felt(way.worst_mm):
        worst = say("worst lippage {step}", step=fine(way.worst_mm, style))
    return several(
        way.bags,
        "{worst}, {over}; bed {bed}, {volume} of mortar, {number} bag{loose}.",
        "{worst}, {over}; bed {bed}, {volume} of mortar, {number} bags{loose}.",
        worst=worst,
        over=over,
        bed=_bed(way, style),
        volume=format_volume(way.mortar_l, style),
        loose=loose,
    )


def _bed(way: Way, style: Style) -> str:
    """How thick the mortar is where it is thinnest and where it is thickest."""
    return say(
        "{least} to {most}",
        least=format_length(float(way.least_mm.min()), style),
        most=format_length(float(way.most_mm.max()), style),
    )


def _places(found: Forecast, way: Way, floor: Surface, style: Style) -> list[str]:
    """The joints that will be out and the tiles that cannot be bedded, the worst first."""
    said = []
    over = np.where(found.out(way), way.lippage_mm - found.limit_mm, -np.inf)
    for joint in np.argsort(-over, kind="stable")[: min(MOST_PLACES, int(found.out(way).sum()))]:
        x, y = found.laying.joints_mm[joint].mean(axis=0)
        one = say(
            "out: {step} against {limit}; {place}",
            step=fine(float(way.lippage_mm[joint]), style),
            limit=fine(float(found.limit_mm[joint]), style),
            place=about(floor.room, (float(x), float(y)), style),
        )
        said.append(f"  {one}")
    if (more := int(found.out(way).sum()) - MOST_PLACES) > 0:
        said.append("  " + say("and {count} more.", count=more))
    order = way.unbedded[np.argsort(-way.gives_mm[way.unbedded], kind="stable")]
    for tile in order[:MOST_PLACES]:
        x, y = found.middle_mm[tile]
        one = say(
            "cannot be bedded: short by {short}; tile at {place}",
            short=fine(float(way.gives_mm[tile]), style),
            place=about(floor.room, (float(x), float(y)), style),
        )
        said.append(f"  {one}")
    if (more := len(order) - MOST_PLACES) > 0:
        said.append("  " + several(more, "and {number} tile more.", "and {number} tiles more."))
    return said


def felt(step_mm: float) -> bool:
    """Whether a step [mm] is one to speak of."""
    return step_mm >= FELT_MM


def step_words(step_mm: float, style: Style) -> str:
    """A step [mm] in a table: none where it is none to speak of."""
    return fine(step_mm, style) if felt(step_mm) else say("none")


HEAD = (
    say("floor"),
    say("tile"),
    say("answer"),
    say("even"),
    say("at best"),
    say("out"),
    say("bed"),
    say("bags"),
    say("pieces"),
    say("cut"),
)
"""The columns of the comparison: worst lippage in an even bed and at best, share of joints out."""


def rows_table(rows: Sequence[Row], style: Style) -> list[tuple[str, ...]]:
    """Every option on every floor as cells; out, bed and bags are of the way that is better."""
    table: list[tuple[str, ...]] = [HEAD]
    for row in rows:
        found = row.found
        way = found.better
        share = float(found.out(way).mean()) if len(found.limit_mm) else 0.0
        table.append(
            (
                row.remedy,
                row.option,
                say(found.answer),
                step_words(found.even.worst_mm, style),
                step_words(found.best.worst_mm, style) if found.best is not None else "-",
                f"{share:.0%}",
                _bed(way, style),
                str(way.bags),
                str(row.pieces),
                str(row.cuts),
            )
        )
    return table


def choosing_words(rows: Sequence[Row], style: Style) -> list[str]:
    """Tiles, patterns and offsets on this floor and after its remedies, beside each other."""
    return columns(rows_table(rows, style))


def joints_svg(found: Forecast, floor: Surface) -> str:
    """The joints to scale by how each ends in an even bed, and the tiles that cannot be bedded.

    Lines are of the classes within, close and out, with strokes of their own, so that the drawing
    can be told apart without color.
    """
    paper, rim = plan_of(floor.room)
    drawn = [
        "<style>.within{fill:none;stroke:#999;stroke-width:.2}.close{fill:none;stroke:#555;"
        "stroke-width:.5;stroke-dasharray:1 .6}.out{fill:none;stroke:#000;stroke-width:.9}"
        ".unbedded{fill:#ccc;stroke:none}</style>"
    ]
    way = found.even if found.best is None else found.best
    pieces = found.laying.pieces
    drawn += [paper.line("unbedded", pieces[k], closed=True) for k in way.unbedded.tolist()]
    drawn += [
        paper.line(STROKES[outcome], joint.tolist())
        for outcome, joint in zip(found.outcomes, found.laying.joints_mm, strict=True)
    ]
    return paper.svg([*drawn, *rim], say("joints between tiles by how they will end"))
