"""Standards as data: the contract every file keeps, and how a rule is found and its limit read."""

import importlib
import math
import pkgutil
import re
import sys
from collections.abc import Iterator
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

import flatcheck.measures
from flatcheck.errors import RuleError
from flatcheck.rules import (
    CERTAINTY,
    STEP,
    Citation,
    Grade,
    Limit,
    Rule,
    Standard,
    check_on,
    grade_of,
    limit_at,
    pitch_for,
    rules_for,
    standards,
    step_limit,
    step_rule,
)
from flatcheck.tile import Tile
from flatcheck.units import parse_length, parse_slope
from flatcheck.usual import LEVEL_MM

shelf = importlib.import_module("flatcheck.standards")  # the package has a function so named
MODULES = sorted(module.name for module in pkgutil.iter_modules(shelf.__path__))
IN_URL = re.compile(r"[A-Za-z0-9]+(-[A-Za-z0-9]+)*")
LENGTH_IN_WORDS = re.compile(r"\d+(?:[./]\d+)? (?:in|ft|mm|m)\b")
SLOPE_IN_WORDS = re.compile(r"\d+/\d+ in per ft|\d+:\d+|\d+(?:\.\d+)?%")
SLOPES = ("fall_least", "fall_most")
FLATNESS = ("resting", "blocks", "neighbors", "plane")
TRUE = ("lean", "datum")


AREA_IN_WORDS = re.compile(r"(\d+\.\d+) m²")


def standard_in(module: str) -> Standard:
    found = importlib.import_module(f"flatcheck.standards.{module}").STANDARD
    assert isinstance(found, Standard)
    return found


LIPPAGE = [module for module in MODULES if standard_in(module).about == "lippage"]


def rules_in(standard: Standard) -> Iterator[tuple[Grade, Rule]]:
    for grade in standard.grades:
        for rule in grade.rules:
            yield grade, rule


def square(edge: str) -> Tile:
    return Tile(parse_length(edge), parse_length(edge))


# The contract of one file


@pytest.mark.parametrize("module", MODULES)
def test_listed(module: str) -> None:
    """Every file in flatcheck/standards holds a STANDARD, and it is listed under its id."""
    standard = standard_in(module)
    assert standards()[standard.id] == standard


def test_one_id_per_file() -> None:
    """As many standards are listed as there are files: no two share an id."""
    assert len(MODULES) >= 4
    assert len(standards()) == len(MODULES)


@pytest.mark.parametrize("module", MODULES)
def test_ids_in_addresses(module: str) -> None:
    """Ids of standards, grades and rules can stand in a web address and around a colon."""
    standard = standard_in(module)
    assert IN_URL.fullmatch(standard.id)
    for grade, rule in rules_in(standard):
        assert IN_URL.fullmatch(grade.id)
        assert IN_URL.fullmatch(rule.id)


@pytest.mark.parametrize("module", MODULES)
def test_grades(module: str) -> None:
    """A standard has grades, told apart whatever the case; every grade has rules and a title."""
    standard = standard_in(module)
    assert standard.grades
    assert standard.title
    assert standard.region
    names = [grade.id.lower() for grade in standard.grades]
    assert len(set(names)) == len(names)
    titles = [grade.title for grade in standard.grades]
    assert len(set(titles)) == len(titles)
    assert all(grade.rules and grade.title for grade in standard.grades)


@pytest.mark.parametrize("module", MODULES)
def test_every_tile_has_rules(module: str) -> None:
    """Whatever the tile, each grade has rules for it, and their ids are told apart."""
    for grade in standard_in(module).grades:
        if standard_in(module).about == "lippage":
            continue  # below: by joint
        bounds = {edge for r in grade.rules for edge in (r.edge_from_mm, r.edge_below_mm)}
        inner = bounds - {0.0, math.inf}
        for edge in {1.0, 1e6} | inner | {math.nextafter(b, 0) for b in inner}:
            ids = [rule.id for rule in rules_for(grade, Tile(edge, edge))]
            assert ids
            assert len(set(ids)) == len(ids)


