"""What is on a drawing of the floor: lines, signs, words and colored cells, at places in mm.

Only places scale with the window. Lines keep their thickness, signs and words their size, so that
a drawing reads as well on a phone as at a desk.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from flatcheck.verdict import Place

Floats = npt.NDArray[np.float64]
Scale = Sequence[tuple[float, str]]

INK = "#1f2328"

DIGIT_PX, ROW_PX, EDGE_PX = 6.5, 20, 6
"""How wide a mark beside an axis is for each of its signs, how tall a row of them is, and how much
is left free around all."""

BAR_PX, BAR_ROW_PX = 20, 16
"""How tall a bar of colors is with what is left free around it, and each row of its words."""


@dataclass(frozen=True, eq=False)
class Line:
    """A line through places `xy` (n, 2) [mm]; a row of NaN lifts the pen.

    A `halo_px` of white sets it off what lies below. What is inside can be filled and hatched:
    `hatch` is one of `/ \\ x + - .`, in the color `hatch_color`. `told` is said at its places.
    """

    name: str
    xy: Floats
    color: str = INK
    width_px: float = 1.0
    dash: str = "solid"
    fill: str = "none"
    hatch: str = ""
    hatch_color: str = INK
    halo_px: float = 0.0
    told: str = ""


@dataclass(frozen=True, eq=False)
class Signs:
    """The same sign at places `xy` (n, 2) [mm], each with what is told of it.

    `sign` is a dot, square, diamond, triangle up or down, cross, or an arrow whose tip lies there,
    turned by `turn_deg` (n,), clockwise from up; or "" for none to be seen. `fill` is one
    color or one for each. One that has a number in `numbers` (n,) can be chosen.
    """

    name: str
    xy: Floats
    sign: str = "dot"
    size_px: float = 8.0
    fill: str | Sequence[str] = INK
    edge: str = INK
    edge_px: float = 0.0
    halo_px: float = 0.0
    opacity: float = 1.0
    turn_deg: Sequence[float] = ()
    told: Sequence[str] = ()
    numbers: Sequence[int] = ()


@dataclass(frozen=True)
class Words:
    """Words at a place [mm], moved `off_px` to the right and up; <b>, <i> and <br> are markup.

    `side` says where they stand: to the left (-1) of it, about it (0) or to the right (1), and
    below, at or above it. Words `upright` read from below. Those that are `spare` are left out on
    a phone.
    """

    name: str
    at: Place
    text: str
    side: tuple[int, int] = (0, 0)
    off_px: tuple[float, float] = (0.0, 0.0)
    upright: bool = False
    size_px: float = 12.0
    color: str = INK
    halo: bool = False
    spare: bool = False


@dataclass(frozen=True, eq=False)
class Colors:
    """Values (ny, nx) on square cells whose middles are at `x_mm`, `y_mm`; NaN has no color.

    `scale` runs from the first of the `marks` to the last; a bar of it stands below the drawing,
    with `words` at the marks.
    """

    name: str
    x_mm: Floats
    y_mm: Floats
    step_mm: float
    value: Floats
    scale: Scale
    marks: Sequence[float]
    words: Sequence[str]

    @property
    def bar_px(self) -> float:
        """How tall the bar of colors is, with the rows of its words."""
        rows = 1 + max(said.count("<br>") for said in self.words)
        return BAR_PX + BAR_ROW_PX * rows


Layer = Line | Signs | Colors


@dataclass(eq=False)
class Drawing:
    """A drawing from `low` to `high` [mm], what is drawn last on top, and words on top of all.

    `about` says what it shows, for who cannot see it. `times` is how many times as tall the second
    axis is drawn. Around it is room for words: `margin_px` on the left, above, right and below.
    """

    about: str
    layers: list[Layer] = field(default_factory=list)
    words: list[Words] = field(default_factory=list)
    low: Floats = field(default_factory=lambda: np.zeros(2))
    high: Floats = field(default_factory=lambda: np.ones(2))
    times: float = 1.0
    margin_px: tuple[float, float, float, float] = (0.0, 0.0, 0.0, 0.0)

    def add(self, *layers: Layer) -> None:
        """Draws these on top of what is there."""
        self.layers += layers

    def write(self, *words: Words) -> None:
        """Writes these."""
        self.words += words

    def layer(self, name: str) -> Layer:
        """The one layer of that name. Raises ValueError where there is none, or several."""
        (found,) = (layer for layer in self.layers if layer.name == name)
        return found

    def said(self, name: str) -> list[Words]:
        """All words of that name."""
        return [words for words in self.words if words.name == name]

    @property
    def shape(self) -> float:
        """Its width over its height."""
        wide, tall = self.high - self.low
        return float(wide / (tall * self.times))

    def share(self, places: Floats) -> Floats:
        """How far to the right and how far down places (n, 2) lie, as shares of the drawing."""
        right, up = ((np.reshape(places, (-1, 2)) - self.low) / (self.high - self.low)).T
        return np.column_stack((right, 1 - up))


def located(places: Sequence[Place]) -> Floats:
    """Places, or none, as those of a line or of signs (n, 2)."""
    return np.array(places, dtype=float).reshape(-1, 2)


def pieces(lines: Sequence[Floats]) -> Floats:
    """Lines (m, 2) as the places of one, the pen lifted between them."""
    lifted = [np.vstack((line, [[np.nan, np.nan]])) for line in lines]
    return np.concatenate(lifted) if lifted else np.empty((0, 2))


def mark_axes(
    drawing: Drawing,
    across: Sequence[tuple[float, str]],
    up: Sequence[tuple[float, str]],
    below_px: float,
    rim_px: float = 0.0,
) -> None:
    """Marks [mm] with words below a drawing and to its left, beyond a rim all around.

    There is room for them, for the rim, and for `below_px` more below.
    """
    (west, south), beyond = drawing.low.tolist(), rim_px + 4
    drawing.write(*(Words("across", (x, south), said, (0, -1), (0, -beyond)) for x, said in across))
    drawing.write(*(Words("up", (west, y), said, (-1, 0), (-beyond, 0)) for y, said in up))
    left = beyond + EDGE_PX + DIGIT_PX * max((len(said) for _, said in up), default=0)
    edge = rim_px + EDGE_PX
    drawing.margin_px = (left, edge, edge, rim_px + ROW_PX + below_px)
