"""How good is the instrument: uncertainty in everyday words, and checks a person makes on site.

What a maker or a setter says of an instrument becomes a standard uncertainty of one reading; a
two-peg test gives the angle of a level, a closing reading its drift, a turned bar its own shape.
"""

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from flatcheck.errors import SurveyError, UnitsError
from flatcheck.language import say
from flatcheck.units import LENGTH_UNITS, Style, format_distance, parse_length, parse_slope

Floats = npt.NDArray[np.float64]
Pair = tuple[float, float]

DIVISORS = {"standard": 1.0, "bound": math.sqrt(3), "step": math.sqrt(12)}
"""What a figure is divided by to make it a standard uncertainty, by what kind of figure it is."""


@dataclass(frozen=True)
class Part:
    """One figure of a statement.

    `kind` is "standard" (a standard uncertainty as it stands), "bound" (no reading is off by more)
    or "step" (what readings are rounded to). `size` is in mm, or, with `by_distance`, mm per mm of
    sight.
    """

    text: str
    kind: str
    size: float
    by_distance: bool = False


@dataclass(frozen=True)
class Statement:
    """What was said of an instrument, as written and part by part."""

    text: str
    parts: tuple[Part, ...]

    @property
    def by_distance(self) -> bool:
        """Whether the uncertainty grows with the distance from the instrument."""
        return any(part.by_distance for part in self.parts)


def statement(text: str, default: str | None = None) -> Statement:
    """What did the person, or the maker, say of how well the instrument reads?

    Parts are joined by commas, as `+-2 mm at 30 m, reading to 1 mm`; each is one of

    - `1/32 in`: a standard uncertainty already, two readings in three fall this near the truth;
    - `+-1/32 in`: a bound, no reading is off by more;
    - `1/8 in at 30 ft`, `+-2 mm at 30 m`, `0.3 mm/m`, `10 arcsec`: a bound that grows with the
      distance, so an angle. A figure given for a distance is a maker's, and so a bound, whether
      or not `+-` is written before it;
    - `reading to 1/16 in`: the step that readings are rounded to.

    A number without a unit takes `default`, a key of LENGTH_UNITS; a bare fraction is of an inch,
    and the distance after `at` always needs its own unit. A comma before a digit is a decimal
    comma.

    Raises UnitsError for a part that cannot be read and SurveyError for one that makes no sense,
    in one sentence that quotes it.
    """
    pieces = (" ".join(piece.split()) for piece in _JOINTS.split(text))
    parts = tuple(_part(text, piece, default) for piece in pieces)
    if sum(part.kind == "step" for part in parts) > 1:
        raise SurveyError(
            say("{text} says twice what the readings are rounded to.", text=_quoted(text))
        )
    return Statement(text, parts)


def standard_uncertainty(said: Statement, sight_mm: float) -> float:
    """Standard uncertainty of one reading at a distance `sight_mm` from the instrument [mm].

    u² = sum of u_i²: a standard uncertainty counts as it is; a bound a as a/√3 and a step s as
    s/√12, both rectangular distributions (JCGM 100:2008, 4.3.7); a bound for a distance is an
    angle, so a = angle · sight. The sight does not matter to a statement without angles.

    An angle error is shared by all readings of a setup, yet the result is used as if each reading
    had its own. Give the longest sight S of the survey; then this is what it does:

    - A gap under a bar is overstated, never understated, in its uncertainty. A laser plane that is
      tilted adds a plane, which no gap shows at all. A level with a collimation error adds a cone,
      error = angle · sight; a gap is a middle reading less a weighted mean of two others, so the
      cone adds at most angle · S to it, where independent readings are taken to add
      angle · S · √(1 + w² + (1 - w)²), at least 1.22 times as much.
    - A fall, or a departure from level, is not safe over long spans: a tilt adds angle · d to the
      difference of two places d apart, and independent readings are taken to add √2 · angle · S.
      Beyond d = 1.4 S that is too little. A two-peg test, or a second setup elsewhere, tells.
    - Reading a place again from the same setup makes scatter and rounding smaller, never an angle.

    Raises SurveyError when the statement depends on the distance and `sight_mm` is none.
    """
    return math.hypot(*(_size(said, part, sight_mm) / DIVISORS[part.kind] for part in said.parts))


