"""Instruments: uncertainty in everyday words, a drifting level, a bar that is not straight."""

import math

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given
from hypothesis import strategies as st

from flatcheck.errors import FlatcheckError, SurveyError, UnitsError
from flatcheck.instrument import describe, fine, standard_uncertainty, statement
from flatcheck.kit import TURNS, bow, corrected, drift, freed, two_peg
from flatcheck.units import LENGTH_UNITS, STYLES

Floats = npt.NDArray[np.float64]

INCH, FOOT, METER = (LENGTH_UNITS[unit] for unit in ("in", "ft", "m"))
ROOT3, ROOT12 = math.sqrt(3), math.sqrt(12)
SIGHT = 7 * METER
ARC_SECOND = math.radians(1 / 3600)

# What was written, the unit of bare numbers, and its standard uncertainty at SIGHT.
STATEMENTS = [
    ("1/32 in", None, INCH / 32),
    ("1/32", "in", INCH / 32),
    ("1/32", None, INCH / 32),
    ("1/32", "ft", INCH / 32),
    ("½", "mm", INCH / 2),
    ("+-1/32", "mm", INCH / 32 / ROOT3),
    ("0.3 mm", "in", 0.3),
    ("+-1/32 in", None, INCH / 32 / ROOT3),
    ("+- 2 mm", None, 2 / ROOT3),
    ("+/-2 mm", None, 2 / ROOT3),
    ("± 2 mm", None, 2 / ROOT3),
    ("plus or minus 2 mm", None, 2 / ROOT3),
    ("1/8 in at 30 ft", None, INCH / 8 / (30 * FOOT) * SIGHT / ROOT3),
    ("1/8 at 30 ft", "in", INCH / 8 / (30 * FOOT) * SIGHT / ROOT3),
    ("1/8 at 30 ft", "mm", INCH / 8 / (30 * FOOT) * SIGHT / ROOT3),
    ("1/16 in per 100 ft", None, INCH / 16 / (100 * FOOT) * SIGHT / ROOT3),
    ("+-2 mm at 30 m", None, 2 / (30 * METER) * SIGHT / ROOT3),
    ("± 1.5 mm at 30 m", None, 1.5 / (30 * METER) * SIGHT / ROOT3),
    ("±1,5 mm @ 30 m", None, 1.5 / (30 * METER) * SIGHT / ROOT3),
    ("0.3 mm/m", None, 0.3e-3 * SIGHT / ROOT3),
    ("+-0.2 mm per m", None, 0.2e-3 * SIGHT / ROOT3),
    ("1/64 in per ft", None, SIGHT / (64 * 12) / ROOT3),
    ("10 arcsec", None, math.tan(10 * ARC_SECOND) * SIGHT / ROOT3),
    ("10 arc seconds", None, math.tan(10 * ARC_SECOND) * SIGHT / ROOT3),
    ("+-2.5 arc-seconds", None, math.tan(2.5 * ARC_SECOND) * SIGHT / ROOT3),
    ("0.1 deg", None, math.tan(math.radians(0.1)) * SIGHT / ROOT3),
    ("reading to 1/16", "in", INCH / 16 / ROOT12),
    ("reading to 1/16", None, INCH / 16 / ROOT12),
    ("reading to 1/16", "mm", INCH / 16 / ROOT12),
    ("reads to the nearest 1 mm", None, 1 / ROOT12),
    ("Rounded to 0.5 mm", None, 0.5 / ROOT12),
    (
        "+-2 mm at 30 m, reading to 1 mm",
        None,
        math.hypot(2 / (30 * METER) * SIGHT / ROOT3, 1 / ROOT12),
    ),
    ("1/32 in, reading to 1/16 in", None, math.hypot(INCH / 32, INCH / 16 / ROOT12)),
    ("0,4 mm, 0,3 mm/m; reads to 1", "mm", math.hypot(0.4, 0.3e-3 * SIGHT / ROOT3, 1 / ROOT12)),
]

