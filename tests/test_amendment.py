"""Changes by hand to the tables of a survey: what is taken, what is refused, and in which words."""

from pathlib import Path

import pytest

from flatcheck.amendment import BARS, Bar, amended, built, laid, replaced, table_of
from flatcheck.document import DOCUMENT
from flatcheck.errors import SurveyError
from flatcheck.readers.cells import cells_of
from flatcheck.readers.folder import folder_files, survey_of
from flatcheck.survey import Gap
from flatcheck.tables import readings_of

SAMPLES = Path(__file__).parents[1] / "sample_surveys"
KITCHEN = folder_files(SAMPLES / "millbrook-plywood")
MIXED = folder_files(SAMPLES / "cobbler-yard-mixed")
LOTS = folder_files(SAMPLES / "bracken-mill-lots")
BAR = Bar(("1 ft", "2"), ("7'", "2"), (("2'", "1/8"), ("4 ft", "3/16")))


def cell(files: dict[str, bytes], row: int, column: int) -> str:
    """A cell of the kitchen's table."""
    return cells_of("laser.csv", files["laser.csv"])[row - 1][column - 1]


def gaps(files: dict[str, bytes]) -> list[Gap]:
    """The gaps of a survey."""
    return [seen for seen in readings_of(survey_of(files)) if isinstance(seen, Gap)]


def test_cells_are_written() -> None:
    """Cells that can be read are written, and nothing else is changed."""
    after, refused = amended(KITCHEN, "laser.csv", {(3, 3): " 47 1/2 ", (4, 4): "47"})
    assert not refused
    was, now = (cells_of("laser.csv", f["laser.csv"]) for f in (KITCHEN, after))
    changed = {
        (r, c): b
        for r, (one, other) in enumerate(zip(was, now, strict=True), 1)
        for c, (a, b) in enumerate(zip(one, other, strict=True), 1)
        if a != b
    }
    assert changed == {(3, 3): "47 1/2", (4, 4): "47"}
    assert after[DOCUMENT] == KITCHEN[DOCUMENT]


@pytest.mark.parametrize("bad", ["pigs", "=1+1", "<script>", "nan", "1e9", "4/0", "9 mi"])
def test_a_bad_cell_keeps_none_of_the_good_ones_out(bad: str) -> None:
    """What cannot be read is refused by its cell in one sentence, and the good cell is taken."""
    after, refused = amended(KITCHEN, "laser.csv", {(3, 3): bad, (4, 4): "47"})
    assert list(refused) == [(3, 3)]
    assert refused[3, 3].startswith("laser.csv, row 3, cell C3: ")
    assert bad in refused[3, 3]
    assert cell(after, 4, 4) == "47"
    assert cell(after, 3, 3) == cell(KITCHEN, 3, 3)


def test_a_row_below_the_last() -> None:
    """A row written below the last one is refused without its offset, and taken with it."""
    rows = len(cells_of("laser.csv", KITCHEN["laser.csv"]))
    _, refused = amended(KITCHEN, "laser.csv", {(rows + 1, 3): "47"})
    assert list(refused) == [(rows + 1, 3)]
    after, refused = amended(KITCHEN, "laser.csv", {(rows + 1, 3): "47", (rows + 1, 1): "99'"})
    assert not refused
    assert len(readings_of(survey_of(after))) == len(readings_of(survey_of(KITCHEN))) + 1


def test_a_block_in_a_wrong_place() -> None:
    """Of very many cells that cannot be read together none is taken, and each is told."""
    texts = {(row, 2): "pigs" for row in range(2, 700)}
    after, refused = amended(KITCHEN, "laser.csv", texts)
    assert after == KITCHEN
    assert refused.keys() == texts.keys()


def test_a_block_replaces_all() -> None:
    """A block pasted from a spreadsheet replaces the cells; one that cannot be read is refused."""
    after = replaced(KITCHEN, "laser.csv", "\t1'\t2'\n1'\t47\t47 1/8\n2'\t47\t\n\n")
    assert cells_of("laser.csv", after["laser.csv"]) == (
        ("", "1'", "2'"),
        ("1'", "47", "47 1/8"),
        ("2'", "47", ""),
    )
    for text, words in (
        ("", "nothing was pasted"),
        ("\t1'\n1'\tpigs", "cell B2"),
        ("a", "no grid"),
    ):
        with pytest.raises(SurveyError, match=words):
            replaced(KITCHEN, "laser.csv", text)


def test_where_nothing_can_be_written() -> None:
    """A table that is not there, and one that is a spreadsheet, are refused."""
    with pytest.raises(SurveyError, match="no table 'other'"):
        table_of(KITCHEN, "other")


def test_the_first_bar_makes_its_table() -> None:
    """The first bar laid makes a table of gaps, with its own uncertainty where one is said."""
    after = laid(KITCHEN, BAR, "1/64 in")
    read = gaps(after)
    assert [(g.start, g.end) for g in read] == [((304.8, 609.6), (2133.6, 609.6))] * 2
    assert [g.gap_mm for g in read] == pytest.approx([25.4 / 8, 25.4 * 3 / 16])
    assert [g.along_mm for g in read] == pytest.approx([609.6, 1219.2])
    assert [g.u_mm for g in read] == pytest.approx([25.4 / 64] * 2)
    assert after["laser.csv"] == KITCHEN["laser.csv"]
    own = gaps(laid(KITCHEN, BAR))
    assert {g.u_mm for g in own} == {built(KITCHEN).tables[0].u_mm}


def test_bars_are_added_below() -> None:
    """A bar goes below those laid before, under a name of its own; their gaps stay as read."""
    before, once = gaps(MIXED), laid(MIXED, BAR)
    twice = laid(once, Bar(("0", "0"), ("0", "6'"), (("3'", "1/2"),), block="1/4"))
    assert BARS not in twice
    read = gaps(twice)
    assert [g.gap_mm for g in read[: len(before)]] == [g.gap_mm for g in before]
    assert len({g.placement for g in read}) == len({g.placement for g in before}) + 2
    assert read[-1].block_mm == pytest.approx(25.4 / 4)
    assert read[-1].gap_mm == pytest.approx(25.4 / 4)


@pytest.mark.parametrize(
    ("bar", "words"),
    [
        (Bar(("pigs", "2"), ("7", "2"), (("2", "1/8"),)), "first end, x: 'pigs'"),
        (Bar(("1", "2"), ("7", ""), (("2", "1/8"),)), "second end, y: ''"),
        (Bar(("1", "2"), ("1", "2"), (("0", "1/8"),)), "at one place"),
        (Bar(("1", "2"), ("7", "2"), (("8", "1/8"),)), "off the bar"),
        (Bar(("1", "2"), ("7", "2"), (("2", "-1/8"),)), "below zero"),
        (Bar(("1", "2"), ("7", "2"), (("2", "<b>"),)), "'<b>' cannot be read"),
        (Bar(("1", "2"), ("7", "2"), (("2", ""),)), "''"),
        (Bar(("1", "2"), ("7", "2"), ()), "no gap was written"),
    ],
)
def test_a_bar_that_cannot_be(bar: Bar, words: str) -> None:
    """A bar or a gap that cannot be is refused in one sentence that quotes it."""
    with pytest.raises(SurveyError, match=words) as refused:
        laid(KITCHEN, bar)
    assert str(refused.value).endswith(".")


def test_bars_by_lot_stay_as_they_were_drawn() -> None:
    """A bar laid by choice is not written among those that were drawn by lot."""
    with pytest.raises(SurveyError, match="drawn by lot"):
        laid(LOTS, BAR)
