"""Straightedge samples: plans drawn by lot, their sheets, and what a sample shows."""

import csv
import io
import json
import math
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
import tomli_w

from flatcheck.assess import assess
from flatcheck.cli import main
from flatcheck.errors import RuleError, SurveyError
from flatcheck.readers.folder import checked, read_folder
from flatcheck.report.sample import plan_csv, plan_words, tally_words
from flatcheck.room import Ring, Room, clear, inside, rectangle
from flatcheck.sampling import Plan, draw
from flatcheck.scheme import asked, scheme_named
from flatcheck.survey import Gap, Survey
from flatcheck.tables import readings_of
from flatcheck.tally import lower_bound, more_to_prove, tally
from flatcheck.tile import Tile
from flatcheck.units import STYLES
from flatcheck.verdict import Outcome

SAMPLES = Path(__file__).parents[1] / "sample_surveys"
FOOT = 304.8
HALL = Room(rectangle(0, 0, 40 * FOOT, 30 * FOOT))
ELL = Room(
    Ring("ell", ((0, 0), (9000, 0), (9000, 4000), (4000, 4000), (4000, 8000), (0, 8000))),
    (rectangle(1500, 1500, 2500, 2500, "column"),),
)


def survey_of(
    plan: Plan,
    gaps: list[float | None],
    style: str = "mm/0.1",
    u: str = "0.1 mm",
    block: float | None = None,
    **sections: object,
) -> Survey:
    """A plan with its sheet filled in by these gaps [mm]; None leaves a placement out."""
    header, *rows = csv.reader(io.StringIO(plan_csv(plan, STYLES[style])))
    filled = [
        tuple(
            {
                "at": "70 mm",
                "gap": f"{gap + (block or 0):.4f} mm",
                "block": f"{block} mm" if block else "",
            }.get(key, cell)
            for key, cell in zip(header, row, strict=True)
        )
        for row, gap in zip(rows, gaps, strict=True)
        if gap is not None
    ]
    head = {
        "flatcheck": 1,
        "units": {"readings": "mm", "offsets": "mm"},
        "instrument": {"uncertainty": u},
        "room": {
            "outline": [list(corner) for corner in plan.room.outline.corners_mm],
            "cutout": [
                {"name": ring.name, "outline": [list(corner) for corner in ring.corners_mm]}
                for ring in plan.room.cutouts
            ],
        },
        "sample": {"standard": plan.scheme.standard, "seed": plan.seed, "count": plan.count},
        "table": [{"file": "plan.csv", "kind": "gaps"}],
    }
    document = {key: value for key, value in (head | sections).items() if value is not None}
    return checked(tomli_w.dumps(document), {"plan.csv": (tuple(header), *filled)})


@pytest.mark.parametrize("room", [HALL, ELL], ids=["hall", "ell"])
@pytest.mark.parametrize("name", ["aci-bar:flat", "dtu-slabs:slab", "bs-8204:SR1"])
def test_every_placement_lies_on_the_floor(room: Room, name: str) -> None:
    """Start, end and all between lie on the floor, the bar is as long as asked, marks are whole."""
    plan = draw(scheme_named(name), room, 11, 60)
    assert len(plan.placements) == 60 * len(plan.scheme.bars)
    for one in plan.placements:
        length = plan.scheme.bars[one.bar].length_mm
        start, end = np.array([one.start]), np.array([one.end])
        assert inside(room, np.concatenate((start, end))).all()
        assert clear(room, start, end).all()
        assert math.dist(one.start, one.end) == pytest.approx(length)
        mark = 10 if name.startswith(("bs", "dtu")) else 25.4
        assert np.array(one.start) / mark == pytest.approx(np.round(np.array(one.start) / mark))
        way = math.degrees(math.atan2(one.end[0] - one.start[0], one.end[1] - one.start[1]))
        assert (way - one.toward_deg + 180) % 360 == pytest.approx(180, abs=1e-6)


