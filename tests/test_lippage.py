"""Lippage: limits joint by joint, four outcomes, what the joints not read may be, and words."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.special import ndtri
from test_steps import ENTRY, HEAD, STEPS

from flatcheck.assess import assess
from flatcheck.cli import main
from flatcheck.errors import RuleError, SurveyError
from flatcheck.guard import factor_for
from flatcheck.lippage import (
    LippageVerdict,
    _lacking,
    histogram,
    judge_steps,
    judged,
)
from flatcheck.readers.folder import checked, edited, read_folder
from flatcheck.report.lippage import lippage_record, lippage_words
from flatcheck.report.text import wrapped
from flatcheck.rules import grade_of
from flatcheck.steps import corner_steps, joints_of, on_joints
from flatcheck.survey import Step, Survey
from flatcheck.tables import steps_of
from flatcheck.tiling import laid
from flatcheck.verdict import Outcome

SAMPLES = Path(__file__).parents[1] / "sample_surveys"
WITHIN, OUT, CLOSE, OPEN = Outcome.WITHIN, Outcome.OUT, Outcome.CLOSE, Outcome.NOT_ASSESSED


def a_step(step_mm: float, joint_mm: float | None = 3.0, u_mm: float = 0.1) -> Step:
    return Step(0, 0, step_mm, u_mm, "north", joint_mm, "t.csv, row 2, cell C2", str(step_mm))


def outcomes(*steps_mm: float, name: str = "bs-lippage", warpage=None, u_mm: float = 0.1):
    steps = [a_step(step, u_mm=u_mm) for step in steps_mm]
    joints, _ = judged(steps, grade_of(name)[1], None, warpage)
    return [(joint.outcome, joint.as_read) for joint in joints]


def survey_of(
    *steps: str,
    entry: str = ENTRY,
    lippage: str = "bs-lippage",
    joint: str = "",
    warpage: str = "",
) -> Survey:
    rows = [(f"{100 * n}", "0", step, "north", joint, "") for n, step in enumerate(steps, 1)]
    document = HEAD.replace("bs-lippage", lippage).replace("bs-8204:SR1", "none")
    if warpage:
        document = document.replace("[tile]\n", f"[tile]\nwarpage = {warpage}\n")
    return checked(document + entry, {"steps.csv": (STEPS[0], *rows)})


def verdict_of(survey: Survey) -> LippageVerdict:
    found = judge_steps(survey)
    assert found is not None
    return found


@pytest.mark.parametrize("sign", [1, -1])
def test_four_sides_of_a_limit(sign: int) -> None:
    """One joint, limit 1 mm, u 0.1 mm: within needs 1.645 u below, out a two-sided q u above."""
    clear = 1 - 0.1 * -float(ndtri(0.05))
    # One joint near its limit, a limit on either side, and nine tenths of the risk left.
    beyond = 1 + 0.1 * -float(ndtri(0.045 / 2))
    tiny = 1e-6
    assert outcomes(sign * (clear - tiny)) == [(WITHIN, WITHIN)]
    assert outcomes(sign * (clear + tiny)) == [(CLOSE, WITHIN)]
    assert outcomes(sign * 1.01) == [(CLOSE, OUT)]
    assert outcomes(sign * (beyond - tiny)) == [(CLOSE, OUT)]
    assert outcomes(sign * (beyond + tiny)) == [(OUT, OUT)]


def test_out_allows_for_the_number_of_joints() -> None:
    """More joints near their limit push q up; joints far below it do not."""
    one, many = factor_for(np.zeros(1)), factor_for(np.zeros(100))
    assert many == pytest.approx(-float(ndtri(0.045 / 200)))
    assert one < many
    assert factor_for(np.r_[np.zeros(1), np.full(99, -20.0)]) == pytest.approx(one)


def test_rate_of_wrongly_out() -> None:
    """Forty true steps exactly at the limit: error alone calls any out in at most 5 % of floors."""
    rng = np.random.default_rng(1)
    score = rng.normal(size=(4000, 40))
    wrong = np.mean([row.max() > factor_for(row) for row in score])
    # Five standard deviations of the simulation above the promised rate.
    assert 0 < wrong < 0.05 + 5 * np.sqrt(0.05 * 0.95 / 4000)


def test_warpage_is_added_where_the_standard_says_so() -> None:
    """1/32 in and 1 mm of measured warpage allow 1.7 mm; without a measurement nobody knows."""
    assert outcomes(1.5, name="us-lippage", warpage=(1.0, 0.0)) == [(WITHIN, WITHIN)]
    assert outcomes(1.5, name="us-lippage") == [(OPEN, OPEN)]
    assert outcomes(0.5, name="us-lippage") == [(WITHIN, WITHIN)]
    assert outcomes(0.75, name="us-lippage") == [(CLOSE, WITHIN)]
    assert outcomes(1.5, name="us-lippage:stone", warpage=(1.0, 0.0)) == [(OUT, OUT)]


def test_uncertain_warpage_widens_the_doubt() -> None:
    """The uncertainty of the warpage counts as that of the gauge: 1.5 of 1.79 is close at 0.3."""
    assert outcomes(1.5, name="us-lippage", warpage=(1.0, 0.3)) == [(CLOSE, WITHIN)]


def test_the_strict_limit_stands_beside() -> None:
    """Each joint carries the limit with the measured warpage and the one without."""
    warp = '{ edge = "0.4 mm", bow = "hollow", measured = true, uncertainty = "0.1 mm" }'
    (joint,) = verdict_of(survey_of("0.3", lippage="us-lippage", warpage=warp)).joints
    assert joint.strict_mm == pytest.approx(25.4 / 32)
    assert joint.limit_mm == pytest.approx(25.4 / 32 + 0.4)
    assert joint.u_limit_mm == 0.1
    assert not joint.open


def test_each_joint_by_its_own_width() -> None:
    """A step of 1.5 mm is out at 3 mm and within at 8 mm, as BS 5385 has it."""
    joints, _ = judged([a_step(1.5, 3), a_step(1.5, 8)], grade_of("bs-lippage")[1], None, None)
    assert [joint.outcome for joint in joints] == [OUT, WITHIN]
    (alone,) = verdict_of(survey_of("1.5", joint="8")).joints
    assert alone.outcome is WITHIN


@pytest.mark.parametrize(("joint", "asked"), [("", False), ("5", False), ("50", True)])
def test_a_joint_far_wider_than_the_tile_s(joint: str, asked: bool) -> None:
    """A joint of 50 mm on a tile laid with 3 mm is to be looked at again."""
    survey = survey_of("0.1", "0.2", joint=joint)
    assert survey.tile
    assert survey.tile.joint_mm == 3
    said = [words for words in lippage_words(verdict_of(survey), survey) if "Look again" in words]
    assert len(said) == asked
    assert all("50.0 mm wide, and the tile's is 3.0 mm" in words for words in said)


def test_few_joints_do_not_speak_for_a_floor() -> None:
    """One joint within of nobody knows how many is not assessed, nor many steps at one place.

    Of an endless floor 14 joints within show 80 % of all: 0.8 ** 14 = 0.044 < 0.05 < 0.8 ** 13.
    """
    steps = [a_step(0.1, 3) for _ in range(14)]
    joints, _ = judged(steps, grade_of("bs-lippage")[1], None, None)
    assert _lacking(joints, None) == 13
    apart = [replace(step, x_mm=100.0 * n) for n, step in enumerate(steps)]
    joints, _ = judged(apart, grade_of("bs-lippage")[1], None, None)
    assert _lacking(joints, None) == 0
    assert _lacking(joints[:13], None) == 1
    found = verdict_of(survey_of("0.1"))
    assert (found.guarded, found.as_read) == (OPEN, OPEN)
    assert verdict_of(survey_of("0.1", "9")).guarded is OUT


def test_a_joint_of_unknown_width() -> None:
    """Where the limit goes by the joint and nobody wrote its width, the step is named."""
    with pytest.raises(SurveyError, match=r"^t\.csv, row 2, cell C2: .*say its width"):
        judged([a_step(1.0, None)], grade_of("bs-lippage")[1], None, None)


def test_verdict_of_a_survey() -> None:
    """The gravest joint is the survey's; share, worst and histogram are those of its joints."""
    found = verdict_of(survey_of("0.2", "-0.5", "1.5", "0.6"))
    assert (found.guarded, found.as_read) == (OUT, OUT)
    assert found.share_within == 3 / 4
    assert found.worst.step.step_mm == 1.5
    # Half a millimeter is in the class up to it.
    assert histogram(found, 0.5) == ((0.0, 0.5, 2), (0.5, 1.0, 1), (1.0, 1.5, 1))


