"""What to do with a floor, in words: the remedies beside each other, the choice, and the marks."""

from collections.abc import Sequence

import numpy as np

from flatcheck.correction import GRINDER, TO_GRIND, Choice, Fix, Flip, Mark, marks
from flatcheck.instrument import fine
from flatcheck.parts import Part
from flatcheck.places import where
from flatcheck.refusal import unjudged
from flatcheck.report.words import many
from flatcheck.rules import grade_of
from flatcheck.terms import SAID
from flatcheck.units import (
    M2_PER_SQUARE_FOOT,
    Style,
    format_area,
    format_length,
    format_load,
    format_volume,
    format_weight,
)
from flatcheck.verdict import place_of

DUST = (
    "Grinding concrete and mortar throws silica dust that ruins lungs. OSHA 29 CFR 1926.1153, "
    "table 1, for a hand-held grinder: a shroud with a dust collector of at least 25 cubic ft a "
    "minute for each inch of wheel, with a filter of 99% or better that cleans itself or sits "
    "behind a cyclone; indoors for more than 4 hours a shift a respirator of APF 10 too. Floor "
    "grinders: water, or the maker's collector, and a HEPA vacuum between passes. Local rules may "
    "ask for more."
)

OLD_FLOORS = (
    "In a building of 1980 or earlier presume that old floor tile, resilient flooring and their "
    "adhesive hold asbestos until tested, and old paint lead: no sanding, grinding or dry scraping."
)

HIDDEN = (
    "Before anything is ground or drilled have post-tension cables, heating lines and cover of the "
    "reinforcement located; for a post-tensioned slab an engineer must agree."
)

WET_LOAD = (
    "Fill and mortar are a load: on a wood floor or a thin slab someone licensed checks the "
    "structure and its deflection first, and with the new load."
)

FRESH = (
    "The data sheet rules: primer for this floor, moisture of the slab, thickness of each lift, "
    "temperature, and how long before tile. Cement burns skin and eyes."
)


PROVEN = (
    "Proven least: no other work of its kind costs less that meets every rule with room for "
    "reading and placing error left at every place, counting material, waste and time by volume. "
    "Room is left everywhere, for what will be worked on is not known before; a plan that needed "
    "it only where it works might do with a little less. Whole bags, primer, setting up and the "
    "grinder are added after."
)


def choice_words(choice: Choice) -> list[str]:
    """The recommendation, the remedies beside each other, and why some do not pass."""
    style = choice.site.assessment.survey.show
    said = [*recommended(choice), ""]
    if open_rule := unjudged(choice.site):
        said.append(open_rule)
        return said
    said += [*columns(table(choice)), ""]
    for fix in choice.fixes:
        said.append(f"{fix.proposal.title}: {fix_words(fix, style)}")
    said += [f"{refusal.title}: {refusal.why}" for refusal in choice.refused]
    said.append("")
    said += [*instead_words(choice), *proven_words(choice.fixes)]
    said += [f"Caution: {words}" for words in cautions(choice)]
    said += [terms_words(choice), f"Numbers: {SAID}"]
    materials = dict.fromkeys(fix.proposal.material for fix in choice.fixes)
    said += [f"{m.name.capitalize()}: {m.said}" for m in materials if m is not None]
    return said


def instead_words(choice: Choice) -> list[str]:
    """What else the floor would do for as it is, by standard.

    What stands before the comma of a title names all that begin so; where the floor is within some
    of them only, as by one edition, each is named in full.
    """
    passed = [(*grade_of(other.standard), other.small_tile) for other in choice.instead]
    full = {grade.title for _, grade, small in passed if not small}
    by_title: dict[str, dict[str, None]] = {}
    for standard, grade, small in passed:
        name = grade.title.partition(",")[0]
        alike = {one.title for one in standard.grades if one.title.partition(",")[0] == name}
        if not alike <= full and not small:
            name = grade.title
        name = f"{name}, with tile under 15 in" if small else name
        by_title.setdefault(standard.title, {})[name] = None
    if not by_title:
        return []
    found = [f"{title} ({'; '.join(names)})" for title, names in by_title.items()]
    return [f"As it is the floor would pass by another rule: {', or '.join(found)}."]


