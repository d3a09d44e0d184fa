"""Straightedge placements: gaps read along a bar that lies between two places.

One row for each gap. `bar` names the placement; `x1`, `y1` and `x2`, `y2` are its two ends on the
plan, or `x1`, `y1`, `toward` and `length` its start, the way it points and how far; they are
written on the placement's first row and may be left blank on the rows below. `at` is how far from
the start the gap was read, `gap` from the bar down to the floor. `block` is the height of the two
equal blocks the bar stood on at its ends, taken off the gap; blank where the bar rests freely.
The table's `bow` is how high the bar's own arch stands at its middle, taken off every gap by its
place along the bar.
"""

import math

from flatcheck.errors import SurveyError, UnitsError
from flatcheck.readers.columns import Row, far_end, rows_of
from flatcheck.survey import Gap, Table
from flatcheck.units import parse_length

KIND = "gaps"
OPTIONS = ("bow",)

NEEDED = ("bar", "at", "gap")
OPTIONAL = ("x1", "y1", "x2", "y2", "toward", "length", "block", "note")

ENDS = ("x1", "y1", "x2", "y2", "toward", "length")

OVER_MM = 1.0
"""A station this little beyond the end of the bar is at its end: a tape is no better [mm]."""


FOOT_U = 4.0
"""How many u a gap read at a block may differ from the block's height."""


def read(table: Table) -> tuple[Gap, ...]:
    """The gaps of all placements, in order.

    Raises SurveyError naming the cell for a bar without ends or with both ends in one place, a
    station off the bar, and a gap longer than the bar.
    """
    laid: dict[str, tuple[tuple[float, float], tuple[float, float]]] = {}
    gaps: list[Gap] = []
    for row in rows_of(table, "a table of gaps", NEEDED, OPTIONAL):
        name = row.text("bar")
        if not name:
            raise row.error("bar", "the bar has no name; rows of one placement share a name.")
        if any(row.text(column) for column in ENDS):
            ends = _ends(row)
            if laid.setdefault(name, ends) != ends:
                raise row.error(
                    "bar", f"the bar {name!r} was laid elsewhere above; give it another name."
                )
        if name not in laid:
            raise row.error("bar", f"the bar {name!r} has no ends yet; write x1, y1, x2 and y2.")
        start, end = laid[name]
        gap = _gap(row, name, start, end)
        if (
            gap.block_mm is not None
            and min(gap.along_mm, math.dist(start, end) - gap.along_mm) <= OVER_MM
        ):
            if abs(gap.gap_mm) > FOOT_U * gap.u_mm:
                raise row.error("gap", "at its foot the bar is as high as the block, no more.")
            continue  # the foot of the bar: the block's own height, which says nothing of the floor
        gaps.append(gap)
    if not gaps:
        raise SurveyError(f"{table.name} holds no gaps between the feet of a bar.")
    return tuple(gaps)


def _ends(row: Row) -> tuple[tuple[float, float], tuple[float, float]]:
    start = row.place("x1", "y1")
    if row.text("toward") or row.text("length"):
        end = far_end(row, start, "toward", row.length("length", row.table.offset_unit))
    else:
        end = row.place("x2", "y2")
    if math.dist(start, end) < 2 * OVER_MM:
        raise row.error("bar", f"both ends of the bar {row.text('bar')!r} are at one place.")
    return start, end


def _bow(table: Table) -> float:
    written = dict(table.options).get("bow", "0 mm")
    try:
        return parse_length(str(written), table.unit)
    except UnitsError as error:
        raise SurveyError(f"table {table.name}: bow: {error}") from None


def _gap(row: Row, name: str, start: tuple[float, float], end: tuple[float, float]) -> Gap:
    table, length = row.table, math.dist(start, end)
    along = row.length("at", table.offset_unit)
    if not -OVER_MM <= along <= length + OVER_MM:
        raise row.error("at", f"{row.text('at')!r} is off the bar, which is {length:.0f} mm long.")
    gap = row.length("gap", table.unit)
    if abs(gap) > length:
        raise row.error("gap", f"the gap {row.text('gap')!r} is longer than the bar.")
    block = row.length("block", table.unit) if row.text("block") else None
    if block is None and gap < 0:
        raise row.error(
            "gap", f"{row.text('gap')!r} is below zero; a bar that rests is never under the floor."
        )
    along = min(max(along, 0.0), length)
    share = along / length
    return Gap(
        start=start,
        end=end,
        along_mm=along,
        gap_mm=gap - (block or 0.0) - 4 * share * (1 - share) * _bow(table),
        u_mm=table.u_mm,
        placement=f"{table.name} {name}",
        block_mm=block,
        where=row.where("gap"),
        text=row.text("gap"),
        unit=table.unit,
    )
