"""What to do with a floor, in words: the remedies beside each other, and the choice."""

from collections.abc import Sequence

from flatcheck.correction import GRINDER, TO_GRIND, Choice, Fix, Flip
from flatcheck.instrument import fine
from flatcheck.language import say, several
from flatcheck.refusal import unjudged
from flatcheck.rules import grade_of
from flatcheck.terms import SAID, grind_cost, unit_cost
from flatcheck.units import (
    M2_PER_SQUARE_FOOT,
    Style,
    format_area,
    format_length,
    format_load,
    format_volume,
    format_weight,
)

DUST = say(
    "Grinding concrete and mortar throws silica dust that ruins lungs. OSHA 29 CFR 1926.1153, "
    "table 1, for a hand-held grinder: a shroud with a dust collector of at least 25 cubic ft a "
    "minute for each inch of wheel, with a filter of 99% or better that cleans itself or sits "
    "behind a cyclone; indoors for more than 4 hours a shift a respirator of APF 10 too. Floor "
    "grinders: water, or the maker's collector, and a HEPA vacuum between passes. Local rules may "
    "ask for more."
)

OLD_FLOORS = say(
    "In a building of 1980 or earlier presume that old floor tile, resilient flooring and their "
    "adhesive hold asbestos until tested, and old paint lead: no sanding, grinding or dry scraping."
)

HIDDEN = say(
    "Before anything is ground or drilled have post-tension cables, heating lines and cover of the "
    "reinforcement located; for a post-tensioned slab an engineer must agree."
)

WET_LOAD = say(
    "Fill and mortar are a load: on a wood floor or a thin slab someone licensed checks the "
    "structure and its deflection first, and with the new load."
)

FRESH = say(
    "The data sheet rules: primer for this floor, moisture of the slab, thickness of each lift, "
    "temperature, and how long before tile. Cement burns skin and eyes."
)


