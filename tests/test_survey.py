"""The survey document: everything in it is understood, and what cannot be is named."""

import math
import tomllib
from datetime import date
from pathlib import Path

import pytest
import tomli_w

from flatcheck.document import build, table_files
from flatcheck.errors import FlatcheckError, RoomError, SurveyError
from flatcheck.intent import Intent
from flatcheck.readers.folder import checked, edited, read_folder, write_folder
from flatcheck.survey import DECISIONS, Cells, Survey, cell_name, height_from
from flatcheck.tables import readings_of
from flatcheck.tile import Tile
from flatcheck.units import Style

SAMPLES = sorted(p for p in (Path(__file__).parents[1] / "sample_surveys").iterdir() if p.is_dir())

CELLS: Cells = (("", "0", "500"), ("0", "10", "11"), ("500", "12", "13"))

LEAST = """flatcheck = 1
[units]
readings = "mm"
offsets = "mm"
[instrument]
uncertainty = "0.3 mm"
[[table]]
file = "a.csv"
kind = "grid"
sense = "elevation"
"""

FULL = """flatcheck = 1

[survey]
title = "Wet room, Brackwater"  # kept as it stands
place = "Brackwater"
date = 2026-05-04
by = "the crew"
surface = "screed"
notes = "first\\nsecond"

[units]
readings = "in"
offsets = "ft"
show = "in/32"

[instrument]
name = "laser"
uncertainty = "1/32"
reads_to = "1/16 in"

[room]
outline = [[0, 0], ["10' 6\\"", 0], ["10' 6\\"", 8], [0, "96 in"]]
walls = ["door", "bath", "window", "basin"]

[[room.cutout]]
name = "tub"
outline = [[2, 2], [4, 2], [4, 4], [2, 4]]

[[zone]]
name = "shower"
outline = [[0, 0], [5, 0], [5, 8], [0, 8]]
intent = { kind = "fall", fall = "1/4 in per ft", toward = "south-west" }

[[zone]]
outline = [[5, 0], [10.5, 0], [10.5, 8], [5, 8]]

[intent]
kind = "level"

[tile]
length = "24"
width = "30 cm"
joint = "3/16"

[standard]
rule = "us-tile:plane"
decision = "as read"

[[table]]
file = "a.csv"
kind = "grid"
sense = "rod"
setup = 2
readings = "mm"
offsets = "in"
uncertainty = "2"
reads_to = "1"
"""


def made(document: str = LEAST) -> Survey:
    return build(document, {"a.csv": CELLS})


def with_line(section: str, line: str, document: str = LEAST) -> str:
    """The document with a line more in a section; a new section where it has none."""
    head = f"[{section}]\n"
    if head not in document:
        return f"{document}{head}{line}\n"
    return document.replace(head, f"{head}{line}\n")


# What is understood


def test_least_survey() -> None:
    """A format, units, an uncertainty and a table are enough; the rest has its defaults."""
    survey = made()
    assert (survey.title, survey.day, survey.room, survey.zones) == ("survey", None, None, ())
    assert (survey.intent, survey.tile) == (Intent("best fit"), None)
    assert (survey.standard, survey.decision) == ("us-tile", DECISIONS[0])
    assert survey.show == Style("mm", decimals=1)
    assert made(LEAST.replace('readings = "mm"', 'readings = "ft"')).show == Style("in", 16)


def test_full_survey() -> None:
    """Every key of the document comes out where it belongs, lengths in millimeters."""
    foot = 304.8
    survey = made(FULL)
    assert survey.document == FULL
    assert (survey.title, survey.place) == ("Wet room, Brackwater", "Brackwater")
    assert (survey.day, survey.by) == (date(2026, 5, 4), "the crew")
    assert (survey.surface, survey.notes) == ("screed", "first second")  # one line of text
    assert (survey.instrument, survey.show) == ("laser", Style("in", 32))
    assert survey.room is not None
    corners = ((0, 0), (10.5 * foot, 0), (10.5 * foot, 8 * foot), (0, 8 * foot))
    for found, expected in zip(survey.room.outline.corners_mm, corners, strict=True):
        assert found == pytest.approx(expected)
    assert survey.room.walls == ("door", "bath", "window", "basin")
    assert [cutout.name for cutout in survey.room.cutouts] == ["tub"]
    assert [zone.outline.name for zone in survey.zones] == ["shower", "zone 2"]
    assert [zone.intent for zone in survey.zones] == [Intent("fall", 1 / 48, 225.0), Intent()]
    assert survey.intent == Intent("level")
    assert survey.tile == Tile(609.6, 300, 4.7625)  # 24 in, 30 cm, 3/16 in
    assert (survey.standard, survey.decision) == ("us-tile:plane", "as read")
    (table,) = survey.tables
    assert (table.name, table.kind, table.sense, table.setup) == ("a.csv", "grid", "rod", "2")
    assert (table.unit, table.offset_unit, table.cells) == ("mm", "in", CELLS)
    assert table.u_mm == pytest.approx(math.sqrt(2**2 + 1 / 12))


