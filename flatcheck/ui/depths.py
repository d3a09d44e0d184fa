"""Depths on a plan: what to grind and fill where, and what two surveys say was done.

Pictures of a correction or a change; nothing is worked out here. Grinding is an X and filling an O
with its depth, so that color never says alone what is to be done.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.spatial import cKDTree

from flatcheck.assess import Assessment
from flatcheck.change import Change
from flatcheck.correction import MARK_MM, Choice, Fix
from flatcheck.drain import Hold
from flatcheck.language import say
from flatcheck.places import where
from flatcheck.report.relief import thinned
from flatcheck.room import Ring
from flatcheck.survey import Survey
from flatcheck.terms import Keep
from flatcheck.ui.drawing import Drawing, Line, Signs, Words, located
from flatcheck.ui.figures import MOST_DOTS, add_colors, color_marks, raster_of
from flatcheck.ui.plan import (
    LETTER_PX,
    NARROW_PX,
    UNREAD,
    add_drains,
    add_ground,
    add_planes,
    add_room,
    closed,
    frame,
    middle_of,
)
from flatcheck.ui.svg import plain, shown
from flatcheck.units import Style, format_length
from flatcheck.verdict import Place, place_of

Floats = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]

COLORS = ((0, "#b35806"), (0.25, "#f1a340"), (0.5, "#f7f7f7"), (0.75, "#998ec3"), (1, "#542788"))
"""Brown is taken off and violet put on, told apart with any of the common kinds of color blindness,
and not the red and blue of high and low."""

WIDE_PX = 500
"""How wide the longer side of a room is on a desk."""

SIGN_PX, DOT_PX, HELD_PX, LETTERS_PX = 9, 5, 12, 13
"""How wide an X or O is, a dot, and the square at a height that is held, and how tall the letters
of a depth are."""

WALL_PX = 1.5
"""How far from a wall the depth of a sign on it stands."""

AWAY_PX = 20
"""How far from its wall a wall's name stands."""


@dataclass(frozen=True)
class Sign:
    """A mark on the plan: X where `depth_mm` is negative, O where it is positive."""

    at: Place
    depth_mm: float
    told: str


def plan_of_work(choice: Choice, fix: Fix) -> Drawing:
    """What a remedy grinds and fills, to scale, with what must not be touched or change."""
    assessment, proposal = choice.site.assessment, fix.proposal
    floor, style = assessment.surface, assessment.survey.show
    fill, grind = proposal.fill_mm, proposal.grind_mm
    signs: list[Sign] = []
    left: list[Sign] = []
    for i in thinned(floor.xy_mm, np.maximum(fill, grind), MOST_DOTS).tolist():
        at = place_of(floor.xy_mm[i])
        does = []
        if grind[i] >= MARK_MM:
            does.append(say("grind {depth} off", depth=format_length(float(grind[i]), style)))
        if fill[i] >= MARK_MM and proposal.material:
            put, material = format_length(float(fill[i]), style), proposal.material.name
            does.append(
                say("then {depth} of {material}", depth=put, material=material)
                if does
                else say("{depth} of {material}", depth=put, material=material)
            )
        act = ", ".join(does) or say("leave it")
        words = f"<b>{act}</b><br>{shown(where(floor.room, at, style))}"
        depth = float(-grind[i] if grind[i] >= MARK_MM else fill[i])
        (signs if does else left).append(Sign(at, depth, words))
    ends = (say("grind"), say("fill"))
    drawing = Drawing(say("Plan of the work: what to grind and fill, and how deep"))
    # Over a floor that is covered there is no place to mark with an O.
    _draw(drawing, assessment, fill - grind, signs, left, ends, dots=covers(fix))
    return drawing


def covers(fix: Fix) -> bool:
    """Whether a remedy lays material on all of the floor."""
    return bool((fix.proposal.fill_mm > 0).all())


def map_of_change(before: Assessment, change: Change) -> Drawing:
    """How far the floor rose or sank at every place that was read before and after."""
    floor, style = before.surface, before.survey.show
    _, stations = cKDTree(floor.xy_mm).query(change.xy_mm)
    rise = np.full(len(floor.xy_mm), np.nan)
    rise[stations] = change.rise_mm
    sure = np.abs(change.rise_mm) > 2 * change.u_mm
    signs: list[Sign] = []
    left: list[Sign] = []
    for k in thinned(change.xy_mm, change.rise_mm, MOST_DOTS).tolist():
        at, depth = place_of(change.xy_mm[k]), float(change.rise_mm[k])
        said = [f"<b>{format_length(depth, style, sign=True)}</b>"]
        if np.isfinite(change.planned_mm[k]):
            planned = format_length(float(change.planned_mm[k]), style, sign=True)
            said.append(say("planned {depth}", depth=planned))
        if not sure[k]:
            said.append(say("within reading error"))
        words = f"{', '.join(said)}<br>{shown(where(floor.room, at, style))}"
        (signs if sure[k] else left).append(Sign(at, depth, words))
    drawing = Drawing(say("Map of the change: where the floor is lower and higher than before"))
    _draw(drawing, before, rise, signs, left, (say("lower"), say("higher")), dots=False)
    return drawing


