"""A box of tiles: what its table says, how it ends by a class, and where its warpage goes."""

import json
import math
from pathlib import Path

import pytest

from flatcheck.assess import assess
from flatcheck.box import judge_box, tile_of
from flatcheck.cli import main
from flatcheck.errors import FlatcheckError, RuleError, SurveyError
from flatcheck.lippage import judge_steps
from flatcheck.outlook import allowed, outlook
from flatcheck.readers.folder import checked, edited, read_folder
from flatcheck.report.box import box_record, box_words
from flatcheck.report.text import wrapped
from flatcheck.survey import Survey
from flatcheck.tables import readings_of, tiles_of
from flatcheck.verdict import Outcome

SAMPLES = Path(__file__).parents[1] / "sample_surveys"
WITHIN, OUT, CLOSE, OPEN = Outcome.WITHIN, Outcome.OUT, Outcome.CLOSE, Outcome.NOT_ASSESSED

HEAD = """flatcheck = 1
[units]
readings = "mm"
offsets = "mm"
[instrument]
uncertainty = "0.1 mm"
[tile]
length = "600 mm"
width = "300 mm"
joint = "3 mm"
"""
BENCH = '[[table]]\nfile = "bench.csv"\nkind = "bench"\nsense = "elevation"\n'
PAIRS = '[[table]]\nfile = "pairs.csv"\nkind = "pairs"\n'
COLUMNS = ("tile", "sw", "se", "ne", "nw", "s", "e", "n", "w", "center", "length", "width")


def crown(name: str, edge: float, center: float, size: tuple[str, str] = ("", "")) -> tuple:
    """A tile with both long edges crowned, its short ones straight."""
    return (name, "0", "0", "0", "0", str(edge), "0", str(edge), "0", str(center), *size)


def on_bench(*rows: tuple, entry: str = BENCH, head: str = HEAD) -> Survey:
    return checked(head + entry, {"bench.csv": (COLUMNS, *rows)})


def in_pairs(*gaps: tuple[str, str, str], head: str = HEAD) -> Survey:
    return checked(head + PAIRS, {"pairs.csv": (("one", "two", "gap"), *gaps)})


def test_gaps_face_down_are_a_crown() -> None:
    """A crowned tile face down touches at its middle; the gaps at its corners are its crown."""
    row = ("1", "2", "2", "2", "2", "1", "1", "1", "1", "0")
    survey = on_bench(row, entry=BENCH.replace("elevation", "rod"))
    found = {(one.part, one.value_mm) for one in judge_box(survey).departures}
    assert found == {("edge", 1.0), ("diagonal", 2.0), ("twist", 0.0)}


@pytest.mark.parametrize(
    ("edge", "guarded", "as_read"),
    [(1.7, WITHIN, WITHIN), (1.95, CLOSE, WITHIN), (2.05, CLOSE, OUT), (2.6, OUT, OUT)],
)
@pytest.mark.parametrize("sign", [1, -1])
def test_four_ends(edge: float, guarded: Outcome, as_read: Outcome, sign: int) -> None:
    """600 mm edges are held to 2 mm by ISO 13006, crowned or hollow; u is 0.12 mm."""
    survey = on_bench(crown("1", sign * edge, 0.0))
    (found,) = judge_box(survey, "iso-dry-pressed").judged
    assert (found.guarded, found.as_read) == (guarded, as_read)
    worst = found.worst("edge")
    assert worst is not None
    assert worst.excess_mm == pytest.approx(edge - 2.0)


def test_twist_counts_where_it_is_limited() -> None:
    """A fourth corner 3 mm up is out by ISO; by ANSI its center, 0.75 mm, is not."""
    row = ("1", "0", "0", "0", "3", "0", "0", "1.5", "1.5", "0.75")
    survey = edited(on_bench(row), {"tile": {"width": "600 mm"}})
    assert judge_box(survey, "iso-dry-pressed").outcome is OUT
    (ansi,) = judge_box(survey, "ansi-rectified").judged
    assert ansi.guarded is WITHIN
    assert ansi.worst("twist") is None


