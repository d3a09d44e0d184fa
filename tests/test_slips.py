"""Slips: what a misread reading was probably misread as, and nothing where nothing fits."""

import itertools

import pytest

from flatcheck.adjust import adjust
from flatcheck.misread import Suspect
from flatcheck.slips import FITS, Slip, slip_for
from flatcheck.survey import Gap, Observation, Reading, Tilt, height_from
from flatcheck.units import LENGTH_UNITS, parse_length

INCH = LENGTH_UNITS["in"]


def slip(written: str, meant_mm: float, unit: str = "in", u: float = 0.4) -> Slip | None:
    """What explains that `written` should have been `meant_mm`."""
    value = parse_length(written, unit)
    return slip_for(written, value, unit, value - meant_mm, u)


def words(written: str, meant: str, unit: str = "in", u: float = 0.4) -> str | None:
    named = slip(written, parse_length(meant, unit), unit, u)
    return named.words if named else None


# One by one


@pytest.mark.parametrize("way", [1, -1])
@pytest.mark.parametrize(
    ("unit", "off_mm", "said"),
    [
        ("in", INCH / 2, "half an inch off"),
        ("in", INCH, "an inch off"),
        ("in", 2 * INCH, "two inches off"),
        ("in", 10 * INCH, "ten inches off"),
        ("ft", 12 * INCH, "a foot off"),
        ("in", 12 * INCH, "a foot off"),
        ("mm", 10.0, "10 mm off"),
        ("cm", 50.0, "50 mm off"),
        ("mm", 100.0, "100 mm off"),
        ("m", 1000.0, "1 m off"),
    ],
)
def test_a_whole_mark_of_the_rod(unit: str, off_mm: float, said: str, way: int) -> None:
    """A reading off by a whole mark of the rod or rule is named by the mark, both ways."""
    value = 47.13 * INCH
    named = slip_for("?", value, unit, way * off_mm + 0.3, 0.4)
    assert named == Slip(said, pytest.approx(way * off_mm))


@pytest.mark.parametrize(
    ("written", "meant", "said"),
    [
        ("3/8", "3/16", "3/8 read for 3/16"),
        ("47 3/16", "47 3/8", "3/16 read for 3/8"),
        ("3/4", "3/8", "3/4 read for 3/8"),
        ("1/16", "15/16", "1/16 read for 15/16"),
        ("46 5/16", "46 11/16", "5/16 read for 11/16"),
        ("1' 4-7/16\"", "1' 4-9/16\"", "7/16 read for 9/16"),
        ("5/32", "5/16", "5/32 read for 5/16"),
    ],
)
def test_a_fraction_on_another_scale(written: str, meant: str, said: str) -> None:
    """Marks counted on another scale, or from the other end of the inch, are named as fractions."""
    assert words(written, meant, u=0.1) == said
    assert slip(written, parse_length(meant, "in"), u=0.1) == Slip(
        said, pytest.approx(parse_length(written, "in") - parse_length(meant, "in"))
    )


@pytest.mark.parametrize(
    ("written", "meant", "unit"),
    [("1421", "1412", "mm"), ("4112", "1412", "mm"), ("73", "37", "cm")],
)
def test_digits_exchanged(written: str, meant: str, unit: str) -> None:
    """Two neighboring digits in the wrong order are named with the number that was meant."""
    assert words(written, meant, unit) == f"{written} written for {meant}"


@pytest.mark.parametrize(("written", "meant"), [("1214", "1412"), ("2361", "1632"), ("11", "12")])
def test_digits_that_are_no_neighbors(written: str, meant: str) -> None:
    """Digits that are not next to each other, or not the same digits, are no such slip."""
    assert words(written, meant, "mm") is None


@pytest.mark.parametrize(("written", "meant"), [("-3.7", "3.7"), ("2.3", "-2.3")])
def test_a_sign_turned(written: str, meant: str) -> None:
    """An elevation with the wrong sign is off by twice itself, and is named so."""
    assert words(written, meant, "mm") == "the sign turned"


@pytest.mark.parametrize(("written", "meant"), [("-3/8", "-3/16"), ("-1 5/16", "-1 11/16")])
def test_a_fraction_below_zero(written: str, meant: str) -> None:
    """Below zero too the fraction that was read is named with the one that was meant."""
    top, bottom = (text.split()[-1].lstrip("-") for text in (written, meant))
    assert words(written, meant, u=0.1) == f"{top} read for {bottom}"