@pytest.mark.parametrize("module", LIPPAGE)
def test_one_limit_per_joint(module: str) -> None:
    """Whatever the joint and the tile, at most one rule of a grade for lippage holds.

    Where none does, the grade is published for some joints or tiles only.
    """
    for grade in standard_in(module).grades:
        joints = {j for r in grade.rules for j in (r.joint_from_mm, r.joint_below_mm)}
        areas = {a for r in grade.rules for a in (r.area_from_mm2, r.area_below_mm2)}
        edges = {e for r in grade.rules for e in (r.edge_from_mm, r.edge_below_mm)}
        found = 0
        for joint in _beside(joints, 3.0):
            for side in {math.sqrt(a) for a in _beside(areas, 1e4)} | _beside(edges, 300.0):
                area, held = side * side, []
                for rule in grade.rules:
                    if (
                        rule.joint_from_mm <= joint < rule.joint_below_mm
                        and rule.area_from_mm2 <= area < rule.area_below_mm2
                        and rule.edge_from_mm <= side < rule.edge_below_mm
                    ):
                        held.append(rule)
                assert len(held) <= 1
                found += len(held)
                if held:
                    assert step_rule(grade, Tile(side, side), joint) is held[0]
                    assert step_limit(held[0], Tile(side, side), joint) > 0
                else:
                    with pytest.raises(RuleError, match="no limit is published"):
                        step_rule(grade, Tile(side, side), joint)
        assert found
        assert len({rule.id for rule in grade.rules}) == len(grade.rules)


def _beside(bounds: set[float], usual: float) -> set[float]:
    """Values at each bound and just below it, and one that is usual."""
    inner = {bound for bound in bounds if 0 < bound < math.inf}
    return {usual} | inner | {math.nextafter(bound, 0) for bound in inner}


@pytest.mark.parametrize("module", LIPPAGE)
def test_lippage_words(module: str) -> None:
    """A rule for lippage says its numbers and no other, and whether warpage is added."""
    for grade, rule in rules_in(standard_in(module)):
        where = f"{grade.id} {rule.id}: {rule.words}"
        bounds = {rule.joint_from_mm, rule.joint_below_mm, rule.edge_below_mm} - {0.0, math.inf}
        data = {limit for _, limit in rule.limit.anchors} | bounds
        said = {parse_length(text) for text in LENGTH_IN_WORDS.findall(rule.words)}
        # A bound that holds at the value itself is the next number after it.
        assert sorted(said) == pytest.approx(sorted(data), rel=1e-12), where
        areas = {rule.area_from_mm2, rule.area_below_mm2} - {0.0, math.inf}
        squares = AREA_IN_WORDS.findall(rule.words)
        assert [float(text) * 1e6 for text in squares] == pytest.approx(sorted(areas)), where
        rest = AREA_IN_WORDS.sub("", LENGTH_IN_WORDS.sub("", rule.words))
        assert not re.search(r"\d", rest), where
        added = any(word in rule.words for word in ("own warpage", "own tolerance"))
        assert added is rule.adds_warpage, where
        assert ("tenth of the joint" in rule.words) is (rule.limit.joint_ratio == 1 / 10), where
        assert ("thousandth" in rule.words) is (rule.limit.edges_ratio == 1 / 1000), where