def test_histogram_counts_every_joint() -> None:
    """Each joint is in one class, whatever the class; no step at all is in the first."""
    found = verdict_of(survey_of(*[f"{n / 10}" for n in range(12)]))
    for width in (0.1, 0.25, 0.5, 2.0):
        rows = histogram(found, width)
        assert sum(count for _, _, count in rows) == 12
        for low, high, count in rows:
            heights = [joint.height_mm for joint in found.joints]
            assert count == sum(
                (low + 1e-9 < h <= high + 1e-9) or (low == 0 and h == 0) for h in heights
            )


def test_the_decision_asked_for() -> None:
    """Read at face value a step just over its limit is out, guarded it is too close to call."""
    survey = survey_of("1.05")
    assert verdict_of(survey).outcome is CLOSE
    assert verdict_of(edited(survey, {"standard": {"decision": "as read"}})).outcome is OUT


def test_steps_need_a_standard_and_a_standard_steps() -> None:
    """Steps without a standard for them, and a standard without steps, are refused."""
    survey = survey_of("0.2")
    with pytest.raises(SurveyError, match="no standard for lippage is named"):
        judge_steps(edited(survey, {"standard": {"lippage": ""}}))
    tern = edited(
        read_folder(SAMPLES / "larkfield-coarse"), {"standard": {"lippage": "bs-lippage"}}
    )
    with pytest.raises(SurveyError, match="no step across a joint was read"):
        judge_steps(tern, assess(tern))
    assert judge_steps(read_folder(SAMPLES / "larkfield-coarse")) is None


