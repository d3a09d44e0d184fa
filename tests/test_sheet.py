"""The reading sheet: what is printed is what was planned, and the table reads back."""

import csv
import re
import xml.etree.ElementTree as ET
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest

from flatcheck.assess import assess
from flatcheck.cli import main
from flatcheck.planning import SurveyPlan, plan
from flatcheck.readers.cells import cells_of
from flatcheck.readers.folder import bare
from flatcheck.report.sheet import COLUMNS, ROWS, Heading, sheet_csv, sheet_html
from flatcheck.room import Ring, Room, rectangle
from flatcheck.rules import grade_of
from flatcheck.tables import readings_of
from flatcheck.units import LENGTH_UNITS, STYLES, Style, parse_length

INCH, FOOT = LENGTH_UNITS["in"], LENGTH_UNITS["ft"]
RULES = grade_of("bs-8204:SR1")[1].rules
BOX = Room(rectangle(0, 0, 20 * FOOT, 16 * FOOT))
SHOP = Room(
    Ring("shop", ((0, 0), (6000, 0), (6000, 2600), (3600, 2600), (3600, 4800), (0, 4800))),
    (rectangle(1500, 1000, 2400, 1600, "counter"),),
)
OFF_ZERO = Room(rectangle(33.3, -12.5, 4033.3, 2987.5))
PLANS = {
    "box": (plan(BOX, RULES, 1.0, INCH), STYLES["in/16"]),
    "shop": (plan(SHOP, RULES, 1.0), STYLES["mm"]),
    "shop in inches": (plan(SHOP, RULES, 1.0, INCH), STYLES["in/8"]),
    "off zero": (plan(OFF_ZERO, RULES, 1.0), STYLES["mm/0.1"]),
}
every_plan = pytest.mark.parametrize(("made", "style"), PLANS.values(), ids=PLANS.keys())


