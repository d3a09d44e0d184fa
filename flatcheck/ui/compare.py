"""One survey against every standard, as a table on the page; worked out when it is asked for."""

from html import escape

import streamlit as st

from flatcheck.assess import Assessment
from flatcheck.compare import Row, compare
from flatcheck.language import say
from flatcheck.report.compare import SHOWN, carry_words, doubt, row_words, why_not
from flatcheck.ui.markup import paragraphs, word, write
from flatcheck.ui.memory import kept, text_of
from flatcheck.verdict import Outcome

KEY = say(
    "How far the worst place is over (+) or inside (-) its limit, as a share of "
    "the limit. ? marks a number from memory, or one that sources disagree about."
)


HEAD = "".join(
    f"<th>{words}</th>" for words in (say("Standard"), say("over by"), say("worst, limit"))
)


def comparison(assessment: Assessment) -> None:
    """Every standard against this survey, behind a switch: it lays bars of every length."""
    if not st.toggle(say("Hold it against every other standard")):
        return
    survey = assessment.survey
    with st.spinner(say("Holding it against every standard.")):
        found = kept("compared", text_of(survey), lambda: compare(survey))
    style = assessment.survey.show
    rows = [row for row in found.rows if row.outcome in SHOWN]
    rows.sort(key=lambda row: (SHOWN.index(row.outcome), -(row.share or 0.0)))
    lines = "".join(_line(row, *row_words(row, style)) for row in rows)
    left = [row for row in found.rows if row.outcome is Outcome.NOT_ASSESSED]
    reasons: dict[str, list[str]] = {}
    for row in (*left, *found.aside):
        reasons.setdefault(why_not(row, found, style), []).append(row.name)
    write(
        paragraphs(carry_words(found)),
        f"<table><tr><th></th>{HEAD}</tr>{lines}</table><p class=fine>{escape(KEY)}</p>",
        paragraphs(
            (
                say(
                    "Not judged, {why}: {standards}.",
                    why=why,
                    standards=", ".join(dict.fromkeys(names)),
                )
                for why, names in sorted(reasons.items())
            ),
            "fine",
        ),
    )


def _line(row: Row, called: str, share: str, value: str, limit: str) -> str:
    mark = " ?" if doubt(row) else ""
    title = f"{row.standard.title}, {row.standard.region}: {row.grade.title}"
    return (
        f"<tr><td>{word(row.outcome)}</td><td><b>{escape(called)}</b>{mark}<br>"
        f"<span class=fine>{escape(title)}</span></td><td>{escape(share)}</td>"
        f"<td>{escape(value)}, {escape(limit)}</td></tr>"
    )