def describe(said: Statement, sight_mm: float, style: Style) -> str:
    """How the standard uncertainty came about, as a sentence with its arithmetic.

    Raises SurveyError as `standard_uncertainty`.
    """
    clauses, shares = [], []
    for part in said.parts:
        size = _size(said, part, sight_mm)
        share = size / DIVISORS[part.kind]
        shares.append(share)
        clause = f"{part.text}: "
        if part.by_distance:
            at = format_distance(sight_mm, style)
            clause += say("{error} at {sight}, ", error=fine(size, style), sight=at)
        if part.kind == "standard":
            clause += say("taken as it stands, {error}", error=fine(share, style))
        else:
            root, why = _ROOTS[part.kind]
            clause += f"{fine(size, style)} / {root} = {fine(share, style)} ({why})"
        clauses.append(clause)
    total = math.hypot(*shares)
    if len(shares) > 1:
        squares = " + ".join(f"({fine(share, style)})²" for share in shares)
        clauses.append(
            say("together √({squares}) = {error}", squares=squares, error=fine(total, style))
        )
    return say(
        "{clauses}; about two readings in three fall this near the truth.",
        clauses="; ".join(clauses),
    )


def figure(text: str, default: str | None) -> float:
    """A length [mm]; a bare fraction is of an inch, as nobody divides a foot or a millimeter so.

    Raises UnitsError, as `parse_length`.
    """
    return parse_length(text, "in" if _FRACTION.fullmatch(text) else default)


def fine(mm: float, style: Style) -> str:
    """A small length said with two digits, whole ones in full: 0.031", 0.29 mm or 104 mm."""
    mark = '"' if style.unit == "in" else " mm"
    value = mm / LENGTH_UNITS[style.unit]
    if 0 < abs(value) < 1e-4:
        return say("under 0.0001{unit}", unit=mark)
    return f"{value:.0f}{mark}" if abs(value) >= 10 else f"{value:.2g}{mark}"


def times(factor: float) -> str:
    """How many times as much, in two digits and never in powers of ten."""
    said = float(f"{factor:.2g}")
    return f"{said:,.0f}" if said >= 10 else f"{said:g}"


# What a level does

MOST_COLLIMATION_RATIO = 0.01
"""A sight that rises by more is another unit, a misread rod, or a level to be mended [ratio].

Common practice, no source.
"""

LEAST_BASE_MM = 1000.0
"""Sights to the two pegs that differ by less show no angle that matters [mm].

Common practice, no source: pegs are set tens of meters apart.
"""


@dataclass(frozen=True)
class Collimation:
    """How far the line of sight rises with distance [mm/mm], and its standard uncertainty.

    Positive where the sight points up, so that a far rod reads too much.
    """

    ratio: float
    u_ratio: float


def two_peg(midway_mm: Pair, other_mm: Pair, sights_mm: Pair, u_mm: float) -> Collimation:
    """Does the line of sight of the level rise or fall: the two-peg test.

    `midway_mm` are rod readings on pegs A and B with the level midway between them, where an
    error of the sight falls on both alike, so that b - a is true. `other_mm` are the readings from
    another place, `sights_mm` its distances to A and to B. With d = b - a,

        ratio = (d_other - d_midway) / (sight_B - sight_A),  u(ratio) = 2 u / |sight_B - sight_A|

    where `u_mm` is the standard uncertainty of one reading. Earth curvature is left out: 0.07 mm
    at 30 m.

    Raises SurveyError when the other place is about as far from A as from B, which shows nothing,
    and when the sight would rise or fall by more than any level's: then a rod was misread.
    """
    base = sights_mm[1] - sights_mm[0]
    if not (min(sights_mm) >= 0 and LEAST_BASE_MM <= abs(base) < math.inf):
        raise SurveyError(
            say(
                "two-peg test: the second place was expected nearer to one peg than to the "
                "other, by {least:g} m or more; sights of {near:.9g} mm and "
                "{far:.9g} mm show no error of the level.",
                least=LEAST_BASE_MM / 1000,
                near=sights_mm[0],
                far=sights_mm[1],
            )
        )
    change = (other_mm[1] - other_mm[0]) - (midway_mm[1] - midway_mm[0])
    if abs(change / base) > MOST_COLLIMATION_RATIO:
        raise SurveyError(
            say(
                "two-peg test: peg B less peg A reads {change:,.0f} mm more from the second "
                "place than from midway, which is beyond what a level can be out; a rod was "
                "misread, or readings were given in another order.",
                change=change,
            )
        )
    return Collimation(change / base, 2 * u_mm / abs(base))


