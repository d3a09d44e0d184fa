"""The heights to screed to, on paper: a drawing and a table to take to the wall with a pencil."""

from collections.abc import Sequence
from html import escape

import numpy as np
import numpy.typing as npt

from flatcheck.compass import side_of
from flatcheck.drain import Bed
from flatcheck.facet import Facet, Falls
from flatcheck.places import wall_called, where
from flatcheck.readers.cells import csv_text, shown
from flatcheck.report.falls import passed_words
from flatcheck.report.paper import Paper, page
from flatcheck.room import Room, inside
from flatcheck.screed import LEVEL_MM, Mark, Screed
from flatcheck.survey import Survey
from flatcheck.units import (
    Style,
    format_area,
    format_distance,
    format_length,
    format_load,
    format_volume,
    format_weight,
)

Floats = npt.NDArray[np.float64]

MARGIN_MM = 19.0
"""The margin around the drawing of a plan, for a height and beyond it the name of a wall [mm]."""

LETTER_MM = 1.8
"""How wide a letter on the drawing is [mm]."""

ROOM_RATIO = 0.001
"""Falls planned nearer than this to the least are told: 1 mm in a meter. Common practice, no
source."""

CAUTION = (
    "Mixing and cutting mortar raises silica dust: use a vacuum or water, and a respirator where "
    "the rules ask for one. A bed this heavy is a load: on a wood floor or a thin slab have the "
    "structure checked by someone licensed to. The maker's data sheet, the membrane's and the "
    "local code come before these numbers."
)


def screed_words(plan: Screed, survey: Survey, room: Room, line_mm: float | None) -> list[str]:
    """What to screed a zone to: planes, heights along every wall, and the bed."""
    style = survey.show
    cover = survey.bed.cover_mm
    falls = plan.falls
    said = [f"{plan.zone}: heights to screed to, above {zero_words(plan)}"]
    if cover:
        said[0] += f", with {format_length(cover, style)} for what lies on the bed taken off"
    said[0] += "."
    said += [f"  {words}" for words in passed_words(survey, room, plan.zone)]
    for facet in falls.facets:
        said.append(
            f"  {facet.name}: falls {facet.fall_ratio:.2%} to the {side_of(facet.bearing_deg)}, "
            f"longest run {format_distance(facet.run_mm, style)}"
        )
    walls = by_wall(plan.marks)
    for name, marks in walls:
        start = wall_called(marks[0].start)
        along = f"  Along the {wall_called(name)}, from its corner with the {start}"
        if is_level(marks):
            said.append(f"{along}: level, {_height(plan, marks[0], style, line_mm)}")
            continue
        said.append(f"{along}:")
        said += [
            f"    at {format_distance(mark.along_mm, style):<10} "
            f"{_height(plan, mark, style, line_mm)}"
            for mark in marks
        ]
    if plan.bed is not None:
        bed = plan.bed
        said.append(
            f"  Bed over the floor as read: {format_length(bed.least_mm, style)} at its thinnest "
            f"({where(room, bed.least_at, style)}), {format_length(bed.most_mm, style)} at its "
            f"thickest ({where(room, bed.most_at, style)}), {format_length(bed.mean_mm, style)} "
            f"on average (give or take {_rough(2 * bed.u_mm, style)}) over "
            f"{format_area(bed.area_mm2, style)}."
        )
        said.append(
            f"  That is {format_volume(bed.volume_mm3 / 1e6, style)} of mortar, about "
            f"{format_weight(bed.weight_kg, style)}, "
            f"{format_load(bed.weight_kg / (bed.area_mm2 / 1e6), style)}."
        )
        if bed.most_mm > survey.bed.most_mm:
            said.append(
                f"  Thicker than the {_most_words(survey)}: ask the mortar's maker and whoever "
                "answers for the structure."
            )
    flattest = min(facet.fall_ratio for facet in falls.facets)
    if flattest < plan.least_ratio + ROOM_RATIO:
        said.append(
            f"  This is planned at the least fall that the rule allows, {plan.least_ratio:.2%}: no "
            "screed is struck that true. Ask for a little more where the most allows it, with fall "
            "in the intent of the zone."
        )
    said.append("  Caution: " + CAUTION)
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
    return "the rim of the drain" if plan.drain else "its lowest corner"


