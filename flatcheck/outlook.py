"""The tile of a survey foreseen on its floor: as it is, after each correction, beside others."""

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from flatcheck.assess import Assessment
from flatcheck.bond import Pattern
from flatcheck.correction import Choice
from flatcheck.errors import FlatcheckError, SurveyError
from flatcheck.forecast import Answer, Bed, Forecast, forecast, required_heights
from flatcheck.judgment import NO_FLATNESS
from flatcheck.language import say
from flatcheck.pattern import lay
from flatcheck.product import bow_met
from flatcheck.rules import ABOUT, Rule, Standard, grade_of, standards, step_limit, step_rule
from flatcheck.selection import Option, Row, choose, floors
from flatcheck.surface import Surface
from flatcheck.survey import Survey
from flatcheck.tile import Tile
from flatcheck.tiling import asked, laid, planes_of
from flatcheck.units import MM_PER_INCH
from flatcheck.verdict import Outcome

Floats = npt.NDArray[np.float64]
Progress = Callable[[int, str], None]

SIZES_MM = {
    "in": tuple(
        (length * MM_PER_INCH, width * MM_PER_INCH)
        for length, width in ((12, 12), (24, 12), (24, 24), (48, 24))
    ),
    "mm": ((300.0, 300.0), (600.0, 300.0), (600.0, 600.0), (1200.0, 600.0)),
}
"""Tiles to compare where nobody said which, by the unit that lengths are said in."""

PATTERNS = (Pattern(), Pattern("running bond", 1 / 3), Pattern("running bond", 1 / 2))
"""Patterns to compare where nobody said which."""


@dataclass(frozen=True)
class Allowed:
    """What lippage a tile is allowed at its joints [mm], and by which rule.

    `limit_mm` has the tile's own warpage added where the rule adds it, it was measured and `met`;
    `open` says that the rule adds it and nobody measured. `met` tells whether the tile as measured
    is within its own product standard, None where that hangs on how its edges were made: a tile
    that is bent more than its standard lets it has no claim to a wider limit.
    """

    standard: Standard
    rule: Rule
    limit_mm: float
    open: bool
    met: bool | None = True


@dataclass(frozen=True, eq=False)
class Outlook:
    """What a tile in its pattern comes to on a floor: as it is, and after corrections.

    `after` are the floors that corrections would leave, by what each is called, as forecast. `why`
    tells why there are none, where some were asked for.
    """

    allowed: Allowed
    found: Forecast
    after: tuple[Row, ...] = ()
    why: str = ""

    @property
    def cured(self) -> tuple[str, ...]:
        """The corrections after which it can be tiled."""
        return tuple(row.remedy for row in self.after if row.found.answer is Answer.AS_IS)

    @property
    def even(self) -> bool:
        """Whether it can be laid in an even bed, as an ordinary setter would."""
        return self.found.good(self.found.even)

    @property
    def sure(self) -> bool:
        """Whether it can be laid in an even bed whatever the reading error, and readings tell."""
        return self.even and not self.found.blind and set(self.found.outcomes) <= {Outcome.WITHIN}

    @property
    def answer(self) -> Answer:
        """How it ends; not with this tile where corrections were tried and none is enough."""
        failed = self.after and not self.cured
        return Answer.NOT if failed else self.found.answer


def allowed(survey: Survey, tile: Tile) -> Allowed:
    """What lippage does the survey's standard allow this tile?

    The standard is the one named for lippage, or else the first of the country whose standard for
    flatness the survey goes by.

    Raises SurveyError where none can be told, or the limit asks for a joint nobody said.
    """
    name = survey.lippage
    if not name and survey.standard != NO_FLATNESS:
        region = grade_of(survey.standard)[0].region
        here = [s.id for s in standards().values() if (s.about, s.region) == ("lippage", region)]
        name = here[0] if here else ""
    if not name:
        raise SurveyError(
            say(
                "no standard says what lippage is allowed here; name one, for example lippage "
                '= "us-lippage" in [standard].'
            )
        )
    standard, grade = grade_of(name)
    if standard.about != "lippage":
        raise SurveyError(
            say(
                "{name}, named for lippage, is about {about}.",
                name=name,
                about=ABOUT[standard.about],
            )
        )
    joint = tile.joint_mm if tile.joint_mm > 0 else None
    rule = step_rule(grade, tile, joint)
    limit = step_limit(rule, tile, joint)
    measured = tile.bow is not None and tile.bow.measured
    met = bow_met(tile, standard.region) if rule.adds_warpage and measured else True
    if rule.adds_warpage and measured and tile.bow and met:
        limit += tile.bow.most_mm
    return Allowed(standard, rule, limit, rule.adds_warpage and not measured, met)


