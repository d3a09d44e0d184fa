"""Tiles measured by themselves on a flat bench: one row for each tile of the box.

`sw`, `se`, `ne`, `nw` are the readings at its corners, `s`, `e`, `n`, `w` in the middle of its
edges and `center` at its middle; the tile lies with its length from `sw` to `se`. `sense` is as for
heights: a gap under a tile that lies face down, or under a straightedge on it, is larger where
the face is lower. `length` and `width` are its own edges, where they were measured.
"""

from flatcheck.language import say
from flatcheck.readers.columns import Row, rows_of
from flatcheck.survey import Table, height_from, sense_of
from flatcheck.warpage import Bench, Face

KIND = "bench"
OPTIONS = ("product",)

PLACES = ("sw", "se", "ne", "nw", "s", "e", "n", "w", "center")

MOST_APART_MM = 50.0
"""A face that spans more than this is a slip of the pen, such as a wrong unit [mm]."""


def read(table: Table) -> tuple[Bench, ...]:
    """The tiles, in order. Raises SurveyError naming the bad cell."""
    sense = sense_of(table)
    found: list[Bench] = []
    for row in rows_of(
        table, say("a table of tiles on a bench"), ("tile", *PLACES), ("length", "width", "note")
    ):
        name = row.text("tile")
        if not name:
            raise row.error("tile", say("the tile's name or number is missing."))
        if any(name == seen.tile for seen in found):
            raise row.error("tile", say("tile {tile!r} stands there twice.", tile=name[:40]))
        read_at = {}
        for place in PLACES:
            if not row.text(place):
                raise row.error(
                    place, say("a reading was expected; a tile on a bench has all nine.")
                )
            read_at[place] = row.length(place, table.unit)
        if max(read_at.values()) - min(read_at.values()) > MOST_APART_MM:
            raise row.error(
                "sw", say("the readings of one tile were expected to span less than 50 mm.")
            )
        a, b, c, d, e, f, g, h, middle = (height_from(sense, v) for v in read_at.values())
        found.append(
            Bench(
                name,
                Face((a, b, c, d), (e, f, g, h), middle),
                (_edge(row, "length"), _edge(row, "width")),
                table.u_mm,
                row.where("tile"),
                " ".join(row.text(place) for place in PLACES),
            )
        )
    return tuple(found)


def _edge(row: Row, name: str) -> float | None:
    """An edge of the tile [mm], None where it was not measured."""
    if not row.text(name):
        return None
    length = row.length(name, row.table.unit)
    if not length > 0:
        raise row.error(name, say("an edge was expected to be larger than zero."))
    return length
