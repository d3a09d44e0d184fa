"""Marks for the floor, told and drawn: where to grind and fill, how deep, from which walls."""

from html import escape

import numpy as np

from flatcheck.correction import Choice, Fix, Mark, marks
from flatcheck.language import say, several
from flatcheck.parts import Part
from flatcheck.places import wall_called, where
from flatcheck.readers.cells import csv_text, shown
from flatcheck.report.correction import cautions, fix_words, recommended, table
from flatcheck.report.paper import MOST_LABELS, Paper, page, walls_of
from flatcheck.room import Room, from_walls
from flatcheck.units import Style, format_distance, format_length
from flatcheck.verdict import place_of

HEAD = (
    say("mark"),
    say("do"),
    say("depth"),
    say("from"),
    say("distance"),
    say("from"),
    say("distance"),
)
"""The columns of the list of marks; nothing reads it back."""


DEPTHS = say(
    "Depths are those at the marks; between marks run straight from one to the next, and out to "
    "nothing at the first place that is not marked."
)
"""What the depths of marks are."""


def marks_csv(choice: Choice, fix: Fix) -> str:
    """Every mark as a table: number, what to do, how deep, and its distances from two walls."""
    style, room = choice.site.assessment.survey.show, choice.site.floor.room
    rows = [HEAD]
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
    head = "".join(f"<th>{escape(name)}</th>" for name in HEAD)
    checks = [words.strip() for words in check_words(choice)]
    body = (
        "".join(f"<p>{escape(words)}</p>" for words in said)
        + f"<table>{beside}</table>"
        + marks_drawing(choice, found)
        + f"<p>{escape(say('X: grind off. O: fill.'))} {escape(DEPTHS)}</p>"
        + f"<table><tr>{head}</tr>{rows}</table>"
        + f"<p>{escape(checks[0])}</p><ul>"
        + "".join(f"<li>{escape(words)}</li>" for words in checks[1:])
        + "</ul>"
        + "".join(
            f"<p><b>{escape(say('Caution.'))}</b> {escape(words)}</p>" for words in cautions(choice)
        )
    )
    return page(survey.title, body)


def mark_words(choice: Choice, fix: Fix) -> list[str]:
    """What to paint on the floor, the order of work, and what to check afterwards."""
    style, room = choice.site.assessment.survey.show, choice.site.floor.room
    found = marks(choice.site, fix.proposal)
    said = []
    grind = [mark for mark in found if mark.depth_mm < 0]
    fill = [mark for mark in found if mark.depth_mm > 0]
    if grind:
        said.append(
            several(
                len(grind),
                "Grind, marked X ({number} place):",
                "Grind, marked X ({number} places):",
            )
        )
        for mark in grind:
            place = where(room, mark.at, style)
            said.append("  " + say("{depth} off: {place}", depth=_mark(mark, style), place=place))
    levels = dict(fix.proposal.levels)
    for part in choice.site.assessment.parts:
        if part.name in levels:
            said += _level_words(choice, part, levels[part.name])
    if len(levels) > 1:
        said.append(
            say(
                "A pour runs over into the next zone: set a dam along every line between two zones "
                "first."
            )
        )
    if fix.proposal.dams:
        said.append(
            several(
                fix.proposal.dams,
                "{number} dam reckoned with, at openings and between.",
                "{number} dams reckoned with, at openings and between.",
            )
        )
    if fill and not levels:
        said.append(
            several(
                len(fill),
                "Fill, marked O ({number} place):",
                "Fill, marked O ({number} places):",
            )
        )
        for mark in fill:
            place = where(room, mark.at, style)
            said.append("  " + say("{depth} on: {place}", depth=_mark(mark, style), place=place))
    if not levels or grind:
        said.append(DEPTHS)
    if grind and fill:
        said.append(say("Grind first, vacuum, then prime and fill; the dust spoils the bond."))
    return [*said, *check_words(choice)]


def _level_words(choice: Choice, part: Part, level_mm: float) -> list[str]:
    """How high a leveler is poured, against what stands there: the lowest, highest, and held."""
    style, floor = choice.site.assessment.survey.show, choice.site.floor
    heights = floor.height_mm[part.stations]

    def over(called: str, station: int) -> str:
        place = place_of(floor.xy_mm[station])
        above = format_length(level_mm - float(floor.height_mm[station]), style)
        return "  " + say(
            "{height} above {what} as it is now, {place}",
            height=above,
            what=called,
            place=where(floor.room, place, style),
        )

    whole = len(choice.site.assessment.parts) == 1
    low, high = (int(part.stations[pick(heights)]) for pick in (np.argmin, np.argmax))
    held = zip(choice.site.assessment.survey.holds, choice.site.held, strict=True)
    return [
        say("Pour the floor level; set pins so that the top is")
        if whole
        else say("Pour {zone} level; set pins so that the top is", zone=repr(part.name)),
        over(say("the lowest place"), low),
        over(say("the highest place"), high),
        *(over(hold.name, int(stations[0])) for hold, (stations, _) in held),
    ]


def check_words(choice: Choice) -> list[str]:
    """What to check after the work, with which bar."""
    said = []
    for finding in choice.site.assessment.verdict.findings:
        if finding.rule.words not in said:
            said.append(finding.rule.words)
    lead = say("After the work read the same places again and check:")
    return [lead, *(f"  {words}" for words in said)]


def _mark(mark: Mark, style: Style) -> str:
    return f"{mark.number:>3}  {format_length(abs(mark.depth_mm), style):<8}"


def _do(mark: Mark) -> str:
    return say("grind") if mark.depth_mm < 0 else say("fill")


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
    return paper.svg(drawn, say("places to grind and to fill"))
