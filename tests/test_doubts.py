"""Numbers that are unlikely: questioned by name, and not in a survey where all is usual."""

from pathlib import Path

import pytest

from flatcheck.assess import Assessment, assess, reads_floor
from flatcheck.errors import SurveyError
from flatcheck.readers.folder import checked, read_folder
from flatcheck.report.doubts import NAMED, doubts
from flatcheck.report.text import record, text

SAMPLES = Path(__file__).parents[1] / "sample_surveys"
SURVEYS = [f for f in sorted(SAMPLES.iterdir()) if reads_floor(read_folder(f))]

DOCUMENT = """flatcheck = 1
[units]
readings = "in"
offsets = "ft"
[instrument]
uncertainty = "1/32 in"
[room]
outline = [[0, 0], [9, 0], [9, 9], [0, 9]]
[[room.cutout]]
name = "island"
outline = [[6.2, 6.2], [6.8, 6.2], [6.8, 6.8], [6.2, 6.8]]
[tile]
length = "24 in"
width = "12 in"
[[table]]
file = "p.csv"
kind = "points"
sense = "rod"
"""

GAPS = '[[table]]\nfile = "g.csv"\nkind = "gaps"\n'
TILTS = (
    '[[table]]\nfile = "g.csv"\nkind = "tilts"\nslope = "%"\nlength = "24 in"\n'
    'tilt_uncertainty = "1%"\n'
)


def judged(
    places: list[tuple[str, str, str]], document: str = DOCUMENT, table: str = ""
) -> Assessment:
    """A survey of places of a floor in inches, with a table of bars or levels beside."""
    cells = {"p.csv": (("x", "y", "reading"), *places)}
    if table:
        cells["g.csv"] = tuple(tuple(row.split(",")) for row in table.split())
    return assess(checked(document, cells))


def floor(rod: str = "48", step: int = 1) -> list[tuple[str, str, str]]:
    return [(str(x * step), str(y * step), rod) for x in range(1, 9) for y in range(1, 9)]


def with_rod(written: str) -> list[tuple[str, str, str]]:
    """The floor with the rod of its tenth place written otherwise: row 11 of the table."""
    places = floor()
    places[9] = (*places[9][:2], written)
    return places


@pytest.mark.parametrize("folder", SURVEYS, ids=lambda folder: folder.name)
def test_usual_surveys(folder: Path) -> None:
    """Nothing is questioned of the sample surveys, ramps and recesses among them."""
    assert doubts(assess(read_folder(folder))) == []


@pytest.mark.parametrize(
    ("written", "said"),
    [
        ("1219", "'1219' is 97' 7\" more than usual here: is it in mm?"),
        ("122", "'122' is 6' 2\" more than usual here: is it in cm?"),
        ("4", "'4' is 3' 8\" less than usual here: is it in ft?"),
        ("1219 in", "'1219 in' is 97' 7\" more than usual here; is it right?"),
        ("84", "'84' is 3' more than usual here; is it right?"),
        ("59", None),
        ("37", None),
    ],
)
def test_a_rod_in_another_unit(written: str, said: str | None) -> None:
    """A rod a foot and more from all others is questioned, with the unit that would explain it."""
    asked = [] if said is None else [f"p.csv, row 11, cell C11: {said}"]
    assert doubts(judged(with_rod(written))) == asked


def test_a_step_in_the_floor() -> None:
    """Where half of a floor lies two feet lower nothing is unusual of that half."""
    places = [(x, y, "72" if int(x) > 4 else "48") for x, y, _ in floor()]
    assert doubts(judged(places)) == []


def test_a_table_in_another_unit() -> None:
    """Rods all longer than any rod are questioned once, not one by one."""
    (said,) = doubts(judged(floor("1219")))
    assert said == (
        "p.csv, row 2, cell C2 and below: rods are read at 101' 7\", longer than any; are the "
        "readings in the unit that was said?"
    )
    assert doubts(judged(floor("1219"), DOCUMENT.replace('"rod"', '"elevation"'))) == []


@pytest.mark.parametrize(("length", "asked"), [("137 in", 0), ("138 in", 1), ("0.3", 1)])
def test_a_tile_nobody_makes(length: str, asked: int) -> None:
    """A tile longer than any that is made, or narrower, is questioned."""
    said = doubts(judged(floor(), DOCUMENT.replace('"24 in"', f'"{length}"')))
    assert len(said) == asked
    assert all(sentence.endswith("is unusual: is its size right?") for sentence in said)


@pytest.mark.parametrize(
    ("unit", "step", "said"),
    [("ft", 300, "up to 2100' apart"), ("in", 1, 'within 7"'), ("ft", 90, ""), ("ft", 1, "")],
)
def test_offsets_in_another_unit(unit: str, step: int, said: str) -> None:
    """Readings farther apart than any floor is wide, or all within a hand, are questioned."""
    document = DOCUMENT.replace('"ft"', f'"{unit}"')
    a, b = document.index("[room]"), document.index("[tile]")
    found = doubts(judged(floor(step=step), document[:a] + document[b:]))
    question = ": are the offsets in the unit that was said?"
    assert found == ([f"The readings lie {said}{question}"] if said else [])


