"""The report and its tables to take away from the page, made only when they are asked for."""

from collections.abc import Mapping
from datetime import date

import streamlit as st

from flatcheck.assess import Assessment
from flatcheck.correction import Choice
from flatcheck.language import say
from flatcheck.lippage import judge_steps
from flatcheck.report.case import Case
from flatcheck.report.dossier import report_html
from flatcheck.report.ledger import packed
from flatcheck.report.paper import paragraphs
from flatcheck.ui.correction import worked_out
from flatcheck.ui.markup import offer, write
from flatcheck.verdict import Outcome

ABOUT = say(
    "One page with the verdict, maps, spots, correction and every reading, to "
    "print or to send; flatcheck verify tells later whether it is still the same."
)
NOT_YET = say("The correction is not in it yet: work it out first.")


def report(assessment: Assessment) -> None:
    """Buttons for the report and for its tables."""
    case = case_now(assessment, worked_out())
    said = [ABOUT]
    if case.choice is None and assessment.verdict.outcome is not Outcome.WITHIN:
        said.append(NOT_YET)
    write(paragraphs(said))
    row = st.container(horizontal=True)
    offer(
        row,
        say("Report to print or to send"),
        lambda: report_html(case, date.today()),
        "report.html",
        "primary",
    )
    offer(row, say("Everything as tables, CSV in a ZIP"), lambda: packed(case), "tables.zip")


def case_now(assessment: Assessment, corrections: Mapping[object, Choice]) -> Case:
    """The job with the correction that was last worked out for this very floor, if any was."""
    survey, floor = assessment.survey, assessment.surface
    worked_out = [c for c in corrections.values() if c.site.assessment.surface is floor]
    choice = worked_out[-1] if worked_out else None
    fix = choice.fixes[0] if choice and choice.fixes else None
    return Case(survey, assessment, judge_steps(survey, assessment), choice, fix)
