"""The forecast of lippage: what it says, what it keeps, and that it never breaks."""

import math
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from layings import Rows, rows

from flatcheck.assess import assess
from flatcheck.correction import correct
from flatcheck.errors import SurveyError
from flatcheck.forecast import Answer, Bed, Forecast, Way, forecast, required_heights
from flatcheck.readers.folder import read_folder
from flatcheck.relief import relief
from flatcheck.report.forecast import (
    HEAD,
    answer_words,
    choosing_words,
    forecast_words,
    joints_svg,
    rows_table,
)
from flatcheck.room import Room, rectangle
from flatcheck.selection import Option, choose, floors
from flatcheck.surface import Surface, surface
from flatcheck.units import MM_PER_INCH, STYLES, parse_length
from flatcheck.verdict import Outcome

WIDE, DEEP, STEP = 3000.0, 2400.0, 300.0
U_MM = 0.2


def floor(shape: object, rim: float = 0.0, u_mm: float = U_MM) -> Surface:
    """A floor read on a grid from `rim` off its walls; `shape` gives heights of x and y."""
    x, y = np.meshgrid(np.arange(rim, WIDE - rim + 1, STEP), np.arange(rim, DEEP - rim + 1, STEP))
    xy = np.column_stack((x.ravel(), y.ravel()))
    z = np.asarray(shape(*xy.T), dtype=float)
    room = Room(rectangle(0, 0, WIDE, DEEP))
    return surface(room, xy, z, np.full(len(z), u_mm**2), [""] * len(z))


