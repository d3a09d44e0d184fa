"""Lengths and slopes as people write them, and how they are said back."""

import ast
import math
import re
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from flatcheck import units
from flatcheck.errors import UnitsError
from flatcheck.units import (
    LENGTH_UNITS,
    MM_PER_FOOT,
    MM_PER_INCH,
    SLOPE_UNITS,
    STYLES,
    Style,
    format_area,
    format_distance,
    format_length,
    format_slope,
    parse_length,
    parse_slope,
    parse_style,
    style_name,
)

INCH = Fraction(254, 10)  # the international inch is 25.4 mm by definition
FOOT = 12 * INCH
IN16, MM, MM01 = Style("in", 16), Style("mm"), Style("mm", decimals=1)

LENGTHS = [
    ("3/16", "in", INCH * 3 / 16),
    ('1 3/16"', None, INCH * 19 / 16),
    ('1-3/16"', None, INCH * 19 / 16),
    ("1' 4-3/16\"", None, FOOT + INCH * 67 / 16),
    ("1'4 3/16\"", None, FOOT + INCH * 67 / 16),
    ("1'4 3/16", None, FOOT + INCH * 67 / 16),
    ("1'-4\"", None, 16 * INCH),
    ("1' - 4 1/2\"", None, INCH * 33 / 2),
    ("-1' 4-3/16\"", None, -FOOT - INCH * 67 / 16),
    ("-1-3/16", "in", -INCH * 19 / 16),
    ("1' 12\"", None, 2 * FOOT),
    ("7'", None, 7 * FOOT),
    ("7' 4.25\"", None, 7 * FOOT + INCH * 17 / 4),
    ("-1/8", "in", -INCH / 8),
    ("- 1/8 in", None, -INCH / 8),
    ("+.25", "in", INCH / 4),
    (".25", "in", INCH / 4),
    ("0.25", "mm", Fraction(1, 4)),
    ("4,5 mm", None, Fraction(9, 2)),
    ("0,125 in", None, INCH / 8),
    ("4.5mm", None, Fraction(9, 2)),
    ("3mm", None, Fraction(3)),
    ("3 MM", None, Fraction(3)),
    ("3 cm", None, Fraction(30)),
    ("1.2 m", None, Fraction(1200)),
    ("1.2", "m", Fraction(1200)),
    ("0.02 ft", None, FOOT / 50),
    ("1/2 ft", None, FOOT / 2),
    ("2 ft 3 in", None, 27 * INCH),
    ("2 ft. 3 1/2 in.", None, INCH * 55 / 2),
    ("2 feet 3 inches", None, 27 * INCH),
    ("1 foot 1 inch", None, 13 * INCH),
    ("2 ft", "mm", 2 * FOOT),
    ("½", "in", INCH / 2),
    ("-½", "in", -INCH / 2),
    ('1½"', None, INCH * 3 / 2),
    ("1-½ in", None, INCH * 3 / 2),
    ("1 ½ in", None, INCH * 3 / 2),
    ("⅜", "in", INCH * 3 / 8),
    ("1'½\"", None, INCH * 25 / 2),
    ("3\u204416 in", None, INCH * 3 / 16),
    ("1′ 4″", None, 16 * INCH),
    ("1’ 4”", None, 16 * INCH),
    ("1' 4''", None, 16 * INCH),
    ("−1/8 in", None, -INCH / 8),
    ("1–3/16 in", None, INCH * 19 / 16),
    ("  1\u00a03/16\u202fin\t", None, INCH * 19 / 16),
    ("5/4 in", None, INCH * 5 / 4),
    ("0", "in", Fraction(0)),
    ("-0 mm", None, Fraction(0)),
]