@pytest.mark.parametrize(
    ("name", "tile", "joint", "strict_mm", "adds"),
    [
        ("us-lippage", "12 in", "3/16 in", 25.4 / 32, True),
        ("us-lippage", "12 in", "1/4 in", 25.4 / 16, True),
        ("us-lippage:stone", "12 in", "1/16 in", 25.4 / 32, False),
        ("us-lippage:wall", "4 in", "1/8 in", 25.4 / 32, True),
        ("us-lippage:quarry", "6 in", "3/8 in", 25.4 / 16, True),
        ("us-lippage:panels", "60 in", "1/8 in", 25.4 / 32, True),
        ("bs-lippage", "300 mm", "5.9 mm", 1.0, False),
        ("bs-lippage", "300 mm", "6 mm", 2.0, False),
        ("bs-lippage:warranty", "300 mm", "6 mm", 1.0, False),
        ("bs-lippage:warranty", "300 mm", "6.1 mm", 2.0, False),
        ("dtu-lippage", "300 mm", "4 mm", 0.5 + 4 / 10, True),
        ("dtu-lippage:stone", "300 mm", "4 mm", 1.0, False),
        ("de-lippage", "100 mm", "3 mm", 1.2, False),
        ("de-lippage", "300 mm", "3 mm", 1.6, False),
        ("de-lippage", "400 mm", "3 mm", 1.8, False),
        ("de-lippage", "500 mm", "3 mm", 2.0, False),
        ("de-lippage", "600 mm", "3 mm", 2.2, False),
        ("de-lippage:experts-thin", "300 mm", "3 mm", 1.3, True),
        ("de-lippage:experts-thick", "300 mm", "3 mm", 1.0, True),
        ("de-lippage:cast-stone", "500 mm", "3 mm", 1.5, False),
        ("de-lippage:cast-stone", "501 mm", "3 mm", 2.0, False),
        ("de-lippage:cast-stone-old", "501 mm", "3 mm", 1.5, False),
        ("au-lippage", "300 mm", "3 mm", 2.0, False),
        ("au-lippage:ground", "300 mm", "3 mm", 1.5, False),
        ("au-lippage:narrow", "300 mm", "3 mm", 1.0, False),
        ("nz-lippage:rustic", "300 mm", "3 mm", 2.0, False),
        ("nz-lippage", "300 mm", "3 mm", 1.5, False),
        ("nz-lippage:abutting", "300 mm", "0 mm", 1.0, False),
        ("be-lippage:nit-213", "500 mm", "3 mm", 1.0, False),
        ("be-lippage:class-1", "600 mm", "3 mm", 1.0, False),
        ("be-lippage:class-2", "600 mm", "3 mm", 1.5, False),
        ("be-lippage:class-3", "600 mm", "3 mm", 2.0, False),
    ],
)
def test_lippage_as_published(
    name: str, tile: str, joint: str, strict_mm: float, adds: bool
) -> None:
    """The limit of every document for a joint and a square tile, as it writes it."""
    _, grade = grade_of(name)
    rule = step_rule(grade, square(tile), parse_length(joint))
    assert step_limit(rule, square(tile), parse_length(joint)) == pytest.approx(strict_mm)
    assert rule.adds_warpage is adds


def test_lippage_asks_for_joint_and_tile() -> None:
    """A limit that goes by the joint or the tile is refused where it is not known."""
    with pytest.raises(RuleError, match="joint; say its width"):
        step_rule(grade_of("us-lippage")[1], square("300 mm"), None)
    with pytest.raises(RuleError, match="tile; say its size"):
        step_rule(grade_of("de-lippage")[1], None, 3.0)
    with pytest.raises(RuleError, match="not about lippage"):
        step_rule(grade_of("bs-8204")[1], None, 3.0)
    with pytest.raises(RuleError, match="name it as the standard for lippage"):
        rules_for(grade_of("us-lippage")[1], square("300 mm"))


@pytest.mark.parametrize("module", MODULES)
def test_citations(module: str) -> None:
    """Every rule says document, edition, clause, source and how sure we are of the number."""
    for _, rule in rules_in(standard_in(module)):
        cited = rule.citation
        for text in (cited.document, cited.edition, cited.clause, cited.source):
            assert text.strip()
        assert cited.certainty in CERTAINTY


@pytest.mark.parametrize("module", MODULES)
def test_measures_exist(module: str) -> None:
    """Every rule's measure is a file in flatcheck/measures, or a step that is read as such."""
    folder = Path(flatcheck.measures.__path__[0])
    for grade, rule in rules_in(standard_in(module)):
        if rule.measure == STEP:
            continue
        assert (folder / f"{rule.measure}.py").is_file(), f"{grade.id} {rule.id}: {rule.measure}"


@pytest.mark.parametrize("module", MODULES)
def test_words_carry_the_data(module: str) -> None:
    """A rule's words are a sentence with all of its numbers and no other, to the last digit.

    To the last digit matters for lengths: a bar as long as typed readings must fit its own rule.
    """
    for grade, rule in rules_in(standard_in(module)):
        if rule.measure in (*SLOPES, STEP, "lean"):
            continue  # in tests of their own
        said = {parse_length(text) for text in LENGTH_IN_WORDS.findall(rule.words)}
        data = {limit for _, limit in rule.limit.anchors}
        if rule.measure == "ponding":
            data = {round(limit, 1) for limit in data}  # no published number but a physical one
        if rule.length_mm is not None and rule.measure in FLATNESS:
            data.add(rule.length_mm)
        if not rule.limit.fixed:
            data |= {span for span, _ in rule.limit.anchors}
        where = f"{grade.id} {rule.id}: {rule.words}"
        apart = {rule.length_mm} if rule.measure == "step" else set()
        assert data <= said <= data | apart | {rule.edge_from_mm, rule.edge_below_mm}, where
        assert not re.search(r"\d", LENGTH_IN_WORDS.sub("", rule.words)), where
        assert re.fullmatch(r"[A-Z][^.]*(?:\d\.\d[^.]*)*\.", rule.words), where