@pytest.mark.parametrize(
    ("lines", "expected_mm"),
    [
        ('uncertainty = "0.3 mm"', 0.3),
        ('uncertainty = "1/32 in"', 25.4 / 32),
        ("uncertainty = 0.5", 0.5),
        ('uncertainty = "0.4"\nreads_to = 1', math.sqrt(0.4**2 + 1**2 / 12)),
        ('uncertainty = 0\nreads_to = "1 mm"', 1 / math.sqrt(12)),
        ('uncertainty = "1/32"', 25.4 / 32),  # a bare fraction is of an inch
        ('uncertainty = "reading to 1/16"', 25.4 / 16 / math.sqrt(12)),
        ('uncertainty = 0\nreads_to = "1/16"', 25.4 / 16 / math.sqrt(12)),
    ],
)
def test_uncertainty_of_a_reading(lines: str, expected_mm: float) -> None:
    """u² is the scatter squared and a twelfth of the rounding step squared."""
    document = LEAST.replace('uncertainty = "0.3 mm"', lines)
    assert made(document).tables[0].u_mm == pytest.approx(expected_mm)


def test_the_sign_of_a_rod() -> None:
    """A rod reads more where the floor is lower, an elevation where it is higher."""
    assert (height_from("rod", 1500.0), height_from("elevation", 1500.0)) == (-1500.0, 1500.0)
    up = readings_of(made())
    down = readings_of(made(LEAST.replace('"elevation"', '"rod"')))
    assert [r.height_mm for r in up] == [10, 11, 12, 13]
    assert [r.height_mm for r in down] == [-10, -11, -12, -13]
    assert {r.setup for r in up}.isdisjoint(r.setup for r in down)


@pytest.mark.parametrize(
    ("toward", "degrees"),
    [('"north"', 0), ('"south-east"', 135), ("200", 200), ("22.5", 22.5), ("-90", -90)],
)
def test_which_way_water_runs(toward: str, degrees: float) -> None:
    """A fall goes toward a compass side, or degrees clockwise from north."""
    document = f'{LEAST}[intent]\nkind = "fall"\nfall = "2%"\ntoward = {toward}\n'
    assert made(document).intent == Intent("fall", 0.02, degrees)


@pytest.mark.parametrize(
    ("column", "letters"), [(1, "A"), (26, "Z"), (27, "AA"), (52, "AZ"), (703, "AAA")]
)
def test_cells_are_called_as_in_a_spreadsheet(column: int, letters: str) -> None:
    """A cell is named by its table, its row, and the letters and number a spreadsheet shows."""
    assert cell_name("a.csv", 12, column) == f"a.csv, row 12, cell {letters}12"


def test_names_are_text_as_written() -> None:
    """A name that looks like markup or a formula is kept as it stands, to be escaped by pages."""
    document = with_line("survey", "title = '<script>alert(1)</script>'\nby = '=HYPERLINK(1)'")
    survey = made(document)
    assert (survey.title, survey.by) == ("<script>alert(1)</script>", "=HYPERLINK(1)")


# Writing it back


@pytest.mark.parametrize("folder", SAMPLES, ids=lambda path: path.name)
def test_samples_come_back_the_same(folder: Path, tmp_path: Path) -> None:
    """A survey written and read again is the same survey, to the last character."""
    survey = read_folder(folder)
    write_folder(survey, tmp_path / "copy")
    assert read_folder(tmp_path / "copy") == survey
    assert (tmp_path / "copy" / "survey.toml").read_bytes() == (folder / "survey.toml").read_bytes()


