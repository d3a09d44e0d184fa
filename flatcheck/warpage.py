"""How flat is the tile itself: bow and twist of tiles measured on a bench, or one against another.

A departure is positive where the face is high: a tile with a crown has a positive center.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from flatcheck.errors import SurveyError
from flatcheck.language import say
from flatcheck.tile import Bow, Tile, longest_edge

CALLED = {"edge": say("edge"), "diagonal": say("diagonal"), "twist": say("twist")}
"""What of a face may depart: the middle of an edge, the center, a fourth corner."""

PARTS = tuple(CALLED)

NEARLY = 0.1
"""An edge that differs from the nominal one by more than this share is a slip of the pen."""

MOST_PAIRS = 500
"""More pairs than this nobody holds against each other by hand."""


@dataclass(frozen=True)
class Face:
    """Heights of a tile's face over any flat reference [mm].

    `corners_mm` go around the tile; `edges_mm` are the middles of its edges, the first between
    corners 1 and 2; `center_mm` is its middle.
    """

    corners_mm: tuple[float, float, float, float]
    edges_mm: tuple[float, float, float, float]
    center_mm: float


@dataclass(frozen=True)
class Warpage:
    """What a face departs by [mm], each by the definitions of ISO 10545-2.

    `edges_mm` are the middles of the edges from the line through their two corners; `diagonals_mm`
    the center from the line through two opposite corners, which lies in the plane of any three
    corners that hold both. `twist_mm` is the fourth corner from the plane of the other three.
    """

    edges_mm: tuple[float, float, float, float]
    diagonals_mm: tuple[float, float]
    twist_mm: float


@dataclass(frozen=True, slots=True)
class Bench:
    """One tile measured by itself on a flat bench: its face, its edges where they were measured.

    Edges 1 and 3 of the face are the tile's length, 2 and 4 its width; `size_mm` are length and
    width [mm], None where not measured. `u_mm` is the standard uncertainty of one height.
    """

    tile: str
    face: Face
    size_mm: tuple[float | None, float | None]
    u_mm: float
    where: str
    text: str


@dataclass(frozen=True, slots=True)
class Pair:
    """Two tiles held face to face: how far their longest edges stand apart in the middle [mm].

    Below zero where they touch in the middle: half of what they stand apart at both ends together.
    """

    one: str
    two: str
    gap_mm: float
    u_mm: float
    where: str
    text: str


@dataclass(frozen=True, slots=True)
class Departure:
    """One of the PARTS of a tile that departs by `value_mm`, judged over a length of `over_mm`."""

    tile: str
    part: str
    over_mm: float
    value_mm: float
    u_mm: float
    where: str


def warpage(face: Face) -> Warpage:
    """How is this tile bowed and twisted?

    Edge i: e - (z_i + z_j) / 2; diagonals: c - (z1 + z3) / 2 and c - (z2 + z4) / 2; twist:
    z4 - (z1 + z3 - z2). ISO 10545-2, center as read in the opening of AS ISO 10545.2:2020, edge
    and warpage from memory.
    """
    z = face.corners_mm
    edges = tuple(face.edges_mm[i] - (z[i] + z[(i + 1) % 4]) / 2 for i in range(4))
    diagonals = (face.center_mm - (z[0] + z[2]) / 2, face.center_mm - (z[1] + z[3]) / 2)
    return Warpage(
        edges_mm=(edges[0], edges[1], edges[2], edges[3]),
        diagonals_mm=diagonals,
        twist_mm=z[3] - (z[0] + z[2] - z[1]),
    )


def departures(tile: Tile, measured: Sequence[Bench | Pair]) -> tuple[Departure, ...]:
    """Everything that tiles of one box depart by: of those on a bench, then of those in pairs.

    A middle less the mean of two corners has u = √1.5 of one height, the twist, of four, twice it.
    Center and twist go by the diagonal of the tile.

    Raises SurveyError as `pair_bows` does.
    """
    found = []
    sides = (tile.length_mm, tile.width_mm) * 2
    diagonal = math.hypot(tile.length_mm, tile.width_mm)
    for seen in measured:
        if not isinstance(seen, Bench):
            continue
        bent, u = warpage(seen.face), math.sqrt(1.5) * seen.u_mm
        found += [
            Departure(seen.tile, "edge", side, value, u, seen.where)
            for side, value in zip(sides, bent.edges_mm, strict=True)
        ]
        found += [
            Departure(seen.tile, "diagonal", diagonal, value, u, seen.where)
            for value in bent.diagonals_mm
        ]
        twist = bent.twist_mm, 2 * seen.u_mm
        found.append(Departure(seen.tile, "twist", diagonal, *twist, seen.where))
    pairs = [seen for seen in measured if isinstance(seen, Pair)]
    if pairs:
        found += [
            Departure(name, "edge", longest_edge(tile), *bow, pairs[0].where)
            for name, bow in pair_bows(pairs).items()
        ]
    return tuple(found)


def pair_bows(pairs: Sequence[Pair]) -> dict[str, tuple[float, float]]:
    """The bow of each tile that was held against others, face to face, and its uncertainty [mm].

    Two hollow faces that touch at their ends stand as far apart in the middle as both are hollow,
    so a gap is minus the sum of both bows; least squares over all pairs, each by its own
    uncertainty. Three tiles in all three pairs tell each: a = -(ab + ac - bc) / 2, with
    u = √3/2 of one gap.

    Raises SurveyError for too many pairs, and naming a tile that the pairs do not tell.
    """
    if len(pairs) > MOST_PAIRS:
        raise SurveyError(
            say(
                "{count:,} pairs of tiles are more than the {most} read.",
                count=len(pairs),
                most=MOST_PAIRS,
            )
        )
    names = list(dict.fromkeys(name for pair in pairs for name in (pair.one, pair.two)))
    weights = np.array([1 / pair.u_mm for pair in pairs])
    forms = np.zeros((len(pairs), len(names)))
    for row, pair in zip(forms, pairs, strict=True):
        row[[names.index(pair.one), names.index(pair.two)]] = -1.0
    forms *= weights[:, None]
    _, size, ways = np.linalg.svd(forms)
    size = np.append(size, np.zeros(len(names) - len(size)))
    free = np.abs(ways[size < 1e-9 * size.max()]).max(axis=0, initial=0.0)
    if free.max(initial=0.0) > 1e-6:
        raise SurveyError(
            say(
                "tile {tile!r}: the pairs do not tell its bow from its partner's; hold three "
                "tiles against each other, in all three pairs.",
                tile=names[int(free.argmax())],
            )
        )
    inverse = np.linalg.pinv(forms)
    bows = inverse @ (weights * [pair.gap_mm for pair in pairs])
    u = np.sqrt((inverse**2).sum(axis=1))
    return dict(zip(names, zip(bows.tolist(), u.tolist(), strict=True), strict=True))


def bow_of(tile: Tile, found: Sequence[Departure]) -> Bow:
    """The bow of tiles that were measured, as a tile's record holds it [mm].

    Of its longest edges, and of its diagonals, the largest departure of any tile with its sign,
    zero for diagonals that nobody measured; the uncertainty is the largest of one departure.

    Raises SurveyError where no edge was measured.
    """
    edges = [one for one in found if one.part == "edge" and one.over_mm == longest_edge(tile)]
    if not edges:
        raise SurveyError(say("no tile was measured; lay at least one on a flat bench."))
    across = [one for one in found if one.part == "diagonal"]
    return Bow(
        max((one.value_mm for one in edges), key=abs),
        max((one.value_mm for one in across), key=abs, default=0.0),
        measured=True,
        u_mm=max(one.u_mm for one in (*edges, *across)),
    )


def variation(tile: Tile, measured: Sequence[Bench | Pair]) -> float | None:
    """How much the edges of the tiles vary [mm]: the larger of the spreads of length and width.

    None where fewer than two tiles had the same edge measured. Raises SurveyError naming a tile
    with an edge that is not nearly the nominal one.
    """
    spreads = []
    for k, nominal in enumerate((tile.length_mm, tile.width_mm)):
        known = []
        for seen in measured:
            size = seen.size_mm[k] if isinstance(seen, Bench) else None
            if size is None:
                continue
            if abs(size - nominal) > NEARLY * nominal:
                raise SurveyError(
                    say(
                        "{where}: an edge of {size:.0f} mm was measured where the tile's is "
                        "{nominal:.0f} mm; check its unit, and which edge is the length.",
                        where=seen.where,
                        size=size,
                        nominal=nominal,
                    )
                )
            known.append(size)
        if len(known) > 1:
            spreads.append(max(known) - min(known))
    return max(spreads, default=None)
