"""How good is the instrument: uncertainty in everyday words.

What a maker or a setter says of an instrument becomes a standard uncertainty of one reading.
"""

import math
import re
from dataclasses import dataclass

from flatcheck.errors import SurveyError, UnitsError
from flatcheck.language import say
from flatcheck.units import LENGTH_UNITS, Style, format_distance, parse_length, parse_slope

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
