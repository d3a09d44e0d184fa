"""The page: choose readings and a tile; see the verdict, the map and the floor under the worst bar.

Whatever a person typed, or a file holds, is escaped before it is shown.
"""

import json
from html import escape
from typing import Any

import plotly.graph_objects as go
import streamlit as st

from flatcheck.assess import Assessment, assess
from flatcheck.errors import FlatcheckError
from flatcheck.falls import drainage, plane_falls
from flatcheck.report.checks import checks, misread
from flatcheck.report.falls import water_words
from flatcheck.report.screed import screed_csv, screed_html
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
from flatcheck.ui.drainage import falls_key, falls_map
from flatcheck.ui.entry import entered
from flatcheck.ui.figures import floor_map, map_aspect, worst_of
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
from flatcheck.ui.plan import aspect
from flatcheck.ui.planes import planes_table
from flatcheck.ui.section import profile_figure, profile_of
from flatcheck.units import format_distance
from flatcheck.verdict import Finding, Outcome

MAP_KEY = (
    "Red stands above the required plane, blue below; interpolated between readings, which are the "
    "dots. The thick line is where it is worst. Gray was not read. "
)
PLANES_KEY = "Each part that falls has its own plane. "
SPOT_KEY = "▲ high, ▼ low: filled where beyond reading error, hollow where it may be reading error."
TAKEN = {
    "txt": ("verdict.txt", "text/plain"),
    "json": ("verdict.json", "application/json"),
    "html": ("heights.html", "text/html"),
    "csv": ("heights.csv", "text/csv"),
}
"""What may be taken away, by the ending of its file."""

CHART = {"displayModeBar": False, "scrollZoom": False, "doubleClick": False, "showTips": False}

STYLE = """<style>
.stMainBlockContainer {padding: 1.5rem 1rem 4rem; max-width: 84rem}
input, textarea, [data-baseweb="select"] div {font-size: 16px !important}
.stMultiSelect [role=group] {max-height: none; height: auto}
[data-testid=stMultiSelectTagsContainer] {flex-wrap: wrap; height: auto; padding: .35rem;
  mask-image: none !important}
[data-testid=stMultiSelectTagsContainer] input {flex: 1 1 2rem; min-width: 2rem}
[data-tag], [data-tag] span {white-space: normal; height: auto}
[data-tag] {max-width: 100%; padding: .2rem .25rem .2rem .5rem}
[data-tag] button {flex: none; width: 2rem; height: 2rem; justify-content: center}
.fc h1 {font-size: 1.4rem; padding: 0}
.fc h2 {font-size: 1.75rem; line-height: 1.25; padding: 0; overflow-wrap: anywhere}
.fc h3 {font-size: 1.1rem; padding: .5rem 0 0}
.fc p, .fc td {margin: .25rem 0; overflow-wrap: anywhere}
.fc .word {color: white; border-radius: .3rem; padding: 0 .4em}
.fc .within {background: #00695c} .fc .out {background: #a3231c}
.fc .close {background: #8a5a00} .fc .not_assessed {background: #57606a}
.fc .rule {border-left: .25rem solid #d0d7de; padding-left: .75rem; margin: .75rem 0}
.fc .error {border-left: .25rem solid #a3231c; background: #fbe9e7; padding: .75rem 1rem}
.fc .fine {color: #57606a; font-size: .875rem}
.fc table {border-collapse: collapse} .fc tr {border-top: 1px solid #d0d7de}
.fc .warn {border-left: 4px solid #8a5300; padding-left: .75rem}
.fc td {padding: .3rem .75rem .3rem 0; vertical-align: top}
.fc td:first-child {white-space: nowrap}
.fc th {text-align: left; padding: .3rem .75rem .3rem 0; vertical-align: bottom}
.fc td, .fc th {font-variant-numeric: tabular-nums}
.fc .walls {display: flex; flex-wrap: wrap; gap: 1rem 2.5rem; align-items: flex-start}
.fc caption {text-align: left; max-width: 18rem}
.fc .wide td:not(:nth-child(4)):not(:last-child) {white-space: nowrap}
.fc .narrow {display: none}
@media (max-width: 640px) {.fc .wide {display: none} .fc .narrow {display: block}}
.st-key-map, .st-key-profile, .st-key-falls, [class*="st-key-heights"]
  {max-width: 45rem; flex: none !important}
.stMain {--wide: min(45rem, 100vw - 2rem)}
@media (min-width: 641px) {.stMain {--wide: min(45rem, 62vw)}}
.st-key-map {height: min(calc((var(--wide) - 4rem) / var(--shape) + 6rem), 60rem) !important}
.st-key-falls {height: min(calc((var(--wide) - 4rem) / var(--shape) + 3.5rem), 60rem) !important}
[class*="st-key-heights"] {
  height: calc((min(var(--wide), 32rem) - 2 * var(--beside)) / var(--shape) + 2 * var(--beside))
  !important; max-width: 32rem}
.st-key-profile {height: calc(var(--wide) / 3 + 7rem) !important}
</style>"""


def main() -> None:
    """Draw the page once, from what is entered to the verdict."""
    st.set_page_config("flatcheck: is this floor flat enough?", layout="wide")
    st.html(STYLE)
    entry, answer = st.columns([2, 5], gap="medium")
    try:
        with entry:
            _html("<h1>Is this floor flat enough for this tile?</h1>")
            survey = entered()
        if survey:
            with answer:
                _answered(assess(survey))
    except FlatcheckError as error:
        with answer:
            _error(error)
    # The last thing drawn: whoever waits for the page to be drawn anew can see that it is.
    st.session_state["runs"] = st.session_state.get("runs", 0) + 1
    st.html(f'<span class="runs" data-runs="{st.session_state["runs"]}"></span>')