def test_the_same_seed_draws_the_same_plan() -> None:
    """A seed gives one plan, another seed another, and a longer plan begins with the shorter."""
    scheme = scheme_named("aci-bar:flat")
    plan = draw(scheme, HALL, 7)
    assert draw(scheme, HALL, 7) == plan
    assert draw(scheme, HALL, 8).placements != plan.placements
    assert draw(scheme, HALL, 7, 20).placements[:12] == plan.placements


@pytest.mark.parametrize(
    ("name", "area_m2", "count"),
    [
        # 0.01 for each square foot: 1,200 square feet are 12, one more is 13.
        ("aci-bar:flat", 1200 * 0.09290304, 12),
        ("aci-bar:flat", 1201 * 0.09290304, 13),
        ("aci-bar:conventional", 50 * 0.09290304, 1),
        ("bs-8204:SR2", 100, 5),
        ("bs-8204:SR2", 101, 6),
        # One for every 100 m², and at least ten.
        ("dtu-slabs:slab", 30, 10),
        ("dtu-slabs:slab", 1000, 10),
        ("dtu-slabs:slab", 1001, 11),
    ],
)
def test_how_many(name: str, area_m2: float, count: int) -> None:
    """The number of placements by the area, rounded up."""
    assert asked(scheme_named(name), area_m2 * 1e6) == count


@pytest.mark.parametrize(
    ("grade", "most", "every"),
    [
        ("conventional", Fraction(1, 2), Fraction(3, 4)),
        ("moderately-flat", Fraction(3, 8), Fraction(5, 8)),
        ("flat", Fraction(1, 4), Fraction(3, 8)),
    ],
)
def test_limits_of_aci_117(grade: str, most: Fraction, every: Fraction) -> None:
    """90 % within 1/2, 3/8, 1/4 in and all within 3/4, 5/8, 3/8 in, as on the shelf."""
    scheme = scheme_named(f"aci-bar:{grade}")
    ((ninety, ninety_mm), (whole, whole_mm)) = scheme.bars[0].shares
    assert (ninety, whole) == (0.9, 1.0)
    assert (ninety_mm, whole_mm) == pytest.approx((float(most) * 25.4, float(every) * 25.4))
    assert scheme.bars[0].length_mm == 3048
    assert f"(90 % of them: {most} in)" in scheme.title
    assert scheme.citation.certainty == "from memory"


def test_limits_of_dtu_13_3() -> None:
    """7 mm under 2 m and 2 mm under 0.2 m, both on blocks, all of a sample of each."""
    assert [(bar.length_mm, bar.blocks, bar.shares) for bar in scheme_named("dtu-slabs").bars] == [
        (2000, True, ((1.0, 7.0),)),
        (200, True, ((1.0, 2.0),)),
    ]


def test_a_rule_that_depends_on_the_tile() -> None:
    """The rule for tile is sampled for the tile there is: 10 ft and 24 in bars for a large one."""
    with pytest.raises(RuleError, match="depends on the tile"):
        scheme_named("us-tile:bar")
    bars = scheme_named("us-tile:bar", Tile(609.6, 304.8)).bars
    assert [(bar.length_mm, bar.shares) for bar in bars] == [
        (3048, ((1.0, 3.175),)),
        (609.6, ((1.0, 1.5875),)),
    ]


def test_a_rule_for_walls() -> None:
    """A rule for walls is sampled on walls only."""
    with pytest.raises(RuleError, match="for a wall"):
        scheme_named("dtu-tile:wall")
    assert scheme_named("dtu-tile:wall", about="wall").bars[0].shares == ((1.0, 7.0),)


def test_a_rule_for_every_place_can_be_sampled() -> None:
    """A straightedge rule of the shelf is taken for a sample of which all must be within."""
    scheme = scheme_named("bs-8204:SR1")
    assert [(b.length_mm, b.blocks, b.shares) for b in scheme.bars] == [(2000, False, ((1, 3),))]
    finished = scheme_named("bs-5385-3:finished")
    assert finished.bars[0].blocks
    with pytest.raises(RuleError, match="say --count"):
        draw(finished, HALL, 1)
    with pytest.raises(RuleError, match="say --count"):  # of NF DTU 52.10, beside 13.3 on the shelf
        draw(scheme_named("dtu-slabs:underlay"), HALL, 1)
    assert len(draw(finished, HALL, 1, 5).placements) == 5


