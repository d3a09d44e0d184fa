"""A plan on paper: SVG to scale, and a self-contained page that prints and asks no network."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from html import escape
from itertools import groupby

import numpy as np
import numpy.typing as npt

from flatcheck.language import SPOKEN
from flatcheck.places import wall_called
from flatcheck.room import Room, ring_area, wall_names

Floats = npt.NDArray[np.float64]
At = Sequence[float] | Floats

RIM_MM = 16.0
"""The margin on each side of a plan, for heights and the names of walls [mm]."""


MOST_LABELS = 120
"""More depths than this are not written on a plan."""


@dataclass(frozen=True)
class Paper:
    """A plan of places from `low` to `high` [mm] within `size` [mm of paper], north at the top."""

    low: Floats
    high: Floats
    size: tuple[float, float] = (176.0, 150.0)
    rim: float = RIM_MM
    scale: float = field(init=False)

    def __post_init__(self) -> None:
        fits = float(np.min((np.array(self.size) - 2 * self.rim) / (self.high - self.low)))
        object.__setattr__(self, "scale", fits)

    def at(self, place: At) -> tuple[float, float]:
        """Where a place lies on the paper, from its upper left [mm]."""
        x, y = (np.asarray(place) - self.low) * self.scale + self.rim
        height = (self.high - self.low)[1] * self.scale + 2 * self.rim
        return round(float(x), 2), round(float(height - y), 2)

    def line(self, kind: str, places: Sequence[At], closed: bool = False) -> str:
        """A line or outline through places, of a class of the page's style."""
        points = " ".join(f"{x},{y}" for x, y in map(self.at, places))
        return f'<{"polygon" if closed else "polyline"} class="{kind}" points="{points}"/>'

    def dot(self, place: At, radius: float = 0.6) -> str:
        """A dot at a place."""
        x, y = self.at(place)
        return f'<circle cx="{x}" cy="{y}" r="{radius}"/>'

    def on(self, paper: At) -> Floats:
        """The place that lies there on the paper; the inverse of `at`."""
        x, y = np.asarray(paper)
        height = (self.high - self.low)[1] * self.scale + 2 * self.rim
        place: Floats = self.low + (np.array([x, height - y]) - self.rim) / self.scale
        return place

    def label(
        self, place: At, off: At, words: str, upright: bool = False, begins: float = 0
    ) -> str:
        """Words beside a place, off by so much of paper to the right and up [mm].

        They stand about there, or begin (1) or end (-1) there.
        """
        x, y = self.at(place)
        x, y = round(x + float(off[0]), 2), round(y - float(off[1]), 2)
        turn = f' transform="rotate(-90 {x} {y})"' if upright else ""
        anchor = f' style="text-anchor:{"start" if begins > 0 else "end"}"' if begins else ""
        return f'<text x="{x}" y="{y}"{turn}{anchor}>{escape(words)}</text>'

    def area(self, kind: str, rings: Sequence[Sequence[At]]) -> str:
        """Polygons in one piece, so that no seam shows between them."""
        drawn = "".join(
            "M" + "L".join(f"{x} {y}" for x, y in map(self.at, ring)) + "Z" for ring in rings
        )
        return f'<path class="{kind}" d="{drawn}"/>' if drawn else ""

    def walls(self, corners: Floats, names: Sequence[str], away: float = RIM_MM * 0.7) -> list[str]:
        """The names of walls, each outside of the middle of its own, corners counter-clockwise."""
        drawn = []
        for name, p, q in zip(names, corners, np.roll(corners, -1, axis=0), strict=True):
            side = q - p
            out = np.array([side[1], -side[0]]) / np.hypot(*side) * away
            drawn.append(self.label((p + q) / 2, out, name, abs(side[1]) > abs(side[0])))
        return drawn

    def svg(self, drawn: Sequence[str], about: str) -> str:
        """The drawing, with words for who cannot see it."""
        width, height = (self.high - self.low) * self.scale + 2 * self.rim
        return (
            f'<svg width="{width:.1f}mm" height="{height:.1f}mm" viewBox="0 0 {width:.1f} '
            f'{height:.1f}" role="img" aria-label="{escape(about)}">{"".join(drawn)}</svg>'
        )


