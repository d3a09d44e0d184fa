"""Why a remedy does not apply, in one sentence that a setter would say aloud."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from flatcheck.instrument import fine
from flatcheck.language import say
from flatcheck.leastwork import Conflict, Correction
from flatcheck.parts import Part, settled
from flatcheck.places import where
from flatcheck.room import EDGE_MM
from flatcheck.site import AT_LIMIT_MM, Proposal, Site
from flatcheck.terms import Material
from flatcheck.units import format_distance, format_length, format_load
from flatcheck.verdict import SAID, Finding, Outcome, Verdict, chosen, place_of

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


@dataclass(frozen=True)
class Refusal:
    """Why a remedy does not apply, in one sentence."""

    id: str
    title: str
    why: str


NOT_TRIED = say("Not tried: the search was stopped before its turn.")
UNFINISHED = say(
    "Not searched to the end: when the search was stopped, no plan of this kind was known that "
    "passes."
)
"""Why a remedy is not offered that may well pass."""


def unfinished(site: Site, found: Correction) -> bool:
    """Whether a search was stopped before its end, so that nothing can be said against it."""
    return site.stopped and not found.proven


def unjudged(site: Site) -> str:
    """Which rule the readings could not judge, so that nothing can be said of any correction."""
    for finding in site.assessment.verdict.findings:
        if finding.outcome is Outcome.NOT_ASSESSED and finding.as_read is Outcome.NOT_ASSESSED:
            return say(
                "The readings cannot show this rule, so no plan can be proven: {rule}",
                rule=_would_show(site, finding),
            )
    return ""


def still_bad(site: Site, verdict: Verdict) -> str:
    """Why a plan does not pass when it is measured again; empty where it does."""
    if verdict.outcome is Outcome.WITHIN:
        return ""
    bad = next(
        finding
        for finding in verdict.findings
        if chosen(verdict.decision, finding.outcome, finding.as_read) is verdict.outcome
    )
    words = bad.rule.words
    if verdict.outcome is Outcome.NOT_ASSESSED:
        words = _would_show(site, bad)
    return say(
        "Measured again after the work the floor is {outcome}: {rule}",
        outcome=SAID[verdict.outcome],
        rule=words,
    )


def _would_show(site: Site, finding: Finding) -> str:
    """A rule that the readings cannot show, and which readings would."""
    words = finding.rule.words.removesuffix(".")
    need = format_distance(finding.pitch_mm, site.assessment.survey.show)
    if finding.have_mm > finding.pitch_mm * 1.01 + EDGE_MM:
        return say(
            "{rule}; that takes a reading every {need} or closer, in two directions.",
            rule=words,
            need=need,
        )
    if finding.left_open:
        return say(
            "{rule}; that takes bars on the diagonal too, or heights by level or laser.", rule=words
        )
    return say(
        "{rule}; that takes readings over all of the floor, every {need} or closer.",
        rule=words,
        need=need,
    )


def offered(
    site: Site,
    id: str,
    title: str,
    found: Correction,
    material: Material | None,
) -> Proposal | Refusal:
    """A correction of least cost as a proposal, where its material can be laid so."""
    fill = found.fill_mm
    if material and (wrong := too_thin(site, fill, material) or too_heavy(site, fill, material)):
        return Refusal(id, title, UNFINISHED if unfinished(site, found) else wrong)
    least = found.least_cost if site.linear else None
    return Proposal(id, title, fill, found.grind_mm, material, found.cost, least)


def in_part(site: Site, part: Part, words: str) -> str:
    """A sentence about a part of the floor, which is named where there are several."""
    if len(site.assessment.parts) == 1:
        return words[:1].upper() + words[1:]
    return say("In {part!r} {words}", part=part.name, words=words)


def too_heavy(site: Site, fill_mm: Floats, material: Material) -> str:
    """Why a filling is more than a wood floor may take; empty where it is not.

    Without a load that the person gave nothing is refused here; the caution is told instead.
    """
    most, style = site.terms.load_kg_m2, site.assessment.survey.show
    worst = float(fill_mm.max(initial=0.0)) * material.wet_kg_l
    if most is None or worst <= most:
        return ""
    return say(
        "At its thickest the {material} weighs {load}, and {most} was said to be what the "
        "floor may take.",
        material=material.name,
        load=format_load(worst, style),
        most=format_load(most, style),
    )


def too_thin(site: Site, fill_mm: Floats, material: Material) -> str:
    """Why a material that does not feather will not do; empty where it will."""
    style = site.assessment.survey.show
    thin = (fill_mm > 0) & (fill_mm < material.least_mm - AT_LIMIT_MM)
    if not thin.any():
        return ""
    return say(
        "It would have to run out to nothing, and the {material} is at least {least} thick; "
        "take one that feathers.",
        material=material.name,
        least=format_length(material.least_mm, style),
    )


def open_level(site: Site) -> str:
    """Why nothing can be laid level on a floor; empty where the readings tell how it lies."""
    if all(settled(part.view.surface) for part in site.assessment.parts):
        return ""
    return say(
        "The readings leave open how high the places lie to each other, so that "
        "nothing tells how thick it would be; read heights with a level or a laser."
    )


def conflict_words(site: Site, found: Conflict) -> str:
    """Why no correction of a kind will do: what would have to give way, and where."""
    room, style = site.floor.room, site.assessment.survey.show

    def tell(stations: Ints) -> str:
        return "; ".join(where(room, place_of(site.floor.xy_mm[i]), style) for i in stations[:3])

    bounds = []
    if len(found.unground):
        bounds.append(say("what may be ground ({places})", places=tell(found.unground)))
    if len(found.unfilled):
        bounds.append(say("what may be filled ({places})", places=tell(found.unfilled)))
    against = _and(bounds) if bounds else say("reading and placing error")
    more = say(" and more places") if max(len(found.unground), len(found.unfilled)) > 3 else ""
    # Where demands were measured again after a first answer, another way might have led on.
    met = say("cannot be met") if site.linear else say("found no way to be met")
    return say(
        "{rule} {met}: {against}{more} would have to give way by {short} at least",
        rule=_called(found),
        met=met,
        against=against,
        more=more,
        short=fine(found.short_mm, style),
    )


def _called(found: Conflict) -> str:
    """The rules in conflict, each by its own sentence."""
    asked = [words.removesuffix(".") for words in found.names]
    if len(asked) == 1:
        return say("the rule ({rule})", rule=asked[0])
    return say("the rules ({rules}) together", rules="; ".join(asked))


def _and(items: Sequence[str]) -> str:
    return (
        items[0]
        if len(items) == 1
        else say("{names} and {last}", names=", ".join(items[:-1]), last=items[-1])
    )
