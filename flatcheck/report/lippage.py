"""What is said of the steps between tiles: verdict, histogram, places and what was not read."""

from typing import Any

from flatcheck.acceptance import PROOF, Sampling
from flatcheck.compass import parse_bearing, side_of
from flatcheck.instrument import fine
from flatcheck.language import say, several
from flatcheck.lippage import SHOWN, Joint, LippageVerdict, histogram
from flatcheck.places import where
from flatcheck.report.text import cite
from flatcheck.report.words import against, beside, disputed_words, sure_words
from flatcheck.room import Room, rectangle
from flatcheck.rules import grade_of
from flatcheck.survey import Survey
from flatcheck.units import LENGTH_UNITS, Style, format_length
from flatcheck.verdict import Outcome

TOLD = 12
"""More joints than this are not read out; they are all in the record."""

WIDE = 2.0
"""A joint so many times as wide as the tile's is looked at again. Common practice, no source."""

BAR = 40
"""The longest row of the histogram."""

TAPE = Style("in", 8)
"""Steps are said in 64ths where the person likes; the way to a joint is taped to an eighth."""

_NOWHERE = Room(rectangle(0, 0, 1, 1, "the readings"), assumed=True)
"""Where there is no outline, places are told from the zero corner."""


def lippage_words(verdict: LippageVerdict, survey: Survey) -> list[str]:
    """The verdict on the steps between tiles: headline, sentences and a histogram."""
    style = survey.show
    standard, grade = grade_of(f"{verdict.standard}:{verdict.grade}")
    said = [
        say(
            "{outcome} for lippage: {survey}",
            outcome=say(verdict.outcome).upper(),
            survey=survey.title,
        ),
        f"{standard.title} - {grade.title}",
        beside(verdict),
    ]
    if grade.disputed:
        said.append(disputed_words(grade))
    said += [f"  {words}" for words in dict.fromkeys(j.rule.words for j in verdict.joints)]
    said.append(f"  {_limits(verdict, style)}")
    said.append(f"  {_counted(verdict)}")
    said += [f"  {words}" for words in _wide(verdict, survey)]
    said.append("  " + say("Worst: {joint}.", joint=joint_words(verdict.worst, survey)))
    said += _rows(verdict, style)
    bad = sorted(
        (joint for joint in verdict.joints if verdict.ends(joint) is not Outcome.WITHIN),
        key=lambda joint: -joint.excess_mm,
    )
    if bad:
        said.append(say("Joints that are not within:"))
        said += [
            f"  {say(verdict.ends(joint)).upper()}: {joint_words(joint, survey)}"
            for joint in bad[:TOLD]
        ]
    if (more := len(bad) - TOLD) > 0:
        said.append(
            "  "
            + several(
                more,
                "and {number} more joint (see --json)",
                "and {number} more joints (see --json)",
            )
        )
    citations = dict.fromkeys(joint.rule.citation for joint in verdict.joints)
    cited = [words for citation in citations for words in sure_words(citation)]
    cited += [cite(citation) for citation in citations]
    if verdict.lacking and verdict.outcome is Outcome.NOT_ASSESSED:
        said.append(
            several(
                verdict.lacking,
                "So few joints do not speak for the floor: read {number} more joint, each "
                "elsewhere, to show that {share:.0%} of all are within.",
                "So few joints do not speak for the floor: read {number} more joints, each "
                "elsewhere, to show that {share:.0%} of all are within.",
                share=SHOWN,
            )
        )
    said += not_read(verdict)
    return [*said, *cited]


def _wide(verdict: LippageVerdict, survey: Survey) -> list[str]:
    """Joints that are written far wider than the tile's: a wider joint may be allowed more."""
    tile = survey.tile
    widths = [joint.step.joint_mm or 0.0 for joint in verdict.joints]
    if not tile or not tile.joint_mm or max(widths) <= WIDE * tile.joint_mm:
        return []
    return [
        say(
            "Look again: a joint is written as {widest} wide, and the tile's is {usual}. A wider "
            "joint may be allowed a larger step; is the width right?",
            widest=format_length(max(widths), survey.show),
            usual=format_length(tile.joint_mm, survey.show),
        )
    ]