def waves(seed: int, size: float, rough: float = 0.3) -> object:
    rng = np.random.default_rng(seed)

    def shape(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        z = rng.normal(0, rough, x.shape)
        for _ in range(5):
            turn, long = rng.uniform(0, np.pi), rng.uniform(1500, 5000)
            z += size * np.cos((x * np.cos(turn) + y * np.sin(turn)) / long * 2 * np.pi)
        return z

    return shape


def third() -> Rows:
    return rows(WIDE, DEEP, 597, 297, 1 / 3, 3)


def test_best_is_never_worse_than_an_even_bed_that_keeps_the_limits() -> None:
    """The even way is one of those the best is chosen from, where its bed keeps the limits."""
    bed = Bed(least_mm=2, most_mm=14)
    for seed in range(4):
        found = forecast(floor(waves(seed, 0.8)), third(), 1.0, bed)
        assert not len(found.even.unbedded)
        assert found.best.worst_mm <= found.even.worst_mm + 1e-5


@settings(max_examples=12, deadline=None)
@given(
    seed=st.integers(0, 10_000),
    size=st.floats(0, 6),
    room=st.floats(0.5, 12),
    spacer=st.sampled_from((0.3, 1.0, math.inf)),
    cap=st.sampled_from((0.0, 2.0, math.inf)),
    bow=st.sampled_from((0.0, 0.6, -0.6)),
)
def test_what_was_asked_for_is_kept(
    seed: int, size: float, room: float, spacer: float, cap: float, bow: float
) -> None:
    """Bed limits hold at every tile but the named ones, and spacers and cap at all of them."""
    bed = Bed(2.0, 2.0 + room, cap_mm=cap, spacer_mm=spacer)
    wide, deep = 1800.0, 1200.0
    whole = floor(waves(seed, size))
    # With spacers, bowed tiles at an offset could not be held; the bow then is less than they are.
    bow = 0.25 * bow if spacer < 1 else bow
    found = forecast(whole, rows(wide, deep, 597, 297, 1 / 3, 3), 1.0, bed, bow)
    fine = found.best.gives_mm == 0

    assert np.all(found.best.least_mm[fine] >= bed.least_mm - 3e-5)
    assert np.all(found.best.most_mm[fine] <= bed.most_mm + 3e-5)
    gives = found.best.gives_mm
    assert np.all(found.best.least_mm >= bed.least_mm - gives - 3e-5)
    assert np.all(found.best.most_mm <= bed.most_mm + gives + 3e-5)
    assert found.best.worst_mm <= spacer + 3e-5


def test_spacers_and_bed_share_the_trouble() -> None:
    """On a kink of 2 mm a tile, tight spacers make tiles that cannot be bedded, loose ones none."""
    whole = floor(lambda x, y: np.abs(x - WIDE / 2) / 100)
    laying = rows(WIDE, DEEP, 597, 297, 0, 3)
    tight = forecast(whole, laying, 1.0, Bed(2, 4, spacer_mm=0.2))
    loose = forecast(whole, laying, 1.0, Bed(2, 7))
    assert len(tight.best.unbedded)
    assert tight.best.worst_mm <= 0.2 + 1e-5
    assert not len(loose.best.unbedded)


def test_spacers_take_no_bow_out_of_a_tile() -> None:
    """Spacers of 0.1 mm between tiles bowed by 2 mm, half set off, leave at most that bow."""
    laying = rows(WIDE, DEEP, 597, 297, 0.5, 3)
    for bow in (2.0, -2.0):
        found = forecast(floor(waves(3, 3.0)), laying, 1.0, Bed(3, 6, spacer_mm=0.1), bow)
        # Between bowed tiles in one plane the largest step is 4 r (1 - r) b, a little more on the
        # middle line of the joint, half a joint past the end of a tile.
        assert found.best.worst_mm <= 2.0 * 1.02


def test_a_tile_that_cannot_be_bedded_is_named() -> None:
    """A peak of 20 mm under the middle of one tile asks for more than a bed of 2 to 12 mm."""
    peak = (900.0, 900.0)
    whole = floor(lambda x, y: 20.0 * ((x == peak[0]) & (y == peak[1])), u_mm=0.1)
    laying = rows(WIDE, DEEP, 1200, 600, 0.0)
    found = forecast(whole, laying, 0.8, Bed(2, 12))
    held = [
        k
        for k, (south_west, _, north_east, _) in enumerate(laying.pieces)
        if south_west[0] < peak[0] < north_east[0] and south_west[1] < peak[1] < north_east[1]
    ]
    assert found.best.unbedded.tolist() == held
    assert found.answer is Answer.CORRECTED
    words = "\n".join(said(found, whole))
    assert "1 tile cannot be bedded" in words
    assert "with the bed between 2.0 mm and 12.0 mm where that can be kept" in words


def said(found: Forecast, whole: Surface, style: str = "mm/0.1") -> list[str]:
    return forecast_words(found, whole, STYLES[style])


def test_the_cap_holds_the_floor_to_its_plane() -> None:
    """With a cap of zero all tiles lie on the required plane at their middles; the bed varies."""
    whole = floor(lambda x, y: 4 * np.cos(x / WIDE * 2 * np.pi))
    free = forecast(whole, third(), 1.0, Bed(2, 5))
    held = forecast(whole, third(), 1.0, Bed(2, 5, cap_mm=0.0))
    wide = forecast(whole, third(), 1.0, Bed(2, 15, cap_mm=0.0))
    assert not len(free.best.unbedded)
    assert len(held.best.unbedded)
    assert not len(wide.best.unbedded)
    assert wide.best.worst_mm <= 1e-4


def test_uncertainty_is_that_of_repeated_surveys() -> None:
    """u of a step is the spread of steps forecast from 400 surveys of one floor with noise."""
    plain = floor(lambda x, y: 0.002 * x, rim=150)
    laying = rows(WIDE, DEEP, 600, 300, 0.5)
    found = forecast(plain, laying, 1.0, best=False)
    rng = np.random.default_rng(3)
    steps = []
    for _ in range(400):
        noisy = surface(
            plain.room,
            plain.xy_mm,
            plain.height_mm + rng.normal(0, U_MM, len(plain.height_mm)),
            plain.cov_mm2,
            plain.where,
        )
        steps.append(forecast(noisy, laying, 1.0, best=False).even.step_mm)
    spread = np.std(steps, axis=0)
    # On a plane both ends of a joint are as far out; u is that of one of them.
    apart = np.abs(spread / found.u_mm[:, None] - 1).min(axis=1)
    assert np.quantile(apart, 0.95) < 3 / math.sqrt(2 * 400)


def test_heights_beyond_the_readings_follow_the_fall() -> None:
    """A plane read 150 mm off the walls is a plane up to them; what is beyond is told."""
    plane = floor(lambda x, y: 3 + 0.02 * x - 0.01 * y, rim=150)
    places = np.array([(0, 0), (WIDE, DEEP), (WIDE / 2, 0), (150, 150), (1010, 777)], dtype=float)
    ground = relief(plane, places)
    assert ground.heights(plane.height_mm) == pytest.approx(
        3 + 0.02 * places[:, 0] - 0.01 * places[:, 1], abs=1e-9
    )
    beyond = np.hypot(*ground.lean.T)
    assert beyond == pytest.approx([150 * 2**0.5, 150 * 2**0.5, 150, 0, 0], abs=1e-6)


def test_readings_on_one_line_lay_no_tile() -> None:
    """Readings in one line raise one sentence, and no fault."""
    xy = np.column_stack((np.arange(0, 3000, 300.0), np.full(10, 1000.0)))
    line = surface(Room(rectangle(0, 0, WIDE, DEEP)), xy, np.zeros(10), np.ones(10), [""] * 10)
    with pytest.raises(SurveyError, match="one line"):
        forecast(line, third(), 1.0)


@pytest.mark.parametrize(
    "bad",
    [
        {"least_mm": -1},
        {"least_mm": 5, "most_mm": 4},
        {"even_mm": 20},
        {"cap_mm": -1},
        {"spacer_mm": math.nan},
        {"waste": -0.1},
    ],
)
def test_a_bed_that_is_none(bad: dict[str, float]) -> None:
    """Limits that contradict each other are refused in a sentence."""
    with pytest.raises(SurveyError, match=r"^bed: "):
        Bed(**bad)


def test_mortar_is_bed_times_floor() -> None:
    """An even bed of 6 mm under a flat floor without joints takes 6 mm of its area."""
    flat = floor(lambda x, y: 0 * x)
    found = forecast(flat, rows(WIDE, DEEP, 600, 300, 0.5), 1.0, Bed(2, 10, even_mm=6))
    liters = WIDE * DEEP * 6 / 1e6
    assert found.even.mortar_l == pytest.approx(liters)
    bag = found.bed.material.yield_l
    assert found.even.bags == math.ceil(liters * 1.1 / bag)


def test_the_three_answers() -> None:
    """A flat floor can be tiled; a bowed tile at a half not on any floor; else it is the floor."""
    flat, bad = floor(lambda x, y: 0 * x), floor(waves(2, 8.0))
    assert forecast(flat, third(), 0.8).answer is Answer.AS_IS
    assert forecast(flat, third(), 0.8, Bed(3, 4), 1.5).answer is Answer.NOT
    assert forecast(bad, third(), 0.8, Bed(3, 4)).answer is Answer.CORRECTED


def test_outcomes_allow_for_reading_error() -> None:
    """A joint whose step lies within 1.645 u of its limit is too close to call, else it is not."""
    found = forecast(floor(waves(1, 1.0)), third(), 0.4, best=False)
    clear = (found.even.lippage_mm - found.limit_mm) / found.u_mm
    for outcome, score in zip(found.outcomes, clear, strict=True):
        if abs(score) > 1.65:
            assert outcome is (Outcome.OUT if score > 0 else Outcome.WITHIN)
        elif abs(score) < 1.64:
            assert outcome is Outcome.CLOSE
    assert {Outcome.CLOSE, Outcome.WITHIN} <= set(found.outcomes)


def test_tiles_where_nobody_read_are_told() -> None:
    """A corner of the room more than a step beyond the readings is named as unread."""
    far = floor(lambda x, y: 0 * x, rim=900)
    near = floor(lambda x, y: 0 * x, rim=150)
    assert len(forecast(far, third(), 1.0, best=False).unread)
    assert not len(forecast(near, third(), 1.0, best=False).unread)


def test_a_hole_between_readings_is_unread() -> None:
    """Tiles with a place farther from any reading than these are apart are unread; so no others.

    One reading left out of the grid leaves none farther than that; nor does reading a part closer.
    """
    whole = floor(lambda x, y: 0 * x)

    def read(kept: np.ndarray, *more: tuple[float, float]) -> Forecast:
        xy = np.vstack((whole.xy_mm[kept], np.array(more).reshape(-1, 2)))
        flat, u = np.zeros(len(xy)), np.full(len(xy), U_MM**2)
        left = surface(whole.room, xy, flat, u, [""] * len(xy))
        return forecast(left, rows(WIDE, DEEP, 300, 300), 1.0, best=False)

    away = np.abs(whole.xy_mm - (1500, 1200)).max(axis=1)
    hole = read(away > STEP + 1)
    assert hole.apart_mm == pytest.approx(STEP)
    # Of 4 x 4 tiles in the hole those at its corners reach no farther than one step from a reading.
    middles = np.abs(hole.middle_mm[hole.unread] - (1500, 1200))
    assert len(hole.unread) == 4 * 4 - 4
    assert middles.sum(axis=1).max() == pytest.approx(1.5 * STEP + 0.5 * STEP)
    assert not len(read(away > 1).unread)
    closer = [(x, y) for x in range(1230, 1500, 30) for y in range(930, 1200, 30)]
    assert not len(read(away >= 0, *closer).unread)
    assert answer_words(hole) == (
        "This floor can be tiled as it is, in an even bed, as far as the readings show."
    )


def test_a_free_tilt_changes_no_step() -> None:
    """Gaps under bars leave a plane free; a free bump at a reading makes steps that are unknown."""
    plain = floor(lambda x, y: 0 * x, rim=150)
    n = len(plain.xy_mm)
    tilt = np.column_stack((np.ones(n), plain.xy_mm / 3000))
    bump = np.eye(n)[:, 40:41]
    made = [
        surface(plain.room, plain.xy_mm, plain.height_mm, plain.cov_mm2, plain.where, free)
        for free in (tilt, bump)
    ]
    by_tilt, by_bump = (forecast(f, third(), 1.0, best=False).u_mm for f in made)
    assert np.isfinite(by_tilt).all()
    assert 0 < np.isinf(by_bump).sum() < len(by_bump)


def test_the_stages_are_told() -> None:
    """Whoever waits is told of each stage in turn."""
    told: list[int] = []
    forecast(floor(waves(2, 8.0)), third(), 1.0, progress=lambda number, _: told.append(number))
    assert told == [0, 1, 2]


def options() -> list[Option]:
    return [
        Option("12 x 24 third", third(), 0.8),
        Option("24 x 48 third", rows(WIDE, DEEP, 1197, 597, 1 / 3, 3), 0.8),
    ]


def test_choosing_puts_what_works_first() -> None:
    """On a roll large tile at a third is out and small in; flat, both work; worst steps rank."""
    roll = floor(lambda x, y: 5 * np.cos(x / 2400 * 2 * np.pi))
    table = choose([("as it is", roll), ("Pour", floor(lambda x, y: 0 * x))], options(), Bed(3, 6))
    assert [row.remedy for row in table] == ["as it is"] * 2 + ["Pour"] * 2
    assert table[0].option == "12 x 24 third"
    assert table[0].found.even.worst_mm < table[1].found.even.worst_mm
    assert [row.found.answer for row in table[2:]] == [Answer.AS_IS] * 2
    assert all(row.cuts == row.found.laying.cut.sum() for row in table)
    shown = choosing_words(table, STYLES["in/16"])
    assert len(shown) == 1 + len(table)
    assert shown[0].startswith(HEAD[0])
    assert all(len(row) == len(HEAD) for row in rows_table(table, STYLES["mm/0.1"]))


@pytest.mark.parametrize("style", ["in/16", "mm/0.1"])
def test_words_say_what_was_found(style: str) -> None:
    """The first sentence is the answer; the joints out are counted and the worst of them placed."""
    whole = floor(waves(2, 8.0))
    found = forecast(whole, third(), 0.8, Bed(3, 4))
    words = said(found, whole, style)
    assert words[0].startswith("This floor cannot be tiled so as it is; ")
    count = int(found.out(found.best).sum())
    assert f"{count} joints of {len(found.limit_mm)}" in " ".join(words)
    assert sum(line.startswith("  out: ") for line in words) == min(5, count)
    assert "mm" in " ".join(words) if style == "mm/0.1" else '"' in " ".join(words)


def test_the_drawing_shows_every_joint_once() -> None:
    """Each joint is one line of the class of its outcome."""
    whole = floor(waves(2, 3.0))
    found = forecast(whole, third(), 0.8, best=False)
    drawn = joints_svg(found, whole)
    for outcome, kind in ((Outcome.OUT, "out"), (Outcome.WITHIN, "within")):
        assert drawn.count(f'class="{kind}"') == found.outcomes.count(outcome) > 0


def test_lippage_has_no_sign() -> None:
    """A joint's lippage is its largest step, whichever side is up."""
    way = Way(np.array([[-2.0, 1.0]]), *np.ones((3, 1)), np.zeros(1), 0.0, 0)
    assert (way.lippage_mm.tolist(), way.worst_mm) == ([2.0], 2.0)


def test_one_tile_on_the_whole_floor_has_no_joint() -> None:
    """A tile larger than its room is foreseen without joints, spacers or not, bowed or not."""
    flat = floor(lambda x, y: 0 * x)
    for bed, bow in ((Bed(2, 10), 0.0), (Bed(2, 10, spacer_mm=0.5, cap_mm=1.0), 1.0)):
        found = forecast(flat, rows(WIDE, DEEP, 5000, 5000), 1.0, bed, bow)
        assert (found.outcomes, found.even.worst_mm, found.best.worst_mm) == ((), 0.0, 0.0)
        assert "no lippage, no joint between two tiles; bed" in "\n".join(said(found, flat))
    row = choose([("as it is", flat)], [Option("big", found.laying, 1.0)])
    assert rows_table(row, STYLES["mm/0.1"])[1][3:6] == ("none", "-", "0%")
    assert joints_svg(found, flat).count('class="within"') == 0


@pytest.mark.parametrize(("style", "step"), [("in/16", MM_PER_INCH / 2), ("mm/0.1", 10.0)])
def test_joints_are_placed_as_somebody_looks_for_them(style: str, step: float) -> None:
    """Places of joints that will be out are whole halves of an inch, or centimeters."""
    whole = floor(waves(2, 8.0))
    places = [
        line.partition("; ")[2]
        for line in said(forecast(whole, third(), 0.8, best=False), whole, style)
        if line.startswith("  out: ")
    ]
    assert len(places) == 5
    for place in places:
        for tape in place.split(", "):
            away = parse_length(tape.partition(" from ")[0]) / step
            assert away == pytest.approx(round(away), abs=1e-6)


def test_no_tile_is_refused() -> None:
    """A laying without tiles is refused in a sentence."""
    with pytest.raises(SurveyError, match="no tile"):
        forecast(floor(lambda x, y: 0 * x), SimpleNamespace(pieces=()), 1.0)


ROLL = Path(__file__).parents[1] / "sample_surveys" / "tansy-ford-roll"


@pytest.mark.parametrize(
    ("length", "width", "offset", "answer", "even"),
    [(24, 12, 0.0, Answer.AS_IS, True), (48, 24, 1 / 3, Answer.CORRECTED, False)],
)
def test_the_slab_that_rolls(
    length: float, width: float, offset: float, answer: Answer, even: bool
) -> None:
    """12 x 24 in aligned works in an even thin-set bed; 24 x 48 in at a third does not at best.

    Lippage of 1/32 in at a joint of 3/16 in (ANSI A108.02), bed of 3/32 to 1/4 in.
    """
    seen = assess(read_folder(ROLL))
    inch = MM_PER_INCH
    joint = 3 / 16 * inch
    laying = rows(
        192 * inch, 120 * inch, length * inch - joint, width * inch - joint, offset, joint
    )
    bed = Bed(3 / 32 * inch, inch / 4)
    found = forecast(seen.surface, laying, inch / 32, bed, required_mm=required_heights(seen))
    assert found.answer is answer
    assert found.good(found.even) is even
    assert set(found.outcomes) == {Outcome.WITHIN} if even else Outcome.OUT in found.outcomes
    assert not len(found.best.unbedded)


def test_remedies_bring_it_in() -> None:
    """Of the slab that rolls every floor that a remedy leaves takes 24 x 48 in at a third."""
    seen = assess(read_folder(ROLL))
    inch, joint = MM_PER_INCH, 3 / 16 * MM_PER_INCH
    laying = rows(192 * inch, 120 * inch, 48 * inch - joint, 24 * inch - joint, 1 / 3, joint)
    surfaces = floors(correct(seen))
    table = choose(
        surfaces, [Option("24 x 48 third", laying, inch / 32)], Bed(3 / 32 * inch, inch / 4)
    )
    assert len(table) == len(surfaces) > 1
    assert table[0].found.answer is Answer.CORRECTED
    assert [row.found.answer for row in table[1:]] == [Answer.AS_IS] * (len(table) - 1)
