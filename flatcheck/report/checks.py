"""What the readings say of each other: the sentences about misreadings, loops and what is open."""

import math
from collections import Counter
from collections.abc import Sequence

import numpy as np
from scipy.spatial import cKDTree
from scipy.special import ndtri

from flatcheck.adjust import DOUBT
from flatcheck.assess import Assessment
from flatcheck.compass import side_of
from flatcheck.instrument import describe, fine, times
from flatcheck.misread import CHECKED, SIGNIFICANCE, Suspect
from flatcheck.network import places_of
from flatcheck.places import where
from flatcheck.readers.columns import said_length, said_slope
from flatcheck.readers.points import drift_words, drifts
from flatcheck.report.words import many
from flatcheck.surface import SAME_PLACE_MM
from flatcheck.survey import Benchmark, Gap, Observation, Reading, Survey, Tilt
from flatcheck.units import LENGTH_UNITS, Style, format_length, format_slope, typed_style
from flatcheck.zones import joined, zones_of

KINDS = {Reading: "heights", Gap: "gaps under a bar", Tilt: "level tilts", Benchmark: "benchmarks"}

ALONE = {Gap: "bars", Tilt: "levels", Benchmark: "benchmarks"}

OWN_WORDS = ("tilts", "benchmarks", "steps")
"""Kinds of table whose readings are as uncertain as they say themselves, or heights of no part."""

NAMED = 12
"""More readings than this are counted, not listed."""

HARDLY = 0.01
"""A scatter of less than this share of what was stated is none to speak of."""

MOSTLY = 0.8
"""Where more than this share of the readings that do not fit are of one setup it is in doubt."""

LEVEL = {"mm": 0.0005, "in": 1 / 768}
"""A floor that falls by less than half of what a slope is told to is called level: 0.5 mm in a
meter, 1/64 in in a foot."""


ONE_IN = round(1 / SIGNIFICANCE)
"""Of so many surveys without a slip one has some reading called misread."""