NONSENSE = [
    *("", "good", "+-", "very good, reading to 1 mm", "0.5", "2 furlong", "reading to 1"),
    *("+-2 mm at 30", "2 mm at 0 m", "2 mm at -3 m", "at 30 m", "2 mm at", "2 mm at 30 m at 4 m"),
    *("0 mm", "-2 mm", "+--2 mm", "0 mm/m", "0 arcsec", "reading to 0 mm", "1 mm, 0 in"),
    *("1 mm,", ",", "1 mm, foo", "1 mm, reading to 1 mm, reading to 2 mm", "ten arcsec"),
    *("1e3 mm", "nan mm", "inf", "x" * 5000, "9" * 5000, "1 " * 5000, "90 deg", "1,234 mm"),
    *("5 m", "12 in", "+-50 ft", "reading to 2 m", "100 ft at 1 in", "5 %", "3 deg", "1 in 80"),
]


# What people write


@pytest.mark.parametrize(("text", "default", "u"), STATEMENTS)
def test_statement_is_understood(text: str, default: str | None, u: float) -> None:
    """A bound counts as a/√3, a step as s/√12, a bare value as it is, together in quadrature."""
    assert standard_uncertainty(statement(text, default), SIGHT) == pytest.approx(u, rel=1e-12)


@pytest.mark.parametrize("text", NONSENSE)
def test_nonsense_is_refused(text: str) -> None:
    """What cannot be meant is refused in one sentence that quotes it."""
    with pytest.raises((UnitsError, SurveyError)) as refusal:
        statement(text)
    said = str(refusal.value)
    assert said.startswith(repr(text if len(text) <= 60 else f"{text[:57]}..."))
    assert said.endswith(".")
    assert "\n" not in said
    assert len(said) < 300


@given(st.text("0123456789/.,;+-± '\"mminftatrecsdg½°%@ ", max_size=24))
def test_any_text_is_read_or_refused(text: str) -> None:
    """Whatever is typed, the answer is an uncertainty larger than zero or a sentence."""
    try:
        u = standard_uncertainty(statement(text, "in"), SIGHT)
    except FlatcheckError:
        return
    assert 0 < u < math.inf


def test_trade_rules_of_thumb_agree() -> None:
    """Ten arc seconds are about 1/16 in at 100 ft, as makers print side by side."""
    by_angle = standard_uncertainty(statement("10 arcsec"), 100 * FOOT)
    assert by_angle == pytest.approx(
        standard_uncertainty(statement("1/16 in at 100 ft"), 100 * FOOT), rel=0.08
    )


@pytest.mark.parametrize(("text", "by"), [("1/32 in", False), ("+-1 mm, reading to 1 mm", False)])
def test_plain_statements_need_no_distance(text: str, by: bool) -> None:
    """Without an angle the distance does not matter, not even where it is unknown."""
    said = statement(text)
    assert said.by_distance is by
    assert standard_uncertainty(said, math.nan) == standard_uncertainty(said, 1e6)


@pytest.mark.parametrize("sight", [0.0, -1.0, math.nan, math.inf])
def test_an_angle_needs_a_distance(sight: float) -> None:
    """A statement for a distance is refused where the distance of the readings is not known."""
    said = statement("+-2 mm at 30 m, reading to 1 mm")
    assert said.by_distance
    for ask in (
        lambda: standard_uncertainty(said, sight),
        lambda: describe(said, sight, STYLES["mm"]),
    ):
        with pytest.raises(SurveyError, match=r"^'\+-2 mm at 30 m, .*depends on the distance"):
            ask()


def test_an_angle_is_proportional_to_the_distance() -> None:
    """Twice as far away a maker's bound is twice as large; scatter and rounding are not."""
    angle, step = statement("+-2 mm at 30 m"), statement("reading to 1 mm")
    assert standard_uncertainty(angle, 2 * SIGHT) == pytest.approx(
        2 * standard_uncertainty(angle, SIGHT)
    )
    assert standard_uncertainty(step, 2 * SIGHT) == standard_uncertainty(step, SIGHT)


