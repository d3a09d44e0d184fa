"""The page: choose readings and a tile; see the verdict, the map and the floor under the worst bar.

Whatever a person typed, or a file holds, is escaped before it is shown.
"""

import json
from html import escape

import streamlit as st

from flatcheck.assess import Assessment, assess
from flatcheck.errors import FlatcheckError
from flatcheck.falls import drainage, plane_falls
from flatcheck.report.checks import checks, misread
from flatcheck.report.falls import water_words
from flatcheck.report.relief import worst_of
from flatcheck.report.screed import screed_csv, screed_html
from flatcheck.report.section import profile_of
from flatcheck.report.text import SPOTS, cite, record, text
from flatcheck.report.words import (
    beside,
    explain,
    headline,
    outcome_of,
    shape_words,
    spot_words,
    titles,
)
from flatcheck.screed import screeds
from flatcheck.ui.after import before_and_after
from flatcheck.ui.correction import correction
from flatcheck.ui.drainage import falls_key, falls_map
from flatcheck.ui.entry import entered
from flatcheck.ui.figures import floor_map, map_aspect
from flatcheck.ui.heights import (
    SPACINGS,
    USUAL,
    heights_plan,
    heights_words,
    key_words,
    margin_px,
    outline_of_plan,
    walls_tables,
    written,
)
from flatcheck.ui.markup import STYLE, draw, offer, tell, word, write
from flatcheck.ui.plan import aspect
from flatcheck.ui.planes import planes_table
from flatcheck.ui.section import profile_figure
from flatcheck.units import format_distance
from flatcheck.verdict import Finding, Outcome

MAP_KEY = (
    "Red stands above the required plane, blue below; interpolated between readings, which are the "
    "dots. The thick line is where it is worst. Gray was not read. "
)
PLANES_KEY = "Each part that falls has its own plane. "
SPOT_KEY = "▲ high, ▼ low: filled where beyond reading error, hollow where it may be reading error."


def main() -> None:
    """Draw the page once, from what is entered to the verdict."""
    st.set_page_config("flatcheck: is this floor flat enough?", layout="wide")
    st.html(STYLE)
    entry, answer = st.columns([2, 5], gap="medium")
    try:
        with entry:
            write("<h1>Is this floor flat enough for this tile?</h1>")
            found = entered()
        if found:
            source, survey = found
            with answer:
                _answered(source, assess(survey))
    except FlatcheckError as error:
        with answer:
            tell(error)
    # The last thing drawn: whoever waits for the page to be drawn anew can see that it is.
    st.session_state["runs"] = st.session_state.get("runs", 0) + 1
    st.html(f'<span class="runs" data-runs="{st.session_state["runs"]}"></span>')


def _answered(source: str, assessment: Assessment) -> None:
    """The verdict and what it rests on: words, map, profile, and the same to take away."""
    survey, verdict = assessment.survey, assessment.verdict
    line = headline(assessment).removeprefix(verdict.outcome.upper()).lstrip(": ")
    write(
        f"<h2>{word(verdict.outcome)} {escape(line)}</h2><p>{escape(beside(verdict))}</p>",
        *(f"<p class=fine>{escape(title)}</p>" for title in titles(verdict)),
        *(f"<p class=warn>{escape(said)}</p>" for said in misread(assessment)),
        *(_rule(finding, assessment) for finding in verdict.findings),
        *(f"<p>{escape(said)}</p>" for said in shape_words(assessment)),
    )
    falls, fix = bool(plane_falls(assessment)), None
    if falls:
        _falls(assessment)
        _heights(assessment)
    write("<h3>Where it is high and low</h3>")
    draw(floor_map(assessment), "map", map_aspect(assessment))
    key = MAP_KEY + (PLANES_KEY if falls else "") + (SPOT_KEY if verdict.spots else "")
    write(f"<p class=fine>{key}</p>", _spots(assessment))
    finding = worst_of(assessment)
    if finding:
        write(f"<h3>The worst place, from the side</h3><p>{escape(finding.rule.words)}</p>")
        draw(profile_figure(profile_of(assessment, finding), survey.show), "profile")
    if verdict.outcome is not Outcome.WITHIN:
        fix = correction(source, assessment)
    before_and_after(source, assessment, fix)
    write("<h3>What the readings say of each other</h3>")
    write(*(f"<p>{escape(said)}</p>" for said in checks(assessment)))
    write("<h3>To take away</h3>")
    row = st.container(horizontal=True)
    offer(row, "Verdict as text", text(assessment), "verdict.txt")
    exact = json.dumps(record(assessment), indent=2, allow_nan=False)
    offer(row, "Verdict as JSON, in mm", exact, "verdict.json")
    citations = dict.fromkeys(cite(finding.rule.citation) for finding in verdict.findings)
    write(*(f"<p class=fine>{escape(said)}</p>" for said in citations))


def _falls(assessment: Assessment) -> None:
    """How it falls: the plan, the table of its planes, and where the water goes."""
    style, room = assessment.survey.show, assessment.surface.room
    water = drainage(assessment)
    write("<h3>How it falls</h3>")
    draw(falls_map(assessment, water), "falls", map_aspect(assessment))
    write(f"<p class=fine>{escape(falls_key(assessment, water))}</p>", planes_table(assessment))
    for zone in water:
        head = f"<p><b>{escape(zone.zone)}</b></p>" if len(water) > 1 else ""
        write(head, *(f"<p>{escape(said)}</p>" for said in water_words(zone, room, style)))


def _heights(assessment: Assessment) -> None:
    """The heights to screed each falling zone to, or the sentence that says why there are none."""
    survey, room = assessment.survey, assessment.surface.room
    style = survey.show
    write("<h3>Planned heights</h3>")
    spacings = SPACINGS[style.unit]
    spacing = st.selectbox(
        "Marks along the walls every",
        spacings,
        USUAL,
        lambda mm: format_distance(mm, style),
        f"heights in {style.unit}",
        width=240,
    )
    try:
        plans = screeds(survey, spacing, assessment)
    except FlatcheckError as error:
        tell(error)
        return
    for number, plan in enumerate(plans):
        every = written(plan, spacing)
        write(f"<p>{escape(heights_words(plan, survey, room)[0])}</p>")
        draw(
            heights_plan(plan, survey, every),
            f"heights-{number}",
            aspect(outline_of_plan(plan)),
            margin_px(plan, style),
        )
        write(
            f"<p class=fine>{escape(key_words(survey, every))}</p>",
            walls_tables(plan, style),
            *(f"<p>{escape(said)}</p>" for said in heights_words(plan, survey, room)[1:]),
        )
    row = st.container(horizontal=True)
    sheet = screed_html(plans, survey, room, None)
    offer(row, "Heights as a sheet to print", sheet, "heights.html")
    offer(row, "Heights as a table", screed_csv(plans, style), "heights.csv")


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
    more = f"<p>{len(spots) - SPOTS} more, gentler ones are in the JSON.</p>"
    return f"<table>{rows}</table>{more if len(spots) > SPOTS else ''}" if spots else ""


if __name__ == "__main__":
    main()
