"""The reading sheet of a plan: paper to write on while walking, and an empty table to type it into.

The page needs no network and prints on Letter and A4. Paper and table show the room alike, north
at the top.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from itertools import pairwise

import numpy as np

from flatcheck.language import SPOKEN, say, several
from flatcheck.planning import SurveyPlan, plan_words
from flatcheck.readers.cells import csv_text
from flatcheck.room import ring_area, wall_names
from flatcheck.survey import SENSES
from flatcheck.units import Style, format_offset

COLUMNS, ROWS = 9, 18
"""Boxes on one page at most: large enough for a pencil, on Letter and on A4."""

MAP_MM = (184.0, 88.0)
"""Room for the map on the first page, width and height [mm]."""

RIM_MM = 7.0
"""Of that, the margin on each side for the names of the walls [mm]."""

_SENSE = dict(zip(SENSES, (say("rod"), say("elevation")), strict=True))


@dataclass(frozen=True)
class Heading:
    """What is known of the survey beforehand; what is left blank gets a line to write on."""

    title: str = ""
    place: str = ""
    by: str = ""
    day: str = ""
    instrument: str = ""
    sense: str = SENSES[0]


def sheet_csv(survey: SurveyPlan, style: Style) -> str:
    """An empty grid that `readers.grid` understands once readings are typed into it.

    Offsets carry their unit. Cells to fill are blank; `x` stands where there is no floor.
    """
    walk = _walk(survey)
    rows = [["", *(format_offset(x, style) for x in survey.east_mm)]]
    for y in reversed(survey.north_mm):
        cells = ("" if (x, y) in walk else "x" for x in survey.east_mm)
        rows.append([format_offset(y, style), *cells])
    return csv_text(tuple(map(tuple, rows)))


def sheet_html(survey: SurveyPlan, heading: Heading, style: Style) -> str:
    """One self-contained page: who, when and with what, a map of the walk, and boxes to fill.

    The boxes are numbered in walking order. A large grid is spread over several pages.
    """
    title = heading.title or say("Reading sheet")
    panels = [
        (north, east)
        for north in _split(survey.north_mm[::-1], ROWS)
        for east in _split(survey.east_mm, COLUMNS)
    ]
    boxes = "".join(
        _panel(
            survey,
            north,
            east,
            style,
            say("{title}, grid {number} of {count}", title=title, number=number, count=len(panels)),
        )
        for number, (north, east) in enumerate(panels, 1)
    )
    asked = "".join(f"<li>{escape(words)}</li>" for words in plan_words(survey, style))
    places = several(
        len(survey.stations_mm),
        "{number:,} place, numbered as it is walked, from the ring on the map.",
        "{number:,} places, numbered as they are walked, from the ring on the map.",
    )
    offsets = say("Offsets are from the zero corner: columns to the east, rows to the north.")
    unit = say("millimeters, to {step} mm", step=f"{10.0**-style.decimals:g}")
    if style.unit == "in":
        unit = say("inches, to {step} in", step=f"1/{style.denominator}")
    read = _SENSE.get(heading.sense, heading.sense)
    write = say("Write {read} readings in {unit};\nlarger is higher.", read=read, unit=unit)
    if heading.sense == "rod":
        write = say("Write {read} readings in {unit};\nlarger is lower.", read=read, unit=unit)
    cross_out = say("Cross out a place that cannot be read.")
    return f"""<!DOCTYPE html>
