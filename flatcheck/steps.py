"""Where steps between tiles come from, and how many joints there are that some were read of.

Steps are read with a gauge, or made from heights at the corners of neighboring tiles. The joints of
a floor are those that its pattern makes over its room, or as many as somebody counted.
"""

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import count

import numpy as np
import numpy.typing as npt
from scipy.spatial import cKDTree

from flatcheck.assess import Assessment
from flatcheck.compass import SIDES, bearing_of, parse_bearing, side_written
from flatcheck.errors import SurveyError
from flatcheck.language import say
from flatcheck.pattern import Laying
from flatcheck.readers.folder import checked
from flatcheck.surface import SAME_PLACE_MM, decided, variance
from flatcheck.survey import Step, Survey
from flatcheck.tables import kinds, steps_of
from flatcheck.tiling import laid

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

LEAST_NEAR_MM = 2.0
"""Corners of two tiles lie at one joint if they are no farther apart than one and a half joints;
on the plan a tape is no better than this [mm]."""

OFF_MM = 25.0
"""A step lies on a joint of the pattern that is no farther away: a tape along two walls is good to
about an inch [mm]. Common practice, no source."""

MOST_JOINTS = 10_000_000
"""No floor has more joints."""


@dataclass(frozen=True)
class Joints:
    """How many joints there are on the floor, and which of them each step was read on.

    `on` (k,) numbers the joint of each step, those of one joint alike; -1 where the pattern has
    none there. `laid` says that the pattern was laid to count them; else somebody counted.
    """

    total: int
    on: tuple[int, ...]
    laid: bool


def corner_steps(assessment: Assessment) -> tuple[Step, ...]:
    """Steps between the corners of neighboring tiles, where heights at tile corners were read.

    Two corners belong to one joint if they lie across it from each other, no farther apart than
    one and a half joints and square to it; a height that readings do not join to the other makes
    no step. The step is positive where the tile to the east, or to the north, stands proud.
    u² = w'Cw of the difference, with the covariance of the adjusted heights.
    """
    survey, floor = assessment.survey, assessment.surface
    tables = [table for table in survey.tables if table.kind == "corners"]
    if not tables or survey.tile is None or not survey.tile.joint_mm > 0:
        return ()
    corners = [seen for table in tables for seen in kinds()["corners"].read(table)]
    away, near = cKDTree(floor.xy_mm).query([(seen.x_mm, seen.y_mm) for seen in corners])
    # A corner that was set aside as misread has no station.
    written = {
        int(i): seen for d, i, seen in zip(away, near, corners, strict=True) if d <= SAME_PLACE_MM
    }
    if len(written) < 2:
        return ()
    stations = np.array(sorted(written))
    joint = survey.tile.joint_mm
    tree = cKDTree(floor.xy_mm[stations])
    pairs = tree.query_pairs(max(1.5 * joint, LEAST_NEAR_MM), output_type="ndarray")
    pairs = stations[pairs.astype(np.int64).reshape(-1, 2)]
    apart = floor.xy_mm[pairs[:, 1]] - floor.xy_mm[pairs[:, 0]]
    square = np.abs(apart).min(axis=1) <= 0.3 * np.abs(apart).max(axis=1)
    # The second of a pair is the one to the east, or to the north.
    turned = apart[np.arange(len(apart)), np.abs(apart).argmax(axis=1)] < 0
    pairs[turned] = pairs[turned][:, ::-1]
    pairs = pairs[square]
    weights = np.tile([-1.0, 1.0], (len(pairs), 1))
    pairs = pairs[decided(floor.free, pairs, weights)]
    u = np.sqrt(variance(floor.cov_mm2, pairs, weights[: len(pairs)]))
    steps = []
    for (i, j), spread in zip(pairs, u, strict=True):
        (x, y), (x2, y2) = floor.xy_mm[i], floor.xy_mm[j]
        rise = float(floor.height_mm[j] - floor.height_mm[i])
        low, high = written[int(i)], written[int(j)]
        steps.append(
            Step(
                float(x + x2) / 2,
                float(y + y2) / 2,
                rise,
                float(spread),
                "east" if x2 - x > y2 - y else "north",
                joint,
                f"{low.where} to {high.where}",
                f"{low.text} to {high.text}",
            )
        )
    return tuple(sorted(steps, key=lambda step: (step.y_mm, step.x_mm)))


def joints_of(survey: Survey, steps: Sequence[Step]) -> Joints | None:
    """How many joints are on the floor of which these steps were read; None where nobody can say.

    `steps` are those of its tables, then those between corners. Where the tables say how many
    joints there are, each of their steps counts as a joint of its own, and corners are no part of
    it. Else the survey's pattern is laid over its room, if it tells both and the joint's width.

    Raises SurveyError naming the table, and as `tiling.laid` does.
    """
    tile, laying = survey.tile, None
    if survey.pattern and survey.room and tile and tile.joint_mm > 0:
        laying = laid(survey, survey.room)
    made = len(laying.joints_mm) if laying else 0
    if typed := _typed(survey):
        if made and not 0.5 <= typed / made <= 2:
            raise SurveyError(
                say(
                    "joints = {typed} is said of the floor, and the pattern makes {made} joints on "
                    "it; correct one, or leave the number out.",
                    typed=typed,
                    made=made,
                )
            )
        own = steps_of(survey)
        at = places(own)
        return Joints(typed, tuple(at[_spot(step)] for step in own), laid=False)
    if laying is None or not made:
        return None
    return Joints(made, tuple(on_joints(laying, steps).tolist()), laid=True)