def test_another_kind_of_standard() -> None:
    """A standard for flatness, named for lippage, is refused by name; and so the other way."""
    with pytest.raises(SurveyError, match="bs-8204, named for lippage, is about flatness"):
        judge_steps(survey_of("0.2", lippage="bs-8204"))
    floor = edited(read_folder(SAMPLES / "larkfield-coarse"), {"standard": {"rule": "us-lippage"}})
    with pytest.raises(RuleError, match="name it as the standard for lippage"):
        assess(floor)


def test_a_step_outside_the_room() -> None:
    """A step outside the outline is named."""
    room = '[room]\noutline = [["0", "0"], ["150", "0"], ["150", "90"], ["0", "90"]]\n'
    with pytest.raises(SurveyError, match=r"row 3, cell C3: the step lies outside the room"):
        judge_steps(survey_of("0.2", "0.2", entry=room + ENTRY))


@pytest.mark.parametrize("count", ["0", "-3", "2.5", '"many"', "true", "1"])
def test_how_many_joints_there_are(count: str) -> None:
    """The number of joints is a whole number and no less than were read."""
    with pytest.raises(SurveyError, match=r"joints"):
        judge_steps(survey_of("0.2", "0.3", entry=f"{ENTRY}joints = {count}\n"))


ROOM = '[room]\noutline = [["0", "0"], ["2400", "0"], ["2400", "1500"], ["0", "1500"]]\n'


def on_the_plan(*rows: str, start: str = "") -> Survey:
    """Tiles of 600 x 300 mm with joints of 3 mm in a room of 2400 x 1500 mm."""
    pattern = f'[pattern]\nkind = "aligned"\n{start}\n'
    cells = tuple(tuple(row.split()) for row in rows)
    return checked(HEAD + ROOM + pattern + ENTRY, {"steps.csv": (STEPS[0][:4], *cells)})