def height_words(mm: float, style: Style) -> str:
    """A height on a drawing: inches with their mark; millimeters bare, the key names them."""
    return format_length(mm, style).removesuffix(" mm")


def sided(mm: float, style: Style, above: str, below: str) -> str:
    """A height with the words for its side; what is said as zero lies above."""
    side = below if format_length(mm, style).startswith("-") else above
    return f"{format_length(abs(mm), style)}{side}"


def any_below(plan: Screed, style: Style) -> bool:
    """Whether some mark of a plan is said to lie below its zero."""
    return any(format_length(mark.above_mm, style).startswith("-") for mark in plan.marks)


def _height(plan: Screed, mark: Mark, style: Style, line_mm: float | None) -> str:
    said = sided(mark.above_mm, style, "", f" below {zero_words(plan)}")
    if line_mm is not None:
        down = sided(line_mm - mark.above_mm, style, " down from", " up from")
        said += f", or {down} the line"
    return said


def _most_words(survey: Survey) -> str:
    """The most that a bed is thick, and who says so."""
    usual, bed = Bed().most_mm, survey.bed
    # Where only a least was given that is more than usual it stands for the most.
    own = bed.most_mm < usual or bed.most_mm > max(usual, bed.least_mm)
    if own:
        return f"{format_length(bed.most_mm, survey.show)} that you allow"
    return f"{format_length(usual, survey.show)} that is usual"


def _rough(mm: float, style: Style) -> str:
    """An uncertainty no finer than lengths are said."""
    said = format_length(mm, style)
    step = format_length(1e-3, style)  # as nothing is said
    least = f'1/{style.denominator}"' if style.unit == "in" else f"{10.0**-style.decimals:g} mm"
    return f"less than {least}" if said == step else said


def screed_csv(plans: Sequence[Screed], style: Style) -> str:
    """Every mark as a table: zone, wall, along, east, north, height above the rim."""
    zeros = " or ".join(dict.fromkeys(zero_words(plan) for plan in plans))
    rows = [("zone", "wall", "from its corner with", "along", "east", "north", f"above {zeros}")]
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
        notes = screed_words(plan, survey, room, line_mm)
        planes = "".join(
            f"<li>{escape(words.strip())}</li>"
            for words in notes[1:]
            if not words.startswith(("  Along", "    ", "  Caution"))
        )
        if style.unit == "mm":
            planes += "<li>Heights on the drawing are in mm.</li>"
        if any_below(plan, style):
            planes += "<li>Heights with a minus sign on the drawing lie below that.</li>"
        tables = "".join(
            f"<table><caption>{escape(wall_called(name))}, from its corner with the "
            f"{escape(wall_called(marks[0].start))}</caption><tr><th>along</th>"
            f"<th>above {'rim' if plan.drain else 'corner'}</th>"
            f"{'<th>below line</th>' if line_mm is not None else ''}</tr>"
            + "".join(_row(mark, style, line_mm) for mark in marks)
            + "</table>"
            for name, marks in by_wall(plan.marks)
        )
        pages.append(
            f"<section><h2>{escape(notes[0])}</h2>{drawing(plan, survey)}"
            f"<ul>{planes}</ul><div class='walls'>{tables}</div></section>"
        )
    caution = f"<p><b>Caution.</b> {escape(CAUTION)}</p>"
    return page(survey.title, "".join(pages) + caution)


def _row(mark: Mark, style: Style, line_mm: float | None) -> str:
    cells = [format_distance(mark.along_mm, style), sided(mark.above_mm, style, "", " below")]
    if line_mm is not None:
        cells.append(sided(line_mm - mark.above_mm, style, "", " above"))
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
    return paper.svg(drawn, f"planes and valleys of {plan.zone}")


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