def proven_words(fixes: Sequence[Fix]) -> list[str]:
    """What a proof that a plan is least is a proof of, where any has one."""
    return [PROVEN] if any(_least_of(fix) is not None for fix in fixes) else []


def _least_of(fix: Fix) -> float | None:
    return fix.proposal.least_cost if fix.proposal.id != "pour" else None


def terms_words(choice: Choice) -> str:
    """The prices and rates that were reckoned with, and which of them are the person's own."""
    terms, style = choice.site.terms, choice.site.assessment.survey.show
    each, side = (1.0, "meter") if style.unit == "mm" else (M2_PER_SQUARE_FOOT, "foot")
    reckoned = [
        f"{money(terms.labor)} for an hour of work",
        f"{money(terms.grinder)} for the grinder",
        f"{format_volume(terms.grind_l_h, style)} ground off in an hour",
        f"{money(terms.primer_m2 * each)} of primer for a square {side}",
        f"{terms.waste:.0%} waste",
        f"work placed to {fine(terms.placing_mm, style)}",
    ]
    for material in (terms.patch, terms.leveler, terms.mortar):
        reckoned.append(
            f"{material.name} at {money(material.price)} a bag of "
            f"{format_weight(material.bag_kg, style)} that gives "
            f"{format_volume(material.yield_l, style)}, {material.bags_h:g} "
            f"{'bag' if material.bags_h == 1 else 'bags'} an hour"
        )
    named = ", ".join(name.replace("_", " ") for name in terms.own)
    own = f" Your own: {named}." if terms.own else ""
    return f"Reckoned with: {'; '.join(reckoned)}.{own}"


HEAD = ("remedy", "passes", "cost", "hours", "grind", "fill", "bags", "rise", "dust", "wait")
"""The columns of the comparison: cost in the person's money, rise at what must not change."""


def table(choice: Choice) -> list[tuple[str, ...]]:
    """Every remedy beside the others, what passes first and the cheapest of those first."""
    style = choice.site.assessment.survey.show
    rows: list[tuple[str, ...]] = [HEAD]
    for fix in choice.fixes:
        takes = fix.takes
        rise = max((mm for _, mm in fix.rises), default=0.0)
        rows.append(
            (
                fix.proposal.title,
                "yes",
                money(takes.money),
                f"{takes.hours:.1f}",
                format_volume(takes.grind_l, style) if takes.grind_l > 0 else "-",
                format_volume(takes.fill_l, style) if takes.fill_l > 0 else "-",
                str(takes.bags) if takes.bags else "-",
                format_length(rise, style) if fix.rises else "-",
                "yes" if takes.grind_l > 0 else "no",
                f"{takes.wait_h:.0f} h" if takes.wait_h else "-",
            )
        )
    rows += [(refusal.title, "no", *("-" * (len(HEAD) - 2))) for refusal in choice.refused]
    return rows


def columns(rows: list[tuple[str, ...]]) -> list[str]:
    """Rows as lines with their cells below each other."""
    widths = [max(len(row[k]) for row in rows) for k in range(len(rows[0]))]
    return [
        "  ".join(
            cell.ljust(width) if k == 0 else cell.rjust(width)
            for k, (cell, width) in enumerate(zip(row, widths, strict=True))
        ).rstrip()
        for row in rows
    ]


