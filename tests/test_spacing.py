"""What the rules ask of joints and offsets: printed sums, both editions."""

from dataclasses import replace

import pytest

from flatcheck.errors import SurveyError
from flatcheck.spacing import OFFSETS, bow_at_offset, least_joint, may_offset
from flatcheck.tile import Bow, Tile
from flatcheck.units import parse_length

LARGE = Tile(parse_length("24 in"), parse_length("12 in"))


@pytest.mark.parametrize(
    ("variation", "joint"), [("1/16 in", "3/16 in"), ("0 in", "1/16 in"), ("1/64 in", "1/16 in")]
)
def test_joint_from_variation(variation: str, joint: str) -> None:
    """Three times what the tiles vary, never under 1/16 in: 1/16 in asks for 3/16 in."""
    assert least_joint(LARGE, parse_length(variation)) == pytest.approx(parse_length(joint))


@pytest.mark.parametrize(
    ("edges", "warp", "joint"),
    [
        ("rectified", "0 in", "1/8 in"),
        ("calibrated", "0 in", "3/16 in"),
        ("rectified", "1/32 in", "5/32 in"),
    ],
)
def test_joint_in_running_bond(edges: str, warp: str, joint: str) -> None:
    """Over 15 in in running bond: 1/8 or 3/16 in and the edge warpage; 1/8 + 1/32 = 5/32 in."""
    bow = Bow(-parse_length(warp), 0.0)
    found = least_joint(replace(LARGE, edges=edges, bow=bow), 0.0, running_bond=True)
    assert found == pytest.approx(parse_length(joint))
    small = Tile(parse_length("15 in"), parse_length("12 in"), edges=edges)
    assert least_joint(small, 0.0, running_bond=True) == parse_length("1/16 in")


def test_joint_refused() -> None:
    """Edges of another kind and tiles that vary by less than nothing are refused."""
    for edges in ("natural", ""):
        with pytest.raises(SurveyError, match=f"'{edges}' were expected to be one of rectified"):
            least_joint(replace(LARGE, edges=edges), 0.0, running_bond=True)
        assert least_joint(replace(LARGE, edges=edges), 1.0) == 3.0
    with pytest.raises(SurveyError, match="no less than zero"):
        least_joint(LARGE, -1.0)


@pytest.mark.parametrize(
    ("side", "offset", "newer", "older"),
    [
        ("24 in", 1 / 2, False, False),
        ("24 in", 1 / 3, True, True),
        ("24 in", 2 / 3, True, True),
        ("24 in", 0.34, False, False),
        ("18 in", 1 / 2, False, True),
        ("15 in", 1 / 2, True, True),
        ("16 in", 0.0, True, True),
    ],
)
def test_offset_rule(side: str, offset: float, newer: bool, older: bool) -> None:
    """Over 15 in (newer) or 18 in (2013) at most a third; two thirds is a third from the end."""
    by_edition = {rule.id: may_offset(rule, parse_length(side), offset) for rule in OFFSETS}
    assert by_edition == {"over-15": newer, "over-18": older}


def test_bow_at_an_offset() -> None:
    """Half an offset shows all of the bow, a third 8/9, a quarter 3/4, none nothing."""
    shares = {r: bow_at_offset(1.0, r) for r in (0.0, 1 / 4, 1 / 3, 1 / 2)}
    assert shares == pytest.approx({0.0: 0.0, 1 / 4: 3 / 4, 1 / 3: 8 / 9, 1 / 2: 1.0})