@pytest.mark.parametrize(
    ("text", "style", "said"),
    [
        (
            "+-2 mm at 30 m, reading to 1 mm",
            "mm",
            "+-2 mm at 30 m: 0.67 mm at 10.00 m, 0.67 mm / √3 = 0.38 mm (no reading off by more); "
            "reading to 1 mm: 1 mm / √12 = 0.29 mm (rounding to a step); together "
            "√((0.38 mm)² + (0.29 mm)²) = 0.48 mm; about two readings in three fall this near the "
            "truth.",
        ),
        (
            "1/32 in",
            "in/16",
            '1/32 in: taken as it stands, 0.031"; about two readings in three fall this near the '
            "truth.",
        ),
    ],
)
def test_the_arithmetic_is_shown(text: str, style: str, said: str) -> None:
    """The sentence shows each part, what it was divided by, and the sum of squares."""
    assert describe(statement(text), 10 * METER, STYLES[style]) == said


@pytest.mark.parametrize(
    ("mm", "style", "said"),
    [
        (INCH / 100, "in/8", '0.01"'),
        (0.0123, "mm", "0.012 mm"),
        (9.96, "mm", "10 mm"),
        (104.4, "mm", "104 mm"),
        (-104.4, "mm", "-104 mm"),
        (12_345.6, "mm", "12346 mm"),
        (0.00012, "mm", "0.00012 mm"),
        (0.00001, "mm", "under 0.0001 mm"),
        (0.0, "in/16", '0"'),
    ],
)
def test_lengths_keep_two_digits(mm: float, style: str, said: str) -> None:
    """Far below the last step of the style a length is still said, and a long one in full."""
    assert fine(mm, STYLES[style]) == said


ANGLE = 1e-3
SAID = statement("1 mm/m")
"""A bound on an angle that all readings of a setup share; its standard uncertainty is ANGLE/√3."""


@given(st.lists(st.floats(-5e3, 5e3), min_size=4, max_size=4), st.floats(0.05, 0.95))
def test_shared_angles_are_overstated_in_gaps(ends: list[float], share: float) -> None:
    """A tilted plane shows in no gap, and a cone in none by more than independent readings would.

    The bar lies anywhere within the longest sight, which is what the uncertainty is asked for.
    """
    start, end = np.array(ends[:2]), np.array(ends[2:])
    places = np.array([start, end, start + share * (end - start)])
    weights = np.array([1 - share, share, -1.0])
    taken = standard_uncertainty(SAID, 5e3 * math.sqrt(2)) * np.linalg.norm(weights)
    tilt = ANGLE / ROOT3 * places @ np.array([0.6, 0.8])
    cone = ANGLE / ROOT3 * np.hypot(places[:, 0], places[:, 1])

    assert abs(weights @ tilt) < 1e-9
    assert abs(weights @ cone) * 1.22 <= taken + 1e-9


def test_shared_tilts_are_understated_over_long_spans() -> None:
    """Between places up to 1.4 sights apart a tilt is covered; right across the room it is not."""
    taken = math.sqrt(2) * standard_uncertainty(SAID, SIGHT)
    assert taken > ANGLE / ROOT3 * 1.4 * SIGHT
    assert taken < ANGLE / ROOT3 * 2 * SIGHT


# Levels


