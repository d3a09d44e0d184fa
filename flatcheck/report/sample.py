"""A sampling plan to take along, its sheet to fill in, and what the sample then says."""

from typing import Any

from flatcheck.instrument import fine
from flatcheck.places import where
from flatcheck.readers.cells import csv_text
from flatcheck.report.text import cite
from flatcheck.report.words import against, bar_length, beside_of, many
from flatcheck.room import area
from flatcheck.sampling import WORSE, Plan, SampleVerdict, Share
from flatcheck.scheme import Bar
from flatcheck.survey import Survey
from flatcheck.units import Style, format_area, format_length, format_offset
from flatcheck.verdict import Outcome, chosen

COLUMNS = ("bar", "x1", "y1", "toward", "length", "at", "gap", "block", "note")

TAPE = Style("in", 8)

TOLD = 12
"""More placements than this are not read out; they are all in the record."""


def plan_words(plan: Plan, style: Style) -> list[str]:
    """Where to lay the bar, one placement after the other, and how to write it down."""
    scheme, several = plan.scheme, len(plan.scheme.bars) > 1
    tape = TAPE if style.unit == "in" else style
    said = [
        scheme.title,
        f"{many(plan.count, 'placement')}{' of each bar' if several else ''} on "
        f"{format_area(area(plan.room), style)}, drawn with seed {plan.seed}.",
    ]
    for number, bar in enumerate(scheme.bars):
        said.append(f"{_bar(bar, style)}: {_limits(bar, style)}.")
        for one in plan.placements:
            if one.bar == number:
                said.append(
                    f"  {one.name}: starts {where(plan.room, one.start, tape)}, points to "
                    f"{one.toward_deg} degrees, ends {where(plan.room, one.end, tape)}."
                )
    said += [
        f"Degrees are clockwise from {'straight up' if plan.room.upright else 'north'}. Every "
        "placement that fits wholly was as likely as any other: lay the bar where it was drawn, "
        "not where it looks best or worst.",
        _how(scheme.bars[0]),
        "Fill in the sheet (--sheet plan.csv), put it into a survey folder as a table of kind "
        "gaps, and say in its survey.toml:",
        "[sample]",
        f'standard = "{scheme.standard}"',
        f"seed = {plan.seed}",
        f"count = {plan.count}",
        cite(scheme.citation),
    ]
    if scheme.how_many != scheme.citation:
        said.append(cite(scheme.how_many).replace("Rule:", "How many:", 1))
    return said


def plan_csv(plan: Plan, style: Style) -> str:
    """The sheet of a plan: a table of gaps that `readers.gaps` reads once it is filled in."""
    rows = [COLUMNS]
    for one in plan.placements:
        bar = plan.scheme.bars[one.bar]
        note = "block: its height" if bar.blocks else ""
        x, y, length = (format_offset(mm, style) for mm in (*one.start, bar.length_mm))
        rows.append((one.name, x, y, str(one.toward_deg), length, "", "", "", note))
    return csv_text(tuple(rows))


def tally_words(verdict: SampleVerdict, survey: Survey) -> list[str]:
    """Whether the sample keeps its standard, and what it says of the whole floor."""
    style = survey.show
    said = [
        f"{verdict.outcome.upper()} by its sample: {survey.title}",
        verdict.scheme.title,
        beside_of(verdict.decision, verdict.guarded, verdict.as_read),
    ]
    for share in verdict.shares:
        said += share_words(share, chosen(verdict.decision, share.guarded, share.as_read), style)
    said += _plan_kept(verdict)
    said += _worst(verdict, style)
    said.append(cite(verdict.scheme.citation))
    if verdict.scheme.how_many != verdict.scheme.citation:
        said.append(cite(verdict.scheme.how_many).replace("Rule:", "How many:", 1))
    return said


def share_words(share: Share, outcome: Outcome, style: Style) -> list[str]:
    """One limit: how many of the sample are within it, and how many of the floor."""
    limit = format_length(share.limit_mm, style)
    asked = "All" if share.needed == share.count else f"At least {share.needed}"
    within = f"{share.within} of {share.read} read are"
    bar = bar_length(share.bar.length_mm, style)
    said = [
        f"  {outcome.upper()}: {asked} of {share.count} placements of the {bar} bar within {limit} "
        f"({share.share:.0%}): {within}."
    ]
    if share.read:
        said.append(
            f"    If these places were drawn at random, at least {share.bound:.1%} of all "
            "placements on this floor are within it, at 95% confidence."
        )
    if share.more:
        said.append(
            f"    {share.more:,} more, drawn at random and all within, would prove "
            f"{share.share:.0%} within."
        )
    elif share.more == 0:
        said.append(f"    That proves {share.share:.0%} within.")
    said.append(
        f"    A floor of which only {share.share - WORSE:.0%} is within would pass such a sample "
        f"in {share.passes:.0%} of draws."
    )
    return said


