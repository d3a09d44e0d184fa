"""What length or slope did the person write, and how is it said back in their units.

The only module that knows the inch. Everything inside flatcheck is millimeters and plain ratios;
text comes in through `parse_length` and `parse_slope` and goes out through the `format_` functions.
"""

import math
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from flatcheck.errors import UnitsError
from flatcheck.language import say

MM_PER_INCH = 25.4  # exact: the definition of the international inch
MM_PER_FOOT = 304.8  # written out because 12 * 25.4 is not the nearest float
KG_PER_POUND = 0.45359237  # exact: the international pound
M2_PER_SQUARE_FOOT = 0.09290304  # exact: 0.3048²
LITERS_PER_CUBIC_FOOT = MM_PER_FOOT**3 / 1e6
LITERS_PER_GALLON = 3.785411784  # exact: 231 cubic inches
LENGTH_UNITS = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": MM_PER_INCH, "ft": MM_PER_FOOT}
SLOPE_UNITS = ("%", "ratio", "in/ft", "mm/m", "deg")

# Whole tenths of a millimeter keep the arithmetic in integers, so one division at the end gives
# the float nearest to what was written, and 1/4 in per ft is exactly 1/48.
_TENTHS = {unit: round(10 * mm) for unit, mm in LENGTH_UNITS.items()}
_PER_RATIO = {"%": 100, "ratio": 1, "in/ft": 12, "mm/m": 1000}
_LENGTH_WORDS = {unit: unit for unit in LENGTH_UNITS}
_LENGTH_WORDS |= dict.fromkeys(('"', "in.", "inch", "inches"), "in")
_LENGTH_WORDS |= dict.fromkeys(("'", "ft.", "foot", "feet"), "ft")
_SLOPE_WORDS = {"%": "%", "percent": "%"} | dict.fromkeys(("°", "deg", "degree", "degrees"), "deg")

# Typographic look-alikes. The spaces around a vulgar fraction keep 1½ from becoming 11/2.
_PLAIN = str.maketrans(
    dict.fromkeys("′’‘´", "'")
    | dict.fromkeys("″”“", '"')
    | dict.fromkeys("−–‐‑", "-")
    | {"\u2044": "/", "º": "°"}
    | {"½": " 1/2 ", "⅓": " 1/3 ", "⅔": " 2/3 ", "¼": " 1/4 ", "¾": " 3/4 "}
    | {"⅛": " 1/8 ", "⅜": " 3/8 ", "⅝": " 5/8 ", "⅞": " 7/8 "}
)

# Digits are counted so that no text, however long, can overflow or stall the parser.
_SIGN = r"([+-]?) ?"
_AMOUNT = (
    r"((?:[0-9]{1,12}(?: |- ?))?[0-9]{1,12}/[0-9]{1,12}"  # 1 3/16, 1-3/16, 3/16
    r"|[0-9]{0,12}[.,][0-9]{1,24}|[0-9]{1,12})"
)
# 7'-4" and 7' - 4" are how drawings say it; 7' -4" would be a negative part and does not match.
# Three digits after the foot mark are a thousands mark (1'000), not inches.
_FEET = r"(?:([0-9]{1,12}) ?(?:'|ft\.?|foot|feet)(?: - |- ?| ?)(?![0-9]{3}))?"
_LENGTH_TEXT = _SIGN + _FEET + _AMOUNT + r" ?([a-z]+\.?|[\"'])?"
_LENGTH = re.compile(_LENGTH_TEXT)
_SLOPE_PER = re.compile(_LENGTH_TEXT + r"(?: ?/ ?| ?\bper )([a-z]+\.?|[\"'])")
_SLOPE_PAIR = re.compile(_SIGN + _AMOUNT + r"(?: ?: ?| on )" + _AMOUNT)
_SLOPE_SINGLE = re.compile(_SIGN + _AMOUNT + r" ?([a-z]+|[%°])?")
_UNIT_WORD = re.compile(r"[a-z]+|[\"']")
_THOUSANDS = re.compile(r"(?<![0-9.,])[1-9][0-9]{0,2}(?:,[0-9]{3})+(?![0-9])")

_LENGTH_HELP = say("a length such as 3/16 in, 1' 4-3/16\" or 4.5 mm")
_SLOPE_HELP = say("a slope such as 1:80, 2%, 1/4 in per ft, 10 mm/m or 0.5 deg")


