"""The page: the job's settings beside the step of the job that is open.

Whatever a person typed, or a file holds, is escaped before it is shown.
"""

import json
from html import escape

import streamlit as st

from flatcheck.assess import Assessment, assess
from flatcheck.errors import FlatcheckError
from flatcheck.falls import plane_falls
from flatcheck.language import say
from flatcheck.report.checks import checks
from flatcheck.report.doubts import doubts
from flatcheck.report.misread import misread
from flatcheck.report.text import record, text
from flatcheck.survey import Survey
from flatcheck.tables import readings_of
from flatcheck.ui.after import before_and_after
from flatcheck.ui.correction import correction
from flatcheck.ui.door import let_in
from flatcheck.ui.entry import entered, make_mine
from flatcheck.ui.job import job
from flatcheck.ui.joints import joints_alone, joints_read
from flatcheck.ui.kept import by_hand, settle, walk_alone
from flatcheck.ui.markup import STYLE, offer, paragraphs, tell, word, write
from flatcheck.ui.memory import kept, text_of
from flatcheck.ui.report import report
from flatcheck.ui.steps import chosen_step, next_step
from flatcheck.ui.tile import tile_on_floor
from flatcheck.ui.verdict import floor_words, verdict
from flatcheck.ui.view import view
from flatcheck.ui.walking import walked
from flatcheck.ui.water import falls, heights
from flatcheck.verdict import Outcome

LONG = 2000
"""A survey of more cells than this takes long enough to be told of."""


def main() -> None:
    """Draw the page once: what is entered, and the step that is open."""
    st.set_page_config(say("flatcheck: is this floor flat enough?"), layout="wide")
    st.html(STYLE)
    if let_in():
        if walked():
            walk_alone()
        else:
            _whole()
    # The last thing drawn: whoever waits for the page to be drawn anew can see that it is.
    st.session_state["runs"] = st.session_state.get("runs", 0) + 1
    st.html(f'<span class="runs" data-runs="{st.session_state["runs"]}"></span>')


def _whole() -> None:
    """What is entered on one side, what it says on the other."""
    with st.container(horizontal=True, horizontal_alignment="distribute"):
        write(f"<h1>{say('Is this floor flat enough for this tile?')}</h1>")
        view()
        units = st.container(width=180)
    settle()
    step = chosen_step()
    entry, answer = st.columns([2, 5], gap="medium")
    assessment = None
    try:
        with entry, st.container(key="pane"):
            found = entered(units)
        if found:
            with answer:
                make_mine(found)
                if found.survey.lippage and not readings_of(found.survey):
                    joints_alone(found.source, found.survey)
                else:
                    assessment = _assessed(found.survey)
                    _open(step, found.source, assessment)
    except FlatcheckError as error:
        with answer:
            tell(error)
    if step == "readings":
        with answer:
            by_hand(assessment)
            if assessment:
                next_step("verdict", say("whether the floor is good enough, and where it is not"))


def _assessed(survey: Survey) -> Assessment:
    """The survey judged: kept from before, or judged now."""

    def judged() -> Assessment:
        if sum(len(row) for table in survey.tables for row in table.cells) < LONG:
            return assess(survey)
        with st.spinner(say("Working out the floor.")):
            return assess(survey)

    return kept("judged", text_of(survey), judged)


def _open(step: str, source: str, assessment: Assessment) -> None:
    """One step of the job, and where to go from it."""
    outcome = assessment.verdict.outcome
    if step != "verdict":
        write(f"<p>{word(outcome)} {escape(floor_words(assessment))}</p>")
    if step == "job":
        job(assessment)
        next_step("readings", say("what was read, and what the readings say of each other"))
    elif step == "readings":
        write(f"<h3>{say('What the readings say of each other')}</h3>")
        write(
            paragraphs([*misread(assessment), *doubts(assessment)], "warn"),
            paragraphs(checks(assessment)),
        )
    elif step == "verdict":
        verdict(assessment)
        _after_verdict(assessment)
    elif step == "falls":
        if plane_falls(assessment):
            falls(assessment)
            heights(assessment)
        else:
            level = say(
                "This floor is meant to be level, so no water is to run. In a survey folder an "
                'intent of kind "fall", "to drain" or "to channel" says where it is to.'
            )
            write(f"<h3>{say('How it falls')}</h3><p>{level}</p>")
        next_step("correction", say("what to grind, fill or pour, and what it costs"))
    elif step == "correction":
        fix = None
        if outcome is Outcome.WITHIN:
            whole = say("The floor is within: there is nothing to mend.")
            write(f"<h3>{say('The correction')}</h3><p>{whole}</p>")
        else:
            fix = correction(source, assessment)
        before_and_after(source, assessment, fix)
        next_step("tile", say("how the tile lies on this floor"))
    elif step == "tile":
        if assessment.survey.tile:
            tile_on_floor(source, assessment)
        else:
            needed = say("Say the tile's length and width in the job's settings.")
            write(f"<h3>{say('The tile')}</h3><p>{needed}</p>")
        joints_read(source, assessment.survey, assessment)
        next_step("report", say("all of it on paper"))
    else:
        _report(assessment)


def _after_verdict(assessment: Assessment) -> None:
    """The one step that a verdict asks for."""
    outcome = assessment.verdict.outcome
    if outcome is Outcome.OUT:
        next_step("correction", say("what to grind, fill or pour, and what it costs"))
    elif outcome is Outcome.WITHIN:
        next_step("tile", say("how the tile lies on this floor"))
    else:
        next_step("readings", say("what more would have to be read to tell"))


def _report(assessment: Assessment) -> None:
    """What there is to take away."""
    write(f"<h3>{say('To take away')}</h3>")
    report(assessment)
    row = st.container(horizontal=True)
    offer(row, say("Verdict as text"), lambda: text(assessment), "verdict.txt")
    offer(
        row,
        say("Verdict as JSON, in mm"),
        lambda: json.dumps(record(assessment), indent=2, allow_nan=False),
        "verdict.json",
    )


if __name__ == "__main__":
    main()
