"""Straightedge placements: gaps read along a bar that lies between two places.

One row for each gap. `bar` names the placement; `x1`, `y1` and `x2`, `y2` are its two ends on the
plan, or `x1`, `y1`, `toward` and `length` its start, the way it points and how far; they are
written on the placement's first row and may be left blank on the rows below. `at` is how far from
the start the gap was read, `gap` from the bar down to the floor. `block` is the height of the two
equal blocks the bar stood on at its ends, taken off the gap; blank where the bar rests freely.
A row with neither `at` nor `gap` is of a placement that was not read. The table's `bow` is how high
the bar's own arch stands at its middle, taken off every gap by its place along the bar.
"""

import math
from dataclasses import dataclass

from flatcheck.errors import SurveyError
from flatcheck.fields import quoted
from flatcheck.language import say
from flatcheck.readers.columns import Row, far_end, rows_of, said_length
from flatcheck.survey import Gap, Table
from flatcheck.units import format_distance, typed_style

KIND = "gaps"
OPTIONS = ("bow",)

NEEDED = ("bar", "at", "gap")
OPTIONAL = ("x1", "y1", "x2", "y2", "toward", "length", "block", "note")

ENDS = ("x1", "y1", "x2", "y2", "toward", "length")

OVER_MM = 1.0
"""A station this little beyond the end of the bar is at its end: a tape is no better [mm]."""

FOOT_U = 4.0
"""How many u a gap read at a block may differ from the block's height."""

MOST_BOW_MM = 10.0
"""A bar with a higher arch is no straightedge, or its bow is in another unit [mm].

Common practice, no source.
"""


@dataclass(frozen=True)
class _Placement:
    """Where a bar lies from end to end, and the height of the blocks under it, None without."""

    start: tuple[float, float]
    end: tuple[float, float]
    block_mm: float | None

    @property
    def length_mm(self) -> float:
        return math.dist(self.start, self.end)


def read(table: Table) -> tuple[Gap, ...]:
    """The gaps of all placements, in order.

    Raises SurveyError naming the cell for a bar without ends, with its far end given in two ways
    or with both ends in one place, for a bar that rests in one row and stands on blocks in another,
    for a station off the bar, and for a gap below zero or longer than the bar.
    """
    bow_mm = said_length(table, "bow", table.unit) or 0.0
    if abs(bow_mm) > MOST_BOW_MM:
        raise SurveyError(
            say(
                "table {table}: bow was expected to be the arch of a straightedge, at most "
                "{most:g} mm high at its middle; {bow:,.0f} mm is none.",
                table=table.name,
                most=MOST_BOW_MM,
                bow=bow_mm,
            )
        )
    laid: dict[str, _Placement] = {}
    gaps: list[Gap] = []
    for row in rows_of(table, say("a table of gaps"), NEEDED, OPTIONAL):
        name = row.text("bar")
        if not name:
            raise row.error("bar", say("the bar has no name; rows of one placement share a name."))
        block_mm = _block(row)
        if any(row.text(column) for column in ENDS):
            ends = _ends(row)
            known = laid.setdefault(name, _Placement(*ends, block_mm))
            if (known.start, known.end) != ends:
                raise row.error(
                    "bar",
                    say(
                        "the bar {bar} was laid elsewhere above; give it another name.",
                        bar=quoted(name),
                    ),
                )
        if name not in laid:
            raise row.error(
                "bar",
                say("the bar {bar} has no ends yet; write x1, y1, x2 and y2.", bar=quoted(name)),
            )
        if laid[name].block_mm != block_mm:
            raise row.error(
                "block" if "block" in row.at else "gap",
                say(
                    "the bar {bar} stands on two equal blocks in all its rows, or in none; a bar "
                    "laid anew has another name.",
                    bar=quoted(name),
                ),
            )
        if not row.text("at") and not row.text("gap"):
            continue  # where a bar was to lie that nobody read, as on the sheet of a sample
        gap = _gap(row, laid[name], bow_mm)
        if block_mm is not None and _at_foot(gap, laid[name]):
            if abs(gap.gap_mm) > FOOT_U * gap.u_mm:
                raise row.error("gap", say("at its foot the bar is as high as the block, no more."))
            continue  # the foot of the bar: the block's own height, which says nothing of the floor
        gaps.append(gap)
    if not gaps:
        raise SurveyError(say("{table} holds no gaps between the feet of a bar.", table=table.name))
    return tuple(gaps)


def _ends(row: Row) -> tuple[tuple[float, float], tuple[float, float]]:
    start = row.place("x1", "y1")
    if row.text("toward") or row.text("length"):
        for column in ("x2", "y2"):
            if row.text(column):
                raise row.error(
                    column,
                    say(
                        "{cell} gives the far end of the bar a second time; write x2 and y2, or "
                        "toward and length.",
                        cell=quoted(row.text(column)),
                    ),
                )
        length = row.length("length", row.table.offset_unit)
        if not length > 0:
            raise row.error("length", say("a bar was expected to have a length larger than zero."))
        end = far_end(row, start, "toward", length)
    else:
        end = row.place("x2", "y2")
    if math.dist(start, end) < 2 * OVER_MM:
        raise row.error(
            "bar",
            say("both ends of the bar {bar} are at one place.", bar=quoted(row.text("bar"))),
        )
    return start, end


def _block(row: Row) -> float | None:
    if not row.text("block"):
        return None
    block = row.length("block", row.table.unit)
    if not block > 0:
        raise row.error(
            "block",
            say(
                "{cell!r} is no height of a block; leave the cell blank where the bar rests on "
                "the floor.",
                cell=row.text("block"),
            ),
        )
    return block


def _gap(row: Row, bar: _Placement, bow_mm: float) -> Gap:
    table, length = row.table, bar.length_mm
    along = row.length("at", table.offset_unit)
    if not -OVER_MM <= along <= length + OVER_MM:
        style = typed_style([row.text("at")], table.offset_unit)
        long = format_distance(length, style)
        raise row.error(
            "at",
            say(
                "{cell!r} is off the bar, which is {length} long.", cell=row.text("at"), length=long
            ),
        )
    gap = row.length("gap", table.unit)
    if gap > length:
        raise row.error("gap", say("the gap {gap!r} is longer than the bar.", gap=row.text("gap")))
    if gap < 0:
        raise row.error(
            "gap",
            say("{gap!r} is below zero; the floor is never above the bar.", gap=row.text("gap")),
        )
    along = min(max(along, 0.0), length)
    share = along / length
    return Gap(
        start=bar.start,
        end=bar.end,
        along_mm=along,
        gap_mm=gap - (bar.block_mm or 0.0) - 4 * share * (1 - share) * bow_mm,
        u_mm=table.u_mm,
        placement=f"{table.name} {row.text('bar')}",
        block_mm=bar.block_mm,
        where=row.where("gap"),
        text=row.text("gap"),
        unit=table.unit,
    )


def _at_foot(gap: Gap, bar: _Placement) -> bool:
    return min(gap.along_mm, bar.length_mm - gap.along_mm) <= OVER_MM