NOT_LENGTHS = [
    *(
        "",
        " ",
        "-",
        "abc",
        "x" * 38,
        "x" * 39,
        "in",
        "3 furlong",
        "3 mm x",
        "3/16 in deep",
        "3 mm 2",
        "' 4\"",
    ),
    *("nan", "inf", "-inf", "1e400", "1e3 mm", "0x10 mm", "1_000 mm", "١ mm", "９ mm", "9" * 5000),
    *("3/0", '1 3/0"', "0/0 in", "1/8/2", "3/16 mm", "½ cm", "1 1/2 m", "3/ in", "/8 in"),
    *("--1", "+-1", "1-", "1 2", "4.5.2", "4. mm", "1.5 1/2 in", "3.5/8 in", "1/½", "½4", "1½/2"),
    *("1 16/3", "1 4/4 in", "1 -1/8 in", "1 - 1/8 in", "1/-8 in", "1' -4\"", '1\' 4" -1/8"'),
    *("1' 14\"", "1' 12 1/16\"", "1' 4'", "1' 4 mm", "1.5' 3\"", "1 m 4 cm", "1'000", "1'000 mm"),
    *("1,234.5", "1,234 mm", "12,345,678 mm", "1.234,5 mm", "1 234 mm", "3 in 12", "2 %"),
]

SLOPES = [
    ("1:80", None, Fraction(1, 80)),
    ("1 : 80", None, Fraction(1, 80)),
    ("-1:80", None, Fraction(-1, 80)),
    ("1/4:12", None, Fraction(1, 48)),
    ("12 on 12", None, Fraction(1)),
    ("2%", None, Fraction(2, 100)),
    ("2 %", None, Fraction(2, 100)),
    ("2 percent", None, Fraction(2, 100)),
    ("1,5 %", None, Fraction(15, 1000)),
    ("−2%", None, Fraction(-2, 100)),
    ("1/4 in per ft", None, Fraction(1, 48)),
    ('1/4" per foot', None, Fraction(1, 48)),
    ("1/4 in/ft", None, Fraction(1, 48)),
    ('1/4"/ft', None, Fraction(1, 48)),
    ('¼" per ft', None, Fraction(1, 48)),
    ("-1/8 in per ft", None, Fraction(-1, 96)),
    ("10 mm/m", None, Fraction(1, 100)),
    ("10 mm per m", None, Fraction(1, 100)),
    ("1 cm/m", None, Fraction(1, 100)),
    ("0", None, Fraction(0)),
    ("0%", None, Fraction(0)),
    ("0:80", None, Fraction(0)),
    ("2", "%", Fraction(2, 100)),
    ("0.02", "ratio", Fraction(2, 100)),
    ("1/80", "ratio", Fraction(1, 80)),
    ("1/4", "in/ft", Fraction(1, 48)),
    ("10", "mm/m", Fraction(1, 100)),
    ("2%", "deg", Fraction(2, 100)),
]

NOT_SLOPES = [
    *("", "abc", "nan", "inf", "1e3 %", "1e400", "--1:80", "1:-80", "1:0", "1:0.0", "1:2:3", "1:"),
    *("1/0 in per ft", "3 in 12", "1 in 80", "2", "1/4", "1/80", "1/4 per ft", "1/4 in", "2 mm"),
    *("½ %", "1/2 deg", "3/16 mm per m", "2 %%", "2 furlong", "2 mm/furlong", "2 furlong/m"),
    *("90 deg", "-90°", "120 deg", "89.9999999999999999999 deg", "1,234 %", "1 16/3 in per ft"),
    *("in per ft", "1/4 in per", "1/4 in per 2 ft", "1' 14\" per ft", "4.5.2 %", "9" * 5000 + "%"),
]

lengths_mm = st.floats(-30_000, 30_000)
styles = st.sampled_from(list(STYLES.values()))
# Text that looks enough like a length or a slope to get past the first look.
scribbles = st.text("0123456789/.,:-+−– '\"′″½⅜%°\u00a0\u2044", max_size=12) | st.lists(
    st.sampled_from(
        [
            *("1", "16", "3/16", "½", "0", "-", " ", "'", '"', "/", ":", "per", "on", ".", ","),
            *("ft", "in", "in.", "mm", "cm", "m", "deg", "°", "%", "1,234", "9" * 30, "nan", "e3"),
        ]
    ),
    max_size=8,
).map("".join)