class Page(HTMLParser):
    """Tags, attributes and the text of every box of a page."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.attributes: list[tuple[str, str | None]] = []
        self.words: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes += attrs

    def handle_data(self, data: str) -> None:
        self.words.append(data)


def grids_of(page: str) -> list[list[list[str]]]:
    """The text of the cells of every grid on a page."""
    found = []
    for table in re.findall(r'<table class="grid">.*?</table>', page):
        rows = ET.fromstring(table).iter("tr")
        found.append([["".join(cell.itertext()) for cell in row] for row in rows])
    return found


@every_plan
def test_filled_table_reads_back(made: SurveyPlan, style: Style) -> None:
    """Typed full, the table gives a reading at every planned place, and only there."""
    cells = [list(row) for row in cells_of("sheet.csv", sheet_csv(made, style).encode())]
    blank = [(r, c) for r, row in enumerate(cells) for c, cell in enumerate(row) if not cell]
    blank.remove((0, 0))
    for number, (r, c) in enumerate(blank):
        cells[r][c] = str(1000 + number)
    survey = bare(
        "sheet.csv",
        tuple(map(tuple, cells)),
        kind="grid",
        sense="rod",
        readings="mm",
        offsets="ft",  # offsets carry their own unit, whatever is said here
        uncertainty="0.5 mm",
    )
    read = {(r.x_mm, r.y_mm): r.height_mm for r in readings_of(survey)}

    assert len(read) == len(blank) == len(made.stations_mm)
    assert sorted(read) == pytest.approx(np.array(sorted(made.stations_mm)), abs=0.25)
    assert set(read.values()) == {-1000.0 - n for n in range(len(blank))}


@pytest.mark.parametrize(
    ("room", "show", "offsets"), [("12 x 14 ft", "in/16", "ft"), ("4.2 x 3.05 m", "mm", "mm")]
)
def test_a_filled_sheet_is_checked_without_edits(
    room: str, show: str, offsets: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A sheet from `flatcheck plan`, with readings typed into its blanks, is what `check` takes."""
    sheet = tmp_path / "sheet.csv"
    command = ["--tile", "12 x 24 in", "--uncertainty", "1/64 in"]
    assert main(["plan", room, *command, "--rule", "10ft", "--show", show, f"--sheet={sheet}"]) == 0
    with sheet.open(encoding="utf-8", newline="") as lines:
        head, *rows = csv.reader(lines)
    dip = (len(rows) // 2, len(head) // 2)
    with sheet.open("w", encoding="utf-8", newline="") as lines:
        csv.writer(lines).writerows(
            [head]
            + [
                [row[0], *("48 1/2" if (r, c) == dip else "48" for c in range(1, len(row)))]
                for r, row in enumerate(rows)
            ]
        )
    read = ["--sense", "rod", "--readings", "in", "--offsets", offsets]
    capsys.readouterr()

    assert main(["check", str(sheet), *read, *command, "--standard", "us-tile:bar"]) == 1
    said = capsys.readouterr().out
    assert "1/2" in said


def test_places_left_blank_are_not_read() -> None:
    """A place that could not be read stays blank, and the rest is judged."""
    made, style = PLANS["shop"]
    cells = [list(row) for row in cells_of("sheet.csv", sheet_csv(made, style).encode())]
    flat = [[cell or "1400" for cell in row] for row in cells]
    flat[0][0] = "shop"
    flat[3][3] = ""
    survey = bare(
        "sheet.csv",
        tuple(map(tuple, flat)),
        kind="grid",
        sense="rod",
        readings="mm",
        offsets="mm",
        uncertainty="0.1 mm",
        sections={
            "standard": {"rule": "bs-8204:SR1"},
            "room": {"outline": [list(corner) for corner in SHOP.outline.corners_mm]},
        },
    )

    assert len(readings_of(survey)) == len(made.stations_mm) - 1
    assert str(assess(survey).verdict.outcome) == "within"


@every_plan
def test_boxes_are_the_plan(made: SurveyPlan, style: Style) -> None:
    """Every planned place has one box, with its number in walking order and its offsets."""
    found = {}
    for head, *rows in grids_of(sheet_html(made, Heading(), style)):
        assert len(rows) <= ROWS
        assert len(head) - 1 <= COLUMNS
        for north, *boxes in rows:
            for east, box in zip(head[1:], boxes, strict=True):
                if box != "×":
                    found[int(box)] = (parse_length(east), parse_length(north))

    assert sorted(found) == list(range(1, len(made.stations_mm) + 1))
    walk = np.array([found[n] for n in sorted(found)])
    assert walk == pytest.approx(np.array(made.stations_mm), abs=0.25)


@every_plan
def test_paper_and_table_look_alike(made: SurveyPlan, style: Style) -> None:
    """North is at the top of both: the table is the boxes of the paper, part by part."""
    table = cells_of("sheet.csv", sheet_csv(made, style).encode())
    east = list(table[0][1:])
    north = [row[0] for row in table[1:]]
    assert [parse_length(cell) for cell in north] == sorted(
        (parse_length(cell) for cell in north), reverse=True
    )
    for head, *rows in grids_of(sheet_html(made, Heading(), style)):
        for label, *boxes in rows:
            for column, box in zip(head[1:], boxes, strict=True):
                cell = table[1 + north.index(label)][1 + east.index(column)]
                assert (cell == "x") is (box == "×")


def test_offsets_far_from_the_zero_corner_keep_their_digits() -> None:
    """A metric offset is written to 0.1 mm, however far away it is."""
    far = plan(Room(rectangle(1_234_567.8, 0, 1_238_567.8, 3000)), RULES, 1.0)
    head = cells_of("sheet.csv", sheet_csv(far, STYLES["mm"]).encode())[0]

    assert [parse_length(cell) for cell in head[1:]] == pytest.approx(far.east_mm, abs=0.05)


def test_page_is_self_contained() -> None:
    """The page loads nothing: no script, no link, no address outside the page."""
    made, style = PLANS["shop"]
    text = sheet_html(made, Heading("Shop"), style)
    page = Page(text)

    assert not {"script", "link", "img", "iframe", "object", "base", "form"} & set(page.tags)
    assert not {"src", "href", "onload", "onclick"} & {name for name, _ in page.attributes}
    assert "://" not in text
    assert "@import" not in text
    assert "url(" not in text


def test_all_text_is_escaped() -> None:
    """Names of the survey, the walls, the room and what stands in it cannot become markup."""
    nasty = "\"><script>alert('1')</script>&amp;"
    ring = Ring(nasty, SHOP.outline.corners_mm)
    room = Room(ring, (replace(SHOP.cutouts[0], name=nasty),), (nasty,) * 6)
    made = replace(PLANS["shop"][0], room=room)
    text = sheet_html(made, Heading(nasty, nasty, nasty, nasty, nasty, nasty), STYLES["mm"])
    page = Page(text)

    assert "<script" not in text
    assert "script" not in page.tags
    # Title twice, place, who, when, with what, sense, two panels, a cutout and six walls.
    assert "".join(page.words).count(nasty) == 2 + 5 + 2 + 1 + 6


def test_what_is_not_known_gets_a_line() -> None:
    """Facts that are known are printed; the others are left for the pencil."""
    made, style = PLANS["box"]
    text = sheet_html(made, Heading("Kitchen", by="R. and the apprentice"), style)

    assert "<th>Read by</th><td>R. and the apprentice</td>" in text
    for blank in ("Place", "Date", "Instrument", "First place, read at the start"):
        assert f"<th>{blank}</th><td></td>" in text
    assert "Write rod readings in inches, to 1/16 in;\nlarger is lower." in text
    metric = sheet_html(made, Heading(sense="elevation"), STYLES["mm/0.1"])
    assert "Write elevation readings in millimeters, to 0.1 mm;\nlarger is higher." in metric


def test_the_map_is_to_scale() -> None:
    """On the map every place lies where it is in the room, north up."""
    made, style = PLANS["shop"]
    drawing = ET.fromstring(re.search(r"<svg.*?</svg>", sheet_html(made, Heading(), style))[0])
    dots = [dot for dot in drawing.iter("circle") if "class" not in dot.attrib]
    drawn = np.array([(float(dot.get("cx")), -float(dot.get("cy"))) for dot in dots])
    true = np.array(made.stations_mm)
    scale = np.ptp(drawn, axis=0) / np.ptp(true, axis=0)

    assert scale[0] == pytest.approx(scale[1], rel=1e-3)
    assert drawn - drawn[0] == pytest.approx((true - true[0]) * scale[0], abs=0.02)
