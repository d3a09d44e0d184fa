"""Depths on a plan: what to grind and fill where, and what two surveys say was done.

Pictures of a correction or a change; nothing is worked out here. Grinding is an X and filling an O
with its depth, so that color never says alone what is to be done.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
import numpy.typing as npt
import plotly.graph_objects as go
from scipy.spatial import cKDTree

from flatcheck.assess import Assessment
from flatcheck.change import Change
from flatcheck.correction import MARK_MM, Choice, Fix
from flatcheck.drain import Hold
from flatcheck.language import say
from flatcheck.places import where
from flatcheck.report.relief import thinned
from flatcheck.room import Ring, wall_names
from flatcheck.survey import Survey
from flatcheck.terms import Keep
from flatcheck.ui.axes import INK
from flatcheck.ui.figures import MOST_DOTS, add_colors, color_marks, raster_of
from flatcheck.ui.plan import (
    HALO,
    LETTER_PX,
    NARROW_PX,
    UNREAD,
    add_drains,
    add_planes,
    add_room,
    closed,
    frame,
    middle_of,
    name_sides,
    shown,
    size_of,
)
from flatcheck.units import Style, format_length
from flatcheck.verdict import Place, place_of

Floats = npt.NDArray[np.float64]

COLORS = ((0, "#b35806"), (0.25, "#f1a340"), (0.5, "#f7f7f7"), (0.75, "#998ec3"), (1, "#542788"))
"""Brown is taken off and violet put on, told apart with any of the common kinds of color blindness,
and not the red and blue of high and low."""

WIDE_PX = 500
"""How wide the longer side of a room is on a desk."""

SIGN_PX, DOT_PX, LETTERS_PX = 9, 4, 13
"""How wide an X or O is, and a dot, and how tall the letters of a depth are."""

NAME_PX = 20
"""How far from its wall a wall's name stands."""

MORE_TYPE = 11
"""The size of type by which the page's style knows the depths that it leaves out on a phone."""


@dataclass(frozen=True)
class Sign:
    """A mark on the plan: X where `depth_mm` is negative, O where it is positive."""

    at: Place
    depth_mm: float
    told: str


def plan_of_work(choice: Choice, fix: Fix) -> go.Figure:
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
    # Over a floor that is covered there is no place to mark with an O.
    symbol = "circle" if covers(fix) else "circle-open"
    return _drawn(assessment, fill - grind, signs, left, ends, symbol)


def covers(fix: Fix) -> bool:
    """Whether a remedy lays material on all of the floor."""
    return bool((fix.proposal.fill_mm > 0).all())


def map_of_change(before: Assessment, change: Change) -> go.Figure:
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
    return _drawn(before, rise, signs, left, (say("lower"), say("higher")), "circle-open")


def _drawn(
    assessment: Assessment,
    depth_mm: Floats,
    signs: Sequence[Sign],
    left: Sequence[Sign],
    ends: tuple[str, str],
    symbol: str,
) -> go.Figure:
    survey, room = assessment.survey, assessment.surface.room
    style = survey.show
    figure = go.Figure()
    most = max(float(np.nanmax(np.abs(depth_mm))), MARK_MM)
    marks = color_marks(most, style)
    words = [format_length(abs(mark), style) for mark in marks]
    words[0], words[-1] = f"{ends[0]}<br>{words[0]}", f"{ends[1]}<br>{words[-1]}"
    add_colors(figure, "depths", raster_of(assessment, depth_mm), COLORS, marks, words)
    for piece in assessment.parts:
        if piece.view.ground:
            add_planes(figure, piece.view.ground.falls)
    add_room(figure, room, UNREAD)
    add_drains(figure, survey.drains)
    _add_keeps(figure, survey)
    _add_signs(figure, "left", left, "circle", 3, 0)
    _add_signs(figure, "grind", [s for s in signs if s.depth_mm < 0], "x-thin", SIGN_PX, 2)
    filled = [s for s in signs if s.depth_mm > 0]
    _add_signs(figure, "fill", filled, symbol, SIGN_PX if symbol == "circle-open" else DOT_PX, 2)
    _add_holds(figure, assessment, style)
    name_sides(figure, room.outline, () if room.assumed else wall_names(room), NAME_PX)
    frame(figure, room.outline, style, 56)
    reach = SIGN_PX / 2 if symbol == "circle-open" else DOT_PX / 2
    narrow = written(assessment, signs, NARROW_PX, reach)
    wide = written(assessment, signs, WIDE_PX, reach, narrow)
    _add_depths(figure, "depths written", signs, narrow, style, 12)
    more = {i: side for i, side in wide.items() if i not in narrow}
    _add_depths(figure, "more depths written", signs, more, style, MORE_TYPE)
    return figure