PROVEN = say(
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
    said += [say("Caution: {caution}", caution=words) for words in cautions(choice)]
    said += [terms_words(choice), say("Numbers: {said}", said=SAID)]
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
        name = say("{grade}, with tile under 15 in", grade=name) if small else name
        by_title.setdefault(standard.title, {})[name] = None
    if not by_title:
        return []
    found = [f"{title} ({'; '.join(names)})" for title, names in by_title.items()]
    rules = f", {say('or')} ".join(found)
    return [say("As it is the floor would pass by another rule: {rules}.", rules=rules)]


def proven_words(fixes: Sequence[Fix]) -> list[str]:
    """What a proof that a plan is least is a proof of, where any has one."""
    return [PROVEN] if any(_least_of(fix) is not None and fix.proven for fix in fixes) else []


def _least_of(fix: Fix) -> float | None:
    return fix.proposal.least_cost if fix.proposal.id != "pour" else None


def terms_words(choice: Choice) -> str:
    """The prices and rates that were reckoned with, and which of them are the person's own."""
    terms, style = choice.site.terms, choice.site.assessment.survey.show
    meter, foot = money(terms.primer_m2), money(terms.primer_m2 * M2_PER_SQUARE_FOOT)
    reckoned = [
        say("{price} for an hour of work", price=money(terms.labor)),
        say("{price} for the grinder", price=money(terms.grinder)),
        say("{volume} ground off in an hour", volume=format_volume(terms.grind_l_h, style)),
        say("{price} of primer for a square meter", price=meter)
        if style.unit == "mm"
        else say("{price} of primer for a square foot", price=foot),
        say("{share:.0%} waste", share=terms.waste),
        say("work placed to {height}", height=fine(terms.placing_mm, style)),
    ]
    for material in (terms.patch, terms.leveler, terms.mortar):
        rate = say("{number:g} bags an hour", number=material.bags_h)
        reckoned.append(
            say(
                "{material} at {price} a bag of {weight} that gives {volume}, {rate}",
                material=material.name,
                price=money(material.price),
                weight=format_weight(material.bag_kg, style),
                volume=format_volume(material.yield_l, style),
                rate=say("1 bag an hour") if material.bags_h == 1 else rate,
            )
        )
    said = say("Reckoned with: {terms}.", terms="; ".join(reckoned))
    if not min(grind_cost(terms), unit_cost(terms.patch, terms), unit_cost(terms.leveler, terms)):
        free = say("Work that is free is planned by its volume, so that none is done needlessly.")
        said = f"{said} {free}"
    named = ", ".join(name.replace("_", " ") for name in terms.own)
    return f"{said} {say('Your own: {terms}.', terms=named)}" if terms.own else said


HEAD = (
    say("remedy"),
    say("passes"),
    say("cost"),
    say("hours"),
    say("grind"),
    say("fill"),
    say("bags"),
    say("rise"),
    say("dust"),
    say("wait"),
)
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
                say("yes"),
                money(takes.money),
                f"{takes.hours:.1f}",
                format_volume(takes.grind_l, style) if takes.grind_l > 0 else "-",
                format_volume(takes.fill_l, style) if takes.fill_l > 0 else "-",
                str(takes.bags) if takes.bags else "-",
                format_length(rise, style) if fix.rises else "-",
                say("yes") if takes.grind_l > 0 else say("no"),
                f"{takes.wait_h:.0f} h" if takes.wait_h else "-",
            )
        )
    rows += [(refusal.title, say("no"), *("-" * (len(HEAD) - 2))) for refusal in choice.refused]
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
                say(
                    "What was read does not show whether the floor holds, so nothing is offered: "
                    "read the rest first."
                )
            ]
        if choice.stopped:
            return [say("No plan that passes was known when the search was stopped.")]
        return [say("No remedy passes on these terms; see below what stands in the way of each.")]
    style = choice.site.assessment.survey.show
    first = choice.fixes[0]
    if first.proposal.id == "nothing":
        return [say("Leave the floor as it is: every rule holds.")]
    said = say(
        "{remedy} is the cheapest that passes: {cost} and {hours:.1f} hours, with {facts}",
        remedy=first.proposal.title,
        cost=money(first.takes.money),
        hours=first.takes.hours,
        facts=_deciding(first, style),
    )
    if len(choice.fixes) > 1:
        second = choice.fixes[1]
        called, cost = _lower(second.proposal.title), money(second.takes.money)
        as_much = say(
            "{remedy} costs as much and takes {hours:.1f} hours",
            remedy=called,
            hours=second.takes.hours,
        )
        next_one = say("next comes {remedy} at {cost}", remedy=called, cost=cost)
        said += "; " + (as_much if second.takes.money == first.takes.money else next_one)
    sentences = [said + "."]
    sentences += stopped_words(choice)
    turned: dict[str, list[str]] = {}
    for flip in choice.flips:
        turned.setdefault(flip.to, []).append(_flip(flip, style))
    ways = [
        say(
            "{remedy} becomes the cheaper {when}",
            remedy=_lower(to),
            when=f" {say('or')} ".join(how),
        )
        for to, how in turned.items()
    ]
    if ways:
        sentences.append(f"{ways[0][:1].upper()}{'; '.join(ways)[1:]}.")
    return sentences


def stopped_words(choice: Choice) -> list[str]:
    """That a comparison is not complete, where its search was stopped."""
    said = say(
        "The search was stopped, so the comparison is not complete: what was not tried or not "
        "searched to the end may be cheaper; work it out again to know."
    )
    return [said] if choice.stopped else []


def _lower(title: str) -> str:
    return title[:1].lower() + title[1:]


def _flip(flip: Flip, style: Style) -> str:
    if flip.what == TO_GRIND:
        then, now = (format_volume(amount, style) for amount in (flip.then, flip.now))
        return say("if there is more than {then} to grind off (planned {now})", then=then, now=now)
    if flip.bags:
        return say(
            "if it takes {then:,.0f} {bags} or more (planned {now:,.0f})",
            then=flip.then,
            bags=flip.what,
            now=flip.now,
        )
    what, then, now = flip.what, money(flip.then), money(flip.now)
    if what == GRINDER and flip.now == 0:
        return say("if a grinder must be rented for more than {price}", price=then)
    if flip.then > flip.now:
        return say("if {what} costs more than {then} (now {now})", what=what, then=then, now=now)
    return say("if {what} costs less than {then} (now {now})", what=what, then=then, now=now)