def last_step_mm(style: Style) -> float:
    """The last step that `format_length` says [mm]."""
    return MM_PER_INCH / style.denominator if style.unit == "in" else 10.0**-style.decimals


@pytest.mark.parametrize(("text", "default", "mm"), LENGTHS)
def test_length_is_read(text: str, default: str | None, mm: Fraction) -> None:
    """A written length is read as the float nearest to its exact value in millimeters."""
    assert parse_length(text, default) == float(mm)


@pytest.mark.parametrize("default", [None, *LENGTH_UNITS])
@pytest.mark.parametrize("unit", LENGTH_UNITS)
def test_written_unit_beats_default(unit: str, default: str | None) -> None:
    """A unit in the text is obeyed whatever the default is."""
    assert parse_length(f"2 {unit}", default) == 2 * LENGTH_UNITS[unit]


@pytest.mark.parametrize("default", ["in", "ft", "mm"])
@pytest.mark.parametrize("text", NOT_LENGTHS)
def test_length_is_refused(text: str, default: str) -> None:
    """What is no length is refused in one sentence that quotes it and gives an example."""
    with pytest.raises(UnitsError) as refusal:
        parse_length(text, default)
    assert_is_one_helpful_sentence(str(refusal.value), text)


@pytest.mark.parametrize("text", NOT_SLOPES)
def test_slope_is_refused(text: str) -> None:
    """What is no slope is refused in one sentence that quotes it and gives an example."""
    with pytest.raises(UnitsError) as refusal:
        parse_slope(text)
    assert_is_one_helpful_sentence(str(refusal.value), text)


def assert_is_one_helpful_sentence(message: str, text: str) -> None:
    quoted = repr(text) if len(repr(text)) <= 40 else repr(text)[:36] + "..." + repr(text)[-1]
    assert len(quoted) <= 40
    assert message.startswith(quoted + " ")
    advice = message.removeprefix(quoted)
    assert "expected" in advice
    assert "such as" in advice
    assert advice.endswith(".")
    assert ". " not in advice
    assert "\n" not in advice


@pytest.mark.parametrize("text", ["3/16", "4", "½", "0", "1,5"])
def test_bare_number_needs_a_unit(text: str) -> None:
    """A number without a unit and without a default is refused for want of a unit."""
    with pytest.raises(UnitsError, match="expected a unit"):
        parse_length(text)


@pytest.mark.parametrize("text", ["3/16", "1 1/2", "½"])
@pytest.mark.parametrize("default", ["mm", "cm", "m"])
def test_bare_fraction_is_not_metric(text: str, default: str) -> None:
    """A bare fraction is refused where numbers are metric: it may well have meant inches."""
    with pytest.raises(UnitsError, match=f"a decimal in {default}"):
        parse_length(text, default)


@pytest.mark.parametrize("text", ["1/4", "½"])
@pytest.mark.parametrize("default", ["%", "mm/m", "deg"])
def test_bare_fraction_is_not_a_percentage(text: str, default: str) -> None:
    """A bare 1/4 is refused where slopes are percent: it may well have meant 1/4 in per ft."""
    with pytest.raises(UnitsError, match="1/4 in per ft"):
        parse_slope(text, default)


@pytest.mark.parametrize("parse", [parse_length, parse_slope])
@pytest.mark.parametrize("default", ["furlong", "", "IN", "px"])
def test_unknown_default_is_refused(parse, default: str) -> None:
    """A default unit that does not exist is refused even when the text needs none."""
    with pytest.raises(UnitsError, match=f"^'{default}' .*a default unit, one of"):
        parse("0", default)


@pytest.mark.parametrize(("text", "default", "ratio"), SLOPES)
def test_slope_is_read(text: str, default: str | None, ratio: Fraction) -> None:
    """A written slope is read as the float nearest to its exact ratio."""
    assert parse_slope(text, default) == float(ratio)


@pytest.mark.parametrize("text", ["0.5 deg", "0.5°", "0.5 º", "0.5 degrees", "0,5 degree"])
def test_degrees_are_tangents(text: str) -> None:
    """A slope in degrees is the tangent of the angle."""
    assert parse_slope(text) == pytest.approx(math.tan(math.pi / 360), rel=1e-15)
    assert parse_slope("-0.5", "deg") == -parse_slope(text)