@pytest.mark.parametrize(
    ("name", "message"),
    [
        ("aci-bar:superflat", "has no 'superflat'; it has conventional"),
        ("din-18202:3", "what is not a rule of a straightedge with one limit cannot be sampled"),
        ("us-lippage:floor", "what is not a rule of a straightedge with one limit"),
        ("irc-shower", "what is not a rule of a straightedge with one limit"),
        ("nothing", "standard 'nothing' is not one of"),
    ],
)
def test_what_cannot_be_sampled(name: str, message: str) -> None:
    """Rules that are not of a straightedge with one limit are refused by name."""
    with pytest.raises(RuleError, match=message):
        scheme_named(name)


@pytest.mark.parametrize(
    ("room", "count", "seed", "message"),
    [
        (Room(rectangle(0, 0, 1500, 1200)), 3, 1, "3,048 mm fits hardly anywhere"),
        (HALL, 0, 1, "a sample has 1 to 2,000"),
        (HALL, 2001, 1, "2,001 placements were asked for"),
        (HALL, 3, -1, "seed -1 was expected"),
    ],
)
def test_what_cannot_be_drawn(room: Room, count: int, seed: int, message: str) -> None:
    """A bar longer than the floor, no placements or too many, and a seed below zero."""
    with pytest.raises(SurveyError, match=message):
        draw(scheme_named("aci-bar:flat"), room, seed, count)


@pytest.mark.parametrize("style", ["in/16", "mm/0.1"])
def test_the_sheet_is_read_back(style: str) -> None:
    """A sheet that was filled in is a table of gaps, and every placement is where it was drawn."""
    plan = draw(scheme_named("aci-bar:flat"), HALL, 99)
    survey = survey_of(plan, [2.0] * 12, style)
    for seen, drawn in zip(readings_of(survey), plan.placements, strict=True):
        assert isinstance(seen, Gap)
        assert seen.start == pytest.approx(drawn.start, abs=0.21)  # 1/64 in, or 0.1 mm
        assert seen.end == pytest.approx(drawn.end, abs=0.21)
    assert tally(survey).missed == ()


@pytest.mark.parametrize(
    ("over_quarter", "over_three_eighths", "outcome"),
    [(0, 0, "within"), (1, 0, "within"), (2, 0, "out"), (0, 1, "out")],
)
def test_ninety_percent_and_all(over_quarter: int, over_three_eighths: int, outcome: str) -> None:
    """Of 12 placements 11 (90 % of 12 is 10.8) must be within 1/4 in, and all within 3/8 in."""
    plan = draw(scheme_named("aci-bar:flat"), HALL, 3)
    gaps = [8.0] * over_quarter + [11.0] * over_three_eighths
    found = tally(survey_of(plan, [*gaps, *[3.0] * (12 - len(gaps))]))
    assert found.shares[0].needed == 11
    assert found.shares[1].needed == 12
    assert (found.guarded, found.as_read) == (outcome, outcome)


def test_reading_error_leaves_it_open() -> None:
    """A gap nearer to its limit than reading error is within as read, and too close otherwise."""
    plan = draw(scheme_named("bs-8204:SR1"), ELL, 3, 8)
    found = tally(survey_of(plan, [2.95] + [1.0] * 7))
    assert (found.guarded, found.as_read) == (Outcome.CLOSE, Outcome.WITHIN)
    over = tally(survey_of(plan, [3.05] + [1.0] * 7))
    assert (over.guarded, over.as_read) == (Outcome.CLOSE, Outcome.OUT)
    assert over.outcome is Outcome.CLOSE