@pytest.mark.parametrize("module", MODULES)
def test_words_carry_the_slope(module: str) -> None:
    """A rule of fall says its slope, in each way it is written as exactly as it is printed.

    A least fall is a limit below zero, a most fall one above; no document gives a length for them.
    """
    for grade, rule in rules_in(standard_in(module)):
        if rule.measure not in SLOPES:
            continue
        where = f"{grade.id} {rule.id}: {rule.words}"
        ((span, limit),) = rule.limit.anchors
        assert span == rule.length_mm == LEVEL_MM
        assert (limit < 0) is (rule.measure == "fall_least")
        said = SLOPE_IN_WORDS.findall(rule.words)
        assert said, where
        assert parse_slope(said[0]) == pytest.approx(abs(limit) / span, rel=1e-12), where
        for text in said[1:]:
            half_a_digit = 0.005 / 100 if "%" in text else 1e-12
            assert parse_slope(text) == pytest.approx(abs(limit) / span, abs=half_a_digit), where
        assert not re.search(r"\d", SLOPE_IN_WORDS.sub("", rule.words)), where
        assert ("at least" if limit < 0 else "at most") in rule.words


LEAN = {
    "uk-warranty:nhbc-floor": {500: 3, 1000: 3, 4000: 12, 6000: 18, 6500: 19.5, 9000: 20},
    "uk-warranty:other-floor": {500: 4, 1000: 4, 4000: 16, 6000: 24, 6200: 24.8, 9000: 25},
    "din-18202:angle": {400: 3, 500: 3, 502: 6, 1000: 6, 3000: 8, 5000: 12, 15000: 16, 31000: 20},
    "dtu-slabs:level": {1000: 10, 8000: 20, 27000: 30, 125: 5},
    "ama-hus:wall": {1000: 5, 3000: 5, 6000: 10, 12000: 20, 20000: 20},
}
"""What each rule of level and plumb allows [mm] over a length [mm], worked out from its words."""


def test_lean_as_published() -> None:
    """So many mm a meter, by table, by cube root, or a share of the length, each with its bounds.

    3 mm per m up to 6 m and 20 mm at most (NHBC), 4 mm per m and 25 mm (another warranty); DIN
    18202 table 2 in steps; 10 mm times the cube root of the length in m (NF DTU 13.3); L/600,
    at least 5 mm and at most 20 mm (AMA Hus).
    """
    asked = {
        f"{standard.id}:{grade.id}": rule
        for standard in standards().values()
        for grade, rule in rules_in(standard)
        if rule.measure == "lean"
    }
    assert asked.keys() == LEAN.keys()
    for name, expected in LEAN.items():
        found = limit_at(asked[name].limit, np.array(list(expected), dtype=float))
        assert found.tolist() == pytest.approx(list(expected.values())), name
        said = {parse_length(text) for text in LENGTH_IN_WORDS.findall(asked[name].words)}
        assert {limit for _, limit in asked[name].limit.anchors} <= said, name


def test_disputed_grades_name_each_other() -> None:
    """Where sources disagree every variant is a grade, and each names all of the others."""
    seen = 0
    for standard in standards().values():
        for grade in standard.grades:
            if not grade.disputed:
                continue
            named = re.findall(rf"{standard.id}:([A-Za-z0-9-]+)", grade.disputed)
            by_id = {other.id: other for other in standard.grades}
            assert len(named) >= 2, f"{standard.id}:{grade.id}"
            for name in named:
                assert by_id[name].disputed, f"{standard.id}:{name}"
                seen += 1
            assert grade.id.removesuffix("-grid") in named, f"{standard.id}:{grade.id}"
    assert seen > 20


def test_for_floors_walls_or_either() -> None:
    """Rows 5 to 7 of DIN 18202 are for walls, ANSI's substrate rule for both."""
    _, wall = grade_of("din-18202:6")
    _, floor = grade_of("din-18202:3")
    _, either = grade_of("us-tile")
    assert (wall.on, floor.on, either.on) == ("wall", "floor", "either")
    check_on(wall, "wall", "a")
    check_on(either, "floor", "a")
    with pytest.raises(RuleError, match="a: the rule is for a wall, and this survey is of a floor"):
        check_on(wall, "floor", "a")
    with pytest.raises(RuleError, match="for a floor, and this survey is of a wall"):
        check_on(floor, "wall", "a")
    with pytest.raises(RuleError, match="floor, wall, either"):
        Grade("a", "A", floor.rules, on="ceiling")