def parse_length(text: str, default: str | None = None) -> float:
    """What length did the person write [mm].

    Reads feet, inches, fractions and decimals (point or comma) with mm, cm, m, in or ft; a leading
    minus negates the whole. A number without a unit takes `default`, a key of LENGTH_UNITS.
    The result is the float nearest to (12 feet + inches + fraction) * 25.4, or number * unit.

    Raises UnitsError, one sentence that quotes the text and shows what was expected.
    """
    if default is not None and default not in LENGTH_UNITS:
        raise _refusal(
            default,
            say("a default unit, one of {units}", units=", ".join(LENGTH_UNITS)),
        )
    match = _LENGTH.fullmatch(_plain(text))
    if match is None:
        raise _refusal(text, _LENGTH_HELP)
    numerator, denominator = _tenths(text, match, default)
    return numerator / (10 * denominator)


def parse_slope(text: str, default: str | None = None) -> float:
    """What slope did the person write [ratio, rise over run: 0.02 is 2 %].

    Reads 1:80, 12 on 12, 2 %, a length per ft, in or m, and degrees (the tangent is returned).
    A number without a unit takes `default`, one of SLOPE_UNITS; zero needs no unit.

    Raises UnitsError, one sentence that quotes the text and shows what was expected.
    """
    if default is not None and default not in SLOPE_UNITS:
        raise _refusal(default, say("a default unit, one of {units}", units=", ".join(SLOPE_UNITS)))
    body = _plain(text)
    if pair := _SLOPE_PAIR.fullmatch(body):
        rise, rise_parts = _number(text, pair[1], pair[2])
        run, run_parts = _number(text, "", pair[3])
        if run == 0:
            raise _refusal(text, say("a run that is not zero, such as 1:80"))
        return rise * run_parts / (rise_parts * run)
    if (per := _SLOPE_PER.fullmatch(body)) and per[5] in _LENGTH_WORDS:
        rise, rise_parts = _tenths(text, per, None)
        return rise / (rise_parts * _TENTHS[_LENGTH_WORDS[per[5]]])
    single = _SLOPE_SINGLE.fullmatch(body)
    if single is None or (single[3] and single[3] not in _SLOPE_WORDS):
        raise _refusal(text, _SLOPE_HELP)
    sign, amount, word = single.groups()
    numerator, denominator = _number(text, sign, amount)
    unit = _SLOPE_WORDS[word] if word else default
    if unit is None:
        if numerator == 0:
            return 0.0
        raise _refusal(text, say("a unit after the number, or {example}", example=_SLOPE_HELP))
    if "/" in amount and unit not in ("in/ft", "ratio"):
        raise _refusal(
            text, say("a decimal here, such as 0.5 %, or a fraction such as 1/4 in per ft")
        )
    if unit != "deg":
        return numerator / (denominator * _PER_RATIO[unit])
    degrees = numerator / denominator
    if abs(degrees) >= 90:
        raise _refusal(text, say("an angle between -90 and 90 degrees, such as 0.5 deg"))
    return math.tan(math.radians(degrees))


@dataclass(frozen=True)
class Style:
    """How a person wants lengths said: inches to 1/denominator, or millimeters with decimals.

    Raises UnitsError when built with a unit, denominator or decimals nobody offers.
    """

    unit: str
    denominator: int = 16
    decimals: int = 0

    def __post_init__(self) -> None:
        offered = self.denominator in (8, 16, 32, 64) and self.decimals in (0, 1, 2)
        if self.unit not in ("in", "mm") or not offered:
            raise _refusal(str(self), say("a style, one of {known}", known=", ".join(STYLES)))


STYLES = {f"in/{denominator}": Style("in", denominator) for denominator in (8, 16, 32, 64)}
STYLES |= {"mm": Style("mm"), "mm/0.1": Style("mm", 16, 1), "mm/0.01": Style("mm", 16, 2)}


def parse_style(text: str) -> Style:
    """Which style does this name mean: a key of STYLES, such as in/16 or mm/0.1.

    Raises UnitsError, which lists the names.
    """
    if text not in STYLES:
        raise _refusal(text, say("a style, one of {known}", known=", ".join(STYLES)))
    return STYLES[text]


def typed_style(texts: Iterable[str], otherwise: str) -> Style:
    """In which units does this person think: those of the first text that has one.

    Inches to 1/16 or millimeters to 0.1; where no text has a unit, by `otherwise`, a key of
    LENGTH_UNITS.
    """
    for text in texts:
        for word in _UNIT_WORD.findall(_plain(text)):
            if word in _LENGTH_WORDS:
                return _usual(_LENGTH_WORDS[word])
    return _usual(otherwise)