def recommended(choice: Choice) -> list[str]:
    """Two sentences: what to do and the facts that decide it, and what would turn it."""
    if not choice.fixes:
        if unjudged(choice.site):
            return [
                "What was read does not show whether the floor holds, so nothing is offered: "
                "read the rest first."
            ]
        return ["No remedy passes on these terms; see below what stands in the way of each."]
    style = choice.site.assessment.survey.show
    first = choice.fixes[0]
    if first.proposal.id == "nothing":
        return ["Leave the floor as it is: every rule holds."]
    said = (
        f"{first.proposal.title} is the cheapest that passes: {money(first.takes.money)} and "
        f"{first.takes.hours:.1f} hours, {_deciding(first, style)}"
    )
    if len(choice.fixes) > 1:
        second = choice.fixes[1]
        said += f"; next comes {_lower(second.proposal.title)} at {money(second.takes.money)}"
    sentences = [said + "."]
    turned: dict[str, list[str]] = {}
    for flip in choice.flips:
        turned.setdefault(flip.to, []).append(_flip(flip, style))
    ways = [f"{_lower(to)} becomes the cheaper {' or '.join(how)}" for to, how in turned.items()]
    if ways:
        sentences.append(f"{ways[0][:1].upper()}{'; '.join(ways)[1:]}.")
    return sentences


def _lower(title: str) -> str:
    return title[:1].lower() + title[1:]


def _flip(flip: Flip, style: Style) -> str:
    if flip.what == TO_GRIND:
        then, now = (format_volume(amount, style) for amount in (flip.then, flip.now))
        return f"if there is more than {then} to grind off (planned {now})"
    if flip.what.startswith("bags of "):
        return f"if it takes {flip.then:,.0f} {flip.what} or more (planned {flip.now:,.0f})"
    if flip.what == GRINDER and flip.now == 0:
        return f"if a grinder must be rented for more than {money(flip.then)}"
    way = "more" if flip.then > flip.now else "less"
    return f"if {flip.what} costs {way} than {money(flip.then)} (now {money(flip.now)})"


def _deciding(fix: Fix, style: Style) -> str:
    takes = fix.takes
    facts = []
    if takes.grind_l > 0:
        floor = format_area(takes.grind_m2 * 1e6, style)
        facts.append(f"{format_volume(takes.grind_l, style)} to grind off {floor}")
    if takes.fill_l > 0 and fix.proposal.material is not None:
        facts.append(f"{many(takes.bags, 'bag')} of {fix.proposal.material.name}")
    return "with " + " and ".join(facts)


def fix_words(fix: Fix, style: Style) -> str:
    """What one remedy takes and comes to."""
    takes, parts = fix.takes, []
    if takes.grind_l > 0:
        parts.append(
            f"grind up to {format_length(takes.highest_mm, style)} off "
            f"{format_area(takes.grind_m2 * 1e6, style)}, "
            f"{format_volume(takes.grind_l, style)} (give or take "
            f"{format_volume(2 * takes.u_grind_l, style, takes.grind_l)})"
        )
    material = fix.proposal.material
    if takes.fill_l > 0 and material is not None:
        lifts = f" in {fix.proposal.lifts} lifts" if fix.proposal.lifts > 1 else ""
        parts.append(
            f"fill up to {format_length(takes.deepest_mm, style)}{lifts} over "
            f"{format_area(takes.fill_m2 * 1e6, style)}, "
            f"{format_volume(takes.fill_l, style)} (give or take "
            f"{format_volume(2 * takes.u_fill_l, style, takes.fill_l)}), "
            f"{many(takes.bags, 'bag')} of {material.name} of "
            f"{format_weight(material.bag_kg, style)}, "
            f"{format_weight(takes.fill_kg, style)} when laid, "
            f"{format_load(takes.load_kg_m2, style)} at its thickest, primer for all of it"
        )
    if not parts:
        parts.append("nothing to do")
    wait = f", {takes.wait_h:.0f} hours before tile" if takes.wait_h else ""
    dust = ", dust" if takes.grind_l > 0 else ""
    rises = "".join(
        f"; {name} {f'rises {format_length(mm, style)}' if mm > 0.05 else 'stays as it is'}"
        for name, mm in fix.rises
    )
    proven = ""
    if _least_of(fix) is not None:
        proven = (
            f"; proven least to {fix.gap_ratio:.1%}" if fix.gap_ratio > 1e-6 else "; proven least"
        )
    return (
        f"{money(takes.money)}, {takes.hours:.1f} hours of work{wait}{dust}: "
        f"{'; '.join(parts)}{rises}{proven}. Measured again after the work: "
        f"{fix.verdict.outcome}."
    )