def test_joints_are_counted_by_laying_the_pattern() -> None:
    """Four tiles by five, the last row and column cut, face each other at 3 x 5 + 4 x 4 joints.

    Two steps on one joint count once; it is bad if one of them is not within.
    """
    survey = on_the_plan("601 150 0.2 east", "602 160 1.9 east", "300 301 0.1 north")
    found = verdict_of(survey)
    assert found.counted is not None
    assert (found.counted.total, found.counted.laid) == (3 * 5 + 4 * 4, True)
    assert found.sampling is not None
    assert (found.sampling.joints, found.sampling.read, found.sampling.bad) == (31, 2, 1)
    assert "2 of 31 joints that the pattern makes were read, 1 of them" in "\n".join(
        lippage_words(found, survey)
    )


def test_the_side_tells_which_joint_at_a_corner() -> None:
    """Where joints cross, the side that stands proud tells which of them was read."""
    survey = on_the_plan("601.5 301.5 0.2 east", "601.5 301.5 0.2 north", "601.5 301.5 0.2 west")
    assert survey.room is not None
    laying = laid(survey, survey.room)
    numbers = on_joints(laying, steps_of(survey))
    lies = laying.joints_mm[numbers]
    upright = np.abs(lies[:, 0, 0] - lies[:, 1, 0]) < 1e-6
    assert upright.tolist() == [True, False, True]


def test_a_step_off_every_joint_says_nothing_of_the_others() -> None:
    """A step in the middle of a tile means that the pattern starts elsewhere; it is told."""
    survey = on_the_plan("300 150 0.2 east", "601 150 0.2 east")
    found = verdict_of(survey)
    assert (found.off, found.sampling) == (1, None)
    assert "1 step of 2 lie where the pattern has no joint" in "\n".join(
        lippage_words(found, survey)
    )
    moved = on_the_plan("300 150 0.2 east", "901 150 0.2 east", start="origin = [-300, 0]")
    assert verdict_of(moved).sampling is not None


@pytest.mark.parametrize("count", [20, 60])
def test_what_was_counted_by_hand_stands(count: int) -> None:
    """A number of joints in the table's entry is taken, unless the pattern makes far others."""
    survey = on_the_plan("601 150 0.2 east")
    cells = {table.name: table.cells for table in survey.tables}
    typed = checked(survey.document + f"joints = {count}\n", cells)
    found = joints_of(typed, steps_of(typed))
    assert found is not None
    assert (found.total, found.on, found.laid) == (count, (0,), False)
    assert joints_of(survey_of("0.2"), ()) is None
    far = checked(survey.document + "joints = 500\n", cells)
    with pytest.raises(SurveyError, match="joints = 500 is said of the floor, and the pattern"):
        joints_of(far, steps_of(far))


def test_corners_of_tiles_make_steps() -> None:
    """Heights at tile corners give a step at each end of each joint, by subtraction.

    8 x 6 tiles have 7 x 6 joints one way and 8 x 5 the other, two ends each.
    """
    folder = SAMPLES / "dovecote-tile-corners"
    survey = edited(read_folder(folder), {"standard": {"lippage": "bs-lippage"}})
    known = assess(survey)
    steps = corner_steps(known)
    ends = {(round(x, 1), round(y, 1)) for x, y in known.surface.xy_mm}
    tiles = len(ends | {(5.0, 5.0)}) // 4
    assert tiles == 8 * 6
    # The benchmark took the first tile's south-west corner, where no other tile is.
    assert len(steps) == 2 * (7 * 6 + 8 * 5)
    heights = {(round(x), round(y)): h for (x, y), h in zip(*_stations(known), strict=True)}
    for step in steps:
        east = step.proud == "east"
        low = (round(step.x_mm - 1.5 * east), round(step.y_mm - 1.5 * (not east)))
        high = (round(step.x_mm + 1.5 * east), round(step.y_mm + 1.5 * (not east)))
        assert step.step_mm == pytest.approx(heights[high] - heights[low])
        # Both corners were read from one setup: the datum they share is in neither.
        reading = np.hypot(0.1, 0.1 / np.sqrt(12))
        assert step.u_mm == pytest.approx(np.sqrt(2) * reading, rel=1e-6)