def _usual(unit: str) -> Style:
    return STYLES["in/16" if unit in ("in", "ft") else "mm/0.1"]


def style_name(style: Style) -> str:
    """What is this style called; the inverse of `parse_style`."""
    if style.unit == "in":
        return f"in/{style.denominator}"
    return f"{style.unit}/{10**-style.decimals:g}" if style.decimals else style.unit


def format_length(mm: float, style: Style, sign: bool = False) -> str:
    """How is a gap or a depth [mm, finite] said: 1 3/16" or 4.8 mm; `sign` puts + on positives.

    Rounded to the last step of the style, halves away from zero. What rounds to zero has no sign.
    """
    if style.unit == "in":
        steps = _steps(mm / MM_PER_INCH * style.denominator)
        said = f'{_mixed(steps, style.denominator)}"'
    else:
        steps = _steps(mm * 10**style.decimals)
        said = f"{steps / 10**style.decimals:.{style.decimals}f} mm"
    return f"+{said}" if sign and steps > 0 else said


def format_distance(mm: float, style: Style) -> str:
    """How is a position or a length in a room [mm, finite] said: 7' 4 3/16", 350 mm or 2.35 m.

    Inches to the last step of the style; metric to 1 mm, and from a meter on to 10 mm.
    """
    if style.unit == "in":
        steps = _steps(mm / MM_PER_INCH * style.denominator)
        feet, rest = divmod(abs(steps), 12 * style.denominator)
        inches = f'{_mixed(rest, style.denominator)}"'
        said = inches if not feet else f"{feet}' {inches}" if rest else f"{feet}'"
        return f"-{said}" if steps < 0 else said
    steps = _steps(mm)
    return f"{steps} mm" if abs(steps) < 1000 else f"{_steps(mm / 10) / 100:.2f} m"


MASS_UNITS = {"kg": 1.0, "lb": KG_PER_POUND, "lbs": KG_PER_POUND, "g": 1e-3}
VOLUME_UNITS = {"l": 1.0, "cu ft": LITERS_PER_CUBIC_FOOT, "ft3": LITERS_PER_CUBIC_FOOT}
VOLUME_UNITS |= {"cubic ft": LITERS_PER_CUBIC_FOOT, "gal": LITERS_PER_GALLON, "m3": 1e3}

_AMOUNT_OF = re.compile(r"([0-9]{1,9}(?:[.,][0-9]{1,9})?) ?([a-z][a-z0-9 ]*)")


def format_offset(mm: float, style: Style) -> str:
    """How is a place on a tape [mm, finite] said to the mark: 7' 4 13/64", 2350 mm or 87.5 mm.

    Inches to 1/64, millimeters to 0.1: not rounded to what is told of a place in a room.
    """
    if style.unit == "in":
        return format_distance(mm, STYLES["in/64"])
    return f"{mm:.1f}".removesuffix(".0") + " mm"


def parse_amount(text: str, units: Mapping[str, float]) -> float:
    """How much did the person write: a number and one of `units`, as in `50 lb` or `0.47 cu ft`.

    Raises UnitsError, which quotes the text and lists the units.
    """
    match = _AMOUNT_OF.fullmatch(_plain(text).rstrip("."))
    if match is None or match[2].strip() not in units:
        raise _refusal(text, say("a number and one of {units}", units=", ".join(units)))
    return float(match[1].replace(",", ".")) * units[match[2].strip()]


def format_slope(ratio: float, style: Style) -> str:
    """How is a slope [ratio, finite] said: 1/4" per ft (2.1%) or 2.0% (20 mm/m).

    Inches per foot to 1/32, percent to 0.1, which is 1 mm/m.
    """
    per_mille = _steps(ratio * 1000)
    percent = f"{per_mille / 10:.1f}%"
    if style.unit == "mm":
        return f"{percent} ({per_mille} mm/m)"
    return say(
        '{inches}" per ft ({percent})', inches=_mixed(_steps(ratio * 12 * 32), 32), percent=percent
    )


def format_area(mm2: float, style: Style) -> str:
    """How is an area [mm², finite] said: 12.3 sq ft or 1.14 m²."""
    if style.unit == "in":
        return f"{_steps(mm2 / MM_PER_FOOT**2 * 10) / 10:.1f} sq ft"
    return f"{_steps(mm2 / 1000**2 * 100) / 100:.2f} m²"