@pytest.mark.parametrize("newline", ["\n", "\r\n"])
def test_the_document_is_kept_as_typed(newline: str, tmp_path: Path) -> None:
    """Comments, order, blank lines and line ends of survey.toml come back as they were typed."""
    typed = FULL.replace("\n", newline).replace("crew", "crew, 4½″ ✓")
    write_folder(checked(typed, {"a.csv": CELLS}), tmp_path)
    assert read_folder(tmp_path).document == typed


def test_an_edit_changes_what_it_says() -> None:
    """Editing sections replaces the keys given and leaves all else, the readings too."""
    survey = made(FULL)
    new = edited(survey, {"tile": {"length": "12 in"}, "standard": None})
    assert new.tile == Tile(304.8, 300, 4.7625)
    assert (new.standard, new.decision) == ("us-tile", DECISIONS[0])
    assert (new.tables, new.zones, new.room) == (survey.tables, survey.zones, survey.room)
    assert edited(new, {}) == new


def test_table_files() -> None:
    """The tables that a document names are known before they are read."""
    assert table_files(FULL + '[[table]]\nfile = "b.csv"\n') == ("a.csv", "b.csv")


# What is not understood


@pytest.mark.parametrize(
    ("section", "known"),
    [
        ("survey", "title"),
        ("units", "readings"),
        ("instrument", "uncertainty"),
        ("room", "outline"),
        ("room.cutout", "outline"),
        ("zone", "outline"),
        ("intent", "kind"),
        ("tile", "length"),
        ("standard", "rule"),
        ("table", "file"),
    ],
)
def test_unknown_keys_are_named(section: str, known: str) -> None:
    """A key that is not known in its section is named, with those that are."""
    head = f"[[{section}]]\n" if f"[[{section}]]" in FULL else f"[{section}]\n"
    document = FULL.replace(head, f"{head}lenght = 1\n", 1)
    named = r"table a\.csv" if section == "table" else section
    with pytest.raises(SurveyError, match=rf"{named}: 'lenght' is not known here.*{known}"):
        readings_of(made(document))


def test_unknown_sections_are_named() -> None:
    """A section that is not known is named, with those that are."""
    with pytest.raises(SurveyError, match=r"survey\.toml: 'tiles' is not known here; .*tile"):
        made(LEAST + "[tiles]\nlength = 1\n")


KINDS = "bench, benchmarks, corners, gaps, grid, pairs, points, steps, tilts"

WRONG = [
    ("flatcheck = 1", "", "flatcheck = nothing was expected to be 1"),
    ("flatcheck = 1", "flatcheck = 2", "flatcheck = 2 was expected to be 1"),
    ('readings = "mm"', "", "units.readings = nothing is not a unit of length"),
    ('readings = "mm"', 'readings = "yard"', "units.readings = 'yard' is not a unit"),
    ('offsets = "mm"', 'offsets = "px"', "units.offsets = 'px' is not a unit"),
    ('offsets = "mm"', 'offsets = "mm"\nshow = "in/3"', "'in/3' cannot be read"),
    ('uncertainty = "0.3 mm"', "", "instrument.uncertainty is missing"),
    ('uncertainty = "0.3 mm"', "uncertainty = true", "instrument.uncertainty = True was expected"),
    ('uncertainty = "0.3 mm"', 'uncertainty = "-1"', "must not be negative"),
    ('uncertainty = "0.3 mm"', "uncertainty = 0", "must be larger than zero; no reading is exact"),
    ('uncertainty = "0.3 mm"', 'uncertainty = "good"', "instrument.uncertainty: 'good' cannot be"),
    ('uncertainty = "0.3 mm"', "uncertainty = nan", "instrument.uncertainty: 'nan' cannot be"),
    ('sense = "elevation"', "", 'table a.csv: sense = nothing was expected to be "rod"'),
    ('sense = "elevation"', 'sense = "up"', "table a.csv: sense = 'up' was expected"),
    ('kind = "grid"', 'kind = "cloud"', f"table a.csv: kind = 'cloud' is not one of {KINDS}."),
    ('kind = "grid"', "", f"table a.csv: kind = '' is not one of {KINDS}."),
    ('file = "a.csv"', 'file = "b.csv"', "table 'b.csv' is named in survey.toml but was not found"),
    ('file = "a.csv"', 'file = "a.csv"\nreadings = "ell"', "table a.csv: readings = 'ell' is not"),
    ("[instrument]", "instrument = 3\n[x]", "'x' is not known here"),
]


