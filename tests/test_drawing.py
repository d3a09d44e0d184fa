"""Drawings of the page: places to scale, colors of cells, and no markup but ours."""

import base64
import io
import re
from html.parser import HTMLParser

import numpy as np
import pytest
from PIL import Image

from flatcheck.ui.drawing import Colors, Drawing, Line, Signs, Words, mark_axes, pieces
from flatcheck.ui.svg import HATCHES, SIGNS, clean, markup, places, shown

HOSTILE = '<script>alert(1)</script><img src=x onerror="alert(2)">'


def drawing() -> Drawing:
    """Of a floor of 4 m by 2 m whose corner lies at 1 m, 1 m."""
    made = Drawing("a floor")
    made.low, made.high = np.array([1000.0, 1000.0]), np.array([5000.0, 3000.0])
    return made


class Tags(HTMLParser):
    """The tags of a piece of markup, and whether each that was opened is closed."""

    def __init__(self) -> None:
        super().__init__()
        self.seen: set[str] = set()
        self.open: list[str] = []
        self.handlers: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.seen.add(tag)
        self.handlers += [name for name, _ in attrs if name.startswith("on")]
        if tag != "br":
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.seen.add(tag)
        self.handlers += [name for name, _ in attrs if name.startswith("on")]

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag


def tags(words: str) -> Tags:
    """The tags of markup that is whole."""
    found = Tags()
    found.feed(words)
    found.close()
    assert not found.open
    return found


@pytest.mark.parametrize(
    ("said", "is_shown"),
    [
        ("<b>1</b> high<br><i>x</i>", "<b>1</b> high<br><i>x</i>"),
        (shown("<b>typed</b> & so"), "&lt;b&gt;typed&lt;/b&gt; &amp; so"),
        ("<img src=x>", "&lt;img src=x&gt;"),
        ("<b onclick=x>", "&lt;b onclick=x&gt;"),
        ('1/8" < 1/4"', "1/8&quot; &lt; 1/4&quot;"),
        ("<B>", "&lt;B&gt;"),
    ],
)
def test_only_plain_markup_is_left(said: str, is_shown: str) -> None:
    """Bold, italics and a new line are markup; all else, and what a person typed, is text."""
    assert clean(said) == is_shown


def test_hostile_words_are_text_everywhere() -> None:
    """No name, word or tale of a drawing becomes markup, escaped before or not."""
    made, at = drawing(), np.array([[2000.0, 2000.0]])
    made.about = HOSTILE
    made.add(
        Line(HOSTILE, np.array([[1000.0, 1000.0], [2000.0, 2000.0]]), hatch="/", told=HOSTILE),
        Signs(HOSTILE, at, "up", edge_px=1, told=[HOSTILE]),
        Colors(HOSTILE, at[0, :1], at[0, 1:], 10, np.ones((1, 1)), SCALE, (0, 1), [HOSTILE] * 2),
    )
    made.write(Words(HOSTILE, (2000, 2000), HOSTILE))
    found = tags(markup(made))
    assert not {"script", "img"} & found.seen
    assert not found.handlers
    for _, _, told, _ in places(made):
        assert not tags(told).seen


SCALE = ((0.0, "#000000"), (0.5, "#808080"), (1.0, "#ff0000"))


def test_cells_are_colored_where_they_lie() -> None:
    """A cell has the color of its value on the scale, north is up, and a hole lets through."""
    made = drawing()
    value = np.array([[0.0, 1.0], [np.nan, 2.0]])
    x, y = np.array([2000.0, 3000.0]), np.array([1500.0, 2500.0])
    made.add(Colors("cells", x, y, 1000, value, SCALE, (0, 1, 2), ("0", "1", "2")))
    drawn = markup(made)
    picture = re.search(r"base64,([^\"]+)", drawn)
    assert picture
    dots = np.array(Image.open(io.BytesIO(base64.b64decode(picture[1]))))
    assert dots.shape == (2, 2, 4)
    assert dots[1, 0].tolist() == [0, 0, 0, 255]
    assert dots[1, 1].tolist() == [128, 128, 128, 255]
    assert dots[0, 1].tolist() == [255, 0, 0, 255]
    assert dots[0, 0, 3] == 0
    box = re.search(r'<image x="(\S+)" y="(\S+)" width="(\S+)" height="(\S+)"', drawn)
    assert box
    # Of 4 m the cells take two, from half a meter on; they are all of its height.
    assert [float(v) for v in box.groups()] == [125, 0, 500, 500]