def format_volume(liters: float, style: Style, beside: float | None = None) -> str:
    """How is a volume of material [l] said: 3.6 l; 1.4 cubic ft, or gallons where it is little.

    What is said `beside` another volume has the unit of that.
    """
    if style.unit == "mm":
        return _amount(liters, "l")
    if (liters if beside is None else beside) >= LITERS_PER_CUBIC_FOOT / 3:
        return _amount(liters / LITERS_PER_CUBIC_FOOT, "cubic ft")
    return _amount(liters / LITERS_PER_GALLON, "gal")


def _amount(value: float, unit: str) -> str:
    if 0 < value < 0.005:
        return say("under 0.01 {unit}", unit=unit)
    return f"{value:,.{0 if value >= 99.5 else 1 if value >= 0.95 else 2}f} {unit}"


def format_weight(kg: float, style: Style) -> str:
    """How is a weight said: 25 lb, or 4.3 kg where it is little."""
    value, unit = (kg, "kg") if style.unit == "mm" else (kg / KG_PER_POUND, "lb")
    return f"{value:,.{0 if value >= 9.95 or value == round(value) else 1}f} {unit}"


def format_load(kg_m2: float, style: Style) -> str:
    """How is a weight on the floor said: 3.9 lb on each square foot."""
    if style.unit == "mm":
        return say("{weight:.0f} kg on each square meter", weight=kg_m2)
    return say(
        "{weight:.1f} lb on each square foot", weight=kg_m2 / KG_PER_POUND * M2_PER_SQUARE_FOOT
    )


def _refusal(text: str, expected: str) -> UnitsError:
    quoted = repr(text)
    quoted = quoted if len(quoted) <= 40 else f"{quoted[:36]}...{quoted[-1]}"
    return UnitsError(
        say("{text} cannot be read: expected {expected}.", text=quoted, expected=expected)
    )


def _plain(text: str) -> str:
    body = text if text.isascii() else text.translate(_PLAIN)
    body = " ".join(body.split()).lower().replace("''", '"')
    if "," in body and _THOUSANDS.search(body):
        raise _refusal(text, say("no comma that may mean thousands, such as 1234.5"))
    return body


def _tenths(text: str, match: re.Match[str], default: str | None) -> tuple[int, int]:
    """The length in a match of _LENGTH_TEXT, as an exact fraction of tenths of a millimeter."""
    sign, feet, amount, word = match.groups()[:4]
    unit = _LENGTH_WORDS.get(word) if word else "in" if feet else default
    if unit is None:
        raise _refusal(text, say("a unit (mm, cm, m, in or ft) after the number, such as 3/16 in"))
    numerator, denominator = _number(text, sign, amount)
    if "/" in amount and unit not in ("in", "ft"):
        raise _refusal(
            text, say("a decimal in {unit}, or a fraction in inches, such as 3/16 in", unit=unit)
        )
    if feet:
        if unit != "in" or abs(numerator) > 12 * denominator:
            raise _refusal(text, say("up to 12 inches after the feet, such as 1' 4-3/16\""))
        numerator += int(f"{sign}{feet}") * 12 * denominator
    return numerator * _TENTHS[unit], denominator


def _number(text: str, sign: str, amount: str) -> tuple[int, int]:
    """Numerator, with the sign, and denominator of a match of _AMOUNT."""
    head, slash, bottom = amount.partition("/")
    if not slash:
        digits, _, decimals = amount.replace(",", ".").partition(".")
        return int(f"{sign}{digits}{decimals}"), 10 ** len(decimals)
    *whole, top = head.replace("-", " ").split()
    numerator, denominator = int(f"{sign}{top}"), int(bottom)
    if denominator == 0:
        raise _refusal(text, say("a denominator that is not zero, such as 3/16 in"))
    if whole:
        if abs(numerator) >= denominator:
            raise _refusal(
                text, say("a fraction below one after the whole number, such as 1 3/16 in")
            )
        numerator += int(f"{sign}{whole[0]}") * denominator
    return numerator, denominator


def _steps(value: float) -> int:
    # The billionth keeps a half on the tape (1/32 in said in 1/16) a half, when the way through
    # millimeters has left it one float short.
    return int(math.copysign(math.floor(abs(value) + 0.5 + 1e-9), value))


def _mixed(steps: int, denominator: int) -> str:
    whole, rest = divmod(abs(steps), denominator)
    common = math.gcd(rest, denominator)
    fraction = f"{rest // common}/{denominator // common}" if rest else ""
    said = f"{whole} {fraction}" if whole and rest else fraction or str(whole)
    return f"-{said}" if steps < 0 else said