@pytest.mark.parametrize(("typed", "instead", "said"), WRONG)
def test_wrong_and_missing_fields_are_named(typed: str, instead: str, said: str) -> None:
    """A field that is missing or wrong is named, with what was read and what was expected."""
    assert typed in LEAST
    with pytest.raises(FlatcheckError) as caught:
        readings_of(made(LEAST.replace(typed, instead)))
    assert said in str(caught.value)


MORE = [
    ("survey", 'date = "4 May"', "survey.date '4 May' was expected as a date"),
    ("survey", "date = 07:30:00", "was expected as a date"),
    ("standard", 'decision = "maybe"', "standard.decision 'maybe' is not one of allowing for"),
    ("intent", 'kind = "bowl"', "intent: kind 'bowl' is not one of level"),
    ("intent", 'kind = "fall"', "needs fall and toward"),
    ("intent", 'kind = "fall"\nfall = "2%"', "needs fall and toward"),
    ("intent", 'kind = "fall"\nfall = "2 mm"\ntoward = 0', "intent.fall: '2 mm' cannot be read"),
    (
        "intent",
        'kind = "fall"\nfall = "2%"\ntoward = "drain"',
        "intent.toward: 'drain' was expected",
    ),
    ("intent", 'kind = "fall"\nfall = "2%"\ntoward = nan', "intent.toward: 'nan' was expected"),
    ("intent", 'kind = "fall"\nfall = "2%"\ntoward = 361', "intent.toward: '361' was expected"),
    ("intent", 'kind = "fall"\nfall = "2%"\ntoward = true', "intent.toward = True was expected"),
    ("tile", "length = 300", "tile: length and width are both needed"),
    ("tile", "length = 300\nwidth = 0", "tile: the width must be larger than zero"),
    ("tile", "length = -300\nwidth = 300", "tile: the length must be larger than zero"),
    ("tile", "length = 300\nwidth = 300\njoint = -1", "tile: the joint must not be negative"),
    ("tile", 'length = "big"\nwidth = 300', "tile.length: 'big' cannot be read"),
    ("room", "outline = 5", "room: an outline is a list of corners"),
    ("room", "walls = []", "room: an outline is a list of corners"),
    ("room", "outline = [[0, 0], [1, 2, 3], [4, 5]]", "room: an outline is a list of corners"),
    ("room", 'outline = [[0, 0], [9, "?"], [9, 9]]', "room, corner 2: '?' cannot be read"),
    ("room", "outline = [[0, 0], [9, 0]]", "room: an outline needs at least three corners"),
    (
        "room",
        'outline = [[0, 0], [9, 0], [9, 9]]\nwalls = "n"',
        "room.walls = 'n' was expected to be a list of names.",
    ),
    ("[zone]", "name = 'w'", "w: an outline is a list of corners"),
    ("[zone]", "outline = [[0, 0], [9, 0], [9, 9]]\nintent = 3", "zone 1.intent was expected"),
]


@pytest.mark.parametrize(("section", "lines", "said"), MORE)
def test_wrong_sections_are_named(section: str, lines: str, said: str) -> None:
    """A section that cannot be used is named, with the field and what was read."""
    with pytest.raises(FlatcheckError) as caught:
        made(with_line(section, lines))
    assert said in str(caught.value)


@pytest.mark.parametrize("section", ["survey", "units", "instrument", "tile", "standard", "intent"])
def test_a_section_that_is_none(section: str) -> None:
    """A word where a section belongs is refused by the name of the section."""
    head = tomllib.loads(LEAST) | {section: 3}
    with pytest.raises(SurveyError, match=section):
        made(tomli_w.dumps(head))


def test_no_table() -> None:
    """A survey without a table of readings is refused."""
    with pytest.raises(SurveyError, match="names no table of readings"):
        readings_of(made(LEAST.split("[[table]]")[0]))


def test_text_that_is_no_document() -> None:
    """Text that is not TOML is refused with the line where reading stopped."""
    with pytest.raises(SurveyError, match=r"^survey\.toml cannot be read: .*line 2"):
        made("flatcheck = 1\nreadings: mm\n")


