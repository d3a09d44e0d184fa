"""What is said of the tiles of a box: how bent they are, whether they may be, what follows."""

from typing import Any

from flatcheck.box import Box, Called, Judged
from flatcheck.instrument import fine
from flatcheck.language import say, several
from flatcheck.product import Product
from flatcheck.report.text import cite
from flatcheck.report.words import beside_of, sure_words, tile_size
from flatcheck.spacing import LEAST_JOINT_MM, bow_at_offset
from flatcheck.survey import Survey
from flatcheck.units import Style, format_length

_PARTS = {
    "edge": say("The middle of an edge, from a line between its corners"),
    "diagonal": say("The center, from a line between opposite corners"),
    "twist": say("A corner, from the plane of the other three"),
}
_SHORT = {"edge": say("edge"), "diagonal": say("diagonal"), "twist": say("twist")}
_OPEN = {
    "edge": say("the middles of edges"),
    "diagonal": say("the center"),
    "twist": say("the twist"),
}


def box_words(box: Box, survey: Survey) -> list[str]:
    """The verdict by the class that was named, or by every class; then what follows."""
    style = survey.show
    size = several(
        len(box.names),
        "{size} tile, {number} tile measured",
        "{size} tile, {number} tiles measured",
        size=tile_size(box.tile, style),
    )
    if box.named:
        (found,) = box.judged
        said = [
            say(
                "{outcome} for {product}: {survey}",
                outcome=say(box.outcome).upper(),
                product=found.product.title,
                survey=survey.title,
            ),
            size,
            beside_of(box.decision, found.guarded, found.as_read),
            *_parts(found, box.decision, style),
            *_sources(found.product),
        ]
    else:
        said = [f"{survey.title}: {size}", *_spread(box, style)]
        said.append(say("No class was named, so every class that holds for such a tile is asked:"))
        said += [f"  {words}" for one in box.judged for words in _in_a_line(one, box, style)]
    return [*said, *_after(box, style)]


def box_record(box: Box) -> dict[str, Any]:
    """The same as plain data, lengths in millimeters; for JSON."""
    bow = box.tile.bow
    return {
        "tiles": list(box.names),
        "outcome": box.outcome if box.named else None,
        "decision": box.decision,
        "bow_mm": bow and [round(bow.edge_mm, 4), round(bow.diagonal_mm, 4)],
        "bow_standard_uncertainty_mm": bow and round(bow.u_mm, 4),
        "variation_mm": box.variation_mm,
        "least_joint_mm": box.joint_mm,
        "departures": [
            {
                "tile": one.tile,
                "part": one.part,
                "over_mm": round(one.over_mm, 2),
                "departs_mm": round(one.value_mm, 4),
                "standard_uncertainty_mm": round(one.u_mm, 4),
                "where": one.where,
            }
            for one in box.departures
        ],
        "classes": [
            {
                "product": one.product.id,
                "certainty": one.product.citation.certainty,
                "outcome": one.ends(box.decision),
                "allowing_for_reading_error": one.guarded,
                "as_read": one.as_read,
                "not_measured": list(one.open),
                "out": sum(called.ends(box.decision) == "out" for called in one.called),
            }
            for one in box.judged
        ],
    }


def _parts(found: Judged, decision: str, style: Style) -> list[str]:
    """Each part of the face: the worst departure and its limit; then all that is not within."""
    said = []
    for part, words in _PARTS.items():
        worst = found.worst(part)
        if worst:
            at_worst = _called(worst, style)
            said.append("  " + say("{part}: at worst {departure}.", part=words, departure=at_worst))
        elif part in found.open:
            said.append("  " + say("{part}: not measured, so not assessed.", part=words))
    for one in sorted(found.called, key=lambda one: -one.excess_mm):
        if (ends := one.ends(decision)) != "within":
            part = _SHORT[one.departure.part]
            said.append(f"  {say(ends).upper()}: {part}, {_called(one, style)}")
    return said