def joint_words(joint: Joint, survey: Survey) -> str:
    """One joint: how far which tile stands proud, its limit, and where it is."""
    style = survey.show
    value, limit = against(joint.height_mm, joint.limit_mm, style)
    tile = say("one tile")
    if joint.step.proud and joint.step.step_mm:
        turn = 0 if joint.step.step_mm > 0 else 180
        side = side_of(parse_bearing(joint.step.proud) + turn)
        tile = say("the tile to the {side}", side=side)
    if joint.open:
        limit = say("{limit} without its warpage", limit=limit)
    tape = TAPE if style.unit == "in" else style
    return say(
        "{tile} stands {height} proud (give or take {spread}), limit {limit}; {place}",
        tile=tile,
        height=value,
        spread=fine(2 * joint.step.u_mm, style),
        limit=limit,
        place=where(survey.room or _NOWHERE, (joint.step.x_mm, joint.step.y_mm), tape),
    )


def not_read(verdict: LippageVerdict) -> list[str]:
    """What is said of the joints that were not read, or what it would take to say it."""
    if verdict.sampling:
        laid = verdict.counted is not None and verdict.counted.laid
        return sampling_words(verdict.sampling, laid)
    if verdict.off:
        return [
            several(
                verdict.off,
                "{number} step of {steps:,} lie where the pattern has no joint, so nothing is said "
                "of the joints not read: say where the pattern starts (origin in [pattern]), and "
                "how it is turned.",
                "{number} steps of {steps:,} lie where the pattern has no joint, so nothing is "
                "said of the joints not read: say where the pattern starts (origin in [pattern]), "
                "and how it is turned.",
                steps=len(verdict.joints),
            )
        ]
    return [
        say(
            "Say in [pattern] how the tile lies, or in the table's entry how many joints there are "
            "on the floor (joints = ...), and the share that may be out among those not read is "
            "worked out too."
        )
    ]


def sampling_words(found: Sampling, laid: bool = False) -> list[str]:
    """What the joints that were read say of all of them, and how many more would prove it.

    `laid` says that they were counted by laying the pattern.
    """
    makes = " " + say("that the pattern makes") if laid else ""
    if found.read == found.joints:
        return [
            several(
                found.joints,
                "All of {number} joint{makes} were read.",
                "All of {number} joints{makes} were read.",
                makes=makes,
            )
        ]
    said = say(
        "{read:,} of {joints:,} joints{makes} were read, {ends}. If they were chosen at random, at "
        "most {most:,} of all joints ({share:.1%}) are not within, at 95% confidence.",
        read=found.read,
        joints=found.joints,
        makes=makes,
        ends=say("{count:,} of them not within", count=found.bad)
        if found.bad
        else say("all of them within"),
        most=found.most_bad,
        share=found.most_share,
    )
    proves = say("That proves {share:.0%} within.", share=PROOF)
    if found.more is None:
        proves = say(
            "Too many are not within for {share:.0%} to be, whatever else is read.", share=PROOF
        )
    elif found.more:
        proves = say(
            "{count:,} more, chosen at random and all within, would prove {share:.0%} within.",
            count=found.more,
            share=PROOF,
        )
    return [said, proves]