@pytest.mark.parametrize("way", [1, -1])
def test_on_blocks_a_hump_counts_as_a_dip(way: int) -> None:
    """On equal blocks 8 mm high is as much over a limit of 7 mm as 8 mm low."""
    plan = draw(scheme_named("dtu-slabs:slab"), HALL, 3)
    gaps = [way * 8.0] + [0.5] * 19
    found = tally(survey_of(plan, gaps, block=20.0))
    assert [share.as_read for share in found.shares] == [Outcome.OUT, Outcome.WITHIN]


def test_blocks_where_there_should_be_none() -> None:
    """A bar that stood on blocks where it is to rest is refused by its cell."""
    plan = draw(scheme_named("bs-8204:SR1"), ELL, 3, 8)
    with pytest.raises(SurveyError, match=r"plan\.csv, row 2, cell G2.*without blocks"):
        tally(survey_of(plan, [1.0] * 8, block=20.0))


def test_to_leave_places_out_is_to_choose() -> None:
    """Drawn and not read is never within; where the rest decide it already, it is out."""
    plan = draw(scheme_named("aci-bar:flat"), HALL, 3)
    found = tally(survey_of(plan, [None, None, *[3.0] * 10]))
    assert found.missed == ("P1", "P2")
    assert (found.guarded, found.as_read) == (Outcome.NOT_ASSESSED, Outcome.NOT_ASSESSED)
    assert tally(survey_of(plan, [None, *[8.0] * 2, *[3.0] * 9])).guarded is Outcome.OUT


def test_a_sheet_half_filled_in() -> None:
    """Rows of the sheet that are still blank are placements not read; one cell alone is a slip."""
    plan = draw(scheme_named("aci-bar:flat"), HALL, 3)
    header, *rows = csv.reader(io.StringIO(plan_csv(plan, STYLES["mm/0.1"])))
    whole = survey_of(plan, [3.0] * 12)
    filled = whole.tables[0].cells
    half = (tuple(header), *filled[1:8], *map(tuple, rows[7:]))
    assert tally(checked(whole.document, {"plan.csv": half})).missed == tuple(
        f"P{n}" for n in range(8, 13)
    )
    with pytest.raises(SurveyError, match="holds no gaps"):
        checked(whole.document, {"plan.csv": (tuple(header), *map(tuple, rows))})
    slip = (*rows[7][:5], "70 mm", *rows[7][6:])
    with pytest.raises(SurveyError, match="row 9, cell G9"):
        checked(whole.document, {"plan.csv": (*half[:8], slip, *half[9:])})


def test_places_that_were_not_drawn_do_not_count() -> None:
    """A placement of one's own choice is named and not counted."""
    plan = draw(scheme_named("aci-bar:flat"), HALL, 3)
    other = draw(scheme_named("aci-bar:flat"), HALL, 4)
    survey = survey_of(other, [3.0] * 12, sample={"standard": "aci-bar:flat", "seed": 3})
    with pytest.raises(SurveyError, match="none of the 12 placements read is one of aci-bar:flat"):
        tally(survey)
    stray = replace(other.placements[0], name="mine")
    mixed = Plan(plan.scheme, HALL, 3, 12, (*plan.placements[:11], stray))
    found = tally(survey_of(mixed, [3.0] * 12))
    assert found.strangers == ("plan.csv mine",)
    assert found.missed == ("P12",)
    assert found.as_read is Outcome.NOT_ASSESSED


def test_a_limit_for_all_holds_where_nobody_drew() -> None:
    """A place of one's own choice over the limit for all is out, told, and counts for no share."""
    plan = draw(scheme_named("aci-bar:flat"), HALL, 3)
    stray = replace(draw(plan.scheme, HALL, 4).placements[0], name="mine")
    more = Plan(plan.scheme, HALL, 3, 12, (*plan.placements, stray))
    sample = {"standard": "aci-bar:flat", "seed": 3}
    inch = FOOT / 12
    for gap, outcome in ((2 * inch, "out"), (3 / 8 * inch, "too close to call"), (8, "within")):
        survey = survey_of(more, [3.0] * 12 + [gap], sample=sample)
        found = tally(survey)
        ninety, everywhere = found.shares
        assert (ninety.guarded, everywhere.guarded) == (Outcome.WITHIN, Outcome(outcome))
        assert (everywhere.read, everywhere.within) == (12, 12)
        assert everywhere.as_read is (Outcome.OUT if gap > inch else Outcome.WITHIN)
        words = "\n".join(tally_words(found, survey))
        assert ("broken there" in words) is (gap > inch)
        assert "  plan.csv mine: " in words  # over the quarter inch for 90 %


