"""The tile of a survey foreseen: limits, corrections, other tiles, and the commands that say it."""

import csv
import io
import math
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from flatcheck.assess import Assessment, assess
from flatcheck.bond import Pattern
from flatcheck.cli import BAD_INPUT, main
from flatcheck.commands.tile import pattern_of, tile_size_of
from flatcheck.correction import correct
from flatcheck.errors import FlatcheckError, SurveyError
from flatcheck.forecast import Answer, Bed, required_heights
from flatcheck.outlook import allowed, bed_of, compared, options, outlook
from flatcheck.readers.folder import edited, read_folder
from flatcheck.report.outlook import (
    choosing_html,
    joints_csv,
    option_name,
    outlook_html,
    outlook_words,
)
from flatcheck.tile import Bow, Tile
from flatcheck.units import MM_PER_INCH

SAMPLES = Path(__file__).parents[1] / "sample_surveys"
ROLL = SAMPLES / "tansy-ford-roll"
SMALL = {"tile": {"length": "24 in", "width": "12 in"}, "pattern": {"kind": "aligned", "offset": 0}}
INCH = MM_PER_INCH


@cache
def rolls() -> Assessment:
    return assess(read_folder(ROLL))


@cache
def small() -> Assessment:
    return assess(edited(read_folder(ROLL), SMALL))


# The sample: what the README promises of it


def test_large_tile_at_a_third_needs_a_correction() -> None:
    """On the slab that rolls 24 x 48 in at a third cannot be laid, and every remedy cures it."""
    seen = outlook(rolls(), lambda: correct(rolls()))
    assert seen.allowed.limit_mm == pytest.approx(INCH / 32)
    assert seen.answer is Answer.CORRECTED
    assert seen.found.out(seen.found.best).any()
    assert len(seen.after) == len(seen.cured) > 1
    words = "\n".join(outlook_words(seen, rolls()))
    assert words.startswith("ONLY WITH A CORRECTION: Slab that rolls")
    assert all(name in words for name in seen.cured)


def test_small_tile_aligned_is_laid_as_it_is() -> None:
    """On the same slab 12 x 24 in aligned can be laid in an even bed, beyond reading error."""
    seen = outlook(small(), lambda: pytest.fail("nobody asks for a correction"))
    assert seen.answer is Answer.AS_IS
    assert seen.found.good(seen.found.even)
    assert seen.sure
    assert outlook_words(seen, small())[0].startswith("CAN BE TILED AS IT IS")


def test_what_can_only_be_laid_tile_by_tile() -> None:
    """Plywood of humps takes 12 x 24 in at best, and neither words nor status call that within."""
    seen = outlook(here := assess(read_folder(SAMPLES / "millbrook-plywood")))
    assert (seen.answer, seen.even, seen.sure) == (Answer.AS_IS, False, False)
    said = "\n".join(outlook_words(seen, here))
    assert said.startswith("CAN BE TILED AS IT IS, BUT ONLY TILE BY TILE:")
    assert 'At most 1/32"' in said
    assert 'between 3/32" and 1/2"' in said
    assert main(["forecast", str(SAMPLES / "millbrook-plywood")]) == 3


def test_readings_too_far_apart_for_the_tile() -> None:
    """Readings 2 ft apart show little under a tile 1 ft wide: the answer says so."""
    here = assess(edited(read_folder(SAMPLES / "larkfield-coarse"), SMALL))
    seen = outlook(here)
    assert (seen.answer, seen.even, seen.sure) == (Answer.AS_IS, True, False)
    assert seen.found.blind
    assert outlook_words(seen, here)[0].startswith(
        "CAN BE TILED AS IT IS, AS FAR AS THE READINGS SHOW:"
    )


def test_what_no_correction_cures() -> None:
    """With a limit that no remedy reaches it is not with this tile; without any remedy, as told."""
    strict = assess(edited(read_folder(ROLL), {"tile": {"bed": ["1/8 in", "1/8 in"]}}))

    def patch_alone():
        choice = correct(strict)
        kept = tuple(fix for fix in choice.fixes if fix.proposal.id == "patch")
        return replace(choice, fixes=kept)

    seen = outlook(strict, patch_alone)
    assert (seen.answer, seen.cured) == (Answer.NOT, ())
    assert "None of the corrections" in "\n".join(outlook_words(seen, strict))

    none = outlook(strict, lambda: replace(correct(strict), fixes=()))
    assert (none.answer, none.why) == (Answer.CORRECTED, "no remedy passes.")

    def fails():
        raise SurveyError("no heights.")

    assert outlook(strict, fails).why == "no heights."