def _stations(known):
    return known.surface.xy_mm, known.surface.height_mm


def test_words_name_the_tile_that_stands_proud() -> None:
    """A step below zero is told of the tile on the other side."""
    assert "the tile to the south stands 1.5 mm proud" in "\n".join(
        lippage_words(verdict_of(survey_of("-1.5")), survey_of("-1.5"))
    )


def test_words_of_an_unmeasured_warpage() -> None:
    """Where warpage is allowed for and nobody measured it, the words say so and what to do."""
    survey = survey_of("1.5", lippage="us-lippage")
    said = "\n".join(lippage_words(verdict_of(survey), survey))
    assert said.startswith("NOT ASSESSED for lippage")
    assert "which was not measured" in said
    assert "flat bench" in said


def test_five_bad_joints() -> None:
    """The sample with five bad joints has five, each told with its place, and one side each."""
    survey = read_folder(SAMPLES / "quillet-lane-steps")
    found = verdict_of(survey)
    assert sum(joint.outcome is OUT for joint in found.joints) == 5
    assert sum(joint.outcome is WITHIN for joint in found.joints) == len(found.joints) - 5
    said = lippage_words(found, survey)
    assert sum(words.startswith("  OUT: ") for words in said) == 5


def test_a_floor_that_proves_clean() -> None:
    """The clean sample proves 99 % of its joints within; half of its joints would not."""
    survey = read_folder(SAMPLES / "tansy-row-steps")
    sampling = verdict_of(survey).sampling
    assert sampling is not None
    assert (sampling.bad, sampling.more) == (0, 0)
    assert sampling.most_share < 0.01
    (table,) = survey.tables
    half = checked(survey.document, {table.name: table.cells[:106]})
    fewer = verdict_of(half).sampling
    assert fewer is not None
    assert fewer.more
    assert fewer.read + fewer.more <= sampling.read
    assert "more, chosen at random" in "\n".join(lippage_words(verdict_of(half), half))


def test_record_is_plain_data() -> None:
    """The record of a verdict survives JSON and counts what the verdict counts."""
    found = verdict_of(survey_of("0.2", "1.5"))
    record = json.loads(json.dumps(lippage_record(found), allow_nan=False))
    assert record["outcome"] == "out"
    assert [joint["outcome"] for joint in record["joints"]] == ["within", "out"]
    assert record["share_within"] == 0.5


def test_both_verdicts_from_the_shell(capsys: pytest.CaptureFixture[str]) -> None:
    """Flatness and lippage stand one after the other, the graver first, and the status is its."""
    folder = str(SAMPLES / "dovecote-tile-corners")
    lippage = ["--lippage", "us-lippage"]
    assert main(["check", folder, *lippage]) == 3
    said = capsys.readouterr().out
    assert 0 <= said.index("for lippage") < said.index("WITHIN for 400")
    assert said.startswith(("TOO CLOSE", "NOT ASSESSED"))
    assert main(["check", folder, "--lippage", "au-lippage"]) == 0
    said = capsys.readouterr().out
    assert said.startswith("WITHIN for 400")
    assert "WITHIN for lippage" in said
    main(["check", folder, "--lippage", "au-lippage", "--json"])
    record = json.loads(capsys.readouterr().out)
    assert record["outcome"] == record["lippage"]["outcome"] == "within"


def test_lines_fit_the_page() -> None:
    """No line of the words is wider than the page."""
    for name in ("quillet-lane-steps", "tansy-row-steps"):
        survey = read_folder(SAMPLES / name)
        assert max(map(len, wrapped(lippage_words(verdict_of(survey), survey)))) <= 92