def tally_record(verdict: SampleVerdict, survey: Survey) -> dict[str, Any]:
    """The sample as plain data, lengths in millimeters; for JSON."""
    return {
        "title": survey.title,
        "standard": verdict.scheme.standard,
        "outcome": verdict.outcome,
        "decision": verdict.decision,
        "allowing_for_reading_error": verdict.guarded,
        "as_read": verdict.as_read,
        "held_against_its_plan": verdict.drawn,
        "drawn_and_not_read": list(verdict.missed),
        "read_and_not_drawn": list(verdict.strangers),
        "read_only_at_the_ends": list(verdict.contacts),
        "limits": [
            {
                "bar_mm": share.bar.length_mm,
                "on_blocks": share.bar.blocks,
                "share": share.share,
                "limit_mm": round(share.limit_mm, 4),
                "placements": share.count,
                "needed": share.needed,
                "read": share.read,
                "within_as_read": share.within,
                "within_whatever_the_reading_error": share.surely,
                "over_whatever_the_reading_error": share.over,
                "floor_within_at_least": round(share.bound, 4),
                "more_to_prove": share.more,
                "worse_floor_passes": round(share.passes, 4),
                "places_not_drawn": share.stray,
                "allowing_for_reading_error": share.guarded,
                "as_read": share.as_read,
            }
            for share in verdict.shares
        ],
        "placements": [
            {
                "name": read.name,
                "bar_mm": verdict.scheme.bars[number].length_mm,
                "gap_mm": round(read.gap_mm, 3),
                "standard_uncertainty_mm": round(read.u_mm, 3),
                "where": read.where,
            }
            for number, read in verdict.reads
        ],
        "certainty": verdict.scheme.citation.certainty,
        "source": cite(verdict.scheme.citation),
    }


def _bar(bar: Bar, style: Style) -> str:
    stands = "on two equal blocks" if bar.blocks else "resting on the floor"
    return f"{bar_length(bar.length_mm, style)} straightedge {stands}"


def _limits(bar: Bar, style: Style) -> str:
    return ", ".join(
        f"{'all' if share == 1 else f'{share:.0%}'} within {format_length(limit, style)}"
        for share, limit in bar.shares
    )


def _how(bar: Bar) -> str:
    if bar.blocks:
        return (
            "Read from the bar down to the floor where it differs most from the height of the "
            "blocks, high or low, and write how far along that was, the reading, and the height of "
            "the blocks."
        )
    return (
        "Let the bar rest on the high points, do not level it; read the largest gap between the "
        "places it rests on, not under an end that hangs over, and write how far along it was."
    )


def _plan_kept(verdict: SampleVerdict) -> list[str]:
    """How what was read stands to what was drawn."""
    said = ["The places read are those that the seed draws."]
    if not verdict.drawn:
        said = [
            "Nothing shows that these places were drawn by lot; what is said of the floor holds "
            "only if they were. Draw them with `flatcheck sample`, and write [sample]."
        ]
    if verdict.missed:
        said = [
            f"Drawn and not read: {_some(verdict.missed)}. To leave places out is to choose: they "
            "count as over until they are read."
        ]
    elif any(share.count > share.read for share in verdict.shares):
        said.append(
            f"{verdict.scheme.standard} asks for {verdict.shares[0].count} placements of each bar "
            "on a floor of this size: draw and read the rest."
        )
    if verdict.contacts:
        said.append(
            f"Read only where the bar rests, at its ends, which is not read: "
            f"{_some(verdict.contacts)}. Read the largest gap between."
        )
    if verdict.strangers:
        said.append(f"Read and not drawn, and counted for no share: {_some(verdict.strangers)}.")
    if any(Outcome.OUT in (share.stray, share.stray_as_read) for share in verdict.shares):
        said.append("A limit for all placements holds there too, and is broken there.")
    return said


def _worst(verdict: SampleVerdict, style: Style) -> list[str]:
    """The placements that are over a limit of their bar, the worst first."""
    tightest = [min(limit for _, limit in bar.shares) for bar in verdict.scheme.bars]
    over = sorted(
        (
            (read.gap_mm - tightest[number], tightest[number], read)
            for number, read in (*verdict.reads, *verdict.strays)
            if read.gap_mm > tightest[number] + 1e-6
        ),
        key=lambda item: -item[0],
    )
    if not over:
        return []
    said = ["Over the tightest limit:"]
    for _, limit, read in over[:TOLD]:
        value, allowed = against(read.gap_mm, limit, style)
        said.append(
            f"  {read.name}: {value} against {allowed} (give or take {fine(2 * read.u_mm, style)})"
        )
    if len(over) > TOLD:
        said.append(f"  and {many(len(over) - TOLD, 'more placement')} (see --json)")
    return said


def _some(names: tuple[str, ...]) -> str:
    told = ", ".join(names[:TOLD])
    return told if len(names) <= TOLD else f"{told} and {len(names) - TOLD} more"
