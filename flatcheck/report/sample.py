"""A sampling plan to take along, its sheet to fill in, and what the sample then says."""

from typing import Any

from flatcheck.instrument import fine
from flatcheck.language import say, several
from flatcheck.places import where
from flatcheck.readers.cells import csv_text
from flatcheck.report.advice import bar_length
from flatcheck.report.text import cite, paper_words
from flatcheck.report.words import against, beside_of
from flatcheck.room import area
from flatcheck.sampling import Plan
from flatcheck.scheme import Bar, Scheme
from flatcheck.survey import Survey
from flatcheck.tally import WORSE, SampleVerdict, Share
from flatcheck.units import Style, format_area, format_length, format_offset
from flatcheck.verdict import Outcome, chosen

COLUMNS = ("bar", "x1", "y1", "toward", "length", "at", "gap", "block", "note")

TAPE = Style("in", 8)

TOLD = 12
"""More placements than this are not read out; they are all in the record."""


def plan_words(plan: Plan, style: Style) -> list[str]:
    """Where to lay the bar, one placement after the other, and how to write it down."""
    scheme, tape = plan.scheme, TAPE if style.unit == "in" else style
    said = [scheme.title, _drawn(plan, style)]
    for number, bar in enumerate(scheme.bars):
        said.append(f"{_bar(bar, style)}: {_limits(bar, style)}.")
        for one in plan.placements:
            if one.bar == number:
                lies = say(
                    "{name}: starts {start}, points to {bearing} degrees, ends {end}.",
                    name=one.name,
                    start=where(plan.room, one.start, tape),
                    bearing=one.toward_deg,
                    end=where(plan.room, one.end, tape),
                )
                said.append(f"  {lies}")
    clockwise = say("Degrees are clockwise from north.")
    if plan.room.upright:
        clockwise = say("Degrees are clockwise from straight up.")
    drawn = say(
        "Every placement that fits wholly was as likely as any other: lay the bar where it was "
        "drawn, not where it looks best or worst."
    )
    return [
        *said,
        f"{clockwise} {drawn}",
        _how(scheme.bars[0]),
        say(
            "Fill in the sheet (--sheet plan.csv), put it into a survey folder as a table of kind "
            "gaps, and say in its survey.toml:"
        ),
        "[sample]",
        f'standard = "{scheme.standard}"',
        f"seed = {plan.seed}",
        f"count = {plan.count}",
        *_papers(scheme),
    ]


def _drawn(plan: Plan, style: Style) -> str:
    """How many placements were drawn, on how much floor, and with which seed."""
    floor = format_area(area(plan.room), style)
    if len(plan.scheme.bars) > 1:
        return several(
            plan.count,
            "{number} placement of each bar on {area}, drawn with seed {seed}.",
            "{number} placements of each bar on {area}, drawn with seed {seed}.",
            area=floor,
            seed=plan.seed,
        )
    return several(
        plan.count,
        "{number} placement on {area}, drawn with seed {seed}.",
        "{number} placements on {area}, drawn with seed {seed}.",
        area=floor,
        seed=plan.seed,
    )


def _papers(scheme: Scheme) -> list[str]:
    """The papers behind the limits and behind the number of placements."""
    if scheme.how_many == scheme.citation:
        return [cite(scheme.citation)]
    return [
        cite(scheme.citation),
        say("How many: {paper}", paper=paper_words(scheme.how_many)),
    ]


def plan_csv(plan: Plan, style: Style) -> str:
    """The sheet of a plan: a table of gaps that `readers.gaps` reads once it is filled in."""
    rows = [COLUMNS]
    for one in plan.placements:
        bar = plan.scheme.bars[one.bar]
        note = say("block: its height") if bar.blocks else ""
        x, y, length = (format_offset(mm, style) for mm in (*one.start, bar.length_mm))
        rows.append((one.name, x, y, str(one.toward_deg), length, "", "", "", note))
    return csv_text(tuple(rows))


def tally_words(verdict: SampleVerdict, survey: Survey) -> list[str]:
    """Whether the sample keeps its standard, and what it says of the whole floor."""
    style = survey.show
    said = [
        say(
            "{outcome} by its sample: {title}",
            outcome=say(verdict.outcome).upper(),
            title=survey.title,
        ),
        verdict.scheme.title,
        beside_of(verdict.decision, verdict.guarded, verdict.as_read),
    ]
    for share in verdict.shares:
        said += share_words(share, chosen(verdict.decision, share.guarded, share.as_read), style)
    said += _plan_kept(verdict)
    return [*said, *_worst(verdict, style), *_papers(verdict.scheme)]


