"""A published sentence as data: which measure, which length, which limit, for which tile.

A standard is one file in `flatcheck/standards/`; it is found there by name, so adding one touches
nothing else. Two editions are two files with two ids, so that an old report can be made again.
"""

import difflib
import importlib
import math
import pkgutil
from dataclasses import dataclass
from functools import cache

import numpy as np
import numpy.typing as npt

from flatcheck.errors import RuleError
from flatcheck.tile import Tile, longest_edge
from flatcheck.units import MM_PER_FOOT, parse_length

Floats = npt.NDArray[np.float64]

CERTAINTY = ("agreed", "single source", "from memory", "common practice, no source")
"""How sure we are of a number: seen in several pages that agree; in one; not seen; in none."""


@dataclass(frozen=True)
class Citation:
    """Where a limit is written, where it was seen, and how sure we are of it."""

    document: str
    edition: str
    clause: str
    source: str
    certainty: str
    note: str = ""

    def __post_init__(self) -> None:
        if self.certainty not in CERTAINTY:
            raise RuleError(f"{self.document}: certainty {self.certainty!r} is not one of ours.")
        if not (self.document and self.edition and self.clause and self.source):
            raise RuleError(f"{self.document}: a rule needs document, edition, clause and source.")


TAPE_MM = 1.0
"""A distance past a step of a limit by no more is still at it: a tape is no better [mm]."""


@dataclass(frozen=True)
class Limit:
    """The largest allowed value [mm], fixed or by the distance between the contacts.

    Negative where the value must be: a floor that has to fall may rise by less than nothing.

    `anchors` are (distance, limit) pairs [mm]; between two of them the limit follows the straight
    line, beyond the last it stays, below the first it stays. `whole_mm` rounds the result half up
    to whole millimeters, as a table printed that way is read. `stepped`: each limit holds up to its
    distance, nothing in between. With one anchor and a `power` the limit is
    anchor · (distance / its distance) ** power. A limit for a step between tiles may grow with the
    joint, by `joint_ratio` of its width, and with the tile, by `edges_ratio` of its length and
    width together.
    """

    anchors: tuple[tuple[float, float], ...]
    whole_mm: bool = False
    joint_ratio: float = 0.0
    edges_ratio: float = 0.0
    stepped: bool = False
    power: float = 0.0

    def __post_init__(self) -> None:
        spans = [span for span, _ in self.anchors]
        if not spans or sorted(set(spans)) != spans:
            raise RuleError("a limit needs anchors with growing distances.")
        if not all(math.isfinite(v) and v for anchor in self.anchors for v in anchor):
            raise RuleError("a limit and its distances must be finite and not zero.")
        if min(spans) <= 0:
            raise RuleError("the distances of a limit must be larger than zero.")
        if self.power and len(spans) > 1:
            raise RuleError("a limit that grows with a power of the distance has one anchor.")

    @property
    def fixed(self) -> bool:
        """Whether the limit is the same for every distance."""
        return len(self.anchors) == 1 and not self.power


def limit_at(limit: Limit, span_mm: Floats) -> Floats:
    """The limit [mm] at each distance between contacts [mm]."""
    spans, values = np.array(limit.anchors).T
    allowed: Floats = np.interp(span_mm, spans, values)
    if limit.stepped:
        passed = np.searchsorted(spans, np.asarray(span_mm) - TAPE_MM)
        allowed = values[np.minimum(passed, len(spans) - 1)]
    elif limit.power:
        allowed = values[0] * (span_mm / spans[0]) ** limit.power
    return np.floor(allowed + 0.5) if limit.whole_mm else allowed


@dataclass(frozen=True)
class Rule:
    """One sentence of a standard.

    `measure` names a file in `flatcheck/measures/`. `length_mm` is the length of the bar, or the
    distance over which a plane is compared; None where a rule holds for every distance. The rule
    applies to tiles whose longest edge is at least `edge_from_mm` and below `edge_below_mm`.
    `pitch_mm` is the widest step between readings that can still judge it, where the practice of
    the standard states one; else it is a quarter of the length (see `pitch_for`).
    `words` says the rule as a sentence, with no number that the data does not carry.

    A rule for steps between tiles holds for joints at least `joint_from_mm` and below
    `joint_below_mm` wide, and tiles at least `area_from_mm2` and below `area_below_mm2` large.
    `adds_warpage` says that the tile's own measured warpage is added to its limit.
    """

    id: str
    measure: str
    length_mm: float | None
    limit: Limit
    words: str
    citation: Citation
    edge_from_mm: float = 0.0
    edge_below_mm: float = math.inf
    pitch_mm: float | None = None
    joint_from_mm: float = 0.0
    joint_below_mm: float = math.inf
    area_from_mm2: float = 0.0
    area_below_mm2: float = math.inf
    adds_warpage: bool = False

    def __post_init__(self) -> None:
        if self.length_mm is None and self.pitch_mm is None:
            raise RuleError(f"rule {self.id}: without a length it needs the reading spacing.")