def test_a_wall_tile_may_be_crowned_more_than_hollow() -> None:
    """Group BIII, 300 mm: +0.5 % is 1.5 mm, -0.3 % is 0.9 mm: 1.2 mm is in one way only."""
    square = {"tile": {"length": "300 mm"}}
    high, low = (edited(on_bench(crown("1", way * 1.2, 0.0)), square) for way in (1, -1))
    assert judge_box(high, "iso-wall").outcome is WITHIN
    assert judge_box(low, "iso-wall").outcome is OUT


def test_pairs_leave_the_center_open() -> None:
    """Tiles in pairs show their long edges; a class that limits more is not met by that alone."""
    survey = in_pairs(("a", "b", "0.5"), ("a", "c", "0.4"), ("b", "c", "0.1"))
    (found,) = judge_box(survey, "iso-dry-pressed").judged
    assert found.guarded is OPEN
    assert found.open == ("diagonal", "twist")
    bent = in_pairs(("a", "b", "9"), ("a", "c", "0.4"), ("b", "c", "0.1"))
    assert judge_box(bent, "iso-dry-pressed").outcome is OUT


def test_every_class_where_none_is_named() -> None:
    """Without a class each that holds for such a tile is asked; a small one has no large class."""
    box = judge_box(on_bench(crown("1", 0.2, 0.3)))
    ids = {one.product.id for one in box.judged}
    assert not box.named
    assert {"ansi-rectified", "iso-dry-pressed"} <= ids
    assert "ansi-rectified-large" not in ids
    large = edited(on_bench(crown("1", 0.2, 0.3)), {"tile": {"length": "1200 mm"}})
    assert "ansi-rectified-large" in {one.product.id for one in judge_box(large).judged}


def test_the_class_of_the_table() -> None:
    """The table names a class; the command line may name another, and two tables may not."""
    survey = on_bench(crown("1", 2.6, 0.0), entry=f'{BENCH}product = "iso-dry-pressed"\n')
    assert judge_box(survey).outcome is OUT
    assert judge_box(survey, "ansi-natural").outcome is WITHIN
    with pytest.raises(RuleError, match="does not hold for so small a tile"):
        judge_box(survey, "ansi-rectified-large")
    with pytest.raises(RuleError, match="'soft' is not one of ansi-rectified"):
        judge_box(survey, "soft")
    with pytest.raises(SurveyError, match="product was expected as a class"):
        judge_box(on_bench(crown("1", 2.6, 0.0), entry=f"{BENCH}product = 3\n"))


def test_joint_from_facial_variation() -> None:
    """Tiles that vary by 1.5 mm ask for a joint of 4.5 mm; 3 mm is told to be too narrow."""
    rows = (crown("1", 0.1, 0.1, ("599", "300")), crown("2", 0.1, 0.1, ("600.5", "300.2")))
    box = judge_box(on_bench(*rows))
    assert (box.variation_mm, box.joint_mm) == (1.5, 4.5)
    said = "\n".join(box_words(box, on_bench(*rows)))
    assert "at least 4.5 mm" in said
    assert "The joint of 3.0 mm that was chosen is too narrow" in said
    alike = (crown("1", 0.1, 0.1, ("600", "300")), crown("2", 0.1, 0.1, ("600", "300")))
    assert judge_box(on_bench(*alike)).joint_mm == pytest.approx(25.4 / 16)


def test_joint_in_running_bond_has_the_bow_in_it() -> None:
    """A rectified side over 15 in in running bond: 1/8 in and the edge's bow of 0.4 mm."""
    rows = (crown("1", 0.4, 0.1, ("600", "300")), crown("2", 0.1, 0.1, ("600", "300")))
    head = HEAD + 'edges = "rectified"\n[pattern]\nkind = "running bond"\noffset = "1/3"\n'
    box = judge_box(on_bench(*rows, head=head))
    assert box.bond
    assert box.joint_mm == pytest.approx(25.4 / 8 + 0.4)