def share_words(share: Share, outcome: Outcome, style: Style) -> list[str]:
    """One limit: how many of the sample are within it, and how many of the floor."""
    asked = say(
        "All of {count} placements of the {bar} bar within {limit} ({share:.0%}): {within} of "
        "{read} read are."
    )
    if share.needed != share.count:
        asked = say(
            "At least {needed} of {count} placements of the {bar} bar within {limit} "
            "({share:.0%}): {within} of {read} read are."
        )
    asked = asked.format(
        needed=share.needed,
        count=share.count,
        bar=bar_length(share.bar.length_mm, style),
        limit=format_length(share.limit_mm, style),
        share=share.share,
        within=share.within,
        read=share.read,
    )
    said = [f"  {say(outcome).upper()}: {asked}"]
    if share.read:
        proven = say(
            "If these places were drawn at random, at least {share:.1%} of all placements on this "
            "floor are within it, at 95% confidence.",
            share=share.bound,
        )
        said.append(f"    {proven}")
    if share.more:
        more = say(
            "{count:,} more, drawn at random and all within, would prove {share:.0%} within.",
            count=share.more,
            share=share.share,
        )
        said.append(f"    {more}")
    elif share.more == 0:
        proves = say("That proves {share:.0%} within.", share=share.share)
        said.append(f"    {proves}")
    worse = say(
        "A floor of which only {less:.0%} is within would pass such a sample in {often:.0%} of "
        "draws.",
        less=share.share - WORSE,
        often=share.passes,
    )
    return [*said, f"    {worse}"]


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
    length = bar_length(bar.length_mm, style)
    if bar.blocks:
        return say("{length} straightedge on two equal blocks", length=length)
    return say("{length} straightedge resting on the floor", length=length)


def _limits(bar: Bar, style: Style) -> str:
    return ", ".join(
        say("all within {limit}", limit=format_length(limit, style))
        if share == 1
        else say("{share:.0%} within {limit}", share=share, limit=format_length(limit, style))
        for share, limit in bar.shares
    )


def _how(bar: Bar) -> str:
    if bar.blocks:
        return say(
            "Read from the bar down to the floor where it differs most from the height of the "
            "blocks, high or low, and write how far along that was, the reading, and the height "
            "of the blocks."
        )
    return say(
        "Let the bar rest on the high points, do not level it; read the largest gap between the "
        "places it rests on, not under an end that hangs over, and write how far along it was."
    )


def _plan_kept(verdict: SampleVerdict) -> list[str]:
    """How what was read stands to what was drawn."""
    said = [say("The places read are those that the seed draws.")]
    if not verdict.drawn:
        said = [
            say(
                "Nothing shows that these places were drawn by lot; what is said of the floor "
                "holds only if they were. Draw them with `flatcheck sample`, and write [sample]."
            )
        ]
    if verdict.missed:
        said = [
            say(
                "Drawn and not read: {names}. To leave places out is to choose: they count as "
                "over until they are read.",
                names=_some(verdict.missed),
            )
        ]
    elif any(share.count > share.read for share in verdict.shares):
        said.append(
            say(
                "{standard} asks for {count} placements of each bar on a floor of this size: draw "
                "and read the rest.",
                standard=verdict.scheme.standard,
                count=verdict.shares[0].count,
            )
        )
    if verdict.contacts:
        said.append(
            say(
                "Read only where the bar rests, at its ends, which is not read: {names}. Read the "
                "largest gap between.",
                names=_some(verdict.contacts),
            )
        )
    if verdict.strangers:
        said.append(
            say(
                "Read and not drawn, and counted for no share: {names}.",
                names=_some(verdict.strangers),
            )
        )
    if any(Outcome.OUT in (share.stray, share.stray_as_read) for share in verdict.shares):
        said.append(say("A limit for all placements holds there too, and is broken there."))
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
    said = [say("Over the tightest limit:")]
    for _, limit, read in over[:TOLD]:
        value, allowed = against(read.gap_mm, limit, style)
        by = say(
            "{name}: {value} against {limit} (give or take {sure})",
            name=read.name,
            value=value,
            limit=allowed,
            sure=fine(2 * read.u_mm, style),
        )
        said.append(f"  {by}")
    if len(over) > TOLD:
        more = several(
            len(over) - TOLD,
            "and {number} more placement (see --json)",
            "and {number} more placements (see --json)",
        )
        said.append(f"  {more}")
    return said


def _some(names: tuple[str, ...]) -> str:
    told, more = ", ".join(names[:TOLD]), len(names) - TOLD
    if more <= 0:
        return told
    return several(more, "{names} and {number} more", "{names} and {number} more", names=told)