_FLAT = {
    "resting": "No gap over {limit} under a {length} straightedge resting on the high points.",
    "blocks": "No place more than {limit} high or low under a {length} straightedge on equal "
    "blocks.",
    "plane": "No place more than {limit} below the required plane that touches the high points, "
    "over any {length}.",
    "step": "No change in level over {limit} within {length}.",
}


def flat_rule(
    measure: str,
    length: str,
    limit: str,
    citation: Citation,
    *,
    edge_from_mm: float = 0.0,
    edge_below_mm: float = math.inf,
) -> Rule:
    """A limit over one length, both as the document writes them: "3 mm" under "2 m"."""
    length_mm = parse_length(length)
    return Rule(
        id=length.replace(" ", "").replace(".", "-"),
        measure=measure,
        length_mm=length_mm,
        limit=Limit(((length_mm, parse_length(limit)),)),
        words=_FLAT[measure].format(limit=limit, length=length),
        citation=citation,
        edge_from_mm=edge_from_mm,
        edge_below_mm=edge_below_mm,
    )


LEVEL_MM = 2 * MM_PER_FOOT
"""The level that rules of fall are tried with: documents give a slope and no length for it [mm].

Common practice, no source: a 24 in level is the one that fits in a shower."""


def least_fall(ratio: float, words: str, citation: Citation) -> Rule:
    """A floor falls at least `ratio` along each plane's own line of flow."""
    limit = Limit(((LEVEL_MM, -ratio * LEVEL_MM),))
    return Rule("least", "fall_least", LEVEL_MM, limit, words, citation, pitch_mm=LEVEL_MM / 2)


def most_fall(ratio: float, words: str, citation: Citation) -> Rule:
    """A floor falls at most `ratio`, whichever way."""
    limit = Limit(((LEVEL_MM, ratio * LEVEL_MM),))
    return Rule("most", "fall_most", LEVEL_MM, limit, words, citation, pitch_mm=LEVEL_MM / 2)


def no_ponds(held_mm: float, citation: Citation) -> Rule:
    """No water stands deeper than surface tension holds it anyway."""
    words = f"No water stands deeper than the {held_mm:.1f} mm that surface tension holds anyway."
    # A birdbath smaller than a foot across is not looked for (common practice, no source).
    limit = Limit(((1.0, held_mm),))
    return Rule("ponds", "ponding", None, limit, words, citation, pitch_mm=MM_PER_FOOT)


STEP = "lippage"
"""The measure of a step between the edges of two tiles; it is read, no surface is asked for it."""


def up_to(value: float) -> float:
    """The bound `below` which a rule holds that still holds at the value itself."""
    return math.nextafter(value, math.inf)


def most_step(
    id: str,
    step_mm: float,
    words: str,
    citation: Citation,
    *,
    joint_ratio: float = 0.0,
    edges_ratio: float = 0.0,
    joint_from_mm: float = 0.0,
    joint_below_mm: float = math.inf,
    area_from_mm2: float = 0.0,
    area_below_mm2: float = math.inf,
    edge_below_mm: float = math.inf,
    adds_warpage: bool = False,
) -> Rule:
    """No edge stands proud of the next by more than `step_mm`, with what the rule adds to it."""
    return Rule(
        id=id,
        measure=STEP,
        length_mm=None,
        limit=Limit(((1.0, step_mm),), joint_ratio=joint_ratio, edges_ratio=edges_ratio),
        words=words,
        citation=citation,
        edge_below_mm=edge_below_mm,
        pitch_mm=math.inf,  # each joint is judged by itself, however far the next one is
        joint_from_mm=joint_from_mm,
        joint_below_mm=joint_below_mm,
        area_from_mm2=area_from_mm2,
        area_below_mm2=area_below_mm2,
        adds_warpage=adds_warpage,
    )


def pitch_for(rule: Rule) -> float:
    """The widest step between readings that can still judge a rule [mm].

    A quarter of the bar. Between two readings that far apart a trough that just spans the bar can
    be deeper by a sixteenth (a parabola loses ((s/2)/(L/2))²). A round dip as wide as the bar,
    midway between four readings, also has its rims between readings, and can be up to 1.5 times
    as deep as any bar on readings shows; at an eighth of the bar that is 1.1 times.
    """
    if rule.pitch_mm is not None:
        return rule.pitch_mm
    assert rule.length_mm is not None  # by construction
    return rule.length_mm / 4


ON = ("floor", "wall", "either")
"""What a grade may be for."""


@dataclass(frozen=True)
class Grade:
    """One way a standard may be called for: a class, a row, a reading of its text.

    `on` is what it is for, one of `ON`. `disputed` says where sources disagree about it, and names
    the grade that has it otherwise; empty where none seen does.
    """

    id: str
    title: str
    rules: tuple[Rule, ...]
    on: str = "floor"
    disputed: str = ""

    def __post_init__(self) -> None:
        if self.on not in ON:
            raise RuleError(f"{self.title}: a grade is for one of {', '.join(ON)}.")


def check_on(grade: Grade, about: str, name: str) -> None:
    """A grade for walls judges no floor, and the other way round. Raises RuleError naming it."""
    if grade.on not in (about, "either"):
        raise RuleError(f"{name}: the rule is for a {grade.on}, and this survey is of a {about}.")