def depth_words(sign: Sign, style: Style) -> str:
    """A depth on the drawing: a fraction with its mark; millimeters bare, the bar names them."""
    return format_length(abs(sign.depth_mm), style).removesuffix(" mm")


def written(
    assessment: Assessment,
    signs: Sequence[Sign],
    size_px: int,
    reach_px: float,
    first: Mapping[int, str] = MappingProxyType({}),
) -> dict[int, str]:
    """Which signs have room for their depth, and on which side of them: `first`, then the deepest.

    On a room drawn `size_px` wide, with signs that reach so far. A depth stands below its sign,
    everywhere, so that none is taken for that of another; along walls it is moved into the room.
    None is written on another, on a sign, or on a name.
    """
    style, outline = assessment.survey.show, assessment.surface.room.outline
    corners = np.array(outline.corners_mm)
    per_mm = size_px / float(size_of(outline).max())
    (west, south), (east, _) = corners.min(axis=0) * per_mm, corners.max(axis=0) * per_mm
    at = np.array([sign.at for sign in signs]).reshape(-1, 2) * per_mm
    name = np.array([(west + east) / 2, south - NAME_PX])
    solid = np.vstack((at, name))
    reach = np.array([*[(reach_px, reach_px)] * len(at), (NAME_PX, LETTERS_PX / 2)])
    solid = np.hstack((solid - reach, solid + reach))
    for hold in assessment.survey.holds:
        words = _box(
            np.array(hold.at) * per_mm, LETTER_PX * len(hold.name), beside(hold.at, outline)
        )
        solid = np.vstack((solid, words))
    taken = dict(first)
    for i in first:
        solid = np.vstack((solid, _box(at[i], _width(signs[i], style), first[i])))
    for i in np.argsort([-abs(sign.depth_mm) for sign in signs], kind="stable").tolist():
        width = _width(signs[i], style)
        x = at[i, 0]
        along = "right" if x - west < width / 2 else "left" if east - x < width / 2 else "center"
        box = _box(at[i], width, f"bottom {along}")
        # With what is beside its sign too: words that are moved must not come under another one.
        box[3] = at[i, 1] + reach_px
        others = np.delete(solid, i, axis=0)
        apart = (box[:2] >= others[:, 2:]) | (box[2:] <= others[:, :2])
        if i not in taken and apart.any(axis=1).all():
            solid = np.vstack((solid, box))
            taken[i] = f"bottom {along}"
    return taken


def _width(sign: Sign, style: Style) -> float:
    return LETTER_PX * len(depth_words(sign, style))


def _box(at: Floats, width_px: float, side: str) -> Floats:
    """The box (west, south, east, north) of words on a side of a place, in pixels."""
    up, along = side.split()
    west = {"left": -width_px, "center": -width_px / 2, "right": 0.0}[along]
    south = SIGN_PX / 2 if up == "top" else -SIGN_PX / 2 - LETTERS_PX
    x, y = at
    return np.array([x + west, y + south, x + west + width_px, y + south + LETTERS_PX])


def beside(at: Place, outline: Ring) -> str:
    """The side of a place on which words stand in the room."""
    east, north = np.array(outline.corners_mm).mean(axis=0)
    return f"{'top' if at[1] <= north else 'bottom'} {'right' if at[0] <= east else 'left'}"


