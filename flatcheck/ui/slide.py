"""A place chosen on the map, and the bar that is slid through it."""

import streamlit as st

from flatcheck.assess import Assessment
from flatcheck.language import say
from flatcheck.places import where
from flatcheck.report.slide import Row, laid, rows_through, starts
from flatcheck.rules import Rule
from flatcheck.ui.markup import draw, paragraphs, write
from flatcheck.ui.section import profile_figure
from flatcheck.units import Style, format_distance, format_length
from flatcheck.verdict import place_of

LAID = ("resting", "blocks")
"""Measures that lay a bar."""


def slide(assessment: Assessment, station: int) -> None:
    """The floor through a place: which way, where the bar lies, and the gap beneath it there."""
    rules = {f.rule.words: f.rule for f in assessment.verdict.findings if f.rule.measure in LAID}
    rows = rows_through(assessment, station)
    place = where(
        assessment.surface.room,
        place_of(assessment.surface.xy_mm[station]),
        assessment.survey.show,
    )
    if not rules or not rows:
        why = (
            say("The place you chose: {place}; no rule lays a bar here.", place=place)
            if rows
            else say(
                "The place you chose: {place}; no row of readings runs through it.", place=place
            )
        )
        write(paragraphs([why]))
        return
    on = say("A bar laid through the place you chose, {place}, on its high points.", place=place)
    write(paragraphs([on]))
    across = st.container(horizontal=True)
    ways = {row.start: row for row in rows}
    way = across.radio(say("Bar from the"), list(ways), horizontal=True, key="bar way")
    chosen = next(iter(rules))
    if len(rules) > 1:
        chosen = across.selectbox(say("Rule"), list(rules), key="bar rule")
    _laid(assessment, ways[way], station, rules[chosen])


def _laid(assessment: Assessment, row: Row, station: int, rule: Rule) -> None:
    """The bar where it was slid to; at first with the chosen place as near its middle as can be."""
    style = assessment.survey.show
    length = rule.length_mm or float(row.along_mm[-1])
    begins = starts(row, length)
    own = row.face.stations
    here = next(p.stations[own] for p in assessment.parts if row.face in p.faces)[row.stations]
    at = float(row.along_mm[list(here).index(station)])
    nearest = min(begins, key=lambda start: abs(start + length / 2 - at))
    if len(begins) > 1:
        start = st.select_slider(
            say("Bar begins, from the {side} end of the readings", side=row.start),
            begins,
            nearest,
            lambda mm: format_distance(mm, style),
            key=f"bar at {station} {row.start} {length:g}",
        )
    else:
        start = begins[0]
    profile = laid(assessment, row, start, rule)
    write(paragraphs([_gap_words(profile.gap_mm, profile.limit_mm, profile.span_mm, style)]))
    draw(profile_figure(profile, style), "profile")


def _gap_words(gap_mm: float, limit_mm: float, span_mm: float, style: Style) -> str:
    limit, span = format_length(limit_mm, style), format_distance(span_mm, style)
    if gap_mm > 0:
        return say(
            "Gap {gap} as read, limit {limit}, between places {span} apart that the bar touches.",
            gap=format_length(gap_mm, style),
            limit=limit,
            span=span,
        )
    return say(
        "No gap as read, limit {limit}, between places {span} apart that the bar touches.",
        limit=limit,
        span=span,
    )
