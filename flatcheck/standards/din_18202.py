"""Germany: flatness by the distance between measuring points, table 3, and angles, table 2.

Each row comes as two grades. Plain ("3"): the bar lies on two high points, and the limit goes with
the distance between these, not with the length of the bar. By grid ("3-grid"): heights on a grid,
each compared with the mean of its neighbors; the limit goes with the distance between these.
"""

from typing import NamedTuple

from flatcheck.rules import Citation, Grade, Limit, Rule, Standard

_SPANS_MM = (100.0, 1000.0, 4000.0, 10000.0, 15000.0)

_GRID_MM = 1000.0


class _Row(NamedTuple):
    """One row of table 3: limits [mm] at the distances `_SPANS_MM`, and how sure we are of it."""

    id: str
    use: str
    limits_mm: tuple[float, ...]
    certainty: str
    also_seen: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    on: str = "floor"
    variant: str = ""
    disputed: str = ""


_ROW_4 = (
    "Pages disagree at 1 m: the handbook prints 3 mm (din-18202:4), a planning office 2 mm "
    "(din-18202:4-2mm)."
)
_ROW_5 = (
    "Two German pages print 25 and 30 mm at 10 and 15 m (din-18202:5), one English transcription "
    "20 and 25 mm (din-18202:5-20mm)."
)

_ROWS = (
    _Row(
        "3",
        "finished floors: screeds to take coverings, floor coverings, tile, filled and bonded "
        "coverings",
        (2, 4, 10, 12, 15),
        "agreed",
        ("a planning office's page", "a screed firm's page"),
    ),
    _Row(
        "1",
        "unfinished tops of slabs, sub-concrete and sub-floors",
        (10, 15, 20, 25, 30),
        "single source",
    ),
    _Row(
        "2",
        "unfinished tops of slabs, higher demands (to take screeds, industrial floors, tile in a "
        "mortar bed); finished surfaces for minor purposes",
        (5, 8, 12, 15, 20),
        "agreed",
        ("a planning office's page",),
        (
            "The row is split into 2a and 2b since 2013 (the split is from memory); here it is "
            "one row.",
            "The handbook prints 12 mm at 3.5 m, where the straight line gives 11.33 mm.",
        ),
    ),
    _Row(
        "4",
        "finished floors, higher demands",
        (1, 3, 9, 12, 15),
        "single source",
        ("a planning office's page (all but 1 m)",),
        disputed=_ROW_4,
    ),
    _Row(
        "4",
        "finished floors, higher demands, with 2 mm at 1 m",
        (1, 2, 9, 12, 15),
        "single source",
        ("a planning office's page (for 1 m)",),
        variant="-2mm",
        disputed=_ROW_4,
    ),
    _Row(
        "5",
        "unfinished walls and undersides of raw slabs",
        (5, 10, 15, 25, 30),
        "agreed",
        ("a block maker's page",),
        on="wall",
        disputed=_ROW_5,
    ),
    _Row(
        "5",
        "unfinished walls and undersides of raw slabs, with 20 and 25 mm at 10 and 15 m",
        (5, 10, 15, 20, 25),
        "single source",
        ("an English transcription (for 10 and 15 m)",),
        on="wall",
        variant="-20mm",
        disputed=_ROW_5,
    ),
    _Row(
        "6",
        "finished walls and ceilings",
        (3, 5, 10, 20, 25),
        "agreed",
        ("a building expert's page (edition 2019-07)",),
        on="wall",
    ),
    _Row(
        "7",
        "finished walls and ceilings, higher demands",
        (2, 3, 8, 15, 20),
        "single source",
        notes=("The handbook prints 2 mm at 0.6 m, where the straight line gives 2.56 mm.",),
        on="wall",
    ),
)

_HANDBOOK = "ZDB screed and covering handbook extract, deploy.doczz.net/doc/5839552"

_TABLE_NOTE = (
    "Between the printed distances the limit follows the straight line, in whole millimeters; "
    "beyond 15 m the value at 15 m holds. The table starts at 0.1 m; below that its first value is "
    "used here. Unchanged since the edition of 1997, as far as seen; only row 6 was seen under the "
    "name of the 2019-07 edition."
)

_BAR_NOTE = (
    "No page seen gives a spacing of readings that may stand in for the bar; that of the usual "
    "grid, 1 m, is taken here. On it dips shorter than 2 m can be missed."
)

_GRID_NOTE = (
    "The usual grid is 1 m, so that neighbors are 2 m apart (two German planning "
    "offices). On the same floor the grid and the bar may give different results."
)

_BAR_WORDS = "No depth under a bar resting on two high points over {steps} between them"
_GRID_WORDS = "No height on a grid off the mean of its two neighbors by over {steps} between them"


def _rule(row: _Row, name: str, measure: str, words: str, note: str) -> Rule:
    anchors = tuple(zip(_SPANS_MM, row.limits_mm, strict=True))
    steps = ", ".join(f"{limit:g} mm at {span / 1000:g} m" for span, limit in anchors)
    return Rule(
        id=name,
        measure=measure,
        length_mm=None,
        limit=Limit(anchors, whole_mm=True),
        words=f"{words.format(steps=steps)}; in between by the straight line, in whole mm.",
        citation=Citation(
            document="DIN 18202",
            edition="2019-07",
            clause=f"table 3, row {row.id}",
            source="; ".join((_HANDBOOK, *row.also_seen)),
            certainty=row.certainty,
            note=" ".join((*row.notes, note, _TABLE_NOTE)),
        ),
        pitch_mm=_GRID_MM,
    )


def _by_bar(row: _Row) -> Grade:
    rule = _rule(row, "bar", "resting", _BAR_WORDS, _BAR_NOTE)
    title = f"Row {row.id}, {row.use}"
    return Grade(f"{row.id}{row.variant}", title, (rule,), row.on, row.disputed)


def _by_grid(row: _Row) -> Grade:
    rule = _rule(row, "grid", "neighbors", _GRID_WORDS, _GRID_NOTE)
    title = f"Row {row.id} by grid, {row.use}"
    return Grade(f"{row.id}{row.variant}-grid", title, (rule,), row.on, row.disputed)


_ANGLES_MM = (
    (500.0, 3.0),
    (1000.0, 6.0),
    (3000.0, 8.0),
    (6000.0, 12.0),
    (15000.0, 16.0),
    (30000.0, 20.0),
)
"""Table 2: up to each length so much off level [mm]."""

_ANGLE = Rule(
    id="angle",
    measure="lean",
    length_mm=None,
    limit=Limit(_ANGLES_MM, stepped=True),
    words="No line across the floor off its level or its fall by more than "
    + ", ".join(f"{limit:g} mm up to {span / 1000:g} m" for span, limit in _ANGLES_MM)
    + ".",
    citation=Citation(
        document="DIN 18202",
        edition="2019-07",
        clause="table 2",
        source="beaplan.de",
        certainty="single source",
        note="The page prints 30 mm for lengths over 30 m; the 20 mm up to 30 m are kept there "
        "here, which is stricter. The length is taken from the first to the last reading of a "
        "line.",
    ),
    pitch_mm=_GRID_MM,
)


STANDARD = Standard(
    id="din-18202",
    title="DIN 18202 flatness and angles",
    region="Germany",
    grades=(
        *map(_by_bar, _ROWS),
        *map(_by_grid, _ROWS),
        Grade("angle", "Table 2, angles of floors", (_ANGLE,)),
    ),
)