def lippage_record(verdict: LippageVerdict) -> dict[str, Any]:
    """The verdict as plain data, lengths in millimeters; for JSON."""
    found = verdict.sampling
    return {
        "standard": f"{verdict.standard}:{verdict.grade}",
        "outcome": verdict.outcome,
        "decision": verdict.decision,
        "allowing_for_reading_error": verdict.guarded,
        "as_read": verdict.as_read,
        "share_within": round(verdict.share_within, 4),
        "warpage_mm": verdict.warpage_mm,
        "warpage_within_its_product_standard": verdict.met,
        "certainty": sorted({joint.rule.citation.certainty for joint in verdict.joints}),
        "sources_disagree": grade_of(f"{verdict.standard}:{verdict.grade}")[1].disputed or None,
        "joints": [
            {
                "at_mm": [round(joint.step.x_mm, 1), round(joint.step.y_mm, 1)],
                "step_mm": round(joint.step.step_mm, 3),
                "proud": joint.step.proud or None,
                "standard_uncertainty_mm": round(joint.step.u_mm, 3),
                "limit_mm": round(joint.limit_mm, 3),
                "limit_without_warpage_mm": round(joint.strict_mm, 3),
                "warpage_not_measured": joint.open,
                "outcome": verdict.ends(joint),
                "allowing_for_reading_error": joint.outcome,
                "as_read": joint.as_read,
                "rule": joint.rule.id,
                "where": joint.step.where,
            }
            for joint in verdict.joints
        ],
        "steps_off_every_joint": verdict.off,
        "sampling": None
        if found is None
        else {
            "joints": found.joints,
            "counted_by_laying_the_pattern": bool(verdict.counted and verdict.counted.laid),
            "read": found.read,
            "not_within": found.bad,
            "at_most_not_within": found.most_bad,
            "at_most_share": round(found.most_share, 5),
            "more_to_prove_99_percent": found.more,
        },
    }


def _limits(verdict: LippageVerdict, style: Style) -> str:
    """The limit, with and without the tile's warpage."""
    bare = _from_to([joint.strict_mm for joint in verdict.joints], style)
    if not any(joint.rule.adds_warpage for joint in verdict.joints):
        return say("Limit {limit}.", limit=bare)
    if verdict.warpage_mm is None:
        return say(
            "Limit {limit} and what the tile itself is bent, which was not measured: what stands "
            "higher is not assessed. Lay a few tiles on a flat bench and measure them.",
            limit=bare,
        )
    warpage = format_length(verdict.warpage_mm, style)
    if not verdict.met:
        return say(
            "Limit {limit}. The tile's measured warpage of {warpage} is not added: it is more than "
            "the tile's own product standard allows, or its edges ([tile] edges) were not said, on "
            "which that depends.",
            limit=bare,
            warpage=warpage,
        )
    return several(
        sum(joint.height_mm > joint.strict_mm + 1e-6 for joint in verdict.joints),
        "Limit {limit} and the tile's measured warpage of {warpage}: {full}. Against the strict "
        "{limit} alone {number} joint would be over.",
        "Limit {limit} and the tile's measured warpage of {warpage}: {full}. Against the strict "
        "{limit} alone {number} joints would be over.",
        limit=bare,
        warpage=warpage,
        full=_from_to([joint.limit_mm for joint in verdict.joints], style),
    )


def _from_to(limits_mm: list[float], style: Style) -> str:
    least, most = (format_length(end(limits_mm), style) for end in (min, max))
    return least if least == most else say("{least} to {most}", least=least, most=most)


def _counted(verdict: LippageVerdict) -> str:
    counts = {
        outcome: sum(verdict.ends(joint) is outcome for joint in verdict.joints)
        for outcome in Outcome
    }
    return several(
        len(verdict.joints),
        "{number} step read: {ends} ({share:.1%} within).",
        "{number} steps read: {ends} ({share:.1%} within).",
        ends=", ".join(f"{count} {say(outcome)}" for outcome, count in counts.items() if count),
        share=verdict.share_within,
    )


def class_of(style: Style) -> tuple[float, Style]:
    """The width of a class of the histogram [mm], by steps of a gauge, and how its end is said."""
    if style.unit == "in":
        return LENGTH_UNITS["in"] / 32, Style("in", 32)
    return 0.5, Style("mm", 16, 1)


def _rows(verdict: LippageVerdict, style: Style) -> list[str]:
    """The histogram, by steps of a gauge: 1/32 in, or half a millimeter."""
    width, fit = class_of(style)
    rows = histogram(verdict, width)
    most = max(count for _, _, count in rows)
    return [
        f"  {say('up to {height}', height=format_length(end, fit)):<14}   {count:>5}   "
        f"{'#' * max(round(BAR * count / most), 1 if count else 0)}".rstrip()
        for _, end, count in rows
    ]