def test_a_bow_too_much_on_any_floor() -> None:
    """Tiles crowned by 2 mm at a half differ by 2 mm on any floor: no correction is asked for."""
    warp = {"edge": "2 mm", "bow": "crown"}
    said = {"tile": {"warpage": warp}, "pattern": {"offset": "1/2"}}
    seen = outlook(assess(edited(read_folder(ROLL), said)), lambda: pytest.fail("nobody asks"))
    assert seen.answer is Answer.NOT
    assert seen.found.flat_mm.max() == pytest.approx(2, rel=0.02)


# What is allowed, and the bed


def test_measured_warpage_is_added_and_assumed_is_not() -> None:
    """ANSI adds the warpage that was measured: 1/32 and 1/16 in are 3/32 in; BS adds none."""
    survey, inch = read_folder(ROLL), INCH
    for measured, limit in ((True, 3 / 32 * inch), (False, inch / 32)):
        tile = replace(survey.tile, bow=Bow(-inch / 16, 0.0, measured))
        found = allowed(survey, tile)
        assert (found.limit_mm, found.open) == (pytest.approx(limit), not measured)
    assert found.met  # of what was not measured nothing is held against the tile
    british = edited(survey, {"standard": {"rule": "bs-8204:SR1"}})
    assert allowed(british, survey.tile).standard.id == "bs-lippage"
    assert not allowed(british, survey.tile).open


@pytest.mark.parametrize(
    ("edges", "name", "bow_in", "met"),
    [
        # ANSI A137.1 for an edge of 48 in: rectified 0.05 or 0.07 in, calibrated 0.08, natural
        # 0.12; ISO 13006: 2.0 mm, rectified 1.8 mm.
        ("rectified", "us-lippage", 0.07, True),
        ("rectified", "us-lippage", -0.071, False),
        ("natural", "us-lippage", 0.12, True),
        ("natural", "us-lippage", 0.121, False),
        ("", "us-lippage", 0.07, True),
        ("", "us-lippage", 0.1, None),
        ("", "us-lippage", 0.121, False),
        ("stone", "us-lippage", 0.121, True),
        ("calibrated", "dtu-lippage", 2.0 / 25.4, True),
        ("calibrated", "dtu-lippage", 2.01 / 25.4, False),
        ("", "dtu-lippage", 1.9 / 25.4, None),
    ],
)
def test_a_tile_bent_more_than_its_standard_lets_it_has_no_wider_limit(
    edges: str, name: str, bow_in: float, met: bool | None
) -> None:
    """Warpage is added for tile within its own product standard; else the strict limit stands."""
    survey = edited(read_folder(ROLL), {"standard": {"lippage": name}})
    straight = replace(survey.tile, edges=edges, bow=Bow(0.0, 0.0, True))
    bent = replace(straight, bow=Bow(bow_in * INCH, 0.0, True))
    strict, found = allowed(survey, straight), allowed(survey, bent)
    assert (strict.met, found.met) == (True, met)
    more = abs(bow_in) * INCH if met else 0.0
    assert found.limit_mm == pytest.approx(strict.limit_mm + more)


def test_a_tile_that_misses_its_own_standard_is_told() -> None:
    """A rectified tile crowned by 3 mm is over the 0.07 in of ANSI A137.1: the words say so."""
    warp = {"edge": "3 mm", "bow": "crown", "measured": True}
    here = assess(edited(read_folder(ROLL), {"tile": {"warpage": warp}}))
    words = "\n".join(outlook_words(outlook(here), here))
    assert 'At most 1/32" of lippage' in words
    assert "the tile itself does not meet ANSI A137.1" in words
    assert 'bowed by 0.07" at most' in words
    unsaid = {"tile": {"warpage": warp | {"edge": "0.1 in"}, "edges": ""}}
    here = assess(edited(here.survey, unsaid))
    assert "say edges in [tile]" in "\n".join(outlook_words(outlook(here), here))


@pytest.mark.parametrize(
    ("sections", "said"),
    [
        ({"standard": {"rule": "none", "falls": "irc-shower"}}, "no standard says what lippage"),
        ({"standard": {"lippage": "us-tile"}}, "is about flatness"),
        ({"tile": {"joint": 0}}, "say its width"),
        ({"tile": None}, "names no tile"),
        ({"tile": {"length": "1 mm", "width": "1 mm"}}, "more than 100,000 tiles"),
        ({"tile": {"bed": ["0", "0"]}, "standard": {"lippage": "nowhere"}}, "is not one of"),
    ],
)
def test_what_cannot_be_foreseen_is_refused_in_a_sentence(sections, said) -> None:
    """A forecast without a limit, a joint, a tile or a bed says which in one sentence."""
    survey = edited(read_folder(ROLL), sections)
    with pytest.raises(FlatcheckError, match=said) as caught:
        outlook(replace(rolls(), survey=survey))
    assert str(caught.value).endswith(".")