def corrected(reading_mm: float, sight_mm: float, collimation_ratio: float) -> float:
    """What the rod would have read with a level sight [mm]: reading - sight · ratio."""
    return reading_mm - sight_mm * collimation_ratio


def drift(opening_mm: float, closing_mm: float, times: Sequence[float]) -> Floats:
    """What to add to each reading, (n,) [mm], so that the same place reads the same again.

    The instrument is taken to move steadily from the opening to the closing reading of one place.
    `times` (n,) are when each reading was taken, in any unit, the opening first and the closing
    last; where nobody wrote times, the order will do: `range(n)`. With f the share of the time
    gone by, the correction is -f (closing - opening).

    It is made of two readings, so it adds f √2 u to a reading's own u; a difference below 2 √2 u
    is no proof of drift, and is better left alone.

    Raises SurveyError for fewer than two times, times that run backwards, or no time gone by.
    """
    at = np.asarray(times, dtype=float)
    steps = np.diff(at)
    if len(at) < 2 or not (np.all(steps >= 0) and 0 < at[-1] - at[0] < math.inf):
        raise SurveyError(
            say(
                "drift: times were expected in the order of the readings, from the opening "
                "reading to the closing one, and growing."
            )
        )
    correction: Floats = -(closing_mm - opening_mm) * (at - at[0]) / (at[-1] - at[0])
    return correction


# What a straightedge does

TURNED = {"end for end": say("end for end"), "upside down": say("upside down")}
"""What each turn of a bar is called."""

TURNS = tuple(TURNED)
"""How a bar may lie when it is read again; see `bow`."""


@dataclass(frozen=True, eq=False)
class Bar:
    """A straightedge's own shape, as far as turning it has told.

    The height of its lower edge above the line through its two ends is, at t = x / length,

        bow · 4 t (1 - t)  +  lopsided · (3√3/2) v (1 - v²),  v = 2 t - 1

    so `bow` is the height of the arch at the middle and `lopsided` the height of the hump of an S,
    high toward the far end. Both are positive where the bar, as it first lay, stood too high above
    the floor and gaps read too large. `told` names what was found, `size_mm` (p,) and `cov_mm2`
    (p, p) are its sizes and their covariance. `misfit_mm` is the largest height that this shape
    leaves unexplained. `gap_mm` (n,) is the mean of the two readings at each place: it is free of
    all that the turn reversed, whatever its shape; `u_gap_mm` its standard uncertainty.
    """

    turn: str
    length_mm: float
    told: tuple[str, ...]
    size_mm: Floats
    cov_mm2: Floats
    misfit_mm: float
    gap_mm: Floats
    u_gap_mm: float