def _deciding(fix: Fix, style: Style) -> str:
    takes = fix.takes
    facts = []
    if takes.grind_l > 0:
        volume, area = format_volume(takes.grind_l, style), format_area(takes.grind_m2 * 1e6, style)
        facts.append(say("{volume} to grind off {area}", volume=volume, area=area))
    if takes.fill_l > 0 and fix.proposal.material is not None:
        facts.append(
            several(
                takes.bags,
                "{number} bag of {material}",
                "{number} bags of {material}",
                material=fix.proposal.material.name,
            )
        )
    return f" {say('and')} ".join(facts)


def fix_words(fix: Fix, style: Style) -> str:
    """What one remedy takes and comes to."""
    takes, parts = fix.takes, []
    if takes.grind_l > 0:
        parts.append(
            say(
                "grind up to {height} off {area}, {volume} (give or take {spread})",
                height=format_length(takes.highest_mm, style),
                area=format_area(takes.grind_m2 * 1e6, style),
                volume=format_volume(takes.grind_l, style),
                spread=format_volume(2 * takes.u_grind_l, style, takes.grind_l),
            )
        )
    material = fix.proposal.material
    if takes.fill_l > 0 and material is not None:
        depth = format_length(takes.deepest_mm, style)
        if fix.proposal.lifts > 1:
            depth = say("{depth} in {number} lifts", depth=depth, number=fix.proposal.lifts)
        parts.append(
            several(
                takes.bags,
                "fill up to {depth} over {area}, {volume} (give or take {spread}), {number} bag of "
                "{material} of {bag}, {weight} when laid, {load} at its thickest, primer for all "
                "of it",
                "fill up to {depth} over {area}, {volume} (give or take {spread}), {number} bags "
                "of {material} of {bag}, {weight} when laid, {load} at its thickest, primer for "
                "all of it",
                depth=depth,
                area=format_area(takes.fill_m2 * 1e6, style),
                volume=format_volume(takes.fill_l, style),
                spread=format_volume(2 * takes.u_fill_l, style, takes.fill_l),
                material=material.name,
                bag=format_weight(material.bag_kg, style),
                weight=format_weight(takes.fill_kg, style),
                load=format_load(takes.load_kg_m2, style),
            )
        )
    if not parts:
        return say(
            "there is nothing to do; the floor is {outcome}.", outcome=say(fix.verdict.outcome)
        )
    for name, mm in fix.rises:
        rise = say("{name} rises {height}", name=name, height=format_length(mm, style))
        parts.append(rise if mm > 0.05 else say("{name} stays as it is", name=name))
    if _least_of(fix) is not None:
        less = say(
            "not searched to the end: the least of its kind may cost up to {gap:.1%} less",
            gap=fix.gap_ratio,
        )
        less = less if fix.proposal.least_cost else say("not searched to the end")
        parts.append(say("proven least") if fix.proven else less)
    costs = [money(takes.money), say("{hours:.1f} hours of work", hours=takes.hours)]
    if takes.wait_h:
        costs.append(say("{hours:.0f} hours before tile", hours=takes.wait_h))
    if takes.grind_l > 0:
        costs.append(say("dust"))
    return say(
        "{costs}: {work}. Measured again after the work: {outcome}.",
        costs=", ".join(costs),
        work="; ".join(parts),
        outcome=say(fix.verdict.outcome),
    )


def cautions(choice: Choice) -> list[str]:
    """The cautions that belong to the remedies that are offered."""
    said = []
    if any(fix.takes.grind_l > 0 for fix in choice.fixes):
        said += [DUST, OLD_FLOORS, HIDDEN]
    if any(fix.takes.fill_l > 0 for fix in choice.fixes):
        said += [WET_LOAD, FRESH]
    return said


def money(amount: float) -> str:
    """An amount in the person's own money, which is not named."""
    return f"{amount:,.0f}" if amount >= 100 else f"{amount:,.2f}".removesuffix(".00")