def cautions(choice: Choice) -> list[str]:
    """The cautions that belong to the remedies that are offered."""
    said = []
    if any(fix.takes.grind_l > 0 for fix in choice.fixes):
        said += [DUST, OLD_FLOORS, HIDDEN]
    if any(fix.takes.fill_l > 0 for fix in choice.fixes):
        said += [WET_LOAD, FRESH]
    return said


def mark_words(choice: Choice, fix: Fix) -> list[str]:
    """What to paint on the floor, the order of work, and what to check afterwards."""
    style, room = choice.site.assessment.survey.show, choice.site.floor.room
    found = marks(choice.site, fix.proposal)
    said = []
    grind = [mark for mark in found if mark.depth_mm < 0]
    fill = [mark for mark in found if mark.depth_mm > 0]
    if grind:
        said.append(f"Grind, marked X ({many(len(grind), 'place')}):")
        said += [f"  {_mark(mark, style)} off: {where(room, mark.at, style)}" for mark in grind]
    levels = dict(fix.proposal.levels)
    for part in choice.site.assessment.parts:
        if part.name in levels:
            said += _level_words(choice, part, levels[part.name])
    if len(levels) > 1:
        said.append(
            "A pour runs over into the next zone: set a dam along every line between two zones "
            "first."
        )
    if fix.proposal.dams:
        said.append(f"{many(fix.proposal.dams, 'dam')} reckoned with, at openings and between.")
    if fill and not levels:
        said.append(f"Fill, marked O ({many(len(fill), 'place')}):")
        said += [f"  {_mark(mark, style)} on: {where(room, mark.at, style)}" for mark in fill]
    if not levels or grind:
        said.append(
            "Depths are those at the marks; between marks run straight from one to the next, and "
            "out to nothing at the first place that is not marked."
        )
    if grind and fill:
        said.append("Grind first, vacuum, then prime and fill; the dust spoils the bond.")
    return [*said, *check_words(choice)]


def _level_words(choice: Choice, part: Part, level_mm: float) -> list[str]:
    """How high a leveler is poured, against what stands there: the lowest, highest, and held."""
    style, floor = choice.site.assessment.survey.show, choice.site.floor
    heights = floor.height_mm[part.stations]

    def over(called: str, station: int) -> str:
        place = place_of(floor.xy_mm[station])
        above = format_length(level_mm - float(floor.height_mm[station]), style)
        return f"  {above} above {called} as it is now, {where(floor.room, place, style)}"

    name = "the floor" if len(choice.site.assessment.parts) == 1 else repr(part.name)
    low, high = (int(part.stations[pick(heights)]) for pick in (np.argmin, np.argmax))
    held = zip(choice.site.assessment.survey.holds, choice.site.held, strict=True)
    return [
        f"Pour {name} level; set pins so that the top is",
        over("the lowest place", low),
        over("the highest place", high),
        *(over(hold.name, int(stations[0])) for hold, (stations, _) in held),
    ]


def check_words(choice: Choice) -> list[str]:
    """What to check after the work, with which bar."""
    said = []
    for finding in choice.site.assessment.verdict.findings:
        if finding.rule.words not in said:
            said.append(finding.rule.words)
    return ["After the work read the same places again and check:", *(f"  {s}" for s in said)]


def _mark(mark: Mark, style: Style) -> str:
    return f"{mark.number:>3}  {format_length(abs(mark.depth_mm), style):<8}"


def money(amount: float) -> str:
    """An amount in the person's own money, which is not named."""
    return f"{amount:,.0f}" if amount >= 100 else f"{amount:,.2f}".removesuffix(".00")