def bed_of(tile: Tile) -> Bed:
    """The mortar bed that a tile is to be set in, the usual one where nothing was said."""
    usual = Bed(cap_mm=tile.cap_mm, spacer_mm=tile.spacer_mm)
    if tile.bed_mm is None:
        return usual
    return replace(usual, least_mm=tile.bed_mm[0], most_mm=tile.bed_mm[1])


def bow_of(tile: Tile) -> float:
    """How high the middle of a tile's longest edge stands over its ends [mm]; 0 if not known."""
    return tile.bow.edge_mm if tile.bow else 0.0


def outlook(
    assessment: Assessment,
    remedied: Callable[[], Choice] | None = None,
    progress: Progress | None = None,
) -> Outlook:
    """Can this floor be laid with its survey's tile: as it is, or after which correction?

    `remedied` works out the corrections; it is asked only where the floor will not do as it is and
    the fault is not the tile's own.

    Raises SurveyError as `laid`, `allowed` and `forecast` do.
    """
    survey = assessment.survey
    tile, _ = asked(survey)
    limit, laying = allowed(survey, tile), laid(survey, assessment.surface.room)
    floor, wanted = unfolded(assessment, assessment.surface)
    found = forecast(
        floor, laying, limit.limit_mm, bed_of(tile), bow_of(tile), wanted, progress=progress
    )
    if remedied is None or found.answer is not Answer.CORRECTED:
        return Outlook(limit, found)
    try:
        choice = remedied()
    except FlatcheckError as error:
        return Outlook(limit, found, why=str(error))
    _, *after = floors(choice)
    if not after:
        within = say("the floor is within its standard for flatness as it is.")
        return Outlook(limit, found, why=within if choice.fixes else say("no remedy passes."))
    option = Option("", laying, limit.limit_mm, bow_of(tile))
    made = [(title, unfolded(assessment, corrected)[0]) for title, corrected in after]
    return Outlook(limit, found, choose(made, [option], bed_of(tile), wanted))


def unfolded(assessment: Assessment, floor: Surface) -> tuple[Surface, Floats]:
    """The floor to lay tile on and the heights it should have at its stations (n,) [mm].

    Where one floor falls in several planes it is its departures from them: tiles are cut where
    planes meet, and plates and steps are the same on either, but between readings on both sides of
    a valley or ridge it is the departures that run on. Floors of several zones, each with a height
    of its own, are laid on as they were read.
    """
    wanted = required_heights(assessment)
    if len(assessment.parts) > 1 or len(assessment.parts[0].faces) < 2:
        return floor, wanted
    return replace(floor, height_mm=floor.height_mm - wanted), np.zeros(len(wanted))


def options(
    survey: Survey,
    called: Callable[[Tile, Pattern], str],
    assessment: Assessment,
    sizes_mm: Iterable[tuple[float, float]] = (),
    patterns: Iterable[Pattern] = (),
) -> tuple[tuple[Option, ...], tuple[str, ...]]:
    """The survey's own tile and others in several patterns, laid; and why some cannot be.

    `called` names each. Another tile has the joint, bed and edges of the survey's own; its bow is
    not known. Raises SurveyError where the survey names no tile.
    """
    own, how = asked(survey)
    room = assessment.surface.room
    planes = planes_of(survey, room)
    tiles = dict.fromkeys((own, *(_sized(own, size) for size in sizes_mm)))
    ways = dict.fromkeys((how, *patterns))
    found, refused = [], []
    for tile in tiles:
        for way in ways:
            name = called(tile, way)
            try:
                limit = allowed(survey, tile).limit_mm
                laying = lay(room, tile, replace(way, origin=how.origin), survey.drains, planes)
            except FlatcheckError as error:
                refused.append(f"{name}: {error}")
                continue
            found.append(Option(name, laying, limit, bow_of(tile)))
    return tuple(found), tuple(refused)


def _sized(own: Tile, size: tuple[float, float]) -> Tile:
    """A tile like the survey's own but for its size: the own one where that is the same."""
    if all(math.isclose(a, b) for a, b in zip(sorted(size), _edges(own), strict=True)):
        return own
    return replace(own, length_mm=size[0], width_mm=size[1], bow=None, per_box=0)


def _edges(tile: Tile) -> list[float]:
    return sorted((tile.length_mm, tile.width_mm))


def compared(
    assessment: Assessment, tiles: Iterable[Option], progress: Progress | None = None
) -> tuple[Row, ...]:
    """Every option on the floor as it is, what can be tiled first, then by the worst lippage."""
    tile, _ = asked(assessment.survey)
    floor, wanted = unfolded(assessment, assessment.surface)
    return choose(
        ((say("as it is"), floor),), tuple(tiles), bed_of(tile), wanted, progress=progress
    )