def test_a_bar_read_only_where_it_rests_was_not_read() -> None:
    """Contacts at the bar's ends say nothing of its middle: placements drawn and not read."""
    plan = draw(scheme_named("aci-bar:flat"), HALL, 3)
    whole = survey_of(plan, [0.0] * 12)
    header, *rows = whole.tables[0].cells
    at, ends = header.index("at"), []
    for n, row in enumerate(rows):
        ends.append((*row[:at], "0 mm" if n % 2 else "3048 mm", *row[at + 1 :]))
    for few in (2, 12):
        survey = checked(whole.document, {"plan.csv": (header, *ends[:few], *rows[few:])})
        found = tally(survey)
        assert found.missed == tuple(f"P{n}" for n in range(1, few + 1))
        assert len(found.contacts) == few
        assert (found.guarded, found.as_read) == (Outcome.NOT_ASSESSED, Outcome.NOT_ASSESSED)
        assert "Read only where the bar rests" in "\n".join(tally_words(found, survey))
    assert tally(whole).as_read is Outcome.WITHIN


def test_a_bar_laid_the_other_way_round() -> None:
    """A bar lies where it was drawn whichever end is called its start."""
    plan = draw(scheme_named("aci-bar:flat"), HALL, 3)
    turned = tuple(
        type(one)(one.name, one.bar, one.end, (one.toward_deg + 180) % 360, one.start)
        for one in plan.placements
    )
    assert tally(survey_of(Plan(plan.scheme, HALL, 3, 12, turned), [3.0] * 12)).missed == ()


def test_fewer_than_the_standard_asks() -> None:
    """Agreeing on fewer placements than the standard asks for does not make a sample of them."""
    plan = draw(scheme_named("aci-bar:flat"), HALL, 3, 5)
    found = tally(survey_of(plan, [1.0] * 5))
    assert found.shares[0].count == 12
    assert found.as_read is Outcome.NOT_ASSESSED
    assert "asks for 12 placements" in "\n".join(tally_words(found, survey_of(plan, [1.0] * 5)))


def test_without_a_plan_it_is_said() -> None:
    """Without [sample] the gaps are judged, and nothing shows that they were drawn by lot."""
    plan = draw(scheme_named("aci-bar:flat"), HALL, 3)
    survey = survey_of(plan, [3.0] * 12, sample=None)
    with pytest.raises(SurveyError, match="say which standard"):
        tally(survey)
    found = tally(survey, "aci-bar:flat")
    assert not found.drawn
    assert found.as_read is Outcome.WITHIN
    assert "Nothing shows that these places were drawn by lot" in "\n".join(
        tally_words(found, survey)
    )


def test_bars_of_another_length() -> None:
    """Placements of a bar that the standard does not know are no sample of it."""
    plan = draw(scheme_named("bs-8204:SR1"), ELL, 3, 8)
    with pytest.raises(SurveyError, match="check the length of the bar"):
        tally(survey_of(plan, [1.0] * 8, sample=None), "aci-bar:flat")


def test_no_lots_across_the_valleys_of_a_drain() -> None:
    """A floor that falls to a drain is not sampled with a straightedge."""
    plan = draw(scheme_named("bs-8204:SR1"), ELL, 3, 8)
    drain = [{"center": [1000, 1000], "size": [100, 100]}]
    survey = survey_of(plan, [1.0] * 8, intent={"kind": "to drain"}, drain=drain)
    with pytest.raises(SurveyError, match="not laid across its valleys"):
        tally(survey)


