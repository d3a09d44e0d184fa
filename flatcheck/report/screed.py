"""The heights to screed to, on paper: a drawing and a table to take to the wall with a pencil."""

from collections.abc import Sequence
from html import escape

import numpy as np
import numpy.typing as npt

from flatcheck.compass import side_of
from flatcheck.facet import Facet, Falls
from flatcheck.language import say
from flatcheck.places import wall_called
from flatcheck.readers.cells import csv_text, shown
from flatcheck.report.bed import bed_words
from flatcheck.report.falls import passed_words
from flatcheck.report.paper import Paper, page
from flatcheck.room import Room, inside
from flatcheck.screed import LEVEL_MM, Mark, Screed
from flatcheck.survey import Survey
from flatcheck.units import Style, format_distance, format_length

Floats = npt.NDArray[np.float64]

MARGIN_MM = 19.0
"""The margin around the drawing of a plan, for a height and beyond it the name of a wall [mm]."""

LETTER_MM = 1.8
"""How wide a letter on the drawing is [mm]."""

ROOM_RATIO = 0.001
"""Falls planned nearer than this to the least are told: 1 mm in a meter. Common practice, no
source."""

CAUTION = say(
    "Mixing and cutting mortar raises silica dust: use a vacuum or water, and a respirator where "
    "the rules ask for one. A bed this heavy is a load: on a wood floor or a thin slab have the "
    "structure checked by someone licensed to. The maker's data sheet, the membrane's and the "
    "local code come before these numbers."
)


def screed_words(plan: Screed, survey: Survey, room: Room, line_mm: float | None) -> list[str]:
    """What to screed a zone to: planes, heights along every wall, and the bed."""
    caution = say("Caution: {words}", words=CAUTION)
    return [
        head_words(plan, survey),
        *(f"  {words}" for words in facet_words(plan, survey, room)),
        *_wall_words(plan, survey.show, line_mm),
        *(f"  {words}" for words in make_words(plan, survey, room)),
        f"  {caution}",
    ]


def head_words(plan: Screed, survey: Survey) -> str:
    """Which zone the heights are of, what they are measured from and what was taken off."""
    cover = survey.bed.cover_mm
    if not cover:
        return say(
            "{zone}: heights to screed to, above {zero}.", zone=plan.zone, zero=zero_words(plan)
        )
    return say(
        "{zone}: heights to screed to, above {zero}, with {cover} for what lies on the bed taken "
        "off.",
        zone=plan.zone,
        zero=zero_words(plan),
        cover=format_length(cover, survey.show),
    )


def facet_words(plan: Screed, survey: Survey, room: Room) -> list[str]:
    """How each plane of a plan falls, and what was passed over for it."""
    return passed_words(survey, room, plan.zone) + [
        say(
            "{plane}: falls {fall:.2%} to the {side}, longest run {run}",
            plane=facet.name,
            fall=facet.fall_ratio,
            side=side_of(facet.bearing_deg),
            run=format_distance(facet.run_mm, survey.show),
        )
        for facet in plan.falls.facets
    ]


def _wall_words(plan: Screed, style: Style, line_mm: float | None) -> list[str]:
    """The heights along every wall."""
    said = []
    for name, marks in by_wall(plan.marks):
        wall, start = wall_called(name), wall_called(marks[0].start)
        if is_level(marks):
            level = say(
                "Along the {wall}, from its corner with the {start}: level, {height}",
                wall=wall,
                start=start,
                height=_height(plan, marks[0], style, line_mm),
            )
            said.append(f"  {level}")
            continue
        along = say("Along the {wall}, from its corner with the {start}:", wall=wall, start=start)
        said.append(f"  {along}")
        for mark in marks:
            at = say(
                "at {place:<10} {height}",
                place=format_distance(mark.along_mm, style),
                height=_height(plan, mark, style, line_mm),
            )
            said.append(f"    {at}")
    return said


def make_words(plan: Screed, survey: Survey, room: Room) -> list[str]:
    """What it takes to make the planes: the bed, and fall enough to strike them."""
    said = bed_words(plan.bed, survey, room) if plan.bed else []
    flattest = min(facet.fall_ratio for facet in plan.falls.facets)
    if flattest < plan.least_ratio + ROOM_RATIO:
        said.append(
            say(
                "This is planned at the least fall that the rule allows, {fall:.2%}: no screed is "
                "struck that true. Ask for a little more where the most allows it, with fall in "
                "the intent of the zone.",
                fall=plan.least_ratio,
            )
        )
    return said


def by_wall(marks: Sequence[Mark]) -> list[tuple[str, list[Mark]]]:
    """Marks wall after wall, in order."""
    walls: list[tuple[str, list[Mark]]] = []
    for mark in marks:
        if not walls or walls[-1][0] != mark.wall or mark.along_mm == 0:
            walls.append((mark.wall, []))
        walls[-1][1].append(mark)
    return walls