def test_limit_stepped() -> None:
    """A stepped limit holds up to its distance, a tape's millimeter more, and not beyond."""
    limit = Limit(((1000.0, 3.0), (2000.0, 5.0)), stepped=True)
    spans = np.array([10.0, 1000.0, 1001.0, 1002.0, 2000.0, 9000.0])
    assert limit_at(limit, spans).tolist() == [3, 3, 3, 5, 5, 5]


def test_limit_power() -> None:
    """A limit may grow with a power of the distance: 10 mm at 1 m, twice that at 8 m."""
    limit = Limit(((1000.0, 10.0),), power=1 / 3)
    assert not limit.fixed
    assert limit_at(limit, np.array([1000.0, 8000.0])).tolist() == pytest.approx([10, 20])
    with pytest.raises(RuleError, match="one anchor"):
        Limit(((1000.0, 10.0), (2000.0, 12.0)), power=1 / 3)


@pytest.mark.parametrize("module", MODULES)
def test_what_it_is_about(module: str) -> None:
    """A standard is about flatness, falls or lippage, and its rules measure that."""
    standard = standard_in(module)
    assert standard.about in ("flatness", "falls", "lippage")
    for _, rule in rules_in(standard):
        assert (rule.measure == STEP) is (standard.about == "lippage")
        if rule.measure != "step":  # a panel's edge, or a threshold
            assert (rule.measure in (*FLATNESS, *TRUE)) is (standard.about == "flatness")


@pytest.mark.parametrize("module", MODULES)
def test_least_below_most(module: str) -> None:
    """No grade asks for more fall than it allows."""
    for grade in standard_in(module).grades:
        limits = {rule.measure: rule.limit.anchors[0][1] for rule in grade.rules}
        if set(SLOPES) <= limits.keys():
            assert -limits["fall_least"] < limits["fall_most"]


@pytest.mark.parametrize("module", MODULES)
def test_limits_have_a_length(module: str) -> None:
    """A fixed limit stands at the length of its bar; a limit by distance has no length.

    Nor has a limit of what has no length, such as the depth of a pond.

    No distance is endless or missing: the limit there would be no number, and nothing exceeds that.
    """
    for _, rule in rules_in(standard_in(module)):
        spans = [span for span, _ in rule.limit.anchors]
        assert all(math.isfinite(span) and span > 0 for span in spans)
        if rule.measure in ("ponding", "wall_level", "valley_line", "datum", STEP):
            assert rule.length_mm is None
            assert rule.limit.fixed
        elif rule.limit.power:
            assert rule.length_mm is None
        else:
            assert spans == [rule.length_mm] or (len(spans) > 1 and rule.length_mm is None)


@pytest.mark.parametrize("module", MODULES)
def test_spacing_is_known(module: str) -> None:
    """Every rule says how far apart readings may be, and a bar holds at least three of them."""
    for _, rule in rules_in(standard_in(module)):
        assert pitch_for(rule) > 0
        if rule.length_mm or not (rule.limit.fixed or rule.measure == "lean"):
            assert pitch_for(rule) <= (rule.length_mm or rule.limit.anchors[-1][0]) / 2


# The numbers, as published


@pytest.mark.parametrize(
    ("name", "least", "most"),
    [
        ("irc-shower", "1/4 in per ft", "1/2 in per ft"),
        ("irc-shower:percent", "2 %", "4 %"),
        ("upc-shower", "1/4 in per ft", "1/2 in per ft"),
        ("upc-shower:gang", "2 %", None),
        ("ipc-pan", "1/4 in per ft", None),
        ("ada-floors:slope", None, "1:48"),
        ("au-wet:ncc-2022", "1:80", "1:50"),
        ("au-wet:2004-shower", "1:80", "1:60"),
        ("au-wet:2004-other", "1:100", "1:80"),
        ("au-wet:2021-shower", "1:80", None),
        ("au-wet:2021-bathroom", "1:100", None),
        ("au-wet:outside", "1:100", None),
        ("bs-falls", "1:80", "1:35"),
        ("bs-falls:recommended", "1:60", "1:35"),
        ("din-falls:shower", "2 %", None),
        ("din-falls:balcony", "1.5 %", None),
        ("tek17-wet:near-drain", "1:50", None),
        ("tek17-wet:whole", "1:100", None),
        ("us-deck:quarter", "1/4 in per ft", None),
        ("us-deck:eighth", "1/8 in per ft", None),
    ],
)
def test_falls_as_published(name: str, least: str | None, most: str | None) -> None:
    """Least and most fall of every document, as it writes them."""
    _, grade = grade_of(name)
    for measure, sign, slope in (("fall_least", -1, least), ("fall_most", 1, most)):
        limits = [rule.limit.anchors[0][1] for rule in grade.rules if rule.measure == measure]
        expected = [] if slope is None else [sign * parse_slope(slope) * LEVEL_MM]
        assert limits == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize(("grade_id", "height"), [("vertical", "1/4 in"), ("bevelled", "1/2 in")])