@given(
    st.floats(-5e-3, 5e-3),
    st.floats(-500, 500),
    st.floats(1.001e3, 5e4),
    st.floats(0, 2e4),
)
def test_two_peg_test_finds_the_angle(
    ratio: float, rise: float, base: float, beyond: float
) -> None:
    """A level that points up by a known angle is found out, and its readings are put right."""
    a, b = 1400.0, 1400.0 - rise  # a higher peg is read lower
    half = base / 2
    near, far = beyond, beyond + base
    midway = (a + ratio * half, b + ratio * half)
    other = (a + 70 + ratio * near, b + 70 + ratio * far)
    found = two_peg(midway, other, (near, far), 0.5)

    assert found.ratio == pytest.approx(ratio, abs=1e-9)
    assert found.u_ratio == pytest.approx(2 * 0.5 / base)
    for true, read, sight in ((a, other[0], near), (b, other[1], far)):
        assert corrected(read, sight, found.ratio) == pytest.approx(true + 70, abs=1e-3)


@pytest.mark.parametrize(
    "sights",
    [(5e3, 5e3), (-1.0, 5e3), (math.nan, 1.0), (1.0, math.inf), (0.0, 0.0), (1e4, 1e4 + 999)],
)
def test_two_peg_test_needs_unequal_sights(sights: tuple[float, float]) -> None:
    """A second place about as far from one peg as from the other shows nothing and is refused."""
    with pytest.raises(SurveyError, match="nearer to one peg"):
        two_peg((1400, 1500), (1400, 1500), sights, 0.5)


@pytest.mark.parametrize("sign", [1, -1])
def test_two_peg_test_of_a_misread_rod(sign: int) -> None:
    """A sight that would be off by more than 10 mm in a meter is a slip, and told as one."""
    assert two_peg((1400, 1400), (1400, 1400 + sign * 199), (0, 2e4), 0.5).ratio * sign < 0.01
    with pytest.raises(SurveyError, match=r"reads -?201 mm more .* a rod was misread"):
        two_peg((1400, 1400), (1400, 1400 + sign * 201), (0, 2e4), 0.5)


def test_two_peg_uncertainty_is_that_of_four_readings() -> None:
    """Simulated readings scatter the angle by 2 u / base."""
    rng = np.random.default_rng(3)
    found = [
        two_peg(tuple(m), tuple(o), (0.0, 30e3), 0.4).ratio
        for m, o in zip(*rng.normal(1400, 0.4, (2, 4000, 2)), strict=True)
    ]
    assert np.std(found) == pytest.approx(2 * 0.4 / 30e3, rel=0.05)


def test_drift_is_taken_out_along_the_line() -> None:
    """A place that reads 3 mm more at the end is put back in proportion to the time gone by."""
    times = [8.0, 8.5, 8.5, 9.25, 10.0]
    found = drift(1400, 1403, times)

    assert found == pytest.approx([-3 * (t - 8) / 2 for t in times])
    assert 1403 + found[-1] == pytest.approx(1400 + found[0])


def test_drift_by_order() -> None:
    """Without times the order of the readings will do."""
    assert drift(0, -4, range(5)) == pytest.approx([0, 1, 2, 3, 4])


@pytest.mark.parametrize("times", [[], [1], [1, 1], [0, 2, 1], [0, math.nan], [0, math.inf]])
def test_drift_needs_times_that_grow(times: list[float]) -> None:
    """One reading, no time gone by, and times that run backwards are refused."""
    with pytest.raises(SurveyError, match="in the order of the readings"):
        drift(0, 1, times)


# Bars


LENGTH = 3000.0
STATIONS = np.array([300.0, 900.0, 1500.0, 2100.0, 2400.0])
FLOOR = np.array([2.0, 3.5, 1.0, 0.25, 4.0])
"""True gaps below the line through the ends of the bar [mm]."""


def edge(at: Floats, arch: float, hump: float) -> Floats:
    """Height of an edge over its ends: an arch and an S, written without the module's own terms."""
    t = at / LENGTH
    peak = t * (1 - t) * (2 * t - 1)  # ± √3/18, at t = 1/2 ± √3/6
    return 4 * arch * t * (1 - t) + hump * peak * 18 / math.sqrt(3)