def is_level(marks: Sequence[Mark]) -> bool:
    """Whether the heights along a wall are one, to a twentieth of a millimeter."""
    heights = [mark.above_mm for mark in marks]
    return max(heights) - min(heights) < LEVEL_MM


def zero_words(plan: Screed) -> str:
    """What the heights of a plan are measured from."""
    return say("the rim of the drain") if plan.drain else say("its lowest corner")


def height_words(mm: float, style: Style) -> str:
    """A height on a drawing: inches with their mark; millimeters bare, the key names them."""
    return format_length(mm, style).removesuffix(" mm")


def _is_below(mm: float, style: Style) -> bool:
    return format_length(mm, style).startswith("-")


def _any_below(plan: Screed, style: Style) -> bool:
    """Whether some mark of a plan is said to lie below its zero."""
    return any(_is_below(mark.above_mm, style) for mark in plan.marks)


def _height(plan: Screed, mark: Mark, style: Style, line_mm: float | None) -> str:
    height = format_length(abs(mark.above_mm), style)
    if _is_below(mark.above_mm, style):
        height = say("{height} below {zero}", height=height, zero=zero_words(plan))
    if line_mm is None:
        return height
    away_mm = line_mm - mark.above_mm
    said = say("{height}, or {away} down from the line")
    if _is_below(away_mm, style):
        said = say("{height}, or {away} up from the line")
    return said.format(height=height, away=format_length(abs(away_mm), style))


def screed_csv(plans: Sequence[Screed], style: Style) -> str:
    """Every mark as a table: zone, wall, along, east, north, height above the rim."""
    either = say("or")
    zeros = f" {either} ".join(dict.fromkeys(zero_words(plan) for plan in plans))
    rows = [
        (
            say("zone"),
            say("wall"),
            say("from its corner with"),
            say("along"),
            say("east"),
            say("north"),
            say("above {zero}", zero=zeros),
        )
    ]
    for plan in plans:
        for mark in plan.marks:
            east, north = mark.at
            rows.append(
                (
                    shown(plan.zone),
                    shown(mark.wall),
                    shown(mark.start),
                    format_distance(mark.along_mm, style),
                    format_distance(east, style),
                    format_distance(north, style),
                    format_length(mark.above_mm, style),
                )
            )
    return csv_text(tuple(rows))


def screed_html(plans: Sequence[Screed], survey: Survey, room: Room, line_mm: float | None) -> str:
    """One self-contained page: for each zone the drawing, its table of marks, and the bed."""
    style = survey.show
    pages = []
    for plan in plans:
        notes = facet_words(plan, survey, room) + make_words(plan, survey, room)
        if style.unit == "mm":
            notes.append(say("Heights on the drawing are in mm."))
        if _any_below(plan, style):
            notes.append(say("Heights with a minus sign on the drawing lie below that."))
        listed = "".join(f"<li>{escape(words)}</li>" for words in notes)
        tables = "".join(
            _table(plan, name, marks, style, line_mm) for name, marks in by_wall(plan.marks)
        )
        pages.append(
            f"<section><h2>{escape(head_words(plan, survey))}</h2>{drawing(plan, survey)}"
            f"<ul>{listed}</ul><div class='walls'>{tables}</div></section>"
        )
    head = say("Caution.")
    caution = f"<p><b>{escape(head)}</b> {escape(CAUTION)}</p>"
    return page(survey.title, "".join(pages) + caution)


def _table(
    plan: Screed, name: str, marks: Sequence[Mark], style: Style, line_mm: float | None
) -> str:
    """The marks along one wall."""
    caption = say(
        "{wall}, from its corner with the {start}",
        wall=wall_called(name),
        start=wall_called(marks[0].start),
    )
    heads = [say("along"), say("above rim") if plan.drain else say("above corner")]
    if line_mm is not None:
        heads.append(say("below line"))
    headed = "".join(f"<th>{escape(head)}</th>" for head in heads)
    rows = "".join(_row(mark, style, line_mm) for mark in marks)
    return f"<table><caption>{escape(caption)}</caption><tr>{headed}</tr>{rows}</table>"


def _row(mark: Mark, style: Style, line_mm: float | None) -> str:
    height = format_length(abs(mark.above_mm), style)
    if _is_below(mark.above_mm, style):
        height = say("{height} below", height=height)
    cells = [format_distance(mark.along_mm, style), height]
    if line_mm is not None:
        away_mm = line_mm - mark.above_mm
        away = format_length(abs(away_mm), style)
        cells.append(say("{height} above", height=away) if _is_below(away_mm, style) else away)
    return "<tr>" + "".join(f"<td>{escape(cell)}</td>" for cell in cells) + "</tr>"