def test_the_warpage_goes_into_the_limit() -> None:
    """A box measured in the same survey adds its warpage to the limit: 1/32 in and 0.5 mm."""
    steps = '[[table]]\nfile = "steps.csv"\nkind = "steps"\n'
    head = f'{HEAD}[standard]\nrule = "none"\nlippage = "us-lippage"\n'
    cells = {"steps.csv": (("x", "y", "step"), ("1", "1", "1.0"))}
    bent = {"bench.csv": (COLUMNS, crown("1", 0.5, 0.2), crown("2", -0.3, 0.4))}
    before = judge_steps(checked(head + steps, cells))
    after = judge_steps(checked(head + steps + BENCH, cells | bent))
    assert before is not None
    assert after is not None
    (joint,) = after.joints
    assert (before.joints[0].as_read, joint.as_read) == (OPEN, WITHIN)
    assert joint.limit_mm == pytest.approx(25.4 / 32 + 0.5)
    assert joint.strict_mm == pytest.approx(25.4 / 32)
    assert joint.u_limit_mm == pytest.approx(0.1 * math.sqrt(1.5))


def test_the_warpage_goes_into_the_forecast() -> None:
    """On a plane the tile's bow alone makes the lippage: 8/9 of 0.9 mm at a third."""
    grid = '[[table]]\nfile = "grid.csv"\nkind = "grid"\nsense = "elevation"\n'
    room = '[room]\noutline = [["0","0"],["3000","0"],["3000","1500"],["0","1500"]]\n'
    head = (
        f'{HEAD}{room}[pattern]\nkind = "running bond"\noffset = "1/3"\n'
        '[standard]\nlippage = "us-lippage"\n'
    )
    at = [str(x) for x in range(0, 3001, 300)]
    cells = (("", *at), *((y, *["0"] * len(at)) for y in at[:6]))
    survey = checked(
        head + grid + BENCH, {"grid.csv": cells, "bench.csv": (COLUMNS, crown("1", 0.9, 0.9))}
    )
    tile = tile_of(survey)
    assert tile is not None
    assert allowed(survey, tile).limit_mm == pytest.approx(25.4 / 32 + 0.9)
    seen = outlook(assess(survey))
    assert seen.found.even.worst_mm == pytest.approx(8 / 9 * 0.9, rel=0.02)


def test_warpage_said_twice() -> None:
    """A warpage written in [tile] beside tiles that were measured is refused: which holds?"""
    head = HEAD + 'warpage = { edge = "1 mm", bow = "crown", measured = true }\n'
    with pytest.raises(SurveyError, match=r"tile.warpage is written, and tiles were measured in"):
        tile_of(on_bench(crown("1", 0.1, 0.1), head=head))


def test_tiles_need_a_tile() -> None:
    """Tiles that were measured have a size; without it the document is asked for it."""
    head = HEAD[: HEAD.index("[tile]")]
    with pytest.raises(SurveyError, match="say its length and width under"):
        judge_box(on_bench(crown("1", 0.1, 0.1), head=head))
    with pytest.raises(SurveyError, match="no tile was measured by itself"):
        judge_box(read_folder(SAMPLES / "tansy-row-steps"))


def test_tiles_are_no_floor() -> None:
    """What is measured on a bench is no reading of the floor."""
    survey = on_bench(crown("1", 0.1, 0.1))
    assert len(tiles_of(survey)) == 1
    assert readings_of(survey) == ()
    with pytest.raises(SurveyError, match="no heights were read"):
        assess(survey)