def _called(one: Called, style: Style) -> str:
    value = one.departure.value_mm
    limit = one.high_mm if value > 0 else -one.low_mm
    return say(
        "{departure} (give or take {spread}), limit {limit}, tile {tile}",
        departure=_high_or_low(value, style),
        spread=fine(2 * one.departure.u_mm, style),
        limit=fine(limit, style),
        tile=one.departure.tile,
    )


def _high_or_low(mm: float, style: Style) -> str:
    much = fine(abs(mm), style)
    return say("{much} high", much=much) if mm > 0 else say("{much} low", much=much)


def _spread(box: Box, style: Style) -> list[str]:
    said = []
    for part, words in _PARTS.items():
        own = [one for one in box.departures if one.part == part]
        if own:
            worst = max(own, key=lambda one: abs(one.value_mm))
            at_most = say(
                "{part}: at most {departure} (give or take {spread}), tile {tile}.",
                part=words,
                departure=_high_or_low(worst.value_mm, style),
                spread=fine(2 * worst.u_mm, style),
                tile=worst.tile,
            )
            said.append(f"  {at_most}")
    return said


def _in_a_line(found: Judged, box: Box, style: Style) -> list[str]:
    """One class: how it ends, the worst departure by it, and what of it was not measured."""
    ends = say(found.ends(box.decision)).upper()
    said = f"{ends}  {found.product.title} ({found.product.id})"
    if found.called:
        worst = max(found.called, key=lambda one: one.excess_mm)
        said += f": {_SHORT[worst.departure.part]}, {_called(worst, style)}"
    if found.open:
        parts = f" {say('and')} ".join(_OPEN[part] for part in found.open)
        said += "; " + say("not measured: {parts}", parts=parts)
    sure = sure_words(found.product.citation)
    return [f"{said}. {' '.join(sure)}".rstrip()]


def _sources(product: Product) -> list[str]:
    return [
        say("Each tile is judged by itself; how many of a sample may fail is in the document."),
        *sure_words(product.citation),
        cite(product.citation),
    ]


def _after(box: Box, style: Style) -> list[str]:
    """The bow as a limit and a forecast take it, what it makes of an offset, and the joint."""
    bow = box.tile.bow
    assert bow is not None  # by construction
    said = [
        say(
            "The tile's own warpage is {warpage}: where a limit for lippage adds it, and in a "
            "forecast, that is the warpage measured.",
            warpage=fine(bow.most_mm, style),
        )
    ]
    if bow.edge_mm:
        half, third = (fine(abs(bow_at_offset(bow.edge_mm, r)), style) for r in (1 / 2, 1 / 3))
        much = fine(abs(bow.edge_mm), style)
        said.append(
            say(
                "{shape} along the long edge alone makes a step of {half} where tiles lie at half "
                "an offset, and of {third} at a third, on any floor.",
                shape=say("A crown of {much}", much=much)
                if bow.edge_mm > 0
                else say("A hollow of {much}", much=much),
                half=half,
                third=third,
            )
        )
    if box.joint_mm is None:
        said.append(
            say(
                "Measure length and width of the tiles too (columns length and width), and the "
                "narrowest joint is worked out: three times what they vary."
            )
        )
        return said
    assert box.variation_mm is not None  # by construction
    bond = " " + say("or what running bond asks of so long a tile") if box.bond else ""
    said.append(
        say(
            "The tiles vary by {variation}: the joint must be at least {joint}, three times "
            "that{bond}, never under {least} (ANSI A108.02, 4.3.8).",
            variation=fine(box.variation_mm, style),
            joint=format_length(box.joint_mm, style),
            bond=bond,
            least=format_length(LEAST_JOINT_MM, style),
        )
    )
    joint = box.tile.joint_mm
    if 0 < joint < box.joint_mm - 1e-6:
        chosen = format_length(joint, style)
        said.append(say("The joint of {joint} that was chosen is too narrow.", joint=chosen))
    return said