@dataclass(frozen=True)
class Standard:
    """One document and edition, with its grades; the first is the one used when none is named.

    `about` is "flatness", "falls" for slope, water and what goes with them, or "lippage" for steps
    between tiles.
    """

    id: str
    title: str
    region: str
    grades: tuple[Grade, ...]
    about: str = "flatness"


@cache
def standards() -> dict[str, Standard]:
    """Every standard there is, by id: whatever file in `flatcheck/standards/` holds STANDARD."""
    shelf = importlib.import_module("flatcheck.standards")

    found = {}
    for module in sorted(m.name for m in pkgutil.iter_modules(shelf.__path__)):
        standard: Standard = importlib.import_module(f"{shelf.__name__}.{module}").STANDARD
        if standard.id in found:
            raise RuleError(f"two files in flatcheck/standards call themselves {standard.id!r}.")
        found[standard.id] = standard
    return found


def grade_of(name: str) -> tuple[Standard, Grade]:
    """The standard and grade written as `standard` or `standard:grade`.

    Raises RuleError with the names that are like it, or the grades that the standard has.
    """
    known = standards()
    standard_id, _, grade_id = name.strip().partition(":")
    standard_id = standard_id.lower()
    if standard_id not in known:
        like = difflib.get_close_matches(standard_id, known, 3, 0.4)
        nearest = f"; the nearest are {', '.join(like)}" if len(like) > 1 else ""
        nearest = f"; the nearest is {like[0]}" if len(like) == 1 else nearest
        raise RuleError(
            f"standard {standard_id[:40]!r} is not one of the {len(known)} that `flatcheck "
            f"standards` lists{nearest}."
        )
    standard = known[standard_id]
    if not grade_id:
        return standard, standard.grades[0]
    for grade in standard.grades:
        if grade.id.lower() == grade_id.lower():
            return standard, grade
    grades = ", ".join(grade.id for grade in standard.grades)
    raise RuleError(f"{standard.title} has no {grade_id!r}; it has {grades}.")


def rules_for(grade: Grade, tile: Tile | None) -> tuple[Rule, ...]:
    """The rules of a grade that hold for this tile.

    Raises RuleError when the rules depend on the tile and none is given, and for rules of lippage,
    which hold joint by joint (see `step_rule`).
    """
    if any(rule.measure == STEP for rule in grade.rules):
        raise RuleError(
            f"{grade.title}: the rule is about lippage, not about the floor; name it as the "
            "standard for lippage."
        )
    by_tile = any(r.edge_from_mm > 0 or r.edge_below_mm < math.inf for r in grade.rules)
    if by_tile and tile is None:
        raise RuleError(f"{grade.title}: the rule depends on the tile; say its size.")
    edge = longest_edge(tile) if tile else 0.0
    return tuple(r for r in grade.rules if r.edge_from_mm <= edge < r.edge_below_mm)


def step_rule(grade: Grade, tile: Tile | None, joint_mm: float | None) -> Rule:
    """The rule of a grade for lippage that holds at a joint of this width with this tile.

    Raises RuleError when the limit depends on the tile or the joint and it is not known, for a
    grade that is not about lippage, and where the grade has no limit for such a joint or tile.
    """
    if any(rule.measure != STEP for rule in grade.rules):
        raise RuleError(f"{grade.title}: the rule is not about lippage.")
    by_tile = any(
        rule.limit.edges_ratio
        or rule.edge_below_mm < math.inf
        or rule.area_from_mm2 > 0
        or rule.area_below_mm2 < math.inf
        for rule in grade.rules
    )
    by_joint = any(
        rule.limit.joint_ratio or rule.joint_from_mm > 0 or rule.joint_below_mm < math.inf
        for rule in grade.rules
    )
    if by_tile and tile is None:
        raise RuleError(f"{grade.title}: the limit depends on the tile; say its size.")
    if by_joint and joint_mm is None:
        raise RuleError(f"{grade.title}: the limit depends on the joint; say its width.")
    edge = longest_edge(tile) if tile else 0.0
    area = tile.length_mm * tile.width_mm if tile else 0.0
    width = joint_mm or 0.0
    for rule in grade.rules:
        if (
            rule.edge_from_mm <= edge < rule.edge_below_mm
            and rule.area_from_mm2 <= area < rule.area_below_mm2
            and rule.joint_from_mm <= width < rule.joint_below_mm
        ):
            return rule
    raise RuleError(f"{grade.title}: no limit is published for such a joint or tile.")


def step_limit(rule: Rule, tile: Tile | None, joint_mm: float | None) -> float:
    """The limit for a step [mm], without the tile's warpage.

    anchor + joint_ratio · joint + edges_ratio · (length + width)
    """
    ((_, least),) = rule.limit.anchors
    edges = tile.length_mm + tile.width_mm if tile else 0.0
    return least + rule.limit.joint_ratio * (joint_mm or 0.0) + rule.limit.edges_ratio * edges
