"""What the readings say of each other: the sentences about setups, repeats, loops and scatter."""

import math

import numpy as np
from scipy.special import ndtri

from flatcheck.adjust import DOUBT
from flatcheck.assess import Assessment
from flatcheck.compass import side_of
from flatcheck.instrument import describe, fine, times
from flatcheck.language import say, several
from flatcheck.misread import SIGNIFICANCE
from flatcheck.readers.columns import said_length, said_slope
from flatcheck.readers.points import drift_words
from flatcheck.report.basis import rests_on
from flatcheck.report.misread import NAMED, listed, short
from flatcheck.survey import Benchmark, Gap, Reading, Survey, Tilt
from flatcheck.units import LENGTH_UNITS, Style, format_length, format_slope

KINDS = {
    Reading: say("heights"),
    Gap: say("gaps under a bar"),
    Tilt: say("level tilts"),
    Benchmark: say("benchmarks"),
}

OWN_WORDS = ("tilts", "benchmarks", "steps")
"""Kinds of table whose readings are as uncertain as they say themselves, or heights of no part."""

HARDLY = 0.01
"""A scatter of less than this share of what was stated is none to speak of."""

LEVEL = {"mm": 0.0005, "in": 1 / 768}
"""A floor that falls by less than half of what a slope is told to is called level: 0.5 mm in a
meter, 1/64 in in a foot."""


ONE_IN = round(1 / SIGNIFICANCE)
"""Of so many surveys without a slip one has some reading called misread."""


def checks(assessment: Assessment) -> list[str]:
    """How the other readings fit together, in the order a person would ask."""
    return [
        *rests_on(assessment),
        *_setups(assessment),
        *_corrections(assessment.survey),
        *(
            words
            for table in assessment.survey.tables
            for words in drift_words(table, assessment.survey.show)
        ),
        *_repeats(assessment),
        *accuracy(assessment.survey),
        *_snooped(assessment),
        *_fit(assessment),
        *_loops(assessment),
        *_falls(assessment),
    ]


def accuracy(survey: Survey) -> list[str]:
    """How near one reading of each table is taken to be to the truth, and by what rule."""
    told: dict[str, list[str]] = {}
    for table in survey.tables:
        own = table.kind == "benchmarks" and table.own_u
        if table.stated and (own or table.kind not in OWN_WORDS):
            said = describe(table.stated, table.sight_mm, survey.show)
            told.setdefault(said, []).append(table.name)
    if len(told) == 1:
        return [say("One reading: {accuracy}", accuracy=said) for said in told]
    return [
        say("One reading of {tables}: {accuracy}", tables=listed(names), accuracy=said)
        for said, names in told.items()
    ]


def _setups(assessment: Assessment) -> list[str]:
    """How high the instrument stood at each setup against the first it is tied to."""
    style, said = assessment.survey.show, []
    for name, first, height, u in assessment.adjusted.setups:
        if name != first and np.isfinite(u):
            apart = format_length(abs(height), style)
            stood = say("{height} lower than", height=apart)
            if format_length(height, style) == format_length(0, style):
                stood = say("as high as")
            elif height > 0:
                stood = say("{height} higher than", height=apart)
            said.append(
                say(
                    "At setup {setup} the instrument stood {stood} at setup {first} (give or take "
                    "{spread}).",
                    setup=short(name),
                    stood=stood,
                    first=short(first),
                    spread=fine(2 * u, style),
                )
            )
    return said


def _corrections(survey: Survey) -> list[str]:
    """What was taken off readings for the instrument's own error, as was asked for."""
    said = []
    for table in survey.tables:
        sight, bow = (
            said_slope(table, "collimation", "ratio"),
            said_length(table, "bow", table.unit),
        )
        if sight:
            off = fine(abs(sight) * LENGTH_UNITS["m"], Style("mm"))
            said.append(
                say(
                    "The readings of {table} were corrected for a sight that rises {height} in a "
                    "meter.",
                    table=table.name,
                    height=off,
                )
                if sight > 0
                else say(
                    "The readings of {table} were corrected for a sight that falls {height} in a "
                    "meter.",
                    table=table.name,
                    height=off,
                )
            )
        if bow:
            said.append(
                say(
                    "The gaps of {table} were corrected for a bar with an arch of {height} at its "
                    "middle.",
                    table=table.name,
                    height=fine(bow, survey.show),
                )
            )
    return said


def _repeats(assessment: Assessment) -> list[str]:
    """How well places that one setup read again came out the same."""
    style, said = assessment.survey.show, []
    for seen in assessment.adjusted.repeats:
        setup, apart = short(seen.setup), fine(seen.apart_mm, style)
        if not seen.closing or seen.count > 1:
            most = fine(-float(ndtri(DOUBT / 2 / seen.count)) * seen.u_mm, style)
            said.append(
                several(
                    seen.count,
                    "From setup {setup} places were read again, by {number} reading; the worst "
                    "differ by {apart}, where up to {most} is to be expected. All were used.",
                    "From setup {setup} places were read again, by {number} readings; the worst "
                    "differ by {apart}, where up to {most} is to be expected. All were used.",
                    setup=setup,
                    apart=apart,
                    most=most,
                )
            )
        elif seen.apart_mm <= 2 * seen.u_mm:
            near = say("within {apart}, no more than reading error", apart=apart)
            said.append(
                say(
                    "The last reading of setup {setup} came back to its first {near}; both were "
                    "used.",
                    setup=setup,
                    near=near if seen.apart_mm else say("exactly"),
                )
            )
        else:
            said.append(
                say(
                    "The last reading of setup {setup} missed its first by {apart}, more than "
                    "reading error usually does ({usual}); both were used. If the instrument "
                    "drifted, say warmed_up = true in the table's entry, and the miss is spread "
                    "over the readings in between.",
                    setup=setup,
                    apart=apart,
                    usual=fine(2 * seen.u_mm, style),
                )
            )
    return said