def walls_of(room: Room) -> tuple[Floats, list[str]]:
    """The corners of a room, counter-clockwise, with the name of the wall from each to the next."""
    corners: Floats = np.array(room.outline.corners_mm)
    names = [wall_called(name, room.upright) for name in wall_names(room)]
    if ring_area(corners) < 0:
        # Turned round, side k is the one that came before corner k.
        corners, names = corners[::-1], [*names[-2::-1], names[-1]]
    return corners, names


def plan_of(room: Room) -> tuple[Paper, list[str]]:
    """The paper for a plan of a room, and its outline, cutouts and named walls drawn on it."""
    corners, names = walls_of(room)
    paper = Paper(corners.min(axis=0), corners.max(axis=0))
    drawn = [paper.line("cutout", ring.corners_mm, closed=True) for ring in room.cutouts]
    drawn.append(paper.line("room", corners.tolist(), closed=True))
    return paper, drawn + ([] if room.assumed else paper.walls(corners, names))


def heading(words: str, level: int = 2) -> str:
    """The words as a heading of that level, escaped."""
    return f"<h{level}>{escape(words)}</h{level}>"


def paragraphs(said: Iterable[str], kind: str = "") -> str:
    """Sentences, each a paragraph, escaped."""
    shown = f" class={kind}" if kind else ""
    return "".join(f"<p{shown}>{escape(words)}</p>" for words in said)


def figure(drawn: str, words: str) -> str:
    """A drawing with the words below it, which are escaped."""
    return f"<figure>{drawn}<figcaption>{escape(words)}</figcaption></figure>"


def listed(said: Iterable[str]) -> str:
    """Sentences, and what is indented below them as lists; a number of its own in bold."""
    return "".join(
        f"<ul>{''.join(map(_item, lines))}</ul>" if below else paragraphs(lines)
        for below, lines in groupby(said, lambda words: words.startswith("  "))
    )


def _item(line: str) -> str:
    number, apart, words = line.strip().partition("  ")
    if not apart:
        return f"<li>{escape(number)}</li>"
    return f"<li><b>{escape(number)}:</b> {escape(words.strip())}</li>"


def page(title: str, body: str, style: str = "") -> str:
    """A page with a title around a body that is HTML already, with more style where it has any."""
    return f"""<!DOCTYPE html>
<html lang="{SPOKEN}">
<head>
<meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="default-src 'none'; style-src 'unsafe-inline'">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>{escape(title)}</title>
<style>{_CSS}{style}</style>
</head>
<body>
<h1>{escape(title)}</h1>
{body}
</body>
</html>
"""


_CSS = """
@page {margin: 12mm}
* {box-sizing: border-box}
body {font: 10pt/1.3 "Liberation Sans", Arial, Helvetica, sans-serif; color: #000; width: 184mm;
  max-width: 100%; margin: 0 auto; overflow-wrap: anywhere}
@media screen {body {margin: 12mm auto; padding: 0 4mm}}
h1 {font-size: 15pt; margin: 0 0 3mm}
h2 {font-size: 10pt; font-weight: normal; margin: 3mm 0 2mm}
section {break-after: page}
section:last-of-type {break-after: auto}
svg {display: block; margin: 0 auto; max-width: 100%; height: auto}
.room {fill: none; stroke: #000; stroke-width: 0.6}
.drain, .cutout {fill: #ccc; stroke: #000; stroke-width: 0.3}
.valley {stroke: #000; stroke-width: 0.3}
.ridge {stroke: #000; stroke-width: 0.3; stroke-dasharray: 1.5 1}
.flow {stroke: #555; stroke-width: 0.3}
.mark {fill: none; stroke: #000; stroke-width: 0.35}
.hold {fill: #fff; stroke: #000; stroke-width: 0.4}
text {font-size: 3.2px; text-anchor: middle; dominant-baseline: middle; paint-order: stroke;
  stroke: #fff; stroke-width: 1}
.walls {display: flex; flex-wrap: wrap; gap: 4mm 8mm; align-items: flex-start}
table {border-collapse: collapse; break-inside: avoid}
caption {text-align: left; font-weight: bold; padding: 1mm 0}
td, th {border: 0.2mm solid #999; padding: 0.5mm 2mm; text-align: right; font-weight: normal}
td.words, th.words {text-align: left}
"""
