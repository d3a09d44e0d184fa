"""Tiles as rigid plates: where they are sampled, where they face each other, how they are bowed.

A plate is a plane over its piece, and its bow besides. With s from 0 to 1 along the length of the
whole tile, a tile bowed by b at its middle stands 4 b s (1 - s) above the chord of its ends; cut,
it keeps its shape. Two aligned tiles meet at their ends; at an offset the corner of one meets the
edge of its neighbor at s = r, and stands 4 r (1 - r) b off it.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
import numpy.typing as npt
from scipy.sparse import csr_array

from flatcheck.room import in_ring

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]

SAMPLES = 5
"""A piece is looked at in so many rows and columns of places, its rim among them."""

RIM = 1e-6
"""A place this near to the outline of a piece, in half widths of it, lies on it."""


class Laid(Protocol):
    """What is asked of a laying: see `flatcheck.pattern.Laying`."""

    @property
    def corners_mm(self) -> Floats:
        """The corners of every whole tile, counter-clockwise (t, 4, 2)."""

    @property
    def pieces(self) -> Sequence[Sequence[tuple[float, float]]]:
        """The outline of each tile as cut."""

    @property
    def cut(self) -> Mask:
        """Which tiles are cut (t,)."""

    @property
    def joints_mm(self) -> Floats:
        """Segments along which two tiles face each other (j, 2, 2)."""

    @property
    def joint_tiles(self) -> Ints:
        """The tiles on both sides of each (j, 2)."""


@dataclass(frozen=True, eq=False)
class Plates:
    """t plates: p places on them and c places of j joints where two of them are compared.

    A plate has three unknowns: its height at the middle of its piece [mm] and its rise from there
    to the piece's rim along and across the tile [mm]. `owner` (p,) is the plate of each sampled
    place `xy_mm` (p, 2), `base` (p, 3) how the unknowns make its height there, `bow_mm` (p,) the
    bow. `step` (j k, 3 t) makes the steps at k = `places` places along each of j joints from the
    unknowns, first tile less second; `bow_step_mm` (j k,) is what the bows add. `area_mm2` (t,) is
    the area of each piece, `middle_mm` (t, 2) the middle of its box. The places of the `whole`
    tiles come first, SAMPLES x SAMPLES of each.
    """

    owner: Ints
    xy_mm: Floats
    base: Floats
    bow_mm: Floats
    step: csr_array
    bow_step_mm: Floats
    places: int
    area_mm2: Floats
    middle_mm: Floats
    whole: int

    @property
    def count(self) -> int:
        return len(self.area_mm2)

    @property
    def matrix(self) -> csr_array:
        """How the unknowns of all plates (3 t,) make the heights at the places (p,)."""
        return blocks(self.owner, self.base, self.count)


def plates(laying: Laid, bow_mm: float = 0.0) -> Plates:
    """The plates of a laying, each tile bowed by `bow_mm` at its middle, positive where high.

    The bow is that of the longest tile along its length; a shorter tile has the same curvature.
    A joint is compared at its ends, with bowed tiles at its middle too: between them two planes
    differ by no more than there.
    """
    corners = np.asarray(laying.corners_mm, dtype=float)
    start, along, across = corners[:, 0], corners[:, 1] - corners[:, 0], corners[:, 3]
    across = across - start
    turned = np.hypot(*across.T) > np.hypot(*along.T) + RIM
    along[turned], across[turned] = across[turned], along[turned].copy()
    length = np.hypot(*along.T)
    bow = bow_mm * (length / length.max(initial=1.0)) ** 2

    def local(tile: Ints, xy: Floats) -> Floats:
        """Where places lie in their tile: 0 to 1 along and across."""
        off = xy - start[tile]
        return np.column_stack(
            [np.sum(off * e[tile], axis=1) / np.sum(e[tile] ** 2, axis=1) for e in (along, across)]
        )

    sizes = np.array([len(piece) for piece in laying.pieces], dtype=np.int64)
    of = np.repeat(np.arange(len(sizes)), sizes)
    outline = np.array([xy for piece in laying.pieces for xy in piece], dtype=float).reshape(-1, 2)
    rim = local(of, outline)
    low, high = np.full((len(sizes), 2), np.inf), np.full((len(sizes), 2), -np.inf)
    np.minimum.at(low, of, rim)
    np.maximum.at(high, of, rim)
    middle, half = (low + high) / 2, (high - low) / 2

    def row(tile: Ints, xy: Floats) -> tuple[Floats, Floats]:
        """How the unknowns of a tile make its height at places, and its bow there."""
        where = local(tile, xy)
        unit = (where - middle[tile]) / half[tile]
        s = where[:, 0]
        return np.column_stack((np.ones(len(xy)), unit)), 4 * bow[tile] * s * (1 - s)

    owner, unit = _sampled(of, (rim - middle[of]) / half[of], np.asarray(laying.cut, dtype=bool))
    where = middle[owner] + unit * half[owner]
    xy = start[owner] + where[:, :1] * along[owner] + where[:, 1:] * across[owner]
    base, own_bow = row(owner, xy)

    shares = np.array([0.0, 0.5, 1.0] if bow_mm else [0.0, 1.0])
    joints = np.asarray(laying.joints_mm, dtype=float).reshape(-1, 2, 2)
    faces = joints[:, :1] + shares[:, None] * (joints[:, 1:] - joints[:, :1])
    first, second = np.repeat(np.asarray(laying.joint_tiles).reshape(-1, 2), len(shares), axis=0).T
    one, one_bow = row(first, faces.reshape(-1, 2))
    two, two_bow = row(second, faces.reshape(-1, 2))
    step = blocks(first, one, len(sizes)) - blocks(second, two, len(sizes))
    x, y = outline.T
    nxt = _following(sizes)
    doubled = np.bincount(of, x * y[nxt] - x[nxt] * y, len(sizes))
    return Plates(
        owner,
        xy,
        base,
        own_bow,
        csr_array(step),
        one_bow - two_bow,
        len(shares),
        np.abs(doubled) / 2,
        start + middle[:, :1] * along + middle[:, 1:] * across,
        int(np.count_nonzero(~np.asarray(laying.cut, dtype=bool))),
    )


def lowest(laid: Plates, values: Floats) -> Mask:
    """Which places (p,) bound a plane that may nowhere exceed `values` (p,).

    A place no lower than the middle between two others that lie opposite on the net is implied by
    them: it is no corner of the lower hull. Places of cut tiles all count.
    """
    needed = np.ones(len(values), dtype=bool)
    net = values[: laid.whole * SAMPLES**2].reshape(-1, SAMPLES, SAMPLES)
    count = needed[: laid.whole * SAMPLES**2].reshape(-1, SAMPLES, SAMPLES)
    half = SAMPLES // 2
    for a in range(half + 1):
        for b in range(-half, half + 1):
            if (a, b) > (0, 0):
                rows, columns = slice(a, SAMPLES - a), slice(abs(b), SAMPLES - abs(b))
                one = net[:, : SAMPLES - 2 * a, max(-2 * b, 0) : SAMPLES - max(2 * b, 0)]
                two = net[:, 2 * a :, max(2 * b, 0) : SAMPLES + min(2 * b, 0)]
                count[:, rows, columns] &= net[:, rows, columns] < (one + two) / 2
    return needed


def blocks(owner: Ints, rows: Floats, count: int) -> csr_array:
    """Rows (p, 3) of three unknowns of their owner (p,) as a matrix (p, 3 count)."""
    columns = 3 * owner[:, None] + np.arange(3)
    starts = 3 * np.arange(len(owner) + 1)
    return csr_array((rows.ravel(), columns.ravel(), starts), shape=(len(owner), 3 * count))


def _following(sizes: Ints) -> Ints:
    """For outlines one after another, which corner comes after each."""
    after = np.arange(1, sizes.sum() + 1)
    ends = np.cumsum(sizes)
    after[ends - 1] = ends - sizes
    return after


def _sampled(of: Ints, outline: Floats, cut: Mask) -> tuple[Ints, Floats]:
    """Where plates are sampled: the plate and the place in its box, -1 to 1.

    A whole tile on an even net from rim to rim; a cut one on what of the net lies on it, and at
    its corners.
    """
    line = np.linspace(-1, 1, SAMPLES)
    net = np.array([(u, v) for u in line for v in line])
    whole = np.flatnonzero(~cut)
    owners = [np.repeat(whole, len(net))]
    units = [np.tile(net, (len(whole), 1))]
    starts = np.searchsorted(of, np.arange(len(cut) + 1))
    for tile in np.flatnonzero(cut).tolist():
        ring = outline[starts[tile] : starts[tile + 1]]
        held = net[in_ring(ring, net, RIM)]
        apart = np.abs(ring[:, None] - held[None]).max(axis=2).min(axis=1, initial=1.0) > RIM
        some = np.concatenate((held, ring[apart]))
        owners.append(np.full(len(some), tile))
        units.append(some)
    return np.concatenate(owners).astype(np.int64), np.concatenate(units)