def readings(turn: str, arch: float, hump: float, at: Floats, floor: Floats) -> Floats:
    """The gaps under a bar after a turn, from what the turn does to wood or metal.

    The bar has depth 100 all along. Its lower edge runs at edge(x), its upper one 100 above.
    """
    if turn == "end for end":
        return edge(LENGTH - at, arch, hump) + floor
    upper = edge(at, arch, hump) + 100
    return (100 - upper) + floor  # rolled over: up is down, and the upper edge is below


def test_the_sizes_are_what_they_are_called() -> None:
    """The bow is the height at the middle, the lopsided part the height of its one hump."""
    at = np.linspace(0, LENGTH, 3001)
    assert edge(at, 1, 0).max() == pytest.approx(1)
    assert edge(np.array([LENGTH / 2]), 1, 5)[0] == pytest.approx(1)
    assert edge(at, 0, 1).max() == pytest.approx(1, abs=1e-6)
    assert at[np.argmax(edge(at, 0, 1))] > LENGTH / 2


@pytest.mark.parametrize(("arch", "hump"), [(0.8, 0.0), (0.0, -0.5), (-0.6, 0.3), (0.0, 0.0)])
def test_upside_down_tells_the_whole_shape(arch: float, hump: float) -> None:
    """Rolled over, the shape changes its sign: bow and lopsided part are found exactly."""
    first = FLOOR + edge(STATIONS, arch, hump)
    found = bow(
        first, readings("upside down", arch, hump, STATIONS, FLOOR), STATIONS, LENGTH, TURNS[1], 0.1
    )

    assert found.told == ("bow", "lopsided")
    assert found.size_mm == pytest.approx([arch, hump], abs=1e-12)
    assert found.gap_mm == pytest.approx(FLOOR)
    assert found.misfit_mm == pytest.approx(0, abs=1e-12)
    free, _ = freed(first, STATIONS, found, 0.1)
    assert free == pytest.approx(FLOOR)


@pytest.mark.parametrize(("arch", "hump"), [(0.8, 0.0), (0.0, -0.5), (-0.6, 0.3)])
def test_end_for_end_tells_the_lopsided_part_only(arch: float, hump: float) -> None:
    """Turned end for end an arch stays what it was: it is left in the gaps, and that is said."""
    first = FLOOR + edge(STATIONS, arch, hump)
    turned = readings("end for end", arch, hump, STATIONS, FLOOR)
    found = bow(first, turned, STATIONS, LENGTH, "end for end", 0.1)

    assert found.told == ("lopsided",)
    assert found.size_mm == pytest.approx([hump], abs=1e-12)
    assert found.gap_mm == pytest.approx(FLOOR + edge(STATIONS, arch, 0))
    with pytest.raises(SurveyError, match=r"a bow is in both readings alike .* upside down"):
        freed(first, STATIONS, found, 0.1)


def test_an_arch_alone_cannot_be_seen_end_for_end() -> None:
    """A bowed bar and a straight one over a hollow floor give the same readings both ways."""
    hollow = FLOOR + edge(STATIONS, 1.5, 0)
    bowed = [FLOOR + edge(STATIONS, 1.5, 0), readings("end for end", 1.5, 0, STATIONS, FLOOR)]
    straight = [hollow, readings("end for end", 0, 0, STATIONS, hollow)]

    assert np.array(bowed) == pytest.approx(np.array(straight))


def test_sag_is_seen_by_neither_turn() -> None:
    """What hangs the same either way up cancels in the difference and stays in the gaps."""
    sag = -edge(STATIONS, 0.7, 0)
    for turn in TURNS:
        first = FLOOR + sag + edge(STATIONS, 0, 0.2)
        turned = readings(turn, 0, 0.2, STATIONS, FLOOR) + sag
        found = bow(first, turned, STATIONS, LENGTH, turn, 0.1)
        assert dict(zip(found.told, found.size_mm, strict=True)) == pytest.approx(
            {name: {"bow": 0.0, "lopsided": 0.2}[name] for name in found.told}, abs=1e-12
        )
        assert found.gap_mm == pytest.approx(FLOOR + sag)


