"""The page: choose readings and a tile; see the verdict, the map and the floor under the worst bar.

Whatever a person typed, or a file holds, is escaped before it is shown.
"""

import json
from html import escape

import streamlit as st

from flatcheck.assess import Assessment, assess
from flatcheck.errors import FlatcheckError
from flatcheck.report.checks import checks, misread
from flatcheck.report.text import SPOTS, cite, record, text
from flatcheck.report.words import beside, explain, headline, outcome_of, shape_words, spot_words
from flatcheck.rules import grade_of
from flatcheck.ui.entry import entered
from flatcheck.ui.figures import floor_map, map_aspect, worst_of
from flatcheck.ui.section import profile_figure, profile_of
from flatcheck.verdict import Finding, Outcome

MAP_KEY = (
    "Red stands above the required plane, blue below; interpolated between readings, which are the "
    "dots. The thick line is where it is worst. Gray was not read. "
)
SPOT_KEY = "▲ high, ▼ low: filled where beyond reading error, hollow where it may be reading error."
CHART = {"displayModeBar": False, "scrollZoom": False, "doubleClick": False, "showTips": False}

STYLE = """<style>
.stMainBlockContainer {padding: 1.5rem 1rem 4rem; max-width: 84rem}
input, textarea, [data-baseweb="select"] div {font-size: 16px !important}
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
.st-key-map, .st-key-profile {max-width: 45rem; flex: none !important}
.stMain {--wide: min(45rem, 100vw - 2rem)}
@media (min-width: 641px) {.stMain {--wide: min(45rem, 62vw)}}
.st-key-map {height: min(calc((var(--wide) - 4rem) / var(--shape) + 6rem), 60rem) !important}
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
            # Not st.error: it reads Markdown, and makes links of what a person typed.
            _html(f"<p class=error role=alert>{escape(str(error))}</p>")
    # The last thing drawn: whoever waits for the page to be drawn anew can see that it is.
    st.session_state["runs"] = st.session_state.get("runs", 0) + 1
    st.html(f'<span class="runs" data-runs="{st.session_state["runs"]}"></span>')


def _answered(assessment: Assessment) -> None:
    """The verdict and what it rests on: words, map, profile, and the same to take away."""
    survey, verdict = assessment.survey, assessment.verdict
    standard, grade = grade_of(f"{verdict.standard}:{verdict.grade}")
    line = headline(assessment).removeprefix(verdict.outcome.upper()).lstrip(": ")
    _html(
        f"<h2>{_word(verdict.outcome)} {escape(line)}</h2>"
        f"<p>{escape(beside(assessment))}</p>"
        f"<p class=fine>{escape(f'{standard.title}: {grade.title}')}</p>",
        *(f"<p class=warn>{escape(said)}</p>" for said in misread(assessment)),
        *(_rule(finding, assessment) for finding in verdict.findings),
        *(f"<p>{escape(said)}</p>" for said in shape_words(assessment)),
    )
    _html("<h3>Where it is high and low</h3>")
    st.html(f"<style>.st-key-map {{--shape: {map_aspect(assessment):.3f}}}</style>")
    with st.container(key="map"):
        st.plotly_chart(floor_map(assessment), height="stretch", theme=None, config=CHART)
    _html(f"<p class=fine>{MAP_KEY}{SPOT_KEY if verdict.spots else ''}</p>", _spots(assessment))
    finding = worst_of(assessment)
    if finding:
        _html(f"<h3>The worst place, from the side</h3><p>{escape(finding.rule.words)}</p>")
        figure = profile_figure(profile_of(assessment, finding), survey.show)
        with st.container(key="profile"):
            st.plotly_chart(figure, height="stretch", theme=None, config=CHART)
    _html("<h3>What the readings say of each other</h3>")
    _html(*(f"<p>{escape(said)}</p>" for said in checks(assessment)))
    _html("<h3>To take away</h3>")
    row = st.container(horizontal=True)
    row.download_button(
        "Verdict as text",
        text(assessment),
        "verdict.txt",
        "text/plain",
        on_click="ignore",
        width="stretch",
    )
    row.download_button(
        "Verdict as JSON, in mm",
        json.dumps(record(assessment), indent=2, allow_nan=False),
        "verdict.json",
        "application/json",
        on_click="ignore",
        width="stretch",
    )
    citations = dict.fromkeys(cite(finding.rule.citation) for finding in verdict.findings)
    _html(*(f"<p class=fine>{escape(said)}</p>" for said in citations))


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


def _word(outcome: Outcome) -> str:
    return f'<span class="word {outcome.name.lower()}">{outcome.upper()}</span>'


def _html(*parts: str) -> None:
    """Markup of ours; whatever is not ours has been escaped in it."""
    st.html(f"<div class=fc>{''.join(parts)}</div>")


if __name__ == "__main__":
    main()