def _draw(
    drawing: Drawing,
    assessment: Assessment,
    depth_mm: Floats,
    signs: Sequence[Sign],
    left: Sequence[Sign],
    ends: tuple[str, str],
    *,
    dots: bool,
) -> None:
    survey, room = assessment.survey, assessment.surface.room
    style = survey.show
    most = max(float(np.nanmax(np.abs(depth_mm))), MARK_MM)
    marks = color_marks(most, style)
    words = [format_length(abs(mark), style) for mark in marks]
    words[0], words[-1] = f"{ends[0]}<br>{words[0]}", f"{ends[1]}<br>{words[-1]}"
    add_ground(drawing, room, UNREAD)
    add_colors(drawing, "depths", raster_of(assessment, depth_mm), COLORS, marks, words)
    for piece in assessment.parts:
        if piece.view.ground:
            add_planes(drawing, piece.view.ground.falls)
    add_room(drawing, room)
    add_drains(drawing, survey.drains)
    _add_keeps(drawing, survey)
    ground, filled = ([s for s in signs if s.depth_mm * way > 0] for way in (-1, 1))
    drawing.add(
        _marks("left", left, size_px=3, opacity=0.5),
        _marks("grind", ground, sign="cross", size_px=SIGN_PX, fill="none", edge_px=2, halo_px=3),
        _marks("fill", filled, size_px=DOT_PX, halo_px=3)
        if dots
        else _marks("fill", filled, size_px=SIGN_PX, fill="none", edge_px=2, halo_px=3),
    )
    _add_holds(drawing, assessment, style)
    frame(drawing, room, style, AWAY_PX)
    _name_keeps(drawing, survey, signs)
    reach = (DOT_PX if dots else SIGN_PX) / 2
    narrow = written(drawing, signs, style, NARROW_PX, reach)
    wide = written(drawing, signs, style, WIDE_PX, reach, narrow)
    drawing.write(*(replace(words, spare=i not in narrow) for i, words in wide.items()))


def _marks(name: str, marks: Sequence[Sign], **look: Any) -> Signs:
    """Marks with what is told of each; how they look is said as `Signs` has it."""
    return Signs(name, _places(marks), told=[mark.told for mark in marks], **look)


def _places(marks: Sequence[Sign]) -> Floats:
    return located([mark.at for mark in marks])


def depth_words(sign: Sign, style: Style) -> str:
    """A depth on the drawing: a fraction with its mark; millimeters bare, the bar names them."""
    return format_length(abs(sign.depth_mm), style).removesuffix(" mm")


def written(
    drawing: Drawing,
    signs: Sequence[Sign],
    style: Style,
    size_px: int,
    reach_px: float,
    first: Mapping[int, Words] = MappingProxyType({}),
) -> dict[int, Words]:
    """The depths of those signs that have room for them, by sign: `first`, then the deepest.

    On a drawing `size_px` along its longer side, with signs that reach so far. A depth stands below
    its sign, everywhere, so that none is taken for that of another; along walls it is moved into
    the room. None is written on another, on a sign, or on words of the drawing.
    """
    per_mm = size_px / float((drawing.high - drawing.low).max())
    at = _places(signs)
    held = [s.xy for s in drawing.layers if isinstance(s, Signs) and s.name == "held"]
    solid = np.vstack(
        [_around(at * per_mm, reach_px)]
        + [_around(xy * per_mm, HELD_PX / 2) for xy in held]
        + [box_of(words, per_mm) for words in (*drawing.words, *first.values())]
    )
    taken = dict(first)
    for i in np.argsort([-abs(sign.depth_mm) for sign in signs], kind="stable").tolist():
        text = depth_words(signs[i], style)
        to_west, _ = (at[i] - drawing.low) * per_mm
        to_east, _ = (drawing.high - at[i]) * per_mm
        half = LETTER_PX * len(text) / 2
        across = 1 if to_west < half else -1 if to_east < half else 0
        off = (across * WALL_PX, -SIGN_PX / 2)
        words = Words("depths written", signs[i].at, f"<b>{text}</b>", (across, -1), off, halo=True)
        box = box_of(words, per_mm)
        # With what is beside its sign too: words that are moved must not come under another one.
        besides = np.array([*box[:3], at[i, 1] * per_mm + reach_px])
        covered = _covered(besides, solid)
        covered[i] = False  # its own sign
        if i not in taken and not covered.any():
            solid = np.vstack((solid, box))
            taken[i] = words
    return taken


def box_of(words: Words, per_mm: float) -> Floats:
    """The box (west, south, east, north) of words in pixels, at `per_mm` of them."""
    lines = plain(words.text)
    size = np.array([LETTER_PX * max(map(len, lines)), LETTERS_PX * len(lines)])
    size *= words.size_px / 12
    if words.upright:
        size = size[::-1]
    low = np.array(words.at) * per_mm + words.off_px + size * (np.array(words.side) - 1) / 2
    return np.concatenate((low, low + size))