def drawing(plan: Screed, survey: Survey) -> str:
    """The zone to scale as SVG: its planes, valleys (solid), ridges (dashed), drain and heights."""
    falls, style, cover_mm = plan.falls, survey.show, survey.bed.cover_mm
    corners = np.array(falls.corners)
    low, high = corners.min(axis=0), corners.max(axis=0)
    paper = Paper(low, high, rim=MARGIN_MM)
    drawn = [paper.line("room", falls.corners, closed=True)]
    for drain in survey.drains:
        ring = np.array(drain.outline.corners_mm)
        if ((ring >= low - 1) & (ring <= high + 1)).all():
            drawn.append(paper.line("drain", drain.outline.corners_mm, closed=True))
    for crease in falls.creases:
        kind = "valley" if crease.valley else "ridge"
        drawn.append(paper.line(kind, (crease.start, crease.end)))
    drawn += _arrows(falls, paper)
    for corner, height in zip(corners, falls.corner_mm, strict=True):
        way = np.sign(corner - (low + high) / 2)
        words = height_words(height - cover_mm, style)
        drawn.append(paper.label(corner, way * (1.0, 3.5), words, begins=way[0]))
    walls = by_wall(plan.marks)
    names = [wall_called(name) for name, _ in walls]
    drawn += paper.walls(corners, names, MARGIN_MM - 2.5)
    for k, (_, marks) in enumerate(walls):
        drawn += [paper.dot(mark.at) for mark in marks]
        if is_level(marks):
            continue
        side = corners[(k + 1) % len(corners)] - corners[k]
        out = np.array([side[1], -side[0]]) / np.hypot(*side)
        # Beside a wall that stands on the paper words begin or end at it.
        begins = np.sign(out[0]) * (abs(out[0]) > abs(out[1]))
        out = out * (1.5 if begins else 3.5)
        drawn += [
            paper.label(mark.at, out, height_words(mark.above_mm, style), begins=begins)
            for mark in marks[1:-1]
        ]
    return paper.svg(drawn, say("planes and valleys of {zone}", zone=plan.zone))


def _arrows(falls: Falls, paper: Paper) -> list[str]:
    """An arrow down the middle of each plane, its fall beside it where the plane has room."""
    return [
        drawn
        for facet in falls.facets
        for drawn in arrow(facet, paper, facet.bearing_deg, f"{facet.fall_ratio:.2%}")
    ]


def arrow(facet: Facet, paper: Paper, bearing_deg: float, words: str) -> list[str]:
    """An arrow along a bearing over the middle of a plane, with words where they have room."""
    ring = np.array(facet.outline.corners_mm)
    middle = ring.mean(axis=0)
    turn = np.radians(bearing_deg)
    down = np.array([np.sin(turn), np.cos(turn)]) * facet.run_mm / (5 if len(ring) > 3 else 10)
    (x1, y1), (x2, y2) = paper.at(middle - down), paper.at(middle + down)
    drawn = [f'<line class="flow" x1="{x1}" y1="{y1}" x2="{x2}" y2="{y2}"/>']
    back = np.array([x1 - x2, y1 - y2])
    back = back / max(float(np.hypot(*back)), 1e-9) * 2
    for sign in (1, -1):
        hx, hy = x2 + back[0] - sign * back[1] / 2, y2 + back[1] + sign * back[0] / 2
        drawn.append(f'<line class="flow" x1="{x2}" y1="{y2}" x2="{hx:.2f}" y2="{hy:.2f}"/>')
    off = _beside(facet, paper, np.array([(x1, y1), (x2, y2)]), words)
    if off is not None:
        drawn.append(paper.label(middle, off, words))
    return drawn


def _beside(facet: Facet, paper: Paper, arrow: Floats, words: str) -> tuple[float, float] | None:
    """Where words lie clear of an arrow and within its plane, off its middle; None if nowhere."""
    half = np.array([LETTER_MM * len(words) / 2, 2.0])
    middle = arrow.mean(axis=0)
    along = arrow[0] + np.linspace(-0.1, 1.1, 25)[:, None] * (arrow[1] - arrow[0])
    box = np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)]) * half
    for away in (1.0, 2.0):
        for right, up in ((half[0] + away, 0.0), (0.0, -2.5 * away), (-half[0] - away, 0.0)):
            center = middle + np.array([right, -up])
            clear = np.any(np.abs(along - center) > half, axis=1).all()
            places = np.array([paper.on(corner) for corner in center + box])
            if clear and inside(Room(facet.outline), places).all():
                return right, up
    return None