def bow(
    first_mm: Sequence[float],
    turned_mm: Sequence[float],
    positions_mm: Sequence[float],
    length_mm: float,
    turn: str,
    u_mm: float,
) -> Bar:
    """Is it the floor or the bar: a straightedge's own shape from gaps read twice.

    The bar stands with its two ends on the same two supports both times, and the gap from its
    lower edge down to the floor is read at the same places of the floor, `positions_mm` (n,) from
    the first support, before and after it is turned. `u_mm` is the standard uncertainty of one
    gap. What a turn can tell follows from what it does to the shape b(x) of the edge:

    - "end for end" (the same edge down, the ends changed over) makes it b(length - x). An arch is
      the same from both ends and so is in both readings alike: this turn CANNOT show a bow. It
      shows the lopsided part only: first - turned = 2 · lopsided part.
    - "upside down" (rolled about its long axis, so that the other edge is down and the ends stay
      where they were) makes it -b(x), if the bar has the same depth all along, which calipers
      will show. It tells all of it: first - turned = 2 b. (Tumbled end over end it would be
      -b(length - x): that hides the lopsided part, and is not what is meant here.)

    No turn shows what hangs by its own weight: sag is the same either way up. It, like a bow, is
    found against a level line, or with two other bars, each laid against each.

    Sizes by least squares, covariance 2 u² (X'X)⁻¹. Where upside-down readings do not lie so that
    both parts can be told, such as at one place only, the bar is taken for a plain arch.

    Raises SurveyError for readings that do not match in number, places off the bar, another turn,
    and places where the turn shows nothing.
    """
    first, turned = np.asarray(first_mm, dtype=float), np.asarray(turned_mm, dtype=float)
    at = np.asarray(positions_mm, dtype=float)
    if turn not in TURNS:
        raise SurveyError(
            say("bar: turn {turn!r} is not one of {known}.", turn=turn, known=", ".join(TURNS))
        )
    if not len(first) == len(turned) == len(at) > 0:
        raise SurveyError(
            say(
                "bar: {gaps} gaps, {turned} after turning and {places} places were expected to be "
                "as many of each.",
                gaps=len(first),
                turned=len(turned),
                places=len(at),
            )
        )
    shapes = _shapes(at, length_mm)
    told = ("lopsided",) if turn == "end for end" else ("bow", "lopsided")
    columns = 2 * np.column_stack([shapes[name] for name in told])
    if len(told) == 2 and np.linalg.matrix_rank(columns, tol=1e-6) < 2:
        told, columns = ("bow",), columns[:, :1]
    if not np.any(np.abs(columns) > 1e-6):
        where = say("its ends") if told == ("bow",) else say("its middle and its ends")
        raise SurveyError(
            say(
                "bar: turned {turn}, a bar reads the same at {places} whatever its shape; read "
                "it at a quarter and three quarters of its length.",
                turn=TURNED[turn],
                places=where,
            )
        )
    inverse = np.linalg.inv(columns.T @ columns).astype(np.float64)
    size = inverse @ columns.T @ (first - turned)
    return Bar(
        turn=turn,
        length_mm=length_mm,
        told=told,
        size_mm=size,
        cov_mm2=2 * u_mm**2 * inverse,
        misfit_mm=float(np.abs(first - turned - columns @ size).max()) / 2,
        gap_mm=(first + turned) / 2,
        u_gap_mm=u_mm / math.sqrt(2),
    )


def freed(
    gap_mm: Sequence[float], positions_mm: Sequence[float], bar: Bar, u_mm: float
) -> tuple[Floats, Floats]:
    """Other gaps read under a bar of known shape, freed of it, and their uncertainty, (n,) [mm].

    The bar lies on its two ends as it first lay in `bow`: gap - b(x), with
    u² = `u_mm`² + s'Cs, s the shapes at x and C their covariance.

    Raises SurveyError for a bar that was turned end for end only, and places off the bar.
    """
    if "bow" not in bar.told:
        raise SurveyError(
            say(
                "bar: turned end for end, a bow is in both readings alike and cannot be told; "
                "turn the bar upside down, or check it against a level line or two other bars."
            )
        )
    shapes = _shapes(np.asarray(positions_mm, dtype=float), bar.length_mm)
    columns = np.column_stack([shapes[name] for name in bar.told])
    u2 = u_mm**2 + np.einsum("ni,ij,nj->n", columns, bar.cov_mm2, columns)
    return np.asarray(gap_mm, dtype=float) - columns @ bar.size_mm, np.sqrt(u2)