def test_a_fraction_that_was_not_misread() -> None:
    """A reading of -3/8 that should be -9/16 was no 3/16: counted so it would be -3/16."""
    assert words("-3/8", "-9/16", u=0.1) is None


def test_a_fraction_of_a_foot() -> None:
    """Where bare readings are in feet, half a foot taken for a quarter is a fraction of a foot."""
    assert words("3 1/2", "3 1/4", "ft") == "1/2 read for 1/4"


@pytest.mark.parametrize(("written", "meant"), [("10", "1"), ("105", "15")])
def test_nobody_writes_a_zero_first(written: str, meant: str) -> None:
    """A number that starts with a zero is not what anybody meant to write."""
    assert words(written, meant, "mm", u=0.2) is None


# Which, and when none


@pytest.mark.parametrize(("share", "said"), [(0.4, "3/8 read for 5/8"), (0.6, "3/8 read for 3/4")])
def test_the_nearest_slip_is_named(share: float, said: str) -> None:
    """Where several slips would do the one that explains the error best is named."""
    # Between 3/8 read for 5/8, which is 1/4 low, and 3/8 read for 3/4, which is 3/8 low.
    named = slip_for("3 3/8", 3.375 * INCH, "in", -INCH * (0.25 + share * 0.125), 2.0)
    assert named is not None
    assert named.words == said


@pytest.mark.parametrize("u", [0.1, 0.5, 2.0])
def test_a_slip_explains_within_its_uncertainty(u: float) -> None:
    """An error is explained by a slip up to FITS of its u, and not beyond."""
    for way, off in itertools.product((1, -1), (0.99, 1.01)):
        error = 1000.0 + way * off * FITS * u
        named = slip_for("1.5 m", 1500.0, "mm", error, u)
        assert (named is not None) is (off < 1)


@pytest.mark.parametrize(
    ("written", "error_mm", "unit"),
    [
        ("47", 7.0, "in"),
        ("1412", 33.0, "mm"),
        ("1412", 25.4, "mm"),  # an inch is no mark of a metric rod
        ("47 3/8", 18.0, "in"),
        ("2222", 0.9, "mm"),  # equal digits cannot be exchanged
        ("0", 3.0, "mm"),  # nor can the sign of nothing
        ("high", 17.0, "mm"),
    ],
)
def test_nothing_is_invented(written: str, error_mm: float, unit: str) -> None:
    """An error that no usual slip makes is left without an explanation."""
    try:
        value = parse_length(written, unit)
    except ValueError:
        value = 321.0
    assert slip_for(written, value, unit, error_mm, 0.2) is None


def test_no_error_is_no_slip() -> None:
    """A reading that is right is never explained: a slip makes an error."""
    assert slip_for("0", 0.0, "mm", 0.0, 0.5) is None
    assert slip_for("11", 11.0, "mm", 0.0, 0.5) is None
    assert slip_for("8/8", INCH, "in", 0.0, 0.5) is None


# Through the adjustment

PLACES = [(600.0 * i, 600.0 * j) for i in range(4) for j in range(3)]


def read(
    texts: list[str], setup: str, unit: str, sense: str = "rod", u: float = 0.5
) -> list[Observation]:
    """The places read in order from one setup, as written."""
    return [
        Reading(*at, height_from(sense, parse_length(text, unit)), u, setup, "", text, sense, unit)
        for at, text in zip(PLACES, texts, strict=True)
    ]


def suspects(texts: list[str], unit: str, sense: str = "rod", u: float = 0.5) -> list[Suspect]:
    """Who does not fit of a floor read from three setups, twice right and once as in `texts`."""
    good = ["1412"] * 12 if unit == "mm" else ["47 3/8"] * 12
    if sense == "elevation":
        good = ["3.7"] * 12
    seen = read(good, "A", unit, sense, u) + read(good, "B", unit, sense, u)
    return list(adjust([*seen, *read(texts, "C", unit, sense, u)]).suspects)


