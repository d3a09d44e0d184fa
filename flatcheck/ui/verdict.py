"""The verdict on the page: each rule in words, the map, and the floor under the worst bar."""

from html import escape

import streamlit as st

from flatcheck.assess import Assessment
from flatcheck.falls import plane_falls
from flatcheck.language import say
from flatcheck.report.doubts import doubts
from flatcheck.report.misread import misread
from flatcheck.report.relief import worst_of
from flatcheck.report.section import profile_of
from flatcheck.report.text import SPOTS, cite
from flatcheck.report.words import (
    beside,
    disputes,
    explain,
    outcome_of,
    shape_words,
    spot_words,
    tile_size,
    titles,
)
from flatcheck.ui.compare import comparison
from flatcheck.ui.figures import floor_map
from flatcheck.ui.markup import chosen_station, draw, paragraphs, word, write
from flatcheck.ui.reach import add_reach, reach_chosen
from flatcheck.ui.section import profile_figure
from flatcheck.ui.slide import slide
from flatcheck.ui.solid import solid
from flatcheck.verdict import Finding

MAP_KEY = say(
    "Red stands above the required plane, blue below; interpolated between readings, which are "
    "the dots. The thick line is where it is worst. Gray was not read."
)
PLANES_KEY = say("Each part that falls has its own plane.")
SPOT_KEY = say(
    "▲ high, ▼ low: filled where beyond reading error, hollow where it may be reading error."
)


def floor_words(assessment: Assessment) -> str:
    """Which floor was judged, and for which tile: what stands beside the word of a verdict."""
    survey = assessment.survey
    if survey.tile is None:
        return survey.title
    tile = tile_size(survey.tile, survey.show)
    return say("for {tile} tile: {title}", tile=tile, title=survey.title)


def verdict(assessment: Assessment) -> None:
    """The verdict in words, the map with its spots, and the worst place from the side."""
    found = assessment.verdict
    write(
        f"<h2>{word(found.outcome)} {escape(floor_words(assessment))}</h2>",
        f"<p>{escape(beside(found))}</p>",
        paragraphs(titles(found), "fine"),
        paragraphs(disputes(found), "warn"),
        paragraphs([*misread(assessment), *doubts(assessment)], "warn"),
        *(_rule(finding, assessment) for finding in found.findings),
        paragraphs(shape_words(assessment)),
    )
    _floor(assessment)
    solid(assessment)
    comparison(assessment)
    citations = dict.fromkeys(cite(finding.rule.citation) for finding in found.findings)
    write(paragraphs(citations, "fine"))


@st.fragment
def _floor(assessment: Assessment) -> None:
    """The map, its spots, and the floor from the side: at the place chosen on it, or the worst."""
    survey, found = assessment.survey, assessment.verdict
    write(f"<h3>{say('Where it is high and low')}</h3>")
    drawing, hatched = floor_map(assessment), reach_chosen(assessment)
    if hatched and hatched.reach:
        add_reach(drawing, hatched.reach)
    station = chosen_station(drawing, "map", survey.title)
    key = [MAP_KEY, *[PLANES_KEY] * bool(plane_falls(assessment)), *[SPOT_KEY] * bool(found.spots)]
    write(f"<p class=fine>{' '.join(key)}</p>", _spots(assessment))
    finding = worst_of(assessment)
    if station is not None:
        write(f"<h3>{say('The floor from the side')}</h3>")
        slide(assessment, station)
    elif finding:
        write(
            f"<h3>{say('The worst place, from the side')}</h3>",
            paragraphs([finding.rule.words]),
        )
        draw(profile_figure(profile_of(assessment, finding), survey.show), "profile")
        instead = say("Choose a reading on the map to lay the bar there instead.")
        write(f"<p class=fine>{instead}</p>")


def _rule(finding: Finding, assessment: Assessment) -> str:
    zone = f"{finding.zone}: " if len(assessment.parts) > 1 else ""
    said = "".join(f"<p>{escape(words)}</p>" for words in explain(finding, assessment))
    outcome = outcome_of(finding, assessment.verdict.decision)
    return (
        f"<div class=rule><p>{word(outcome)} <b>{escape(zone + finding.rule.words)}</b></p>"
        f"{said}</div>"
    )


def _spots(assessment: Assessment) -> str:
    """The spots as a table; their numbers are the ones on the map."""
    room, spots = assessment.surface.room, assessment.verdict.spots
    rows = "".join(
        f"<tr><td><b>{spot.number}</b></td><td>{'▲' if spot.high else '▼'}</td>"
        f"<td>{escape(spot_words(spot, room, assessment.survey.show))}</td></tr>"
        for spot in spots[:SPOTS]
    )
    more = say("{count} more, gentler ones are in the JSON.", count=len(spots) - SPOTS)
    below = f"<p>{more}</p>" if len(spots) > SPOTS else ""
    return f"<table>{rows}</table>{below}" if spots else ""