def test_ada_changes_in_level(grade_id: str, height: str) -> None:
    """ADA 303: up to 1/4 in may be vertical, up to 1/2 in bevelled at 1:2."""
    _, grade = grade_of(f"ada-floors:{grade_id}")
    (rule,) = grade.rules
    assert rule.limit.anchors[0][1] == parse_length(height)


def test_wet_practice_is_marked_as_such() -> None:
    """Limits that no document gives say so, and the depth of a held puddle is the physical one."""
    _, grade = grade_of("wet-practice")
    assert {rule.citation.certainty for rule in grade.rules} == {"common practice, no source"}
    limits = {rule.measure: rule.limit.anchors[0][1] for rule in grade.rules}
    # h = 2 l sin(θ/2), with the capillary length of water 2.7 mm and a contact angle of 30 degrees.
    assert limits["ponding"] == pytest.approx(2 * 2.7 * math.sin(math.radians(15)))
    assert limits["wall_level"] == parse_length("1/8 in")
    assert limits["valley_line"] == parse_length("1 in")


@pytest.mark.parametrize("grade_id", ["bar", "plane"])
@pytest.mark.parametrize(
    ("edge", "published"),
    [
        ("12 in", {("10 ft", "1/4 in"), ("12 in", "1/16 in")}),
        ("24 in", {("10 ft", "1/8 in"), ("24 in", "1/16 in")}),
    ],
)
def test_us_numbers(grade_id: str, edge: str, published: set[tuple[str, str]]) -> None:
    """ANSI A108: 1/4 in 10 ft and 1/16 in 12 in, or 1/8 in 10 ft and 1/16 in 24 in if large."""
    _, grade = grade_of(f"us-tile:{grade_id}")
    rules = rules_for(grade, square(edge))
    have = {(rule.length_mm, rule.limit.anchors[0][1]) for rule in rules}
    assert have == {(parse_length(length), parse_length(limit)) for length, limit in published}


@pytest.mark.parametrize(
    ("edge", "rule_id", "limit_mm", "length_mm"),
    [
        ("12 in", "10ft", 6, 3000),
        ("12 in", "short", 1.6, 300),
        ("24 in", "10ft", 3, 3000),
        ("24 in", "short", 1.6, 610),
    ],
)
def test_us_millimeters(edge: str, rule_id: str, limit_mm: float, length_mm: float) -> None:
    """The inches are the millimeters printed beside them, which are rounded by up to 6 %."""
    _, grade = grade_of("us-tile")
    (rule,) = (r for r in rules_for(grade, square(edge)) if r.id == rule_id)
    assert rule.limit.anchors[0][1] == pytest.approx(limit_mm, rel=0.06)
    assert rule.length_mm == pytest.approx(length_mm, rel=0.06)


@pytest.mark.parametrize(
    ("name", "measure", "limit_mm"),
    [
        ("bs-8204:SR1", "resting", 3),
        ("bs-8204:SR2", "resting", 5),
        ("bs-8204:SR3", "resting", 10),
        ("bs-5385-3:substrate", "resting", 3),
        ("bs-5385-3:finished", "blocks", 3),
    ],
)
def test_british_numbers(name: str, measure: str, limit_mm: float) -> None:
    """BS 8204 allows 3, 5 or 10 mm under 2 m, BS 5385-3 allows 3 mm; the finished on blocks."""
    _, grade = grade_of(name)
    (rule,) = grade.rules
    assert (rule.measure, rule.length_mm, rule.limit.anchors) == (
        measure,
        2000,
        ((2000, limit_mm),),
    )


# Finding a grade and its rules