<html lang="{SPOKEN}">
<head>
<meta charset="utf-8">
<title>{escape(title)}</title>
<style>{_CSS}</style>
</head>
<body>
<h1>{escape(title)}</h1>
<table class="facts">
<tr>{_fact(say("Place"), heading.place)}{_fact(say("Date"), heading.day)}</tr>
<tr>{_fact(say("Read by"), heading.by)}{_fact(say("Instrument"), heading.instrument)}</tr>
<tr>{_fact(say("First place, read at the start"), "")}\
{_fact(say("The same place, read at the end"), "")}</tr>
</table>
<p>{escape(places)}
{escape(offsets)}
{escape(write)} {escape(cross_out)}</p>
<ul>{asked}</ul>
{_map(survey)}
{boxes}
</body>
</html>
"""


def _walk(survey: SurveyPlan) -> dict[tuple[float, float], int]:
    return {place: number for number, place in enumerate(survey.stations_mm, 1)}


def _split(offsets: Sequence[float], most: int) -> list[Sequence[float]]:
    """Parts of nearly equal size, none longer than `most`."""
    parts = math.ceil(len(offsets) / most)
    ends = [round(len(offsets) * k / parts) for k in range(parts + 1)]
    return [offsets[a:b] for a, b in pairwise(ends)]


def _fact(name: str, value: str) -> str:
    return f"<th>{escape(name)}</th><td>{escape(value)}</td>"


def _panel(
    survey: SurveyPlan, north: Sequence[float], east: Sequence[float], style: Style, name: str
) -> str:
    walk = _walk(survey)
    head = "".join(f'<th class="east">{escape(format_offset(x, style))}</th>' for x in east)
    rows = []
    for y in north:
        cells = "".join(
            f"<td><i>{walk[x, y]}</i></td>" if (x, y) in walk else '<td class="off">×</td>'
            for x in east
        )
        rows.append(f'<tr><th class="north">{escape(format_offset(y, style))}</th>{cells}</tr>')
    ways = say("↑ N, → E")
    return (
        f'<section><h2>{escape(name)}</h2><table class="grid"><tr><th>{escape(ways)}</th>{head}'
        f"</tr>{''.join(rows)}</table></section>\n"
    )


def _map(survey: SurveyPlan) -> str:
    """The room to scale: walls with their names, what stands in it, the walk and its places."""
    corners = np.array(survey.room.outline.corners_mm)
    low, high = corners.min(axis=0), corners.max(axis=0)
    scale = float(np.min((np.array(MAP_MM) - 2 * RIM_MM) / (high - low)))
    width, height = (high - low) * scale + 2 * RIM_MM

    def at(place: Sequence[float]) -> tuple[float, float]:
        x, y = (np.array(place) - low) * scale + RIM_MM
        return round(float(x), 2), round(float(height - y), 2)

    def line(places: Sequence[Sequence[float]]) -> str:
        return " ".join(f"{x},{y}" for x, y in map(at, places))

    def label(place: Sequence[float], text: str, turn: str = "") -> str:
        x, y = at(place)
        turned = f' transform="rotate({turn} {x} {y})"' if turn else ""
        return f'<text x="{x}" y="{y}"{turned}>{escape(text)}</text>'

    step = min(float(np.diff(of).min()) for of in (survey.east_mm, survey.north_mm))
    path = survey.stations_mm
    drawn = [f'<polygon class="room" points="{line(survey.room.outline.corners_mm)}"/>']
    for cutout in survey.room.cutouts:
        drawn.append(f'<polygon class="cutout" points="{line(cutout.corners_mm)}"/>')
    drawn.append(f'<polyline class="walk" points="{line(path)}"/>')
    radius = min(0.7, step * scale / 6)
    drawn += [f'<circle cx="{x}" cy="{y}" r="{radius:.2f}"/>' for x, y in map(at, path)]
    x, y = at(path[0])
    drawn.append(f'<circle class="start" cx="{x}" cy="{y}" r="1.6"/>')
    for cutout in survey.room.cutouts:
        drawn.append(label(np.mean(cutout.corners_mm, axis=0), cutout.name))
    outward = math.copysign(RIM_MM / 2 / scale, ring_area(corners))
    ends = np.roll(corners, -1, axis=0)
    for name, start, end in zip(wall_names(survey.room), corners, ends, strict=True):
        along = (end - start) / np.hypot(*(end - start))
        beside = (start + end) / 2 + outward * np.array([along[1], -along[0]])
        drawn.append(label(beside, name, "-90" if abs(along[1]) > abs(along[0]) else ""))
    x, y = at((0.0, 0.0))
    if 0 <= x <= width and 0 <= y <= height:
        drawn.append(f'<path class="zero" d="M {x - 2} {y} h 4 M {x} {y - 2} v 4"/>')
        drawn.append(f'<text x="{x - 3}" y="{y + 2.5}">0</text>')
    about = escape(say("map of the walk; the ring is where it starts"))
    return (
        f'<svg width="{width:.1f}mm" height="{height:.1f}mm" viewBox="0 0 {width:.1f} '
        f'{height:.1f}" role="img" aria-label="{about}">'
        f"{''.join(drawn)}</svg>"
    )


_CSS = """
@page {margin: 12mm}
* {box-sizing: border-box}
body {font: 10pt/1.3 "Liberation Sans", Arial, Helvetica, sans-serif; color: #000; width: 184mm;
  margin: 0 auto; overflow-wrap: anywhere}
@media screen {body {margin: 12mm auto}}
h1 {font-size: 15pt; margin: 0 0 3mm}
h2 {font-size: 9pt; font-weight: normal; margin: 4mm 0 1mm}
p, ul {margin: 3mm 0 2mm}
ul {padding-left: 5mm}
table {border-collapse: collapse}
.facts {width: 100%}
.facts th {text-align: left; font-weight: normal; padding: 2mm 2mm 0 0; white-space: nowrap;
  vertical-align: bottom}
.facts td + th {padding-left: 4mm}
.facts td {border-bottom: 0.3mm solid #000; width: 40%; height: 8mm; padding: 0 2mm 0 0;
  vertical-align: bottom; font-weight: bold}
svg {display: block; margin: 0 auto}
.room {fill: none; stroke: #000; stroke-width: 0.6}
.cutout {fill: #ddd; stroke: #000; stroke-width: 0.3}
.walk {fill: none; stroke: #888; stroke-width: 0.2}
.start {fill: none; stroke: #000; stroke-width: 0.4}
text {font-size: 3px; text-anchor: middle; dominant-baseline: middle}
.zero {stroke: #000; stroke-width: 0.4}
section {break-inside: avoid}
.grid {table-layout: fixed}
.grid th {font-weight: normal; font-size: 8.5pt; width: 18mm; padding: 0.5mm}
.grid tr > th:first-child {width: 21mm; text-align: right; padding-right: 1.5mm}
.grid td {border: 0.3mm solid #000; width: 18mm; height: 12.5mm; vertical-align: top;
  padding: 0.4mm 0.8mm}
.grid i {font-style: normal; font-size: 7pt; color: #555}
.grid .off {vertical-align: middle; text-align: center; color: #999; border-color: #bbb}
"""