def test_places_are_told_from_the_upper_left() -> None:
    """A place is told in hundredths of the drawing, what is drawn last first, with its number."""
    made = drawing()
    xy = np.array([[1000.0, 1000.0], [5000.0, 3000.0], [2000.0, 2500.0]])
    made.add(
        Signs("all", xy, told=["a", "", "c"], numbers=[7, 8, 9]),
        Line("silent", xy),
        Line("bar", xy[:2], told="<b>bar</b>"),
    )
    assert places(made) == [
        (0, 100, "<b>bar</b>", None),
        (100, 0, "<b>bar</b>", None),
        (0, 100, "a", 7),
        (100, 0, "", 8),
        (25, 25, "c", 9),
    ]


def test_a_line_is_lifted_between_pieces() -> None:
    """Pieces begin anew, in thousandths of the width, and a foot up is as long as one across."""
    made = drawing()
    one = np.array([[1000.0, 1000.0], [2000.0, 2000.0]])
    made.add(Line("two", pieces([one, one + 1000]), dash="dot"))
    path = re.search(r' d="([^"]*)"', markup(made))
    assert path
    assert path[1] == "M0 500L250 250M250 250L500 0"
    assert made.shape == 2
    assert "aspect-ratio:2.0000" in markup(made)
    made.times = 10
    assert made.shape == pytest.approx(0.2)


@pytest.mark.parametrize("sign", [*SIGNS, ""])
def test_every_sign(sign: str) -> None:
    """Each sign is drawn once for every place, at its place, and can be turned and set off."""
    made = drawing()
    xy = np.array([[2000.0, 1500.0], [3000.0, 2500.0]])
    made.add(Signs("s", xy, sign, edge_px=2, halo_px=3, turn_deg=(0, 90), fill=("white", "red")))
    drawn = markup(made)
    tags(drawn)
    assert (
        drawn.count('<svg x="25%" y="75%"') == drawn.count('<svg x="50%" y="25%"') == 2 * bool(sign)
    )
    assert drawn.count("rotate(90)") == 2 * bool(sign)


def test_dots_are_one_line() -> None:
    """A thousand dots are one path, each in its place."""
    made = drawing()
    xy = np.column_stack((np.linspace(1000, 5000, 1000), np.full(1000, 2000.0)))
    made.add(Signs("dots", xy))
    drawn = markup(made)
    assert drawn.count("<path") == 1
    assert drawn.count("h0") == 1000
    assert "M0 250h0" in drawn
    assert "M1000 250h0" in drawn


@pytest.mark.parametrize("hatch", HATCHES)
def test_hatches_do_not_mix(hatch: str) -> None:
    """Two hatched lines of a drawing have patterns of their own."""
    made = drawing()
    ring = np.array([[1000.0, 1000.0], [2000.0, 1000.0], [2000.0, 2000.0], [1000.0, 1000.0]])
    made.add(Line("one", ring, hatch=hatch), Line("two", ring, hatch="/", hatch_color="#a3231c"))
    drawn = markup(made)
    tags(drawn)
    assert re.findall(r'id="(\w+)"', drawn) == re.findall(r"url\(#(\w+)\)", drawn) == ["h0", "h1"]


def test_marks_have_room() -> None:
    """The longer the marks on the left the more room there is; what stands below has its own."""
    made = drawing()
    mark_axes(made, [(1000, "0")], [(1000, "0"), (2000, "10' 11 15/16\"")], 40, 18)
    long = made.margin_px
    made = drawing()
    mark_axes(made, [(1000, "0")], [(1000, "0")], 0, 18)
    short = made.margin_px
    assert long[0] - short[0] == pytest.approx(6.5 * 12)
    assert long[3] - short[3] == 40
    assert long[1:3] == short[1:3]
    assert made.said("up")[0].off_px[0] < -18


def test_an_empty_drawing() -> None:
    """Layers without places draw nothing, and break nothing."""
    made, none = drawing(), np.empty((0, 2))
    made.add(Line("l", none, hatch="x", fill="white"), Signs("d", none), Signs("u", none, "up"))
    tags(markup(made))
    assert places(made) == []
    with pytest.raises(ValueError, match="not enough"):
        made.layer("missing")