def test_twelve_on_twelve_is_45_degrees() -> None:
    """12 on 12 is the slope whose angle is 45 degrees."""
    assert math.degrees(math.atan(parse_slope("12 on 12"))) == 45
    assert parse_slope("45 deg") == pytest.approx(1, rel=1e-15)


def test_sixteenth_spacer_in_mm() -> None:
    """A 1/16 in joint spacer is 1.5875 mm (common practice, no source)."""
    assert parse_length("1/16 in") == 1.5875


def test_foot_is_twelve_inches() -> None:
    """The two inch-pound constants are the floats nearest to their definitions."""
    assert float(INCH) == MM_PER_INCH
    assert float(FOOT) == MM_PER_FOOT


@pytest.mark.parametrize(
    ("mm", "style", "sign", "said"),
    [
        (INCH * 3 / 16, IN16, False, '3/16"'),
        (INCH * 19 / 16, IN16, False, '1 3/16"'),
        (-INCH / 8, IN16, False, '-1/8"'),
        (-INCH * 9 / 8, IN16, True, '-1 1/8"'),
        (INCH / 8, IN16, True, '+1/8"'),
        (0, IN16, True, '0"'),
        (-0.0, IN16, True, '0"'),
        (INCH / 33, IN16, True, '0"'),
        (-INCH / 33, IN16, True, '0"'),
        (INCH / 32, IN16, False, '1/16"'),
        (-INCH / 32, IN16, False, '-1/16"'),
        (INCH * 31 / 32, IN16, False, '1"'),
        (INCH * 30, IN16, False, '30"'),
        (INCH * 3 / 64, Style("in", 64), False, '3/64"'),
        (INCH * 3 / 64, Style("in", 32), False, '1/16"'),
        (INCH * 3 / 64, Style("in", 8), False, '0"'),
        (4, MM, False, "4 mm"),
        (4.5, MM, False, "5 mm"),
        (-4.5, MM, False, "-5 mm"),
        (-0.4, MM, True, "0 mm"),
        (4.75, MM01, False, "4.8 mm"),
        (4.75, MM01, True, "+4.8 mm"),
        (-0.04, MM01, True, "0.0 mm"),
        (1.005, Style("mm", decimals=2), False, "1.01 mm"),
    ],
)
def test_length_is_said(mm: Fraction | float, style: Style, sign: bool, said: str) -> None:
    """Gaps are said in reduced fractions or decimals, halves away from zero, never as -0."""
    assert format_length(float(mm), style, sign) == said


@pytest.mark.parametrize(
    ("mm", "style", "said"),
    [
        (88 * INCH, IN16, "7' 4\""),
        (88 * INCH + INCH * 3 / 16, IN16, "7' 4 3/16\""),
        (84 * INCH + INCH * 3 / 16, IN16, "7' 3/16\""),
        (10 * INCH, IN16, '10"'),
        (10 * FOOT, IN16, "10'"),
        (FOOT - INCH / 64, IN16, "1'"),
        (-16 * INCH, IN16, "-1' 4\""),
        (0, IN16, '0"'),
        (-INCH / 64, IN16, '0"'),
        (350, MM, "350 mm"),
        (-0.4, MM01, "0 mm"),
        (999.4, MM, "999 mm"),
        (999.6, MM, "1.00 m"),
        (2345, MM, "2.35 m"),
        (-2345, MM01, "-2.35 m"),
    ],
)
def test_distance_is_said(mm: Fraction | float, style: Style, said: str) -> None:
    """Positions are said in feet and inches, or in millimeters below a meter and meters above."""
    assert format_distance(float(mm), style) == said