def test_a_room_that_is_none() -> None:
    """An outline that crosses itself is refused, naming the sides that cross."""
    document = with_line("room", "outline = [[0, 0], [900, 900], [900, 0], [0, 900]]")
    with pytest.raises(RoomError, match="crosses itself between corners 1 and 3"):
        made(document)


TYPES = [
    ("survey", "title = 5", "survey.title = 5 was expected to be a text in quotes."),
    ("survey", "place = true", "survey.place = True was expected to be a text in quotes."),
    ("survey", 'by = ["A"]', "survey.by = ['A'] was expected to be a text in quotes."),
    ("survey", "surface = 2026-05-04", "survey.surface = datetime.date(2026, 5, 4) was expected"),
    ("survey", "notes = { a = 1 }", "survey.notes = {'a': 1} was expected to be a text in quotes."),
    ("instrument", "name = 1.5", "instrument.name = 1.5 was expected to be a text in quotes."),
    ("instrument", 'setups = "A"', "instrument.setups = 'A' was expected to be a list of names."),
    ("instrument", "setups = [true]", "instrument.setups = True was expected to be a text"),
    ("instrument", "setups = [[1]]", "instrument.setups = [1] was expected to be a text"),
    ("units", "show = 16", "units.show = 16 was expected to be a text in quotes."),
    ("units", 'show = "in/3"', "units.show: 'in/3' cannot be read"),
    ("standard", "rule = 5", "standard.rule = 5 was expected to be a text in quotes."),
    ("standard", 'decision = ["as read"]', "standard.decision ['as read'] is not one of"),
    ("intent", "kind = 3", "intent.kind = 3 was expected to be a text in quotes."),
    ("intent", 'kind = "fall"\nfall = true\ntoward = 0', "intent.fall = True was expected to be"),
    ("room", "outline = [[0, 0], [9, 0], [9, 9]]\nwalls = [1.5, 2, 3]", "room.walls = 1.5 was"),
    ("room", "outline = [[0, 0], [9, 0], [9, 9]]\nwalls = { n = 1 }", "room.walls = {'n': 1} was"),
    ("[zone]", "name = 1.5", "zone.name = 1.5 was expected to be a text in quotes."),
]


@pytest.mark.parametrize(("section", "lines", "said"), TYPES)
def test_what_is_of_another_type(section: str, lines: str, said: str) -> None:
    """A number, a list or a section where a text belongs is refused by its key."""
    with pytest.raises(SurveyError) as caught:
        made(with_line(section, lines))
    assert str(caught.value).startswith(said)
    assert str(caught.value).endswith(".")


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("kind = 5", "table a.csv: kind = 5 was expected to be a text in quotes."),
        ("setup = ['A']", "table a.csv: setup = ['A'] was expected to be a text in quotes."),
        ("file = 5", "table 5 was expected to be the name of a file, in quotes."),
        ('file = "a\\nb.csv"', "table 'a\\nb.csv' was expected to be the name of a file"),
        ('file = "survey.toml"', "table 'survey.toml': a table is a file in the survey's own"),
    ],
)
def test_what_is_of_another_type_in_a_table(line: str, said: str) -> None:
    """So it is in the entry of a table, and a file that can be no table by its name."""
    key = line.split(" ")[0]
    kept = "\n".join(old for old in LEAST.splitlines() if not old.startswith(f"{key} ="))
    with pytest.raises(SurveyError) as caught:
        made(f"{kept}\n{line}\n")
    assert str(caught.value).startswith(said)


def test_names_may_be_numbers() -> None:
    """Setups and walls may be called by whole numbers, as people number them."""
    document = with_line("instrument", "setups = [1, 2]") + "setup = 2\n"
    room = "outline = [[0, 0], [900, 0], [900, 900]]\nwalls = [1, 2, 3]"
    survey = made(with_line("room", room, document))
    assert survey.tables[0].setups == ("1", "2")
    assert survey.room is not None
    assert survey.room.walls == ("1", "2", "3")