@pytest.mark.parametrize(
    ("name", "grade_id"),
    [
        ("us-tile", "bar"),
        ("us-tile:plane", "plane"),
        ("bs-8204", "SR2"),
        ("bs-8204:sr1", "SR1"),
        ("din-18202", "3"),
        ("din-18202:3-Grid", "3-grid"),
        (" bs-5385-3 ", "substrate"),
        ("bs-5385-3:", "substrate"),
    ],
)
def test_grade_of(name: str, grade_id: str) -> None:
    """A standard alone means its first grade; a grade is found whatever its case."""
    standard, grade = grade_of(name)
    assert standard.id == name.strip().partition(":")[0]
    assert grade.id == grade_id
    assert grade in standard.grades


def test_unknown_standard() -> None:
    """An unknown standard is refused in words that name those most like it."""
    for written, like in (("bs-8240:SR1", "bs-8204"), ("us-tille:bar", "us-tile")):
        with pytest.raises(RuleError) as refused:
            grade_of(written)
        assert f"'{written.partition(':')[0]}'" in str(refused.value)
        assert like in str(refused.value)
        assert str(len(standards())) in str(refused.value)


def test_unknown_grade() -> None:
    """An unknown grade is refused in words that name the grades of that standard."""
    with pytest.raises(RuleError, match=r"'SR4'.*SR2, SR1, SR3"):
        grade_of("bs-8204:SR4")


def test_tile_missing() -> None:
    """Where the rule goes by the tile and no tile is given, no rule is chosen for it."""
    _, grade = grade_of("us-tile")
    with pytest.raises(RuleError, match="say its size"):
        rules_for(grade, None)


def test_tile_not_needed() -> None:
    """Where the rule holds for every tile, none needs to be given."""
    _, grade = grade_of("bs-8204")
    assert rules_for(grade, None) == rules_for(grade, square("24 in")) == grade.rules


@pytest.mark.parametrize(
    ("tile", "limit"),
    [
        (square("14.99 in"), "1/4 in"),
        (square("15 in"), "1/8 in"),
        (Tile(parse_length("15 in"), parse_length("4 in")), "1/8 in"),
        (Tile(parse_length("4 in"), parse_length("15 in")), "1/8 in"),
        (square("380 mm"), "1/4 in"),
        (square("381 mm"), "1/8 in"),
    ],
)
def test_large_tile(tile: Tile, limit: str) -> None:
    """One edge of 15 in makes a tile large, 14.99 in does not; either edge counts."""
    _, grade = grade_of("us-tile")
    (rule,) = (r for r in rules_for(grade, tile) if r.id == "10ft")
    assert rule.limit.anchors[0][1] == parse_length(limit)


# Limits and citations


@pytest.mark.parametrize(
    "anchors",
    [
        (),
        ((2000.0, 3.0), (1000.0, 4.0)),
        ((1000.0, 3.0), (1000.0, 4.0)),
        ((2000.0, 0.0),),
        ((-2000.0, 3.0),),
        ((2000.0, math.nan),),
        ((2000.0, math.inf),),
    ],
)
def test_limit_refused(anchors: tuple[tuple[float, float], ...]) -> None:
    """A limit without anchors, with unordered, zero or endless ones or no distance is refused."""
    with pytest.raises(RuleError):
        Limit(anchors)


def test_limit_below_zero() -> None:
    """A limit may be negative: a floor that has to fall may rise by less than nothing."""
    limit = Limit(((600.0, -12.0),))
    assert limit_at(limit, np.array([600.0])).tolist() == [-12]


def test_limit_fixed() -> None:
    """A limit with one anchor is the same at every distance."""
    limit = Limit(((2000.0, 3.0),))
    assert limit.fixed
    assert limit_at(limit, np.array([1.0, 2000.0, 9000.0])).tolist() == [3, 3, 3]


def test_limit_between() -> None:
    """Between anchors a limit follows the straight line; outside it stays."""
    limit = Limit(((1000.0, 1.0), (2000.0, 4.0)))
    assert not limit.fixed
    spans = np.array([500.0, 1000.0, 1250.0, 1500.0, 2000.0, 3000.0])
    assert limit_at(limit, spans).tolist() == [1, 1, 1.75, 2.5, 4, 4]