def _shapes(at: Floats, length_mm: float) -> dict[str, Floats]:
    """Heights of the two shapes of size 1 at places along the bar."""
    if not (0 < length_mm < math.inf and np.all((at >= 0) & (at <= length_mm))):
        raise SurveyError(
            say(
                "bar: places were expected from 0 to its length, {length:.9g} mm.", length=length_mm
            )
        )
    v = 2 * at / length_mm - 1
    return {"bow": 1 - v**2, "lopsided": 1.5 * math.sqrt(3) * v * (1 - v**2)}


# What people write

_ROOTS = {
    "bound": ("√3", say("no reading off by more")),
    "step": ("√12", say("rounding to a step")),
}

# Nothing that floors are read with is off by as much: a length, or a share of the distance.
_WORST = {False: (12 * LENGTH_UNITS["in"], "12 in"), True: (0.05, "5%")}

_EXAMPLES = say("1/32 in, +-2 mm at 30 m, 0.3 mm/m, 10 arcsec or reading to 1/16 in")

_JOINTS = re.compile(r",(?![0-9])|;")
_STEP = re.compile(r"(?:reads?|reading|readings|rounded) to (?:the )?(?:nearest )?(.+)", re.I)
_EACH_SIDE = re.compile(r"(?:±|\+ ?/? ?[-−–]|plus or minus )\s*(.+)", re.I)
_AT = re.compile(r"(.+?)\s*(?:@|\bat\b|\bper\b(?=\s*[0-9]))\s*(.+)", re.I)
_FRACTION = re.compile(r"[^a-z\"'′″’”]*[/⁄½⅓⅔¼¾⅛⅜⅝⅞][^a-z\"'′″’”]*", re.I)
_SECONDS = re.compile(r"([0-9]{1,5}(?:[.,][0-9]{1,6})?) ?arc[- ]?sec(?:onds?|s)?\.?", re.I)
_PER = re.compile(r"[%°:]|\bdeg|/\s*[a-z'\"]|\bper\b", re.I)


def _part(whole: str, text: str, default: str | None) -> Part:
    try:
        part = _understood(text, default)
    except UnitsError as error:
        told = str(error).startswith(_quoted(whole))
        raise UnitsError(str(error) if told else f"{_quoted(whole)}: {error}") from None
    worst, below = _WORST[part.by_distance]
    if not 0 < part.size < worst:
        raise SurveyError(
            say(
                "{text}: an uncertainty was expected to be larger than zero, as no reading "
                "is exact, and below {below}.",
                text=_quoted(whole),
                below=below,
            )
        )
    return part


def _understood(text: str, default: str | None) -> Part:
    if not any(letter.isnumeric() for letter in text):
        raise UnitsError(
            say(
                "{text} cannot be read: expected how well the instrument reads, such as "
                "{examples}.",
                text=_quoted(text),
                examples=_EXAMPLES,
            )
        )
    if step := _STEP.fullmatch(text):
        return Part(text, "step", figure(step[1], default))
    each = _EACH_SIDE.fullmatch(text)
    amount = each[1] if each else text
    if seconds := _SECONDS.fullmatch(amount):
        turn = math.radians(float(seconds[1].replace(",", ".")) / 3600)
        return Part(text, "bound", math.tan(turn), by_distance=True)
    if at := _AT.fullmatch(amount):
        away = parse_length(at[2])
        if not away > 0:
            raise UnitsError(
                say("{text} cannot be read: expected a positive distance.", text=_quoted(text))
            )
        return Part(text, "bound", figure(at[1], default) / away, by_distance=True)
    if _PER.search(amount):
        return Part(text, "bound", parse_slope(amount), by_distance=True)
    return Part(text, "bound" if each else "standard", figure(amount, default))


def _size(said: Statement, part: Part, sight_mm: float) -> float:
    if not part.by_distance:
        return part.size
    if not 0 < sight_mm < math.inf:
        raise SurveyError(
            say(
                "{text} depends on the distance; say how far the farthest reading is from "
                "the instrument.",
                text=_quoted(said.text),
            )
        )
    return part.size * sight_mm


def _quoted(text: str) -> str:
    return repr(text if len(text) <= 60 else f"{text[:57]}...")