def checks(assessment: Assessment) -> list[str]:
    """How the other readings fit together, in the order a person would ask."""
    return [
        *_rests_on(assessment),
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
    said = (
        f"{untold:,} more {'does' if untold == 1 else 'do'} not fit either (--json names all): "
        f"{len(suspects):,} of {len(assessment.readings):,} readings were set aside. "
    )
    slips, setups = Counter[str](), Counter[str]()
    for suspect in suspects:
        if suspect.slip and suspect.slip.words.endswith(" off"):
            slips[suspect.slip.words] += 1
        if isinstance(suspect.observation, Reading):
            setups[_short(suspect.observation.setup)] += 1
    for slip, count in slips.most_common(1):
        if count > len(suspects) / 2:
            return f"{said}{count:,} are {slip}: the rod or rule was read from another mark."
    for setup, count in setups.most_common(1):
        if count > MOSTLY * len(suspects) and len(assessment.adjusted.setups) > 1:
            return (
                f"{said}{count:,} are of setup {setup}: its instrument probably moved; give what "
                "it read after that the name of another setup."
            )
    return (
        f"{said}So many are hardly slips: the uncertainty you gave is probably too small, or the "
        "instrument or the floor moved between the readings."
    )


def suspect_words(suspect: Suspect, assessment: Assessment) -> str:
    """A reading that does not fit: which, how far off, what it would be, what may have happened."""
    seen, style = suspect.observation, assessment.survey.show
    way = "high" if suspect.error_mm > 0 else "low"
    slip = f" ({suspect.slip.words}?)" if suspect.slip else ""
    if isinstance(seen, Tilt):
        length = math.dist(seen.start, seen.end)
        off = f"{format_length(abs(suspect.error_mm), style)} too {way} over its length"
        ratio = suspect.should_mm / length
        would = f"{format_slope(ratio, style)} or {math.degrees(math.atan(ratio)):.1f} degrees"
    else:
        # As the rod or rule is marked: that is where it will be read again.
        inches = typed_style([seen.text], seen.unit).unit == "in"
        if inches is not (style.unit == "in"):
            style = Style("in", 16) if inches else Style("mm", decimals=1)
        off = f"{format_length(abs(suspect.error_mm), style)} too {way}"
        would = format_length(suspect.should_mm, style)
    return (
        f"Reading {_named(suspect, assessment)} does not fit: {seen.text!r} reads {off}, would be "
        f"{would}{slip}. It was set aside; read it again."
    )


def _contradiction(group: Sequence[Suspect], assessment: Assessment) -> str:
    """Readings of which one is wrong and nothing tells which, with the slip that explains it."""
    slips = [f" ({one.slip.words}?)" if one.slip else "" for one in group]
    shared = slips[0] if len(set(slips)) == 1 else ""
    if len(group) > NAMED:
        named = f"{len(group)} readings ({', '.join(str(one.number) for one in group)})"
    else:
        each = [
            f"{_named(one, assessment)} {one.observation.text!r}{'' if shared else slip}"
            for one, slip in zip(group, slips, strict=True)
        ]
        named = f"Readings {_list(each)}"
    none = "Neither" if len(group) == 2 else "None of them"
    return (
        f"{named} contradict each other: one is wrong{shared}, and nothing tells which. {none} was "
        "used; read them again."
    )


def _named(suspect: Suspect, assessment: Assessment) -> str:
    """A reading's number, with its cell and its place on the floor."""
    place = where(
        assessment.surface.room, places_of(suspect.observation)[0], assessment.survey.show
    )
    return f"{suspect.number} ({suspect.observation.where}; {place})"


def _short(setup: str) -> str:
    """A setup's own name, without the sense it was read in."""
    return setup.split(" ", 1)[1]


def _rests_on(assessment: Assessment) -> list[str]:
    """What each separate part of the floor rests on; nothing for one setup read once."""
    known = assessment.adjusted
    kept = _kept(assessment)
    pieces = int(known.piece.max()) + 1
    said = []
    if pieces > 1:
        said.append(
            f"The readings fall into {pieces} pieces that no reading joins; each is judged alone, "
            "and nothing is known of steps between them."
        )
    said += _zones(assessment)
    counted = _counts([seen for seen, _ in kept])
    if len(assessment.parts) > 1:
        for piece in assessment.parts:
            own = set(piece.stations.tolist())
            of = _counts([seen for seen, stations in kept if own.intersection(stations)])
            said.append(f"{piece.name} rests on {_list(of)}.")
    elif len(known.setups) > 1 or len(counted) > 1:
        said.append(f"The {assessment.surface.room.about} rests on {_list(counted)}.")
    said += _alone(kept, len(assessment.surface.xy_mm))
    unchecked = int(np.count_nonzero(known.redundancy < CHECKED))
    if unchecked == len(known.redundancy):
        # A closing reading has served to take the drift out, and is no check any more.
        once = (known.reads <= 1).all() and not any(map(drifts, assessment.survey.tables))
        why = "Every place was read once" if once else "No reading has another to check it"
        said.append(f"{why}: nothing would show a misreading.")
    elif unchecked:
        said.append(
            f"{unchecked} of {len(known.redundancy)} readings have no check on them "
            f"({many(int(np.count_nonzero(known.reads == 1)), 'place')} read once): a slip there "
            "would go unseen."
        )
    return said


def _zones(assessment: Assessment) -> list[str]:
    """Which zones were judged together, and that no bar was laid across the lines of others."""
    survey, room = assessment.survey, assessment.surface.room
    said = [
        f"{name} are meant alike and adjoin, so they are judged as one floor; where one is to "
        "lie at a height of its own, say apart = true in its zone."
        for name in joined(survey, room)
    ]
    if len(zones_of(survey, room)) > 1:
        said.append(
            "Zones that differ or stand apart are judged each by itself; no bar was laid across "
            "the lines where they meet."
        )
    return said


def _kept(assessment: Assessment) -> list[tuple[Observation, list[int]]]:
    """The readings that were used, each with the stations of the surface that it touches."""
    aside = {suspect.number for suspect in assessment.adjusted.suspects}
    places = [places_of(seen) for seen in assessment.readings]
    tree = cKDTree(assessment.surface.xy_mm)
    away, nearest = tree.query([place for several in places for place in several])
    stations = np.where(away < 2 * SAME_PLACE_MM, nearest, -1)
    ends = np.cumsum([len(several) for several in places])[:-1]
    return [
        (seen, [int(k) for k in own if k >= 0])
        for number, (seen, own) in enumerate(
            zip(assessment.readings, np.split(stations, ends), strict=True), 1
        )
        if number not in aside
    ]


def _alone(kept: Sequence[tuple[Observation, list[int]]], count: int) -> list[str]:
    """How many places rest on one setup, on bars or on levels alone, where there are several."""
    sources: list[set[str]] = [set() for _ in range(count)]
    for seen, stations in kept:
        name = f"setup {_short(seen.setup)}" if isinstance(seen, Reading) else ALONE[type(seen)]
        for station in stations:
            sources[station].add(name)
    if len(set().union(*sources)) < 2:
        return []
    alone = Counter(next(iter(names)) for names in sources if len(names) == 1)
    told = [(number, f"on {name} alone") for name, number in alone.items()]
    told.append((sum(len(names) > 1 for names in sources), "on more than one of these"))
    told.append((sources.count(set()), "on nothing that could be used"))
    said = [f"{number} {what}" for number, what in told if number]
    if len(said) == 1:
        return [f"Every place rests {said[0].partition(' ')[2]}."]
    return [f"Of {many(count, 'place')}, by what they rest on: {_list(said)}."]


def _counts(readings: Sequence[Observation]) -> list[str]:
    """How many readings of each kind, and from what."""
    setups = Counter(_short(r.setup) for r in readings if isinstance(r, Reading))
    said = [f"{many(count, 'height')} from setup {name}" for name, count in setups.items()]
    bars = {r.placement for r in readings if isinstance(r, Gap)}
    gaps = sum(isinstance(r, Gap) for r in readings)
    if bars:
        said.append(f"{many(gaps, 'gap')} under {many(len(bars), 'placement')} of a bar")
    for kind, noun in ((Tilt, "level tilt"), (Benchmark, "benchmark")):
        count = sum(isinstance(r, kind) for r in readings)
        if count:
            said.append(many(count, noun))
    return said


def accuracy(survey: Survey) -> list[str]:
    """How near one reading of each table is taken to be to the truth, and by what rule."""
    told: dict[str, list[str]] = {}
    for table in survey.tables:
        own = table.kind == "benchmarks" and table.own_u
        if table.stated and (own or table.kind not in OWN_WORDS):
            said = describe(table.stated, table.sight_mm, survey.show)
            told.setdefault(said, []).append(table.name)
    if len(told) == 1:
        return [f"One reading: {said}" for said in told]
    return [f"One reading of {_list(names)}: {said}" for said, names in told.items()]


def _setups(assessment: Assessment) -> list[str]:
    """How high the instrument stood at each setup against the first it is tied to."""
    style, said = assessment.survey.show, []
    for name, first, height, u in assessment.adjusted.setups:
        if name != first and np.isfinite(u):
            stood = (
                f"{format_length(abs(height), style)} {'higher' if height > 0 else 'lower'} than"
            )
            if format_length(height, style) == format_length(0, style):
                stood = "as high as"
            said.append(
                f"At setup {_short(name)} the instrument stood {stood} at setup {_short(first)} "
                f"(give or take {fine(2 * u, style)})."
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
            way = "rises" if sight > 0 else "falls"
            off = abs(sight) * LENGTH_UNITS["m"]
            said.append(
                f"The readings of {table.name} were corrected for a sight that {way} "
                f"{fine(off, Style('mm'))} in a meter."
            )
        if bow:
            said.append(
                f"The gaps of {table.name} were corrected for a bar with an arch of "
                f"{fine(bow, survey.show)} at its middle."
            )
    return said


def _repeats(assessment: Assessment) -> list[str]:
    """How well places that one setup read again came out the same."""
    style, said = assessment.survey.show, []
    for seen in assessment.adjusted.repeats:
        setup, apart = _short(seen.setup), fine(seen.apart_mm, style)
        if not seen.closing or seen.count > 1:
            most = fine(-float(ndtri(DOUBT / 2 / seen.count)) * seen.u_mm, style)
            said.append(
                f"From setup {setup} places were read again, by {many(seen.count, 'reading')}; the "
                f"worst differ by {apart}, where up to {most} is to be expected. All were used."
            )
        elif seen.apart_mm <= 2 * seen.u_mm:
            near = f" within {apart}, no more than reading error" if seen.apart_mm else " exactly"
            said.append(
                f"The last reading of setup {setup} came back to its first{near}; both were used."
            )
        else:
            said.append(
                f"The last reading of setup {setup} missed its first by {apart}, more than reading "
                f"error usually does ({fine(2 * seen.u_mm, style)}); both were used. If the "
                "instrument drifted, say warmed_up = true in the table's entry, and the miss is "
                "spread over the readings in between."
            )
    return said


def _snooped(assessment: Assessment) -> list[str]:
    """How sure it is that a reading was misread, where one was."""
    if not assessment.adjusted.suspects:
        return []
    limit = assessment.adjusted.fit.critical
    return [
        f"A reading is called misread where it is off by more than {limit:.1f} times what reading "
        f"error explains; that befalls one in {ONE_IN} surveys without a slip."
    ]


def _fit(assessment: Assessment) -> list[str]:
    """Whether the readings scatter as much as was said: the chi-square test, in words."""
    fit = assessment.adjusted.fit
    if not fit.redundancy:
        return []
    more = fit.sigma0 if fit.sigma0 > 1 and fit.chance < DOUBT else 1.0
    spare = f"{many(fit.redundancy, 'reading')} to spare"
    if fit.wider:
        return [
            f"The uncertainty you gave for {KINDS[kind]} is too small: they scatter "
            f"{times(by * more)} times as much. What they show was used instead ({spare})."
            for kind, by in fit.wider
        ]
    spare += f"; they scatter {times(fit.sigma0)} times as much"
    if fit.chance >= DOUBT:
        return [
            f"The readings fit together as well as you said they would ({spare}; chi-square test "
            "passed)."
        ]
    if fit.sigma0 > 1:
        return [
            "The readings disagree more than the uncertainty you gave allows: it is too small, or "
            f"something moved ({spare}; chi-square test failed). What they show was used instead."
        ]
    if fit.sigma0 < HARDLY:
        spare = f"{many(fit.redundancy, 'reading')} to spare; they hardly differ at all"
    return [
        "The readings agree better than the uncertainty you gave; it may be smaller than you said "
        f"({spare}). What you gave was used."
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
    which = "it misses" if len(found) == 1 else "the worst misses"
    back = "returns to its start" if len(found) == 1 else "return to their start"
    said = (
        f"{many(len(found), 'loop')} of readings {back}; {which} by "
        f"{fine(abs(worst.misclosure_mm), style)} over {many(len(worst.readings), 'reading')}, "
        f"where up to {fine(allowed, style)} is to be expected"
    )
    if abs(worst.misclosure_mm) <= allowed:
        return [f"{said}."]
    if len(worst.readings) > NAMED:
        return [f"{said}: too much, from reading {worst.readings[0]} on."]
    return [f"{said}: too much (readings {', '.join(map(str, worst.readings))})."]


def _falls(assessment: Assessment) -> list[str]:
    """How each part lies as a whole, or that the readings do not tell."""
    style, room = assessment.survey.show, assessment.surface.room
    said = []
    for piece in assessment.parts:
        if len(piece.faces) > 1:
            continue  # told plane by plane
        name = f"{piece.name}: " if len(assessment.parts) > 1 else ""
        if piece.fall is None:
            said.append(
                f"{name}Fall not assessed: the readings fix the shape of the floor, but not how "
                "it lies. Add laser readings, or level tilts in two directions."
                if not room.upright
                else f"{name}Plumb not assessed: the readings fix the shape of the wall, but not "
                "how it stands. Read it from a plumb laser plane, or with an upright level."
            )
        elif room.upright:
            said.append(f"{name}{_stands(piece.fall, style)}")
        elif piece.fall[0] > max(2 * piece.fall[2], LEVEL[style.unit]):
            ratio, bearing, _ = piece.fall
            said.append(
                f"{name}As a whole the floor falls {format_slope(ratio, style)} to the "
                f"{side_of(bearing)}."
            )
        else:
            said.append(f"{name}As a whole the floor is level, as far as the readings tell.")
    return said


def _stands(fall: tuple[float, float, float], style: Style) -> str:
    """How a wall leans as a whole: heights are toward the room."""
    ratio, bearing, spread = fall
    rise = -ratio * math.cos(math.radians(bearing))  # of the wall toward the room, up the wall
    if abs(rise) <= max(2 * spread, LEVEL[style.unit]):
        return "As a whole the wall is plumb, as far as the readings tell."
    way = "into the room" if rise > 0 else "away from the room"
    return f"As a whole the wall leans {way} toward its top, {format_slope(abs(rise), style)}."


def _list(parts: list[str]) -> str:
    if not parts:
        return "nothing that could be used"
    return ", ".join(parts[:-1]) + f" and {parts[-1]}" if len(parts) > 1 else parts[0]
