"""Marks for the floor, on paper: where to grind and fill, how deep, from which walls."""

from html import escape

from flatcheck.correction import Choice, Fix, Mark, marks
from flatcheck.places import wall_called
from flatcheck.readers.cells import csv_text, shown
from flatcheck.report.correction import cautions, check_words, fix_words, recommended, table
from flatcheck.report.paper import MOST_LABELS, Paper, page, walls_of
from flatcheck.room import Room, from_walls
from flatcheck.units import Style, format_distance, format_length


def marks_csv(choice: Choice, fix: Fix) -> str:
    """Every mark as a table: number, what to do, how deep, and its distances from two walls."""
    style, room = choice.site.assessment.survey.show, choice.site.floor.room
    rows = [("mark", "do", "depth", "from", "distance", "from", "distance")]
    for mark in marks(choice.site, fix.proposal):
        rows.append(
            (
                str(mark.number),
                _do(mark),
                format_length(abs(mark.depth_mm), style),
                *_tape(room, mark, style),
            )
        )
    return csv_text(tuple(rows))


def marks_html(choice: Choice, fix: Fix) -> str:
    """One page to take to the floor: the drawing, the list, the order of work and the cautions."""
    survey = choice.site.assessment.survey
    style, room = survey.show, choice.site.floor.room
    found = marks(choice.site, fix.proposal)
    rows = "".join(
        "<tr>"
        + "".join(
            f"<td>{escape(cell)}</td>"
            for cell in (
                str(mark.number),
                _do(mark),
                format_length(abs(mark.depth_mm), style),
                *_tape(room, mark, style),
            )
        )
        + "</tr>"
        for mark in found
    )
    said = [*recommended(choice), f"{fix.proposal.title}: {fix_words(fix, style)}"]
    beside = "".join(
        "<tr>"
        + "".join(
            f"<td{' class=words' if not k else ''}>{escape(cell)}</td>"
            for k, cell in enumerate(row)
        )
        + "</tr>"
        for row in table(choice)
    )
    checks = [words.strip() for words in check_words(choice)]
    body = (
        "".join(f"<p>{escape(words)}</p>" for words in said)
        + f"<table>{beside}</table>"
        + marks_drawing(choice, found)
        + "<p>X: grind off. O: fill. Depths are those at the marks; between marks run straight "
        "from one to the next, and out to nothing at the first place that is not marked.</p>"
        + "<table><tr><th>mark</th><th>do</th><th>depth</th><th>from</th><th>distance</th>"
        f"<th>from</th><th>distance</th></tr>{rows}</table>"
        + f"<p>{escape(checks[0])}</p><ul>"
        + "".join(f"<li>{escape(words)}</li>" for words in checks[1:])
        + "</ul>"
        + "".join(f"<p><b>Caution.</b> {escape(words)}</p>" for words in cautions(choice))
    )
    return page(survey.title, body)


def _do(mark: Mark) -> str:
    return "grind" if mark.depth_mm < 0 else "fill"


def _short(mark: Mark, style: Style) -> str:
    """A depth as short as a drawing needs it."""
    return format_length(abs(mark.depth_mm), style).removesuffix(" mm")


def _tape(room: Room, mark: Mark, style: Style) -> tuple[str, str, str, str]:
    """The two walls that a mark is measured from, with the distances."""
    found = [
        (shown(wall_called(name, room.upright)), format_distance(away, style))
        for name, away in from_walls(room, mark.at)
    ]
    (one, first), (other, second) = (*found, ("", ""), ("", ""))[:2]
    return one, first, other, second


def marks_drawing(choice: Choice, found: tuple[Mark, ...]) -> str:
    """The room to scale with an X at every place to grind and an O at every place to fill."""
    floor, style = choice.site.floor, choice.site.assessment.survey.show
    corners, names = walls_of(floor.room)
    paper = Paper(corners.min(axis=0), corners.max(axis=0))
    drawn = [paper.line("room", corners.tolist(), closed=True)]
    drawn += [paper.line("cutout", ring.corners_mm, closed=True) for ring in floor.room.cutouts]
    drawn += paper.walls(corners, names)
    drawn += [paper.dot(xy, 0.25) for xy in floor.xy_mm]
    for hold in choice.site.assessment.survey.holds:
        x, y = paper.at(hold.at)
        drawn.append(f'<rect class="hold" x="{x - 1:.2f}" y="{y - 1:.2f}" width="2" height="2"/>')
        drawn.append(paper.label(hold.at, (0, -3.5), hold.name))
    for mark in found:
        x, y = paper.at(mark.at)
        if mark.depth_mm < 0:
            cross = f"M {x - 1.2:.2f} {y - 1.2:.2f} l 2.4 2.4 m 0 -2.4 l -2.4 2.4"
            drawn.append(f'<path class="mark" d="{cross}"/>')
        else:
            drawn.append(f'<circle class="mark" cx="{x}" cy="{y}" r="1.3"/>')
        if len(found) <= MOST_LABELS:
            drawn.append(paper.label(mark.at, (0, 3.2), _short(mark, style)))
    return paper.svg(drawn, "places to grind and to fill")
