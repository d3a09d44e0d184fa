"""What a report says is to be done: the remedy with its marks and cautions, and what it takes."""

from dataclasses import replace
from html import escape

from flatcheck.correction import Choice, Fix, marks
from flatcheck.language import say, several
from flatcheck.report.correction import cautions, stopped_words, table
from flatcheck.report.marks import mark_words, marks_drawing
from flatcheck.report.paper import figure, heading, listed, paragraphs
from flatcheck.units import (
    Style,
    format_area,
    format_length,
    format_load,
    format_volume,
    format_weight,
)


def correction(choice: Choice, fix: Fix | None) -> str:
    """What is to be done, how much of it, where, with which cautions, and what else was tried."""
    style = choice.site.assessment.survey.show
    refused = [f"{refusal.title}: {refusal.why}" for refusal in choice.refused]
    refused += stopped_words(choice)
    if fix is None:
        if len(why := dict.fromkeys(refusal.why for refusal in choice.refused)) == 1:
            refused = list(why)
        none = say("No remedy was found that brings it in; this is what stands in the way of each.")
        return heading(say("Correction")) + paragraphs([none, *refused])
    head, *rows = table(choice)
    kept = [k for k, name in enumerate(head) if name != say("cost")]
    beside_each_other = "".join(
        "<tr>" + "".join(f'<td class="words">{escape(row[k])}</td>' for k in kept) + "</tr>"
        for row in (head, *rows)
    )
    taken = "".join(
        f"<tr><th>{escape(name)}</th><td>{escape(value)}</td></tr>"
        for name, value in _quantities(fix, style)
    )
    drawn = ""
    if fix.proposal.id != "nothing":
        plan = marks_drawing(choice, marks(choice.site, fix.proposal))
        key = say(
            "X: grind off. O: fill. Each with its depth; a square is a height that must not change."
        )
        drawn = f'{figure(plan, key)}<div class="columns">{listed(mark_words(choice, fix))}</div>'
    warned = "".join(
        f'<p class="caution"><b>{escape(say("Caution."))}</b> {escape(words)}</p>'
        for words in cautions(replace(choice, fixes=(fix,)))
    )
    return (
        f'{heading(say("Correction"))}{heading(fix.proposal.title, 3)}<table class="facts wide">'
        f"{taken}</table>{drawn}{warned}{heading(say('What else was tried'), 3)}"
        f'<div class="scroll"><table>{beside_each_other}</table></div>'
        f"{paragraphs(refused, 'fine')}"
    )


def _quantities(fix: Fix, style: Style) -> list[tuple[str, str]]:
    """What the work takes, without prices: those are between whoever pays and whoever works."""
    takes, material = fix.takes, fix.proposal.material
    said = []
    if takes.grind_l > 0:
        said.append(
            (
                say("Grind off"),
                say(
                    "{volume} (give or take {spread}), up to {depth} deep over {area}",
                    volume=format_volume(takes.grind_l, style),
                    spread=format_volume(2 * takes.u_grind_l, style),
                    depth=format_length(takes.highest_mm, style),
                    area=format_area(takes.grind_m2 * 1e6, style),
                ),
            )
        )
    if takes.fill_l > 0 and material is not None:
        lifts = fix.proposal.lifts
        said += [
            (
                say("Fill"),
                say(
                    "{volume} (give or take {spread}), up to {depth} deep{lifts} over {area}",
                    volume=format_volume(takes.fill_l, style),
                    spread=format_volume(2 * takes.u_fill_l, style),
                    depth=format_length(takes.deepest_mm, style),
                    lifts=say(", in {number} lifts", number=lifts) if lifts > 1 else "",
                    area=format_area(takes.fill_m2 * 1e6, style),
                ),
            ),
            (
                say("Material"),
                several(
                    takes.bags,
                    "{number} bag of {material} of {weight}, and primer",
                    "{number} bags of {material} of {weight}, and primer",
                    material=material.name,
                    weight=format_weight(material.bag_kg, style),
                ),
            ),
            (
                say("Weight"),
                say(
                    "{weight}, {load} at its thickest",
                    weight=format_weight(takes.fill_kg, style),
                    load=format_load(takes.load_kg_m2, style),
                ),
            ),
        ]
    work = say("{hours:.1f} hours", hours=takes.hours) if takes.hours else say("none")
    said.append((say("Work"), work))
    if takes.wait_h:
        said.append((say("Wait before tile"), say("{hours:.0f} hours", hours=takes.wait_h)))
    said += [
        (
            say("At {name}", name=name),
            say("rises {rise}", rise=format_length(mm, style))
            if mm > 0.05
            else say("stays as it is"),
        )
        for name, mm in fix.rises
    ]
    after = say("{outcome}, as predicted", outcome=say(fix.verdict.outcome))
    said.append((say("Measured again after it"), after))
    return said