@pytest.mark.parametrize(
    ("ratio", "style", "said"),
    [
        (1 / 48, IN16, '1/4" per ft (2.1%)'),
        (-1 / 48, IN16, '-1/4" per ft (-2.1%)'),
        (1 / 12, IN16, '1" per ft (8.3%)'),
        (-0.0001, IN16, '0" per ft (0.0%)'),
        (0.02, MM, "2.0% (20 mm/m)"),
        (1 / 48, MM, "2.1% (21 mm/m)"),
        (-0.0001, MM, "0.0% (0 mm/m)"),
    ],
)
def test_slope_is_said(ratio: float, style: Style, said: str) -> None:
    """Slopes are said in inches per foot or in percent, with the other way in parentheses."""
    assert format_slope(ratio, style) == said


def test_area_is_said() -> None:
    """Areas are said in square feet to 0.1 or in square meters to 0.01."""
    assert format_area(float(FOOT**2) * 12.34, IN16) == "12.3 sq ft"
    assert format_area(1.14e6, MM) == "1.14 m²"
    assert format_area(0.0, MM) == "0.00 m²"


@pytest.mark.parametrize("name", ["in/8", "in/16", "in/32", "in/64", "mm", "mm/0.1", "mm/0.01"])
def test_style_names_are_inverse(name: str) -> None:
    """Reading a style's name and naming the style are inverse."""
    assert style_name(parse_style(name)) == name
    assert parse_style(style_name(STYLES[name])) == STYLES[name]


@pytest.mark.parametrize("name", ["", "in", "in/10", "in/0", "mm/0", "mm/0.001", "cm", "in/16 "])
def test_unknown_style_is_refused(name: str) -> None:
    """A style nobody offers is refused with the list of those that are."""
    with pytest.raises(UnitsError) as refusal:
        parse_style(name)
    assert str(refusal.value).startswith(repr(name) + " ")
    assert str(refusal.value).endswith(", ".join(STYLES) + ".")


@pytest.mark.parametrize(
    "fields", [("cm",), ("in/16",), ("in", 10), ("in", 0), ("mm", 16, 3), ("mm", 16, -1)]
)
def test_style_checks_its_fields(fields: tuple) -> None:
    """A style cannot be built with a unit, a denominator or decimals that nobody offers."""
    with pytest.raises(UnitsError, match="expected a style, one of in/8"):
        Style(*fields)


@given(
    st.sampled_from(["", "-"]),
    st.integers(0, 200),
    st.integers(0, 11),
    st.sampled_from([2, 4, 8, 16, 32, 64]).flatmap(
        lambda parts: st.tuples(st.integers(0, parts - 1), st.just(parts))
    ),
)
def test_sums_are_exact(sign: str, feet: int, inches: int, fraction: tuple[int, int]) -> None:
    """Feet, inches and a fraction add up to exact rational arithmetic, minus taking the whole."""
    top, bottom = fraction
    exact = (-1 if sign else 1) * (feet * FOOT + inches * INCH + Fraction(top, bottom) * INCH)
    assert parse_length(f"{sign}{feet}' {inches} {top}/{bottom}\"") == float(exact)
    assert parse_length(f"{sign}{feet} ft {inches}-{top}/{bottom}", "mm") == float(exact)


@given(st.decimals(-99_999, 99_999, places=4), st.sampled_from(list(LENGTH_UNITS)))
def test_decimals_are_exact(number, unit: str) -> None:
    """A decimal is read as the float nearest to the decimal times its unit, by point or comma."""
    scale = {"mm": 1, "cm": 10, "m": 1000, "in": INCH, "ft": FOOT}[unit]
    exact = float(Fraction(number) * scale)
    assert parse_length(f"{number:f} {unit}") == exact
    assert parse_length(f"{number:f}".replace(".", ","), unit) == exact


@given(lengths_mm, styles, st.booleans())
def test_said_length_is_read_back(mm: float, style: Style, sign: bool) -> None:
    """Reading back a said length is off by at most half of its last step."""
    error_mm = abs(parse_length(format_length(mm, style, sign)) - mm)
    assert error_mm <= last_step_mm(style) * (0.5 + 1e-8)


