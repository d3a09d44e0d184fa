"""Readings that do not fit the others, in words: which, how far off, and what may have happened."""

import math
from collections import Counter
from collections.abc import Sequence

import numpy as np

from flatcheck.assess import Assessment
from flatcheck.language import say, several
from flatcheck.misread import Suspect
from flatcheck.network import places_of
from flatcheck.places import where
from flatcheck.survey import Reading, Tilt
from flatcheck.units import Style, format_length, format_slope, typed_style

NAMED = 12
"""More readings than this are counted, not listed."""

MOSTLY = 0.8
"""Where more than this share of the readings that do not fit are of one setup it is in doubt."""


def misread(assessment: Assessment) -> list[str]:
    """The readings that do not fit the others, each with what it would be.

    Readings that contradict each other are told together. Of more than NAMED those farthest off are
    told, and of the others how many they are and why there may be so many.
    """
    said, suspects = [], assessment.adjusted.suspects
    by_number = {suspect.number: suspect for suspect in suspects}
    told = [one for one in suspects if not one.others or one.number < min(one.others)]
    farthest = sorted(told, key=lambda one: -abs(np.nan_to_num(one.score)))[:NAMED]
    for suspect in told:
        if suspect not in farthest:
            continue
        if not suspect.others:
            said.append(suspect_words(suspect, assessment))
        else:
            group = [suspect, *(by_number[number] for number in suspect.others)]
            said.append(_contradiction(group, assessment))
    if len(told) > NAMED:
        said.append(_so_many(suspects, len(told) - NAMED, assessment))
    return said


def _so_many(suspects: Sequence[Suspect], untold: int, assessment: Assessment) -> str:
    """How many more readings do not fit, and what so many have in common."""
    said = several(
        untold,
        "{number:,} more does not fit either (--json names all): {aside:,} of {readings:,} "
        "readings were set aside.",
        "{number:,} more do not fit either (--json names all): {aside:,} of {readings:,} readings "
        "were set aside.",
        aside=len(suspects),
        readings=len(assessment.readings),
    )
    return f"{said} {_in_common(suspects, assessment)}"


def _in_common(suspects: Sequence[Suspect], assessment: Assessment) -> str:
    """What most of many readings that do not fit have in common."""
    slips, setups = Counter[str](), Counter[str]()
    for suspect in suspects:
        if suspect.slip and suspect.slip.of_mark:
            slips[suspect.slip.words] += 1
        if isinstance(suspect.observation, Reading):
            setups[short(suspect.observation.setup)] += 1
    for slip, count in slips.most_common(1):
        if count > len(suspects) / 2:
            return say(
                "{count:,} are {slip}: the rod or rule was read from another mark.",
                count=count,
                slip=slip,
            )
    for setup, count in setups.most_common(1):
        if count > MOSTLY * len(suspects) and len(assessment.adjusted.setups) > 1:
            return say(
                "{count:,} are of setup {setup}: its instrument probably moved; give what it read "
                "after that the name of another setup.",
                count=count,
                setup=setup,
            )
    return say(
        "So many are hardly slips: the uncertainty you gave is probably too small, or the "
        "instrument or the floor moved between the readings."
    )


def suspect_words(suspect: Suspect, assessment: Assessment) -> str:
    """A reading that does not fit: which, how far off, what it would be, what may have happened."""
    seen, style = suspect.observation, assessment.survey.show
    slip = f" ({suspect.slip.words}?)" if suspect.slip else ""
    if isinstance(seen, Tilt):
        off = say("{off} over its length", off=_too(suspect.error_mm, style))
        ratio = suspect.should_mm / math.dist(seen.start, seen.end)
        would = say(
            "{slope} or {degrees:.1f} degrees",
            slope=format_slope(ratio, style),
            degrees=math.degrees(math.atan(ratio)),
        )
    else:
        # As the rod or rule is marked: that is where it will be read again.
        inches = typed_style([seen.text], seen.unit).unit == "in"
        if inches is not (style.unit == "in"):
            style = Style("in", 16) if inches else Style("mm", decimals=1)
        off = _too(suspect.error_mm, style)
        would = format_length(suspect.should_mm, style)
    return say(
        "Reading {which} does not fit: {reading} reads {off}, would be {would}{slip}. It was set "
        "aside; read it again.",
        which=_named(suspect, assessment),
        reading=repr(seen.text),
        off=off,
        would=would,
        slip=slip,
    )


def _too(error_mm: float, style: Style) -> str:
    """How much too high or too low."""
    much = format_length(abs(error_mm), style)
    return say("{much} too high", much=much) if error_mm > 0 else say("{much} too low", much=much)


def _contradiction(group: Sequence[Suspect], assessment: Assessment) -> str:
    """Readings of which one is wrong and nothing tells which, with the slip that explains it."""
    slips = [f" ({one.slip.words}?)" if one.slip else "" for one in group]
    shared = slips[0] if len(set(slips)) == 1 else ""
    if len(group) > NAMED:
        named = say(
            "{count} readings ({numbers})",
            count=len(group),
            numbers=", ".join(str(one.number) for one in group),
        )
    else:
        each = [
            f"{_named(one, assessment)} {one.observation.text!r}{'' if shared else slip}"
            for one, slip in zip(group, slips, strict=True)
        ]
        named = say("Readings {readings}", readings=listed(each))
    if len(group) == 2:
        return say(
            "{readings} contradict each other: one is wrong{slip}, and nothing tells which. "
            "Neither was used; read them again.",
            readings=named,
            slip=shared,
        )
    return say(
        "{readings} contradict each other: one is wrong{slip}, and nothing tells which. None of "
        "them was used; read them again.",
        readings=named,
        slip=shared,
    )


def _named(suspect: Suspect, assessment: Assessment) -> str:
    """A reading's number, with its cell and its place on the floor."""
    place = where(
        assessment.surface.room, places_of(suspect.observation)[0], assessment.survey.show
    )
    return f"{suspect.number} ({suspect.observation.where}; {place})"


def short(setup: str) -> str:
    """A setup's own name, without the sense it was read in."""
    return setup.split(" ", 1)[1]


def listed(parts: list[str]) -> str:
    """Several things in a sentence."""
    if not parts:
        return say("nothing that could be used")
    if len(parts) == 1:
        return parts[0]
    return say("{several} and {last}", several=", ".join(parts[:-1]), last=parts[-1])