def _around(xy: Floats, reach_px: float) -> Floats:
    return np.hstack((xy - reach_px, xy + reach_px))


def _covered(box: Floats, others: Floats) -> Mask:
    """Which of the boxes (n, 4) a box lies on."""
    lies: Mask = np.all((box[:2] < others[:, 2:]) & (box[2:] > others[:, :2]), axis=1)
    return lies


def _beside(at: Place, outline: Ring) -> tuple[int, int]:
    """The side of a place on which words stand in the room."""
    east, north = np.array(outline.corners_mm).mean(axis=0)
    return 1 if at[0] <= east else -1, 1 if at[1] <= north else -1


def _add_holds(drawing: Drawing, assessment: Assessment, style: Style) -> None:
    """Every height that must not change, as a square with its name inside the room."""
    holds, outline = assessment.survey.holds, assessment.surface.room.outline
    drawing.add(
        Signs(
            "held",
            located([hold.at for hold in holds]),
            "square",
            HELD_PX,
            "white",
            edge_px=2,
            told=[_hold_words(hold, style) for hold in holds],
        )
    )
    for hold in holds:
        name, (across, up) = shown(hold.name), _beside(hold.at, outline)
        off = (across * HELD_PX / 2, up * HELD_PX / 2)
        drawing.write(Words("held", hold.at, name, (across, up), off, size_px=13, halo=True))


def _hold_words(hold: Hold, style: Style) -> str:
    name = shown(hold.name)
    if hold.rise_mm:
        rise = format_length(hold.rise_mm, style)
        return say("<b>{name}</b> may rise {rise}", name=name, rise=rise)
    return say("<b>{name}</b> must stay", name=name)


def _barred(survey: Survey) -> list[Keep]:
    """The parts of the floor on which not everything may be done."""
    return [keep for keep in survey.terms.keeps if not (keep.grind and keep.fill)]


def _add_keeps(drawing: Drawing, survey: Survey) -> None:
    """Every part that may not be worked on, hatched."""
    for keep in _barred(survey):
        name, ring = keep.outline.name, closed(keep.outline.corners_mm)
        drawing.add(Line(f"keep {name}", ring, width_px=1.5, dash="dot", hatch="/"))


def _name_keeps(drawing: Drawing, survey: Survey, signs: Sequence[Sign]) -> None:
    """What must not be done on every such part: in it or beside it, where it is on fewest signs."""
    per_mm = NARROW_PX / float((drawing.high - drawing.low).max())
    marks = _around(_places(signs) * per_mm, SIGN_PX / 2)
    for keep in _barred(survey):
        text = f"{shown(keep.outline.name)}:<br>{barred_words(keep)}"
        ring = closed(keep.outline.corners_mm)
        (west, south), (east, north) = ring.min(axis=0).tolist(), ring.max(axis=0).tolist()
        ways = [Words("keep", place_of(middle_of(keep.outline)), text, halo=True)]
        ways += [
            Words("keep", (x, y), text, (across, up), (0, 2 * up), halo=True)
            for across, x in ((0, (west + east) / 2), (1, west), (-1, east))
            for up, y in ((1, north), (-1, south))
        ]
        others = np.vstack([marks] + [box_of(words, per_mm) for words in drawing.words])

        def price(words: Words, others: Floats = others) -> tuple[float, int]:
            """How far words reach out of the drawing, and how much is below them."""
            box = box_of(words, per_mm)
            out = np.maximum(drawing.low * per_mm - box[:2], box[2:] - drawing.high * per_mm)
            return max(float(out.max()), 0.0), int(_covered(box, others).sum())

        drawing.write(min(ways, key=price))


def barred_words(keep: Keep) -> str:
    """What must not be done on a part of the floor where not everything may be."""
    if keep.grind:
        return say("no filling")
    return say("no grinding") if keep.fill else say("no grinding or filling")


def work_key(choice: Choice, fix: Fix) -> str:
    """What the signs on the plan of work mean: of those that are on it."""
    survey, takes = choice.site.assessment.survey, fix.takes
    # Inches are written with their mark, millimeters bare.
    bare = survey.show.unit != "in"
    said = []
    if takes.grind_l > 0:
        in_mm = say("X: grind off, with the depth in mm.")
        said.append(in_mm if bare else say("X: grind off, with the depth."))
    if takes.fill_l > 0 and covers(fix):
        in_mm = say("Numbers at dots: how thick the material is in mm.")
        said.append(in_mm if bare else say("Numbers at dots: how thick the material is."))
    elif takes.fill_l > 0:
        in_mm = say("O: fill, with the depth in mm.")
        said.append(in_mm if bare else say("O: fill, with the depth."))
    said.append(say("Brown ends lower than it is now, violet higher."))
    if not covers(fix):
        said.append(say("Small dots are left as they are."))
    if survey.holds:
        said.append(say("Squares: heights that must not change, or not by more than was allowed."))
    if _barred(survey):
        said.append(say("Hatched: to be left alone."))
    said.append(
        say(
            "Depths stand below their marks; where marks are close not all are written: "
            "point at one, or see the list."
        )
    )
    return " ".join(said)