@pytest.mark.parametrize(
    ("row", "said"),
    [
        (("1", "0", "0", "", "0", "0", "0", "0", "0", "0"), "cell D2: a reading was expected"),
        (("1", "0", "0", "x", "0", "0", "0", "0", "0", "0"), "cell D2: "),
        (("1", "0", "0", "nan", "0", "0", "0", "0", "0", "0"), "cell D2: "),
        (("1", "0", "0", "1e9", "0", "0", "0", "0", "0", "0"), "cell D2: "),
        (("1", "0", "0", "60", "0", "0", "0", "0", "0", "0"), "span less than 50 mm"),
        (("", "0", "0", "0", "0", "0", "0", "0", "0", "0"), "cell A2: the tile's name"),
        (("1", *"000000000", "-3", ""), "cell K2: an edge was expected to be larger"),
        (("1", *"000000000", "24", ""), "cell A2: an edge of 24 mm was measured"),
        (("1", *"000000000", "", "=1+1"), "cell L2: "),
    ],
)
def test_what_is_no_tile_on_a_bench(row: tuple, said: str) -> None:
    """A bad cell is named."""
    with pytest.raises(FlatcheckError, match=said):
        judge_box(on_bench(row))


def test_a_tile_stands_there_once() -> None:
    """A tile measured twice, or no tile at all, is refused."""
    with pytest.raises(SurveyError, match="row 3, cell A3: tile '1' stands there twice"):
        on_bench(crown("1", 0.1, 0.1), crown("1", 0.1, 0.1))
    with pytest.raises(SurveyError, match="holds no readings"):
        on_bench()
    with pytest.raises(SurveyError, match="sense = nothing was expected"):
        on_bench(crown("1", 0.1, 0.1), entry=BENCH.replace('sense = "elevation"\n', ""))


@pytest.mark.parametrize(
    ("gap", "said"),
    [
        (("a", "a", "0.1"), "cell B2: tile 'a' was expected to face another tile"),
        (("", "b", "0.1"), "cell A2: the tile's name"),
        (("a", "b", "60"), "cell C2: a gap between two tiles was expected to be below 50 mm"),
        (("a", "b", ""), "cell C2: "),
    ],
)
def test_what_is_no_pair(gap: tuple[str, str, str], said: str) -> None:
    """A bad cell of a table of pairs is named."""
    with pytest.raises(FlatcheckError, match=said):
        in_pairs(gap)


def test_the_sample_from_the_shell(capsys: pytest.CaptureFixture[str]) -> None:
    """The sample's tiles are within their class; by JSON too, and no line is too wide."""
    folder = str(SAMPLES / "quillet-lane-steps")
    assert main(["box", folder]) == 0
    said = capsys.readouterr().out
    assert said.startswith("WITHIN for ANSI A137.1 porcelain, rectified")
    assert max(map(len, said.splitlines())) <= 92
    assert main(["box", folder, "--json"]) == 0
    record = json.loads(capsys.readouterr().out)
    assert record["outcome"] == "within"
    assert record["variation_mm"] == pytest.approx(0.009 * 25.4)
    survey = read_folder(SAMPLES / "quillet-lane-steps")
    every = on_bench(crown("<b>", 2.6, 0.1))
    for box, of in ((judge_box(survey), survey), (judge_box(every), every)):
        assert json.dumps(box_record(box), allow_nan=False)
        assert max(map(len, wrapped(box_words(box, of)))) <= 92


def test_a_tile_outside_its_own_standard_loosens_no_limit() -> None:
    """A box bowed by 6 mm, which no class allows at 24 in, leaves the strict limit as it is."""
    steps = '[[table]]\nfile = "steps.csv"\nkind = "steps"\n'
    head = f'{HEAD}[standard]\nrule = "none"\nlippage = "us-lippage"\n'
    cells = {"steps.csv": (("x", "y", "step"), ("1", "1", "1.0"))}
    bent = {"bench.csv": (COLUMNS, crown("1", 6.0, 6.0), crown("2", 6.0, 6.0))}
    found = judge_steps(checked(head + steps + BENCH, cells | bent))
    assert found is not None
    (joint,) = found.joints
    assert (found.met, joint.limit_mm) == (False, pytest.approx(25.4 / 32))
    assert found.guarded is found.as_read is Outcome.OUT