def places(steps: Iterable[Step]) -> dict[tuple[int, int], int]:
    """The places where steps were read, numbered; steps within OFF_MM count as at one place."""
    return {spot: number for number, spot in enumerate(dict.fromkeys(map(_spot, steps)))}


def _spot(step: Step) -> tuple[int, int]:
    return round(step.x_mm / OFF_MM), round(step.y_mm / OFF_MM)


def on_joints(laying: Laying, steps: Sequence[Step]) -> Ints:
    """Which joint of a laying each step lies on (k,), -1 where there is none within OFF_MM.

    Where a step says which side stands proud, a joint that has a tile on that side comes before
    one that runs that way.
    """
    start, end = laying.joints_mm[:, 0], laying.joints_mm[:, 1]
    along = end - start
    length = np.hypot(*along.T)
    unit = along / length[:, None]
    tree = cKDTree((start + end) / 2)
    reach = float(length.max()) / 2 + OFF_MM
    found = np.full(len(steps), -1, dtype=np.int64)
    for k, step in enumerate(steps):
        place = np.array([step.x_mm, step.y_mm])
        near = np.array(tree.query_ball_point(place, reach), dtype=np.int64)
        if not len(near):
            continue
        ahead = np.clip(((place - start[near]) * unit[near]).sum(axis=1), 0, length[near])
        away = np.hypot(*(start[near] + ahead[:, None] * unit[near] - place).T)
        score = away
        if step.proud:
            turn = np.radians(parse_bearing(step.proud))
            runs = np.abs(unit[near] @ [np.sin(turn), np.cos(turn)])
            score = away + np.where(runs > np.sqrt(0.5) + 1e-9, 2 * OFF_MM, 0.0)
        best = int(np.lexsort((away, score, away > OFF_MM))[0])
        if away[best] <= OFF_MM:
            found[k] = near[best]
    return found


def sides_of(laying: Laying, joint: int) -> tuple[str, str]:
    """The sides of the compass on which the two tiles of a joint lie."""
    (x, y), (x2, y2) = laying.joints_mm[joint].tolist()
    turn = bearing_of(x2 - x, y2 - y)
    one, other = side_written(turn + 90), side_written(turn - 90)
    return (one, other) if SIDES.index(one) < SIDES.index(other) else (other, one)


def with_step(
    survey: Survey, at_mm: tuple[float, float], step: str, proud: str, uncertainty: str = ""
) -> Survey:
    """The survey with one more step, as typed, written into its table of steps.

    Where it has none that is a CSV file one is begun, of the `uncertainty` that was typed.

    Raises SurveyError for what cannot be read.
    """
    cells = {table.name: table.cells for table in survey.tables}
    document = survey.document
    row = {"x": f"{at_mm[0]:.1f} mm", "y": f"{at_mm[1]:.1f} mm", "step": step, "proud": proud}
    name = steps_file(survey)
    if not name:
        name = next(n for k in count(1) if (n := f"steps{k if k > 1 else ''}.csv") not in cells)
        cells[name] = (tuple(row),)
        document = document.rstrip() + f'\n\n[[table]]\nfile = "{name}"\nkind = "steps"\n'
        if uncertainty:
            document += f"uncertainty = {json.dumps(uncertainty)}\n"
    written = [list(line) for line in cells[name]]
    header = next(line for line in written if any(cell.strip() for cell in line))
    at = {cell.strip().lower(): k for k, cell in enumerate(header)}
    if "proud" not in at:
        at["proud"] = len(header)
        header.append("proud")
    line = [""] * len(header)
    for column, text in row.items():
        line[at[column]] = text
    written.append(line)
    return checked(document, cells | {name: tuple(map(tuple, written))})


def steps_file(survey: Survey) -> str:
    """The table that further steps are written into, "" where there is none."""
    names = [t.name for t in survey.tables if t.kind == "steps" and t.name.lower().endswith(".csv")]
    return names[-1] if names else ""


def _typed(survey: Survey) -> int:
    """How many joints the tables of steps say there are, 0 where one does not say."""
    total = 0
    for table in survey.tables:
        if table.kind != "steps":
            continue
        given = dict(table.options).get("joints")
        if given is None:
            return 0
        if type(given) is not int or not 0 < given <= MOST_JOINTS:
            raise SurveyError(
                say(
                    "table {table}: joints was expected to be how many joints there are on the "
                    "floor, a whole number.",
                    table=table.name,
                )
            )
        total += given
    return total