def test_the_bed_is_as_said() -> None:
    """Limits, cap and spacers are those of the tile; unsaid they are the usual ones."""
    assert bed_of(Tile(600, 300)) == Bed()
    found = bed_of(Tile(600, 300, bed_mm=(3, 6), cap_mm=2, spacer_mm=0.5))
    assert (found.least_mm, found.most_mm, found.cap_mm, found.spacer_mm) == (3, 6, 2, 0.5)
    assert math.isinf(bed_of(Tile(600, 300, bed_mm=(3, 6))).cap_mm)


# Other tiles


def test_other_tiles_are_compared() -> None:
    """Every size in every pattern is a row, the own tile once; what can be tiled stands first."""
    sizes, patterns = [(24 * INCH, 12 * INCH), (48 * INCH, 24 * INCH)], [Pattern()]
    style = rolls().survey.show
    tiles, refused = options(
        rolls().survey, lambda t, p: option_name(t, p, style), rolls(), sizes, patterns
    )
    rows = compared(rolls(), tiles)
    assert refused == ()
    assert {row.option for row in rows} == {
        f"{size} {how}"
        for size in ('12" x 24"', '24" x 48"')
        for how in ("aligned", "running bond at a third")
    }
    answers = [row.found.answer for row in rows]
    assert answers == sorted(answers, key=list(Answer).index)
    assert rows[-1].option == '24" x 48" running bond at a third'
    assert rows[0].found.best is None  # an even bed does
    assert choosing_html(rows, refused, rolls().survey).count("<tr>") == 1 + len(rows)


def test_a_tile_that_cannot_be_laid_is_told() -> None:
    """A size that takes too many tiles is not compared, and why is said."""
    name = lambda tile, pattern: f"{tile.length_mm:g}"  # noqa: E731
    tiles, refused = options(rolls().survey, name, rolls(), [(2.0, 2.0)])
    assert len(tiles) == 1
    assert "more than 100,000" in refused[0]


def test_another_size_has_no_bow_of_the_own() -> None:
    """What was measured of one tile is not taken for another."""
    survey = read_folder(ROLL)
    own = replace(survey.tile, bow=Bow(1, 1, True))
    tiles, _ = options(replace(survey, tile=own), lambda *_: "", rolls(), [(24 * INCH, 24 * INCH)])
    assert [option.bow_mm for option in tiles] == [1, 0]


@pytest.mark.parametrize(
    ("written", "found"),
    [
        ("aligned", Pattern()),
        ("running bond 1/3", Pattern("running bond", 1 / 3)),
        ("running bond 25%", Pattern("running bond", 0.25)),
        ("herringbone", Pattern("herringbone")),
    ],
)
def test_patterns_as_written(written, found) -> None:
    """A pattern is its name, with an offset where it has one."""
    assert pattern_of(written) == found


@pytest.mark.parametrize("written", ["", "third", "running bond 4/3", "aligned 1/3", "1/3"])
def test_patterns_that_are_none(written) -> None:
    """Anything else is refused."""
    with pytest.raises(SurveyError):
        pattern_of(written)


def test_sizes_as_written() -> None:
    """The longer edge comes first, whichever way round it was written."""
    assert (
        tile_size_of("12 x 24 in")
        == tile_size_of("24 x 12 in")
        == pytest.approx((24 * INCH, 12 * INCH))
    )
    with pytest.raises(SurveyError):
        tile_size_of("12 by in")


# On paper


def test_the_table_of_joints() -> None:
    """Every joint is a row that says where it is, and how it ends."""
    seen = outlook(rolls())
    head, *rows = csv.reader(io.StringIO(joints_csv(seen, rolls())))
    assert len(rows) == len(seen.found.limit_mm)
    assert [row[head.index("ends")] for row in rows] == [str(o) for o in seen.found.outcomes]


def test_the_sheet_shows_every_tile_and_asks_no_network() -> None:
    """Tiles by their bed, joints by their outcome, and what a person wrote is escaped."""
    evil = edited(read_folder(ROLL), {"survey": {"title": "<script>alert(1)</script>"}})
    seen = outlook(replace(rolls(), survey=evil))
    page = outlook_html(seen, replace(rolls(), survey=evil))
    assert page.count('class="tile"') == len(seen.found.laying.pieces)
    assert "<script>" not in page
    assert "http" not in page.replace("http-equiv", "")