def _add_signs(
    figure: go.Figure, name: str, signs: Sequence[Sign], symbol: str, size: int, width: int
) -> None:
    """Marks in ink, thin ones on a rim of white so that they stand out on every color."""
    for color, wider in (("white", 3), (INK, 0)) if width else ((INK, 0),):
        own = name if color == INK else f"rim of {name}"
        figure.add_scatter(
            name=own,
            x=[sign.at[0] for sign in signs],
            y=[sign.at[1] for sign in signs],
            mode="markers",
            marker={
                "symbol": symbol,
                "size": size,
                "color": color,
                "opacity": 1 if width else 0.5,
                "line": {"color": color, "width": width + wider if width else 0},
            },
            hovertext=[sign.told for sign in signs],
            hoverinfo="text" if color == INK else "skip",
            cliponaxis=False,
        )


def _add_depths(
    figure: go.Figure,
    name: str,
    signs: Sequence[Sign],
    sides: Mapping[int, str],
    style: Style,
    type_px: int,
) -> None:
    figure.add_scatter(
        name=name,
        x=[signs[i].at[0] for i in sides],
        y=[signs[i].at[1] for i in sides],
        mode="markers+text",
        # Not seen: it holds the words off the sign.
        marker={"size": 8, "opacity": 0},
        text=[f"<b>{depth_words(signs[i], style)}</b>" for i in sides],
        textposition=list(sides.values()),
        textfont={"size": type_px, "color": INK, "shadow": HALO},
        hoverinfo="skip",
        cliponaxis=False,
    )


def _add_holds(figure: go.Figure, assessment: Assessment, style: Style) -> None:
    """Every height that must not change, as a square with its name inside the room."""
    holds, outline = assessment.survey.holds, assessment.surface.room.outline
    figure.add_scatter(
        name="held",
        x=[hold.at[0] for hold in holds],
        y=[hold.at[1] for hold in holds],
        mode="markers+text",
        marker={
            "symbol": "square",
            "size": 12,
            "color": "white",
            "line": {"color": INK, "width": 2},
        },
        text=[shown(hold.name) for hold in holds],
        textposition=[beside(hold.at, outline) for hold in holds],
        textfont={"size": 13, "color": INK, "shadow": HALO},
        hovertext=[_hold_words(hold, style) for hold in holds],
        hoverinfo="text",
        cliponaxis=False,
    )


def _hold_words(hold: Hold, style: Style) -> str:
    name = shown(hold.name)
    if hold.rise_mm:
        rise = format_length(hold.rise_mm, style)
        return say("<b>{name}</b> may rise {rise}", name=name, rise=rise)
    return say("<b>{name}</b> must stay", name=name)


def _add_keeps(figure: go.Figure, survey: Survey) -> None:
    """Every part that may not be worked on, hatched, with what must not be done there."""
    for keep in survey.terms.keeps:
        if keep.grind and keep.fill:
            continue
        x, y = closed(keep.outline)
        figure.add_scatter(
            name=f"keep {shown(keep.outline.name)}",
            x=x,
            y=y,
            mode="lines",
            line={"color": INK, "width": 1.5, "dash": "dot"},
            fill="toself",
            fillpattern={"shape": "/", "size": 7, "fgcolor": INK, "bgcolor": "rgba(0,0,0,0)"},
            hoverinfo="skip",
        )
        middle = middle_of(keep.outline)
        figure.add_annotation(
            x=middle[0],
            y=middle[1],
            text=f"{shown(keep.outline.name)}:<br>{barred_words(keep)}",
            showarrow=False,
            font={"size": 12, "color": INK, "shadow": HALO},
        )


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
    if any(not (keep.grind and keep.fill) for keep in survey.terms.keeps):
        said.append(say("Hatched: to be left alone."))
    said.append(
        say(
            "Depths stand below their marks; where marks are close not all are written: "
            "point at one, or see the list."
        )
    )
    return " ".join(said)
