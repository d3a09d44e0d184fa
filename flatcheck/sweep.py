"""The virtual straightedge over a raster: the worst gap under every placement of a bar along a row.

`flatcheck.straightedge` lists every bar on a survey of ordinary size; a scanned floor has millions
of placements, too many to list. Here each placement gives one answer: the upper convex hull of the
samples under the bar is where the bar can rest, and the worst gap is the deepest sample below it.

How it is found, exactly, at a cost that grows with the cells of the raster:

- A bar of m + 1 samples always covers the *seam* between two neighboring blocks of m samples, so
  its hull is three pieces: the hull of the end of the left block, the hull of the beginning of the
  right block, and one edge, the *bridge*, that crosses the seam.
- All ends of a block share one tree: the next contact of a sample, toward the seam, is the same
  whichever end it is part of. The right block seen in a mirror is a left block. So each block is a
  pair of *halves*, every half a run of m samples in the order that leads to the seam, and all of
  them go through the same few array operations together.
- While the bar slides over a seam it only loses samples on the left and gains samples on the
  right, so the slope of the bridge never falls. Placements are taken by halving: one between two
  that are known starts from their contacts, and is known at once when the two are the same.
- No chord of a window is ever above the hull of the window. So any edge that lies under the bar
  may take part in the maximum, and the two outer pieces become running maxima.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.intp]
Places = npt.NDArray[np.int32]

SAMPLES_AT_ONCE = 100_000
"""Seams are taken in parts of about this many samples, to stay in the cache of the processor."""

TABLE_CELLS = 16_384
"""The tables of samples under chords are at most about this large, for the same reason."""


@dataclass(frozen=True, eq=False)
class Sweep:
    """The worst gap under every placement; all arrays are (rows, placements).

    Placement j is the bar over samples j to j + samples - 1 of the row. `gap` is in the unit of the
    profiles, NaN where the bar does not lie wholly on floor. `at` is the sample in the row where
    the gap is, `left` and `right` are the two contacts of the bar around it; where several places
    are equally deep one is named, where more than two contacts are in line two of them are. All
    three are j where nothing is below the bar (the gap is 0) and -1 where the gap is NaN.
    """

    gap: Floats
    at: Places
    left: Places
    right: Places


def sweep(profiles: Floats, samples: int) -> Sweep:
    """The worst gap under a bar resting on high points, for all its placements along the rows.

    `profiles` (rows, n) are heights at equal spacing in any unit, NaN or infinite where there is no
    floor; the bar is `samples` samples long, both ends counted. Rows shorter than the bar have no
    placement. The gap is max(hull - profile) over the window, the hull being the upper convex hull
    of its samples: DIN 18202 and ACI 117 practice, as in `flatcheck.straightedge`. It depends
    neither on the spacing nor on any tilt or datum of the profile.

    Raises ValueError when the bar has fewer than 3 samples: it has no sample between its contacts.
    """
    if samples < 3:
        raise ValueError(f"a bar of {samples} samples has none between its ends, expected 3 up")
    rows, n = profiles.shape
    count = max(n - samples + 1, 0)
    block = samples - 1
    seams = -(-count // block)
    width = (seams + 1) * block
    floor = np.isfinite(profiles)
    # Heights over a distant datum would spend their digits on the datum.
    total = np.sum(profiles, axis=1, keepdims=True, where=floor)
    datum = total / np.maximum(floor.sum(axis=1, keepdims=True), 1)
    heights = np.zeros((rows, width))
    np.subtract(profiles, datum, out=heights[:, :n], where=floor)

    origin = np.arange(rows)[:, None] * width
    first = (origin + np.arange(0, seams * block, block)).ravel()
    gap = np.empty((len(first), block))
    places = np.empty((3, len(first), block), np.intp)
    size = max(SAMPLES_AT_ONCE // block, 1)
    for start in range(0, len(first), size):
        part = slice(start, start + size)
        gap[part], places[:, part] = _over_seams(heights.ravel(), first[part], block)

    gap = gap.reshape(rows, seams * block)[:, :count].copy()
    within = (places.reshape(3, rows, seams * block)[:, :, :count] - origin).astype(np.int32)
    np.copyto(within, np.arange(count, dtype=np.int32), where=gap == 0)
    holes = np.cumsum(np.pad(~floor, ((0, 0), (1, 0))), axis=1, dtype=np.int32)
    off_floor = holes[:, samples:] > holes[:, :count]
    gap[off_floor] = np.nan
    within[:, off_floor] = -1
    return Sweep(gap, *within)


def _over_seams(heights: Floats, first: Ints, block: int) -> tuple[Floats, Ints]:
    """Worst gap (seams, block) of the windows over each seam, and its places (3, seams, block).

    `heights` are all rows end to end, `first` the sample where the left block of a seam begins;
    window t of a seam begins t samples further on. Places are indices into `heights`.
    """
    seams = len(first)
    onward = np.arange(block)
    # One index for both halves of all seams: half 0 runs to the right, half 1 (mirrored) to the
    # left, so that in either a larger index is nearer to the seam.
    sample = np.stack((first[:, None] + onward, first[:, None] + 2 * block - 1 - onward)).ravel()
    z = heights.take(sample)
    contact, rise, reach = _next_contacts(z.reshape(-1, block))
    bridge = _bridges(z, contact, rise, block)

    # An edge shows in the hull of a window unless the bridge begins before it. The window that
    # reaches farthest out has the flattest bridge of all that hold the edge, seen from this side:
    # where even there the bridge begins first, no window needs the edge.
    begins = np.stack((bridge[0], bridge[1, :, ::-1])).ravel()
    index = np.arange(z.size)
    edge = np.flatnonzero((begins.take(reach) > index) & (contact > index + 1))

    bridge = bridge.reshape(2, -1)
    new = np.ones(bridge.shape[1], bool)
    new[1:] = (bridge[0, 1:] != bridge[0, :-1]) | (bridge[1, 1:] != bridge[1, :-1])
    ends = sample.take((np.append(edge, bridge[0, new]), np.append(contact[edge], bridge[1, new])))
    left, right = np.minimum(*ends), np.maximum(*ends)
    depth, at = _deepest(heights, left, right)

    # One chord more, with no gap, stands for having none.
    depth = np.append(depth, 0.0)
    chord = np.full(z.size, len(depth) - 1)
    chord[edge] = np.arange(len(edge))
    outer = _deepest_onward(depth, chord.reshape(2, seams, block))
    worst = outer[0].ravel()
    for other in (len(edge) + np.cumsum(new) - 1, outer[1, :, ::-1].ravel()):
        worst = np.where(depth.take(other) > depth.take(worst), other, worst)
    places = np.stack([np.append(of, 0).take(worst) for of in (at, left, right)])
    return depth.take(worst).reshape(seams, block), places.reshape(3, seams, block)


def _next_contacts(halves: Floats) -> tuple[Ints, Floats, Ints]:
    """The next contact of every sample on the upper hull of itself and all onward samples.

    For each sample of the halves (k, block), as an index into all of them: its next contact (itself
    for the last of a half), the slope to it (-inf for the last), and the first sample from which
    the hull still touches this one. Graham's scan, one step for all halves at once.
    """
    block = halves.shape[1]
    z = halves.ravel()
    contact = np.arange(z.size)
    rise = np.full(z.size, -np.inf)
    reach = np.repeat(np.arange(0, z.size, block), block)
    for step in range(block - 2, -1, -1):
        slope = halves[:, step + 1] - halves[:, step]
        contact[step::block] += 1
        rise[step::block] = slope
        # A neighbor below the line to its own next contact is no contact; nor may that one be.
        here = np.flatnonzero(rise[step + 1 :: block] > slope) * block + step
        there = here + 1
        while here.size:
            reach[there] = here + 1
            there = contact.take(there)
            slope = (z.take(there) - z.take(here)) / (there - here)
            contact[here] = there
            rise[here] = slope
            hidden = np.flatnonzero(rise.take(there) > slope)
            here, there = here.take(hidden), there.take(hidden)
    return contact, rise, reach


def _bridges(z: Floats, contact: Ints, rise: Floats, block: int) -> Ints:
    """The hull edge across the seam of every window: its ends in both halves (2, seams, block).

    Let A(p) and B(p) be the heights at the seam of the lines of slope p that rest on the left and
    on the right part of the window. A grows and B falls with p, and the bridge has the slope where
    they are equal. Two walkers start at the ends of the window and step from contact to contact.
    One may step when the edge before it does not fall below the chord between the two, unless that
    is so for the other as well and the line along the other's edge is higher at the seam: with A of
    the edge stepped over at least B there, its slope is at least that of the bridge. When neither
    may step nothing rises above their chord: it is the bridge.
    """
    half = np.arange(0, z.size, block).reshape(2, -1, 1)
    to_seam = block - 0.5 - np.arange(block)
    at_seam = (z.reshape(-1, block) + rise.reshape(-1, block) * to_seam).ravel()
    step = 1 << (block.bit_length() - 1)
    # Windows are numbered from 1; on either side of them are ends that no walker can agree with.
    bridge = np.full((2, half.shape[1], 2 * step + 1), -1)
    bridge[:, :, block + 1 :] = -2
    while step:
        window = np.arange(step, block + 1, 2 * step)
        before, after = bridge[:, :, window - step], bridge[:, :, window + step]
        ends = before.reshape(2, -1)
        todo = np.flatnonzero((before != after).any(axis=0))
        start = half + np.stack((window - 1, block - window))[:, None]
        walker = start.reshape(2, -1).take(todo, axis=1)
        # Past the end of a neighboring window that is shorter on this side, with a bridge that is
        # flatter as seen from here, a walker may go at once to where that bridge begins.
        gate = walker + step
        known = np.stack((after[0], before[1])).reshape(2, -1).take(todo, axis=1)
        span = walker[0] + walker[1] + block
        while todo.size:
            level = z.take(walker)
            slope = (level[1] - level[0]) / (span - walker[0] - walker[1])
            above = rise.take(walker) >= np.stack((slope, -slope))
            height = at_seam.take(walker)
            steps = above & ((height >= height[::-1]) | ~above[::-1])
            moves = steps[0] | steps[1]
            rests = np.flatnonzero(~moves)
            ends[:, todo.take(rests)] = walker.take(rests, axis=1)
            walker = np.where(steps, contact.take(walker), walker)
            walker = np.where(walker >= gate, np.maximum(walker, known), walker)
            go = np.flatnonzero(moves)
            todo, span = todo.take(go), span.take(go)
            walker, gate, known = (of.take(go, axis=1) for of in (walker, gate, known))
        bridge[:, :, window] = ends.reshape(before.shape)
        step //= 2
    return bridge[:, :, 1 : block + 1]


def _deepest(heights: Floats, left: Ints, right: Ints) -> tuple[Floats, Ints]:
    """How far below the chord from `left` to `right` the floor lies at most, and where."""
    span = right - left
    # Chords of equal length make a table. (Small integers are sorted in linear time.)
    order = np.argsort(span.astype(np.min_scalar_type(int(span.max()))), kind="stable")
    stop = np.cumsum(np.bincount(span))
    start = left.take(order)
    level = heights.take(start)
    slope = (heights.take(right.take(order)) - level) / span.take(order)
    depth = np.zeros(len(span))
    place = start.copy()
    for n in range(2, len(stop)):
        between = np.lib.stride_tricks.sliding_window_view(heights[1:], n - 1)
        along = np.arange(1.0, n)
        size = max(TABLE_CELLS // n, 1)
        for low in range(stop[n - 1], stop[n], size):
            part = slice(low, min(low + size, stop[n]))
            table = between[start[part]]
            table -= np.einsum("i,j->ij", slope[part], along)
            lowest = table.argmin(axis=1)
            depth[part] = level[part] - table[np.arange(len(table)), lowest]
            place[part] += lowest + 1
    back = np.argsort(order)
    return depth.take(back), place.take(back)


def _deepest_onward(depth: Floats, chord: Ints) -> Ints:
    """For each sample of the halves, the deepest of the chords of it and all onward samples."""
    inward = chord[:, :, ::-1]
    depths = depth.take(inward)
    most = np.maximum.accumulate(depths, axis=2)
    # The last to set a record holds it; samples are told apart by their place in the array.
    holder = np.where(depths == most, np.arange(chord.size).reshape(chord.shape), -1)
    return inward.ravel().take(np.maximum.accumulate(holder, axis=2))[:, :, ::-1]