def test_what_a_sample_proves() -> None:
    """29 of 29 within prove 90 %, 28 of 28 do not; one miss in 12 takes 34 more; all is never."""
    assert lower_bound(29, 29) > 0.9 > lower_bound(28, 28)
    assert more_to_prove(0.9, 29, 29) == 0
    assert more_to_prove(0.9, 0, 0) == 29
    # One of 46 over is the first with one miss that proves 90 %.
    assert more_to_prove(0.9, 11, 12) == 34
    assert more_to_prove(1.0, 500, 500) is None
    assert lower_bound(0, 12) == 0


def test_a_sample_is_no_survey() -> None:
    """`check` of a drawn sample says what to ask instead."""
    with pytest.raises(SurveyError, match="flatcheck tally"):
        assess(read_folder(SAMPLES / "bracken-mill-lots"))


@pytest.mark.parametrize(
    ("sample", "message"),
    [
        ({"standard": "aci-bar:flat"}, "standard and seed are both needed"),
        ({"standard": "aci-bar:flat", "seed": "x"}, "sample.seed = 'x' was expected as a whole"),
        ({"standard": "aci-bar:flat", "seed": 1, "count": 0}, "sample.count = 0 was expected"),
        ({"standard": "aci-bar:flat", "seed": True}, "sample.seed = True was expected"),
        ({"standard": "aci-bar:flat", "seed": 1, "where": 2}, "'where' is not known here"),
    ],
)
def test_a_sample_that_cannot_be_read(sample: dict[str, object], message: str) -> None:
    """What a survey says of its sample is checked at the door, by name."""
    plan = draw(scheme_named("aci-bar:flat"), HALL, 3)
    with pytest.raises(SurveyError, match=message):
        survey_of(plan, [3.0] * 12, sample=sample)


def test_the_commands(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """`sample` draws the plan of the sample survey; `tally` judges it and says what it proves."""
    sheet = tmp_path / "plan.csv"
    options = ["--standard", "aci-bar:flat", "--seed", "4817", "--sheet", str(sheet)]
    assert main(["sample", "40 x 30 ft", *options]) == 0
    assert "12 placements on 1200.0 sq ft, drawn with seed 4817" in capsys.readouterr().out
    drawn = list(csv.reader(sheet.open()))
    read = list(csv.reader((SAMPLES / "bracken-mill-lots" / "plan.csv").open()))
    assert [row[:5] for row in drawn] == [row[:5] for row in read]
    assert main(["sample", "40 x 30 ft", *options]) == 2
    assert "is there already" in capsys.readouterr().err

    assert main(["tally", str(SAMPLES / "bracken-mill-lots")]) == 0
    words = capsys.readouterr().out
    assert words.startswith("WITHIN by its sample")
    assert "at least 66.1% of all placements" in " ".join(words.split())
    assert main(["tally", str(SAMPLES / "bracken-mill-lots"), "--json"]) == 0
    got = json.loads(capsys.readouterr().out)
    assert [one["within_as_read"] for one in got["limits"]] == [11, 12]
    assert got["certainty"] == "from memory"


def test_a_plan_nobody_knew_beforehand(capsys: pytest.CaptureFixture[str]) -> None:
    """Without a seed one is drawn and told, so that the plan can be drawn again."""
    assert main(["sample", "12 x 14 ft", "--standard", "aci-bar:flat", "--count", "3"]) == 0
    first = capsys.readouterr().out
    (seed,) = (line.split("= ")[1] for line in first.splitlines() if line.startswith("seed"))
    again = ["sample", "12 x 14 ft", "--standard", "aci-bar:flat", "--count", "3", "--seed", seed]
    assert main(again) == 0
    assert capsys.readouterr().out == first


def test_places_are_told_from_walls() -> None:
    """Each placement is told by where it starts, which way it points, and where it ends."""
    plan = draw(scheme_named("bs-8204:SR1"), ELL, 5, 2)
    words = plan_words(plan, STYLES["mm/0.1"])
    one = plan.placements[0]
    (line,) = (said for said in words if said.startswith("  P1:"))
    assert f"points to {one.toward_deg} degrees" in line
    assert line.count(" wall") >= 4