def _answered(assessment: Assessment) -> None:
    """The verdict and what it rests on: words, map, profile, and the same to take away."""
    survey, verdict = assessment.survey, assessment.verdict
    line = headline(assessment).removeprefix(verdict.outcome.upper()).lstrip(": ")
    _html(
        f"<h2>{_word(verdict.outcome)} {escape(line)}</h2><p>{escape(beside(assessment))}</p>",
        *(f"<p class=fine>{escape(title)}</p>" for title in titles(verdict)),
        *(f"<p class=warn>{escape(said)}</p>" for said in misread(assessment)),
        *(_rule(finding, assessment) for finding in verdict.findings),
        *(f"<p>{escape(said)}</p>" for said in shape_words(assessment)),
    )
    falls = bool(plane_falls(assessment))
    if falls:
        _falls(assessment)
        _heights(assessment)
    _html("<h3>Where it is high and low</h3>")
    st.html(f"<style>.st-key-map {{--shape: {map_aspect(assessment):.3f}}}</style>")
    with st.container(key="map"):
        _chart(floor_map(assessment))
    key = MAP_KEY + (PLANES_KEY if falls else "") + (SPOT_KEY if verdict.spots else "")
    _html(f"<p class=fine>{key}</p>", _spots(assessment))
    finding = worst_of(assessment)
    if finding:
        _html(f"<h3>The worst place, from the side</h3><p>{escape(finding.rule.words)}</p>")
        figure = profile_figure(profile_of(assessment, finding), survey.show)
        with st.container(key="profile"):
            _chart(figure)
    _html("<h3>What the readings say of each other</h3>")
    _html(*(f"<p>{escape(said)}</p>" for said in checks(assessment)))
    _html("<h3>To take away</h3>")
    row = st.container(horizontal=True)
    _download(row, "Verdict as text", text(assessment), "txt")
    exact = json.dumps(record(assessment), indent=2, allow_nan=False)
    _download(row, "Verdict as JSON, in mm", exact, "json")
    citations = dict.fromkeys(cite(finding.rule.citation) for finding in verdict.findings)
    _html(*(f"<p class=fine>{escape(said)}</p>" for said in citations))


def _falls(assessment: Assessment) -> None:
    """How it falls: the plan, the table of its planes, and where the water goes."""
    style, room = assessment.survey.show, assessment.surface.room
    water = drainage(assessment)
    _html("<h3>How it falls</h3>")
    st.html(f"<style>.st-key-falls {{--shape: {map_aspect(assessment):.3f}}}</style>")
    with st.container(key="falls"):
        _chart(falls_map(assessment, water))
    _html(f"<p class=fine>{escape(falls_key(assessment, water))}</p>", planes_table(assessment))
    for zone in water:
        head = f"<p><b>{escape(zone.zone)}</b></p>" if len(water) > 1 else ""
        _html(head, *(f"<p>{escape(said)}</p>" for said in water_words(zone, room, style)))


def _heights(assessment: Assessment) -> None:
    """The heights to screed each falling zone to, or the sentence that says why there are none."""
    survey, room = assessment.survey, assessment.surface.room
    style = survey.show
    _html("<h3>Planned heights</h3>")
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
        _error(error)
        return
    for number, plan in enumerate(plans):
        every = written(plan, spacing)
        shape = (
            f"--shape: {aspect(outline_of_plan(plan)):.3f}; --beside: {margin_px(plan, style)}px"
        )
        st.html(f"<style>.st-key-heights-{number} {{{shape}}}</style>")
        _html(f"<p>{escape(heights_words(plan, survey, room)[0])}</p>")
        with st.container(key=f"heights-{number}"):
            _chart(heights_plan(plan, survey, every))
        _html(
            f"<p class=fine>{escape(key_words(survey, every))}</p>",
            walls_tables(plan, style),
            *(f"<p>{escape(said)}</p>" for said in heights_words(plan, survey, room)[1:]),
        )
    row = st.container(horizontal=True)
    _download(row, "Heights as a sheet to print", screed_html(plans, survey, room, None), "html")
    _download(row, "Heights as a table", screed_csv(plans, style), "csv")


def _rule(finding: Finding, assessment: Assessment) -> str:
    zone = f"{finding.zone}: " if len(assessment.parts) > 1 else ""
    said = "".join(f"<p>{escape(words)}</p>" for words in explain(finding, assessment))
    outcome = outcome_of(finding, assessment.verdict.decision)
    return (
        f"<div class=rule><p>{_word(outcome)} <b>{escape(zone + finding.rule.words)}</b></p>"
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


def _chart(figure: go.Figure) -> None:
    st.plotly_chart(figure, height="stretch", theme=None, config=CHART)


def _download(row: Any, label: str, data: str, ending: str) -> None:
    name, mime = TAKEN[ending]
    row.download_button(label, data, name, mime, on_click="ignore", width="stretch")


def _error(error: FlatcheckError) -> None:
    # Not st.error: it reads Markdown, and makes links of what a person typed.
    _html(f"<p class=error role=alert>{escape(str(error))}</p>")


def _word(outcome: Outcome) -> str:
    return f'<span class="word {outcome.name.lower()}">{outcome.upper()}</span>'


def _html(*parts: str) -> None:
    """Markup of ours; whatever is not ours has been escaped in it."""
    st.html(f"<div class=fc>{''.join(parts)}</div>")


if __name__ == "__main__":
    main()