def _snooped(assessment: Assessment) -> list[str]:
    """How sure it is that a reading was misread, where one was."""
    if not assessment.adjusted.suspects:
        return []
    limit = assessment.adjusted.fit.critical
    return [
        say(
            "A reading is called misread where it is off by more than {limit:.1f} times what "
            "reading error explains; that befalls one in {surveys} surveys without a slip.",
            limit=limit,
            surveys=ONE_IN,
        )
    ]


def _fit(assessment: Assessment) -> list[str]:
    """Whether the readings scatter as much as was said: the chi-square test, in words."""
    fit = assessment.adjusted.fit
    if not fit.redundancy:
        return []
    more = fit.sigma0 if fit.sigma0 > 1 and fit.chance < DOUBT else 1.0
    spare = several(fit.redundancy, "{number} reading to spare", "{number} readings to spare")
    if fit.wider:
        return [
            say(
                "The uncertainty you gave for {kind} is too small: they scatter {times} times as "
                "much. What they show was used instead ({spare}).",
                kind=KINDS[kind],
                times=times(by * more),
                spare=spare,
            )
            for kind, by in fit.wider
        ]
    hardly = fit.sigma0 < HARDLY and fit.chance < DOUBT
    scatter = say("they scatter {times} times as much", times=times(fit.sigma0))
    spare = f"{spare}; {say('they hardly differ at all') if hardly else scatter}"
    if fit.chance >= DOUBT:
        return [
            say(
                "The readings fit together as well as you said they would ({spare}; chi-square "
                "test passed).",
                spare=spare,
            )
        ]
    if fit.sigma0 > 1:
        return [
            say(
                "The readings disagree more than the uncertainty you gave allows: it is too small, "
                "or something moved ({spare}; chi-square test failed). What they show was used "
                "instead.",
                spare=spare,
            )
        ]
    return [
        say(
            "The readings agree better than the uncertainty you gave; it may be smaller than you "
            "said ({spare}). What you gave was used.",
            spare=spare,
        )
    ]


def _loops(assessment: Assessment) -> list[str]:
    """How well the loops close that do not run through a misread reading."""
    aside = {suspect.number for suspect in assessment.adjusted.suspects}
    found = [loop for loop in assessment.adjusted.loops if not aside & set(loop.readings)]
    if not found:
        return []
    style, worst = assessment.survey.show, found[0]
    # The worst of several good loops misses by more than one good loop does.
    allowed = -float(ndtri(DOUBT / 2 / len(found))) * worst.u_mm
    said = several(
        len(found),
        "{number} loop of readings returns to its start; it misses by {miss} over {readings}, "
        "where up to {allowed} is to be expected",
        "{number} loops of readings return to their start; the worst misses by {miss} over "
        "{readings}, where up to {allowed} is to be expected",
        miss=fine(abs(worst.misclosure_mm), style),
        readings=several(len(worst.readings), "{number} reading", "{number} readings"),
        allowed=fine(allowed, style),
    )
    if abs(worst.misclosure_mm) <= allowed:
        return [f"{said}."]
    much = say("too much (readings {numbers})", numbers=", ".join(map(str, worst.readings)))
    if len(worst.readings) > NAMED:
        much = say("too much, from reading {number} on", number=worst.readings[0])
    return [f"{said}: {much}."]


def _falls(assessment: Assessment) -> list[str]:
    """How each part lies as a whole, or that the readings do not tell."""
    style, room = assessment.survey.show, assessment.surface.room
    said = []
    for piece in assessment.parts:
        if len(piece.faces) > 1:
            continue  # told plane by plane
        name = f"{piece.name}: " if len(assessment.parts) > 1 else ""
        how = _stands if room.upright else _lies
        said.append(f"{name}{how(piece.fall, style)}")
    return said


def _lies(fall: tuple[float, float, float] | None, style: Style) -> str:
    """How a floor falls as a whole."""
    if fall is None:
        return say(
            "Fall not assessed: the readings fix the shape of the floor, but not how it lies. Add "
            "laser readings, or level tilts in two directions."
        )
    ratio, bearing, spread = fall
    if ratio <= max(2 * spread, LEVEL[style.unit]):
        return say("As a whole the floor is level, as far as the readings tell.")
    return say(
        "As a whole the floor falls {slope} to the {side}.",
        slope=format_slope(ratio, style),
        side=side_of(bearing),
    )


def _stands(fall: tuple[float, float, float] | None, style: Style) -> str:
    """How a wall leans as a whole: heights are toward the room."""
    if fall is None:
        return say(
            "Plumb not assessed: the readings fix the shape of the wall, but not how it stands. "
            "Read it from a plumb laser plane, or with an upright level."
        )
    ratio, bearing, spread = fall
    rise = -ratio * math.cos(math.radians(bearing))  # of the wall toward the room, up the wall
    if abs(rise) <= max(2 * spread, LEVEL[style.unit]):
        return say("As a whole the wall is plumb, as far as the readings tell.")
    slope = format_slope(abs(rise), style)
    if rise > 0:
        return say("As a whole the wall leans into the room toward its top, {slope}.", slope=slope)
    return say("As a whole the wall leans away from the room toward its top, {slope}.", slope=slope)