@pytest.mark.parametrize(
    ("ends", "said"),
    [
        ("1,4,8,4", ""),
        ("1,4,9,4", ""),
        ("1,4,14,4", "its bar would go through a wall or a cutout, or ends outside the room"),
        ("6,6,7,7", "its bar would go through a wall or a cutout"),
    ],
)
def test_a_bar_through_a_wall(ends: str, said: str) -> None:
    """A bar that would end outside the room, or lie through a cutout, is questioned by its row."""
    table = f"bar,x1,y1,x2,y2,at,gap 1,{ends},0,0 1,,,,,0.2,0"
    found = doubts(judged(floor(), DOCUMENT + GAPS, table))
    assert len(found) == bool(said)
    assert all(words.startswith(f"g.csv, row 2, cell G2: {said}") for words in found)


@pytest.mark.parametrize(("gap", "asked"), [("1 15/16", 0), ("2", 1)])
def test_a_gap_no_floor_has(gap: str, asked: int) -> None:
    """A gap under a bar of 50 mm and more is questioned."""
    table = f"bar,x1,y1,x2,y2,at,gap 1,1,4,8,4,0,0 1,,,,,3,{gap} 1,,,,,7,0".replace("1 15", "1_15")
    rows = table.replace(" 1,", "|1,").replace("_", " ")
    cells = {
        "p.csv": (("x", "y", "reading"), ("1", "1", "48"), ("2", "8", "48"), ("8", "1", "48")),
        "g.csv": tuple(tuple(row.split(",")) for row in rows.split("|")),
    }
    found = doubts(assess(checked(DOCUMENT + GAPS, cells)))
    assert len(found) == asked
    assert found in (
        [],
        ["g.csv, row 3, cell G3: '2' is a gap of 2\" under a straightedge; is it right?"],
    )


@pytest.mark.parametrize(("slope", "asked"), [("9.9", 0), ("-10.1", 1)])
def test_a_level_on_a_ramp(slope: str, asked: int) -> None:
    """A level that reads more than one in ten is questioned."""
    places = [("1", "1", "48"), ("2", "8", "48"), ("8", "1", "48")]
    found = doubts(judged(places, DOCUMENT + TILTS, f"x,y,toward,reading 4,4,east,{slope}"))
    assert len(found) == asked
    assert all("is a ramp, 1 7/32" in words for words in found)


def test_what_was_set_aside_is_not_questioned() -> None:
    """A reading that the others show to be misread is told as such, and not questioned too."""
    twice = [*with_rod("1219"), *floor()]
    cells = tuple((*row, "B" if k > 64 else "A") for k, row in enumerate(twice, 1))
    third = tuple((*row, "C") for row in floor())
    found = assess(checked(DOCUMENT, {"p.csv": (("x", "y", "reading", "setup"), *cells, *third)}))
    assert [suspect.number for suspect in found.adjusted.suspects] == [10]
    assert doubts(found) == []


def test_many_doubts() -> None:
    """Of many unlikely numbers a dozen are told, and the others counted."""
    places = floor()
    for k in range(0, 60, 4):
        places[k] = (*places[k][:2], f"{1219 + k}")
    said = doubts(judged(places))
    assert len(said) == NAMED + 1
    assert said[-1] == "3 more numbers look as unlikely."


def test_doubts_are_told() -> None:
    """Text and record hold the same questions, before the rules are judged."""
    found = judged(with_rod("1219"))
    told = " ".join(text(found).split())
    assert f"LOOK AGAIN {doubts(found)[0]}" in told
    assert told.index("LOOK AGAIN") < told.index("No gap over")
    assert record(found)["look_again"] == doubts(found)


@pytest.mark.parametrize("written", ["1000000000", "-400000", "99999 m"])
def test_a_length_that_cannot_be(written: str) -> None:
    """A rod of more than 10 km is refused by its cell."""
    with pytest.raises(SurveyError, match=r"^p\.csv, row 11, cell C11: .* is more than 10 km"):
        judged(with_rod(written))


@pytest.mark.parametrize(
    ("tile", "joint", "said"),
    [
        ("120 in", "1/8 in", ['A tile of 120" x 120" is larger than the room: is its size right?']),
        ("12 in", "2 ft", ['A joint of 24" is unusual: is its width right?']),
        ("12 in", "1 in", []),
    ],
)
def test_a_tile_and_its_joint(tile: str, joint: str, said: list[str]) -> None:
    """A tile that its room cannot hold whole, and a joint that nobody grouts, are questioned."""
    own = f'length = "{tile}"\nwidth = "{tile}"\njoint = "{joint}"'
    document = DOCUMENT.replace('length = "24 in"\nwidth = "12 in"', own)
    assert doubts(judged(floor(), document)) == said