def test_a_sight_of_a_table_alone() -> None:
    """A table read from nearer than the rest has its own share of an error that grows."""
    by_distance = LEAST.replace('"0.3 mm"', '"3 mm at 30 m"\nsight = "20 m"')
    assert made(by_distance).tables[0].u_mm == pytest.approx(2 / math.sqrt(3))
    assert made(by_distance + 'sight = "5 m"\n').tables[0].u_mm == pytest.approx(0.5 / math.sqrt(3))


def test_whose_uncertainty_is_wrong() -> None:
    """An uncertainty that cannot be used is named by the table whose own it is."""
    for line, said in (
        ('uncertainty = "good"', "table a.csv: uncertainty: 'good' cannot be read"),
        ("uncertainty = 0", "table a.csv: uncertainty must be larger than zero"),
        ("reads_to = -1", "table a.csv: reads_to must not be negative"),
        (
            'uncertainty = "reading to 2 mm"\nreads_to = 1',
            "table a.csv: uncertainty says already what the readings are rounded to",
        ),
        ('uncertainty = "1 mm at 9 m"', "'1 mm at 9 m' grows with the distance; say table a.csv: "),
    ):
        with pytest.raises(FlatcheckError) as caught:
            made(f"{LEAST}{line}\n")
        assert str(caught.value).startswith(said)


# What looks as if it were understood


def test_zones_of_one_name() -> None:
    """Two zones of one name are refused: nobody could tell which of them is out."""
    ring = "outline = [[0, 0], [9, 0], [9, 9]]"
    for names in (("wet", "wet"), ("zone 2", None)):
        lines = "".join(
            f"[[zone]]\n{ring}\n" + (f'name = "{name}"\n' if name else "") for name in names
        )
        with pytest.raises(SurveyError, match=r"^zone: two zones are called '(wet|zone 2)'\.$"):
            made(LEAST + lines)


def test_a_table_counts_once() -> None:
    """A table named twice is refused: the same readings are no second set of readings."""
    with pytest.raises(SurveyError, match=r"^table a\.csv is named twice"):
        made(LEAST + LEAST[LEAST.index("[[table]]") :])


def test_reads_to_of_a_table_alone() -> None:
    """A table read to a step of its own keeps the scatter of the instrument."""
    survey = made(LEAST + 'reads_to = "5 mm"\n')
    assert survey.tables[0].u_mm == pytest.approx(math.hypot(0.3, 5 / math.sqrt(12)))
    finer = LEAST.replace('"0.3 mm"', '"0.3"\nreads_to = 2') + 'reads_to = "1/32 in"\n'
    expected = math.hypot(0.3, 25.4 / 32 / math.sqrt(12))
    assert made(finer).tables[0].u_mm == pytest.approx(expected)


@pytest.mark.parametrize("corners", [3, 4])
def test_an_outline_closed_by_hand(corners: int) -> None:
    """An outline that ends where it began is the same without its last corner."""
    ring = [[0, 0], [900, 0], [900, 600], [0, 600]][:corners]
    closed, open_ = (
        made(with_line("room", f"outline = {r}")).room for r in (ring + ring[:1], ring)
    )
    assert closed == open_
    assert open_ is not None
    assert len(open_.outline.corners_mm) == corners


@pytest.mark.parametrize("version", ["true", "1.0"])
def test_the_format_is_a_whole_number(version: str) -> None:
    """Only the whole number 1 names the format."""
    with pytest.raises(SurveyError, match="was expected to be 1"):
        made(LEAST.replace("flatcheck = 1", f"flatcheck = {version}"))


def test_a_date_without_a_time() -> None:
    """The day of a survey is a date; a date with a time is refused."""
    with pytest.raises(SurveyError, match=r"^survey\.date .* was expected as a date such as"):
        made(with_line("survey", "date = 2026-05-04T10:30:00"))


def test_a_small_number_without_quotes() -> None:
    """A number means the same with quotes and without."""
    document = LEAST.replace('"mm"', '"m"')
    bare, quoted = (
        made(document.replace('"0.3 mm"', typed)).tables[0].u_mm
        for typed in ("0.00003", '"0.00003"')
    )
    assert bare == pytest.approx(quoted)


def test_signs_that_command_are_shown_as_such() -> None:
    """Escape, bell and signs that turn the direction of reading stand in no title."""
    title = made(with_line("survey", 'title = "a\\u001b[2Jb\\u202e31"')).title
    assert title == "a\ufffd[2Jb\ufffd31"