@given(lengths_mm, styles)
def test_said_distance_is_read_back(mm: float, style: Style) -> None:
    """Reading back a said distance is off by at most half of its last step."""
    said = format_distance(mm, style)
    step_mm = last_step_mm(style) if style.unit == "in" else 1 if said.endswith("mm") else 10
    assert abs(parse_length(said) - mm) <= step_mm * (0.5 + 1e-8)


@given(st.floats(-1, 1), styles)
def test_said_slope_is_read_back(ratio: float, style: Style) -> None:
    """Reading back either half of a said slope is off by at most half of its last step."""
    first, second = format_slope(ratio, style).removesuffix(")").split(" (")
    fine, coarse = (first, second) if style.unit == "mm" else (second, first)
    assert abs(parse_slope(fine) - ratio) <= 0.001 * (0.5 + 1e-8)
    coarse_step = 0.001 if style.unit == "mm" else 1 / 12 / 32
    assert abs(parse_slope(coarse) - ratio) <= coarse_step * (0.5 + 1e-8)


@given(st.integers(-5000, 5000), st.sampled_from([8, 16, 32]))
def test_halves_go_away_from_zero(odd: int, denominator: int) -> None:
    """A length that is an exact half step on the tape is said as the step farther from zero."""
    halves = 2 * odd + 1
    said = format_length(parse_length(f"{halves}/{2 * denominator} in"), Style("in", denominator))
    away = (abs(halves) + 1) // 2 * (1 if halves > 0 else -1)
    assert parse_length(said) == float(Fraction(away, denominator) * INCH)


@given(lengths_mm, lengths_mm | st.floats(-3, 3), styles)
@example(999.4, 0.2, MM)
def test_saying_is_monotone(mm: float, more_mm: float, style: Style) -> None:
    """A longer length is never said as a shorter one, across the change of unit too."""
    low, high = sorted((mm, mm + more_mm))
    for say in (format_length, format_distance):
        assert parse_length(say(low, style)) <= parse_length(say(high, style))


@given(lengths_mm, styles)
def test_saying_is_odd(mm: float, style: Style) -> None:
    """The negative of a length is said as the same words with a minus, and zero without one."""
    for say in (format_length, format_distance):
        plus, minus = say(abs(mm), style), say(-abs(mm), style)
        assert minus == (plus if parse_length(plus) == 0 else f"-{plus}")


@given(st.text() | scribbles, st.sampled_from([None, *LENGTH_UNITS]))
def test_any_text_is_a_length_or_refused(text: str, default: str | None) -> None:
    """Whatever the text, reading a length gives a finite number or a UnitsError."""
    try:
        mm = parse_length(text, default)
    except UnitsError:
        return
    assert math.isfinite(mm)


@given(st.text() | scribbles, st.sampled_from([None, *SLOPE_UNITS]))
def test_any_text_is_a_slope_or_refused(text: str, default: str | None) -> None:
    """Whatever the text, reading a slope gives a finite number or a UnitsError."""
    try:
        ratio = parse_slope(text, default)
    except UnitsError:
        return
    assert math.isfinite(ratio)


def inch_literals(source: Path) -> list[str]:
    """Every 25.4 or 304.8 in a source file, in code, text or comment."""
    return re.findall(r"(?<![0-9.])(?:25\.4|304\.8)0*(?![0-9])", source.read_text("utf-8"))


def test_inch_lives_in_one_module() -> None:
    """No module of flatcheck but units.py contains 25.4 or 304.8."""
    package = Path(units.__file__).parent
    holders = {str(path.relative_to(package)) for path in package.rglob("*.py")}
    holders = {name for name in holders if inch_literals(package / name)}
    assert holders == {"units.py"}


def test_units_needs_only_the_standard_library() -> None:
    """units.py imports nothing but quick standard modules, the errors and the language."""
    tree = ast.parse(Path(units.__file__).read_text("utf-8"))
    plain = {name.name for node in tree.body if isinstance(node, ast.Import) for name in node.names}
    origins = {node.module for node in tree.body if isinstance(node, ast.ImportFrom)}
    ours = {"flatcheck.errors", "flatcheck.language"}
    assert plain | origins == {"math", "re", "collections.abc", "dataclasses"} | ours