def test_limit_whole() -> None:
    """Whole millimeters round half up, also where the even neighbor is below."""
    limit = Limit(((1000.0, 1.0), (2000.0, 4.0)), whole_mm=True)
    spans = np.array([1499.0, 1500.0, 1501.0, 1833.0, 1834.0])
    assert limit_at(limit, spans).tolist() == [2, 3, 3, 3, 4]


def test_limit_whole_exact() -> None:
    """Rounding is that of exact fractions at every centimeter of the tables of whole limits."""
    spans = list(range(50, 16001, 10))
    tables = {
        rule.limit
        for standard in standards().values()
        for _, rule in rules_in(standard)
        if rule.limit.whole_mm
    }
    assert tables
    for limit in tables:
        anchors = [(Fraction(span), Fraction(value)) for span, value in limit.anchors]
        exact = [math.floor(straight(anchors, Fraction(s)) + Fraction(1, 2)) for s in spans]
        assert limit_at(limit, np.array(spans, dtype=float)).tolist() == exact


def straight(anchors: list[tuple[Fraction, Fraction]], span: Fraction) -> Fraction:
    if span <= anchors[0][0]:
        return anchors[0][1]
    for (s0, v0), (s1, v1) in pairwise(anchors):
        if span <= s1:
            return v0 + (v1 - v0) * (span - s0) / (s1 - s0)
    return anchors[-1][1]


def test_certainty_refused() -> None:
    """A citation that is sure in words of its own is refused."""
    with pytest.raises(RuleError, match="'quite sure'"):
        Citation("A 1", "2020", "1.1", "a page", "quite sure")


@pytest.mark.parametrize("missing", range(4))
def test_citation_refused(missing: int) -> None:
    """A citation without document, edition, clause or source is refused."""
    parts = ["A 1", "2020", "1.1", "a page"]
    parts[missing] = ""
    with pytest.raises(RuleError, match="needs document, edition, clause and source"):
        Citation(*parts, certainty="agreed")


CITED = Citation("A 1", "2020", "1.1", "a page", "agreed")


def test_spacing_by_length() -> None:
    """Readings may be a quarter of the bar apart, unless the standard's practice says otherwise."""
    limit = Limit(((2000.0, 3.0),))
    assert pitch_for(Rule("a", "resting", 2000.0, limit, "A.", CITED)) == 2000 / 4
    assert pitch_for(Rule("a", "resting", 2000.0, limit, "A.", CITED, pitch_mm=700.0)) == 700


def test_spacing_missing() -> None:
    """A rule for every distance is refused unless it says how far apart readings may be."""
    with pytest.raises(RuleError, match="needs the reading spacing"):
        Rule("a", "resting", None, Limit(((100.0, 2.0), (1000.0, 4.0))), "A.", CITED)


# One file more

FIFTH = """
from flatcheck.rules import Citation, Grade, Limit, Rule, Standard

CITED = Citation("Q 1", "2030", "1.1", "nowhere", "common practice, no source")
RULE = Rule("1m", "resting", 1000.0, Limit(((1000.0, 2.0),)), "No gap over 2 mm under 1 m.", CITED)
STANDARD = Standard("{id}", "Q 1", "Nowhere", (Grade("only", "Only", (RULE,)),))
"""


@pytest.fixture
def second_shelf(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """A folder that counts as part of flatcheck/standards while the test runs."""
    monkeypatch.setattr(shelf, "__path__", [*shelf.__path__, str(tmp_path)])
    standards.cache_clear()
    yield tmp_path
    standards.cache_clear()
    for path in tmp_path.glob("*.py"):
        sys.modules.pop(f"flatcheck.standards.{path.stem}", None)
        vars(shelf).pop(path.stem, None)


def test_one_file_more(second_shelf: Path) -> None:
    """A file more in the folder is listed and found with nothing else edited."""
    before = set(standards())
    (second_shelf / "zz_fifth.py").write_text(FIFTH.format(id="q-1"), encoding="utf-8")
    standards.cache_clear()
    assert set(standards()) == before | {"q-1"}
    standard, grade = grade_of("q-1")
    assert (standard.region, grade.id) == ("Nowhere", "only")
    assert rules_for(grade, None)[0].limit.anchors == ((1000, 2),)


def test_same_id_twice(second_shelf: Path) -> None:
    """Two files with one id are refused, so that neither is judged by in place of the other."""
    (second_shelf / "zz_twin.py").write_text(FIFTH.format(id="us-tile"), encoding="utf-8")
    with pytest.raises(RuleError, match="'us-tile'"):
        standards()