def test_one_place_tells_a_plain_arch() -> None:
    """Read at one place only, the bar is taken for an arch: half the difference, scaled up."""
    found = bow([5.0], [4.0], [LENGTH / 4], LENGTH, "upside down", 0.1)

    assert found.told == ("bow",)
    assert found.size_mm == pytest.approx([0.5 / (4 * 0.25 * 0.75)])


def test_what_the_shape_leaves_is_said() -> None:
    """A bar with a kink does not fit: the misfit is half of what is left of the difference."""
    kink = np.array([0.0, 0.0, 0.0, 0.6, 0.0])
    found = bow(FLOOR + kink, FLOOR - kink, STATIONS, LENGTH, "upside down", 0.1)
    both = np.column_stack((edge(STATIONS, 1, 0), edge(STATIONS, 0, 1)))
    rest = kink - both @ np.linalg.lstsq(both, kink, rcond=None)[0]

    assert found.misfit_mm == pytest.approx(np.abs(rest).max())
    assert found.gap_mm == pytest.approx(FLOOR)  # whatever its shape


@pytest.mark.parametrize("turn", TURNS)
def test_uncertainty_of_the_shape(turn: str) -> None:
    """Simulated readings scatter sizes, means and freed gaps by the uncertainty that is told."""
    rng, u = np.random.default_rng(5), 0.2
    sizes, means, free = [], [], []
    for _ in range(4000):
        first = FLOOR + edge(STATIONS, 0.4, 0.3) + rng.normal(0, u, len(STATIONS))
        turned = readings(turn, 0.4, 0.3, STATIONS, FLOOR) + rng.normal(0, u, len(STATIONS))
        found = bow(first, turned, STATIONS, LENGTH, turn, u)
        sizes.append(found.size_mm)
        means.append(found.gap_mm)
        if turn == "upside down":
            other = FLOOR + edge(STATIONS, 0.4, 0.3) + rng.normal(0, u, len(STATIONS))
            free.append(freed(other, STATIONS, found, u)[0])

    assert np.cov(np.array(sizes).T) == pytest.approx(
        np.squeeze(found.cov_mm2), abs=0.05 * u * u, rel=0.08
    )
    assert np.std(means, axis=0) == pytest.approx(found.u_gap_mm, rel=0.08)
    if turn == "upside down":
        _, told = freed(FLOOR, STATIONS, found, u)
        assert np.std(free, axis=0) == pytest.approx(told, rel=0.05)


@pytest.mark.parametrize(
    ("first", "turned", "at", "length", "turn", "said"),
    [
        ([1.0], [1.0], [1500.0], LENGTH, "sideways", "turn 'sideways' is not one of"),
        ([1.0, 2.0], [1.0], [1500.0], LENGTH, "upside down", "2 gaps, 1 after turning and 1"),
        ([], [], [], LENGTH, "upside down", "0 gaps"),
        ([1.0], [1.0], [3001.0], LENGTH, "upside down", "from 0 to its length, 3000 mm"),
        ([1.0], [1.0], [math.nan], LENGTH, "upside down", "from 0 to its length"),
        ([1.0], [1.0], [0.0], 0.0, "upside down", "from 0 to its length, 0 mm"),
        ([1.0, 1.0], [1.0, 1.0], [0.0, LENGTH], LENGTH, "upside down", "the same at its ends"),
        ([1.0], [1.0], [LENGTH / 2], LENGTH, "end for end", "at its middle and its ends"),
    ],
)
def test_bars_that_tell_nothing(
    first: list[float], turned: list[float], at: list[float], length: float, turn: str, said: str
) -> None:
    """Readings that do not match, places off the bar and places that show nothing are refused."""
    with pytest.raises(SurveyError, match=f"^bar: .*{said}"):
        bow(first, turned, at, length, turn, 0.1)
