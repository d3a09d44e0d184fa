"""Before and after the work: the floor read again, and what changed."""

import streamlit as st

from flatcheck.assess import Assessment, assess
from flatcheck.change import changed
from flatcheck.correction import Fix
from flatcheck.errors import FlatcheckError, SurveyError
from flatcheck.language import say
from flatcheck.readers.bundle import unpacked
from flatcheck.readers.cells import cells_of
from flatcheck.readers.folder import checked, survey_of
from flatcheck.report.change import change_html, change_words
from flatcheck.survey import Survey
from flatcheck.ui.depths import map_of_change
from flatcheck.ui.markup import draw, listed, offer, paragraphs, tell, word, write

CHANGE_KEY = say(
    "X: lower than before, O: higher, beyond reading error, with how much. Small "
    "dots did not change beyond reading error."
)


def before_and_after(source: str, before: Assessment, plan: Fix | None) -> None:
    """Asks for the floor as read after the work; shows what changed, against the plan if any."""
    with st.expander(say("Before and after: the floor read again"), key=f"again {source}"):
        file = st.file_uploader(
            say("The same table read again, or a survey folder as ZIP"),
            ["csv", "tsv", "txt", "xlsx", "zip"],
            key=f"after {source}",
        )
        if not file:
            return
        try:
            after = assess(read_again(before.survey, file.name, file.getvalue()))
            change = changed(before, after, plan)
        except FlatcheckError as error:
            tell(error)
            return
        write(
            f"<p>{say('{outcome} after the work', outcome=word(after.verdict.outcome))}</p>",
            paragraphs([_plan_words(plan)] if plan else []),
            listed(change_words(change, after)),
        )
        draw(map_of_change(before, change), "change")
        write(paragraphs([CHANGE_KEY], "fine"))
        offer(
            st.container(),
            say("Before and after as a sheet to print"),
            lambda: change_html(change, before, after),
            "change.html",
        )


def _plan_words(plan: Fix) -> str:
    return say("The plan is that of {remedy}, as above.", remedy=plan.proposal.title.lower())


def read_again(before: Survey, name: str, data: bytes) -> Survey:
    """The survey after the work: a zipped survey folder, or the one table of `before` read anew.

    Raises SurveyError for a file that is neither.
    """
    if name.lower().endswith(".zip"):
        return survey_of(unpacked(name, data))
    if len(before.tables) != 1:
        raise SurveyError(
            say(
                "{file}: this survey has {count} tables; zip the folder of the new one.",
                file=name,
                count=len(before.tables),
            )
        )
    return checked(before.document, {before.tables[0].name: cells_of(name, data)})