def test_tile_on_planes_that_meet_has_no_step() -> None:
    """A pan of six planes read off its valleys is laid without a step, as it falls everywhere."""
    survey = read_folder(SAMPLES / "hollin-ghyll-shower")
    here = assess(edited(survey, {"tile": {"joint": "3 mm"}, "standard": {"rule": "us-tile"}}))
    height = required_heights(here)
    exact = replace(here, surface=replace(here.surface, height_mm=height))
    assert outlook(exact).found.even.worst_mm == pytest.approx(0, abs=1e-6)


def test_falls_and_holes_are_laid() -> None:
    """A shower with six planes and a room with a column are foreseen, or refused in a sentence."""
    for name in ("hollin-ghyll-shower", "linden-weir-wet-room", "millbrook-plywood"):
        survey = read_folder(SAMPLES / name)
        joint = {"tile": {"joint": "3 mm"}, "standard": {"lippage": "bs-lippage"}}
        here = assess(edited(survey, joint))
        seen = outlook(here)
        assert np.isfinite(seen.found.even.lippage_mm).all()
        assert outlook_words(seen, here)


# Commands


def run(capsys, *words: str) -> tuple[int, str, str]:
    status = main(words)
    said = capsys.readouterr()
    return status, said.out, said.err


def test_lay_a_room_by_its_size(capsys, tmp_path) -> None:
    """A room needs no survey: 12 x 10 ft of 12 in tile without a joint are 120 full tiles."""
    sheet = tmp_path / "lay.html"
    status, out, _ = run(capsys, "lay", "12 x 10 ft", "--tile", "12 x 12 in", "--sheet", str(sheet))
    assert status == 0
    assert "120 full tiles, 0 cut tiles." in out
    assert sheet.read_text().count('class="tile"') == 120


def test_lay_a_survey_in_another_pattern(capsys) -> None:
    """A pattern on the command line takes the place of the survey's own, offset and all."""
    status, out, _ = run(capsys, "lay", str(ROLL), "--pattern", "herringbone")
    assert status == 0
    assert '24" x 48" tile, herringbone' in out


def test_forecast_on_the_command_line(capsys, tmp_path) -> None:
    """The answer is the exit status: out for large tile, within for small."""
    sheet = tmp_path / "joints.csv"
    status, out, _ = run(capsys, "forecast", str(ROLL), "--quick", "--sheet", str(sheet))
    assert (status, out.startswith("NOT AS IT IS")) == (1, True)
    assert "No correction was tried." in out
    assert sheet.read_text().startswith("x,y,limit")
    status, out, _ = run(
        capsys, "forecast", str(ROLL), "--tile", "12 x 24 in", "--pattern", "aligned"
    )
    assert (status, out.startswith("CAN BE TILED AS IT IS")) == (0, True)


def test_a_limit_for_tile_still_to_be_laid(capsys) -> None:
    """A floor with a pattern may name its standard for lippage: check leaves it, and says so."""
    status, out, _ = run(capsys, "check", str(ROLL), "--lippage", "us-lippage:stone")
    assert (status, out.splitlines()[0].startswith("OUT")) == (1, True)
    assert "Lippage was not read and is not judged" in out
    status, _, err = run(
        capsys, "check", str(SAMPLES / "millbrook-plywood"), "--lippage", "us-lippage"
    )
    assert (status, "no step across a joint was read" in err) == (2, True)


def test_choose_on_the_command_line(capsys) -> None:
    """Tiles and patterns that are named stand beside the survey's own."""
    status, out, _ = run(
        capsys, "choose", str(ROLL), "--with", "12 x 24 in", "--or", "running bond 1/2"
    )
    assert status == 0
    assert out.count("running bond at a half") == 2


@pytest.mark.parametrize(
    "words",
    [
        ("lay", "nowhere"),
        ("lay", "12 x 10 ft"),
        ("lay", "12 x 10 ft", "--tile", "0 x 0 in"),
        ("lay", "12 x 10 ft", "--tile", "1 x 1 ft", "--offset", "1/3"),
        ("lay", "12 x 10 ft", "--tile", "1 x 1 ft", "--origin", "a", "b"),
        ("forecast", str(ROLL), "--bed", "1 in", "1/2 in"),
        ("forecast", str(ROLL), "--joint", "nan"),
        ("forecast", str(SAMPLES / "quillet-lane-steps")),
        ("choose", str(ROLL), "--with", "=1+1"),
        ("choose", str(ROLL), "--or", "running bond 9"),
        ("forecast", str(ROLL), "--sheet", "/tmp/none.txt"),
    ],
)
def test_what_commands_refuse(capsys, words) -> None:
    """Each is one sentence, and status 2."""
    status, out, err = run(capsys, *words)
    assert (status, out) == (BAD_INPUT, "")
    assert err.startswith("flatcheck: ")
    assert err.count("\n") == 1
