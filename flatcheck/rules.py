"""A published sentence as data: which measure, which length, which limit, for which tile.

A standard is one file in `flatcheck/standards/`; it is found there by name, so adding one touches
nothing else. Two editions are two files with two ids, so that an old report can be made again.
"""

import difflib
import importlib
import math
import pkgutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
import numpy.typing as npt

from flatcheck.errors import RuleError
from flatcheck.language import say, several
from flatcheck.tile import Tile, longest_edge

Floats = npt.NDArray[np.float64]

CERTAINTY = {
    "agreed": say("agreed"),
    "single source": say("single source"),
    "from memory": say("from memory"),
    "common practice, no source": say("common practice, no source"),
}
"""How sure we are of a number: seen in several pages that agree; in one; not seen; in none.

As it is called in the data, and as it is said."""


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
            raise RuleError(
                say(
                    "{document}: certainty {certainty!r} is not one of ours.",
                    document=self.document,
                    certainty=self.certainty,
                )
            )
        if not (self.document and self.edition and self.clause and self.source):
            raise RuleError(
                say(
                    "{document}: a rule needs document, edition, clause and source.",
                    document=self.document,
                )
            )


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
            raise RuleError(say("a limit needs anchors with growing distances."))
        if not all(math.isfinite(v) and v for anchor in self.anchors for v in anchor):
            raise RuleError(say("a limit and its distances must be finite and not zero."))
        if min(spans) <= 0:
            raise RuleError(say("the distances of a limit must be larger than zero."))
        if self.power and len(spans) > 1:
            raise RuleError(say("a limit that grows with a power of the distance has one anchor."))

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
            raise RuleError(
                say("rule {id}: without a length it needs the reading spacing.", id=self.id)
            )


STEP = "lippage"
"""The measure of a step between the edges of two tiles; it is read, no surface is asked for it."""


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


SURFACES = {"floor": say("floor"), "wall": say("wall"), "either": say("either")}
"""What a grade may be for, and how it is said."""

ON = tuple(SURFACES)


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
            raise RuleError(
                say(
                    "{grade}: a grade is for one of {known}.", grade=self.title, known=", ".join(ON)
                )
            )


def check_on(grade: Grade, about: str, name: str) -> None:
    """A grade for walls judges no floor, and the other way round. Raises RuleError naming it."""
    if grade.on not in (about, "either"):
        raise RuleError(
            say("{rule}: the rule is for a wall, and this survey is of a floor.", rule=name)
            if grade.on == "wall"
            else say("{rule}: the rule is for a floor, and this survey is of a wall.", rule=name)
        )


ABOUT = {"flatness": say("flatness"), "falls": say("falls"), "lippage": say("lippage")}
"""What a standard may be about, and how it is said."""


@dataclass(frozen=True)
class Standard:
    """One document and edition, with its grades; the first is the one used when none is named.

    `about` is one of ABOUT: "flatness", "falls" for slope, water and what goes with them, or
    "lippage" for steps between tiles.
    """

    id: str
    title: str
    region: str
    grades: tuple[Grade, ...]
    about: str = "flatness"


def shelf() -> Iterator[tuple[str, Standard]]:
    """Every file in `flatcheck/standards/`: its name as a module, and its STANDARD in English."""
    folder = importlib.import_module("flatcheck.standards")
    for name in sorted(m.name for m in pkgutil.iter_modules(folder.__path__)):
        module = f"{folder.__name__}.{name}"
        yield module, importlib.import_module(module).STANDARD


def spoken(standard: Standard, speak: Callable[[str], str]) -> Standard:
    """A standard with all of its texts spoken so; what it cites stays as it is."""

    def rule(one: Rule) -> Rule:
        citation = replace(one.citation, note=speak(one.citation.note))
        return replace(one, words=speak(one.words), citation=citation)

    def grade(one: Grade) -> Grade:
        title, disputed = speak(one.title), speak(one.disputed)
        return replace(one, title=title, rules=tuple(map(rule, one.rules)), disputed=disputed)

    title, region = speak(standard.title), speak(standard.region)
    return replace(standard, title=title, region=region, grades=tuple(map(grade, standard.grades)))


@cache
def standards() -> dict[str, Standard]:
    """Every standard there is, by id, in the person's language."""
    found = {}
    for _, standard in shelf():
        if standard.id in found:
            raise RuleError(
                say("two files in flatcheck/standards call themselves {id!r}.", id=standard.id)
            )
        found[standard.id] = spoken(standard, say)
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
        nearest = several(
            len(like), "; the nearest is {like}", "; the nearest are {like}", like=", ".join(like)
        )
        raise RuleError(
            say(
                "standard {name!r} is not one of the {count} that `flatcheck standards` "
                "lists{nearest}.",
                name=standard_id[:40],
                count=len(known),
                nearest=nearest if like else "",
            )
        )
    standard = known[standard_id]
    if not grade_id:
        return standard, standard.grades[0]
    for grade in standard.grades:
        if grade.id.lower() == grade_id.lower():
            return standard, grade
    grades = ", ".join(grade.id for grade in standard.grades)
    raise RuleError(
        say(
            "{standard} has no {grade!r}; it has {grades}.",
            standard=standard.title,
            grade=grade_id,
            grades=grades,
        )
    )


def rules_for(grade: Grade, tile: Tile | None) -> tuple[Rule, ...]:
    """The rules of a grade that hold for this tile.

    Raises RuleError when the rules depend on the tile and none is given, and for rules of lippage,
    which hold joint by joint (see `step_rule`).
    """
    if any(rule.measure == STEP for rule in grade.rules):
        raise RuleError(
            say(
                "{grade}: the rule is about lippage, not about the floor; name it as the standard "
                "for lippage.",
                grade=grade.title,
            )
        )
    by_tile = any(r.edge_from_mm > 0 or r.edge_below_mm < math.inf for r in grade.rules)
    if by_tile and tile is None:
        raise RuleError(
            say("{grade}: the rule depends on the tile; say its size.", grade=grade.title)
        )
    edge = longest_edge(tile) if tile else 0.0
    return tuple(r for r in grade.rules if r.edge_from_mm <= edge < r.edge_below_mm)


def step_rule(grade: Grade, tile: Tile | None, joint_mm: float | None) -> Rule:
    """The rule of a grade for lippage that holds at a joint of this width with this tile.

    Raises RuleError when the limit depends on the tile or the joint and it is not known, for a
    grade that is not about lippage, and where the grade has no limit for such a joint or tile.
    """
    if any(rule.measure != STEP for rule in grade.rules):
        raise RuleError(say("{grade}: the rule is not about lippage.", grade=grade.title))
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
        raise RuleError(
            say("{grade}: the limit depends on the tile; say its size.", grade=grade.title)
        )
    if by_joint and joint_mm is None:
        raise RuleError(
            say("{grade}: the limit depends on the joint; say its width.", grade=grade.title)
        )
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
    raise RuleError(
        say("{grade}: no limit is published for such a joint or tile.", grade=grade.title)
    )


def step_limit(rule: Rule, tile: Tile | None, joint_mm: float | None) -> float:
    """The limit for a step [mm], without the tile's warpage.

    anchor + joint_ratio · joint + edges_ratio · (length + width)
    """
    ((_, least),) = rule.limit.anchors
    edges = tile.length_mm + tile.width_mm if tile else 0.0
    return least + rule.limit.joint_ratio * (joint_mm or 0.0) + rule.limit.edges_ratio * edges