@pytest.mark.parametrize(
    ("right", "wrong", "unit", "sense", "said"),
    [
        ("47 3/8", "46 3/8", "in", "rod", "an inch off"),
        ("47 3/8", "35 3/8", "in", "rod", "a foot off"),
        ("47 3/8", "47 3/4", "in", "rod", "3/4 read for 3/8"),
        ("47 3/8", "47 3/16", "in", "rod", "3/16 read for 3/8"),
        ("1412", "1421", "mm", "rod", "1421 written for 1412"),
        ("1412", "1312", "mm", "rod", "100 mm off"),
        ("3.7", "-3.7", "mm", "elevation", "the sign turned"),
        ("1412", "1449", "mm", "rod", None),
    ],
)
@pytest.mark.parametrize("at", [0, 5, 11])
def test_a_slip_is_found_and_named(
    right: str, wrong: str, unit: str, sense: str, said: str | None, at: int
) -> None:
    """Of a floor read from three setups one misread reading is found, with what happened."""
    texts = [right] * 12
    texts[at] = wrong
    (suspect,) = suspects(texts, unit, sense, u=0.4)
    assert suspect.number == 24 + at + 1
    assert suspect.observation.text == wrong
    assert (suspect.slip.words if suspect.slip else None) == said
    off = parse_length(wrong, unit) - parse_length(right, unit)
    assert suspect.error_mm == pytest.approx(off, abs=1e-3 * abs(off))
    assert suspect.should_mm == pytest.approx(parse_length(right, unit), abs=1e-3 * abs(off))


def test_two_readings_exchanged() -> None:
    """Two readings written in each other's place are told as exchanged, each with the other."""
    floor = [f"{1400 + 7 * k}" for k in range(12)]
    seen = read(floor, "A", "mm") + read(floor, "B", "mm")
    floor[3], floor[8] = floor[8], floor[3]
    found = adjust([*seen, *read(floor, "C", "mm")]).suspects
    assert [(s.number, s.slip.words) for s in found if s.slip] == [
        (28, "exchanged with reading 33"),
        (33, "exchanged with reading 28"),
    ]
    assert [s.error_mm for s in found] == pytest.approx([35, -35], abs=0.1)
    assert [s.slip.error_mm for s in found if s.slip] == [s.error_mm for s in found]


def test_two_slips_that_are_no_exchange() -> None:
    """Two readings that are both off, but not by each other, are not told as exchanged."""
    floor = [f"{1400 + 7 * k}" for k in range(12)]
    seen = read(floor, "A", "mm") + read(floor, "B", "mm")
    floor[3], floor[8] = "1521", "1556"
    found = adjust([*seen, *read(floor, "C", "mm")]).suspects
    assert [(s.number, s.slip.words if s.slip else None) for s in found] == [
        (28, "100 mm off"),
        (33, "100 mm off"),
    ]


@pytest.mark.parametrize(
    ("near", "said"), [(True, "exchanged with reading"), (False, "100 mm off")]
)
def test_opposite_slips_on_a_level_floor(near: bool, said: str) -> None:
    """Two readings 100 mm too much and too little are exchanged only if read one after another."""
    texts = ["1412"] * 12
    floor = ["1412"] * 12
    texts[3], floor[3 + (1 if near else 4)] = "1512", "1512"
    texts[3 + (1 if near else 4)] = "1412"
    seen = read(floor, "A", "mm") + read(floor, "B", "mm")
    found = adjust([*seen, *read(texts, "C", "mm")]).suspects
    assert [s.slip.words.rstrip("0123456789 ") for s in found if s.slip] == [said, said]


def test_a_gap_misread() -> None:
    """A gap read on the wrong scale is found by the heights around it, with its block taken on."""
    floor = read(["47 3/8"] * 12, "A", "in") + read(["47 3/8"] * 12, "B", "in")
    ends = (PLACES[0], PLACES[9])
    block = INCH * 3 / 4
    written = ("3/4", "1 3/4")
    gaps = [
        Gap(*ends, along, parse_length(text, "in") - block, 0.3, "bar", block, "", text, "in")
        for along, text in zip((600.0, 1200.0), written, strict=True)
    ]
    (suspect,) = adjust([*floor, *gaps]).suspects
    assert suspect.number == 26
    assert suspect.slip == Slip("an inch off", INCH)
    assert suspect.should_mm == pytest.approx(block, abs=0.5)


def test_a_tilt_has_no_written_length() -> None:
    """A tilt that does not fit is named without a slip: its text is a slope, not a length."""
    floor = read(["1412"] * 12, "A", "mm") + read(["1412"] * 12, "B", "mm")
    level = Tilt(PLACES[0], PLACES[1], 10.0, 0.3, "", "1.0")
    (suspect,) = adjust([*floor, level]).suspects
    assert suspect.number == 25
    assert suspect.slip is None
    assert suspect.error_mm == pytest.approx(10, abs=1e-3)
