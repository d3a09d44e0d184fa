"""The correction on the page: worked out when asked for, kept, and shown with its plan of work."""

import math
from dataclasses import replace
from html import escape
from threading import Thread
from typing import Any

import streamlit as st

from flatcheck.assess import Assessment
from flatcheck.correction import Choice, Fix, correct, remedies
from flatcheck.errors import FlatcheckError
from flatcheck.language import say
from flatcheck.report.correction import (
    cautions,
    fix_words,
    instead_words,
    money,
    proven_words,
    recommended,
    table,
    terms_words,
)
from flatcheck.report.falls import SHOWN, worst_fall
from flatcheck.report.marks import check_words, mark_words, marks_csv, marks_html
from flatcheck.report.words import outcome_of, worst_words
from flatcheck.ui.depths import plan_of_work, work_key
from flatcheck.ui.markup import draw, listed, offer, paragraphs, tell, word, write
from flatcheck.ui.memory import KEPT, text_of
from flatcheck.ui.terms import on_terms, terms_form

AT_ONCE_S = 3.0
"""A correction that takes no longer than this is simply shown; a longer one is told of [s]."""

LABELS = (
    say("Remedy"),
    say("Passes"),
    say("Cost"),
    say("Hours of work"),
    say("Ground off"),
    say("Filled"),
    say("Bags"),
    say("Rise at fixed heights"),
    say("Dust"),
    say("Wait before tile"),
)
"""What the columns of the comparison are called here, in the order of `report.correction.HEAD`."""

NO = say("no")
"""Said of a remedy that does not bring the floor in."""


def correction(source: str, assessment: Assessment) -> Fix | None:
    """What to do with a floor that is not within; the remedy that is shown, if any is."""
    write(f"<h3>{say('The correction')}</h3>")
    pressed, section = terms_form(source, assessment.survey)
    try:
        survey = on_terms(assessment.survey, section)
        choice = _kept(source, replace(assessment, survey=survey), pressed)
    except FlatcheckError as error:
        tell(error)
        return None
    if choice is None:
        return None
    _compared(choice)
    return _chosen(choice) if choice.fixes else None


class Search:
    """A correction worked out aside, so that the page can tell how far it is, and stop it."""

    def __init__(self, assessment: Assessment) -> None:
        self.told, self.stopped = say("Trying every remedy."), False
        self._found: Choice | Exception | None = None
        self._thread = Thread(target=self._run, args=(assessment,), daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """End it with the best that is known."""
        self.stopped = True

    def done(self, wait_s: float = 0.0) -> bool:
        """Whether it has ended, after waiting so long at most."""
        self._thread.join(wait_s)
        return not self._thread.is_alive()

    def found(self) -> Choice:
        """What it found, once it is done; raises what stood in its way."""
        if isinstance(self._found, Exception):
            raise self._found
        assert self._found is not None  # asked for only when it is done
        return self._found

    @property
    def choice(self) -> Choice | None:
        """What it found, None while it runs and where something stood in its way."""
        return self._found if isinstance(self._found, Choice) else None

    def _run(self, assessment: Assessment) -> None:
        titles = {remedy.ID: remedy.TITLE for remedy in remedies()}

        def tell(remedy: str, number: int, broken: int, least: float, best: float) -> None:
            known = (
                say("best so far {best}", best=money(best))
                if best < math.inf
                else say("none found yet")
            )
            self.told = say(
                "{remedy}, round {number}: at least {least}, {known}; {broken:,} demands to go.",
                remedy=titles[remedy],
                number=number,
                least=money(least),
                known=known,
                broken=broken,
            )

        try:
            self._found = correct(assessment, tell, lambda: self.stopped)
        except Exception as error:
            self._found = error  # the page shows it, or says that it is a fault


def worked_out() -> dict[Any, Choice]:
    """The corrections that were worked out and are kept, by all that their survey says."""
    kept: dict[Any, Search] = st.session_state.get("corrections", {})
    return {key: search.choice for key, search in kept.items() if search.choice}


def _kept(source: str, assessment: Assessment, pressed: bool) -> Choice | None:
    """The correction of this very survey: kept from before, or worked out now if asked for."""
    kept: dict[Any, Search] = st.session_state.setdefault("corrections", {})
    asked: set[str] = st.session_state.setdefault("corrected", set())
    key = text_of(assessment.survey)
    if pressed and key in kept and kept[key].stopped:
        del kept[key]
    if key not in kept and not pressed:
        if source in asked:
            again = say("Something was changed since; work it out again.")
            write(f"<p class=warn>{again}</p>")
        else:
            tried = say("Every remedy is tried, measured again and priced; that takes seconds.")
            write(f"<p>{tried}</p>")
        return None
    search = kept.pop(key, None) or Search(assessment)
    kept[key] = search
    asked.add(source)
    for oldest in list(kept)[:-KEPT]:
        kept.pop(oldest).stop()
    if not search.done(AT_ONCE_S if pressed else 0.0):
        _watched(search)
        return None
    try:
        return search.found()
    except Exception:
        del kept[key]
        raise


@st.fragment(run_every=0.5)
def _watched(search: Search) -> None:
    """How far a search is, with a button to end it with the best so far."""
    if search.done():
        st.rerun()
    write(f"<p role=status>{escape(search.told)}</p>")
    if st.button(say("Stop with the best so far"), disabled=search.stopped):
        search.stop()


def _compared(choice: Choice) -> None:
    """The recommendation, and all remedies beside each other."""
    said = recommended(choice)
    write(
        f"<p class=large>{escape(said[0])}</p>",
        paragraphs(said[1:], "next"),
        _table(choice),
        paragraphs(instead_words(choice)),
        paragraphs([*proven_words(choice.fixes), terms_words(choice)], "fine"),
    )


def _table(choice: Choice) -> str:
    """All remedies as a table, and on a narrow screen each as a card."""
    rows, passing = table(choice)[1:], len(choice.fixes)
    why = [refusal.why for refusal in choice.refused]
    if not choice.fixes and len(set(why)) == 1:
        return paragraphs(why[:1])
    drawn, cards = [], []
    for row in rows[:passing]:
        drawn.append("".join(f"<td>{escape(cell)}</td>" for cell in row))
        facts = "".join(
            f"<div><span>{label}</span> {escape(cell)}</div>"
            for label, cell in zip(LABELS[2:], row[2:], strict=True)
            if cell != "-"
        )
        cards.append(f"<div class=card><p><b>{escape(row[0])}</b></p><div>{facts}</div></div>")
    for row, words in zip(rows[passing:], why, strict=True):
        drawn.append(
            f"<td>{escape(row[0])}</td><td>{NO}</td>"
            f"<td colspan={len(LABELS) - 2} class=why>{escape(words)}</td>"
        )
        cards.append(
            f"<div class=card><p><b>{escape(row[0])}</b>: {NO}</p><p>{escape(words)}</p></div>"
        )
    heads = "".join(f"<th>{label}</th>" for label in LABELS)
    lines = "".join(f"<tr>{cells}</tr>" for cells in drawn)
    return (
        f'<table class="wide remedies"><tr>{heads}</tr>{lines}</table>'
        f'<div class="narrow">{"".join(cards)}</div>'
    )


def _chosen(choice: Choice) -> Fix:
    """One remedy: what it takes, its cautions, the plan of work, the verdict then, the marks."""
    survey, room = choice.site.assessment.survey, choice.site.floor.room
    style = survey.show
    named = [
        f"{fix.proposal.title}, {money(fix.takes.money)}".replace("$", r"\$")
        for fix in choice.fixes
    ]
    number = st.radio(say("Show the work of"), range(len(named)), 0, named.__getitem__)
    fix = choice.fixes[number]
    material = fix.proposal.material
    write(paragraphs([fix_words(fix, style)]), f"<h3>{say('Where to work, and how deep')}</h3>")
    draw(plan_of_work(choice, fix), "work")
    then = []
    for finding in fix.verdict.findings:
        outcome = outcome_of(finding, fix.verdict.decision)
        words = worst_fall if finding.rule.measure in SHOWN else worst_words
        then.append(
            f"<div class=rule><p>{word(outcome)} <b>{escape(finding.rule.words)}</b></p>"
            f"{paragraphs([words(finding, room, style)] if finding.worst else [])}</div>"
        )
    write(
        paragraphs([work_key(choice, fix)], "fine"),
        f"<p><b>{say('Read again after this work it should be:')}</b></p>",
        *then,
        f"<p><b>{escape(say('Cautions for {remedy}', remedy=fix.proposal.title.lower()))}</b></p>",
        paragraphs(cautions(replace(choice, fixes=(fix,))), "warn"),
        paragraphs([f"{material.name.capitalize()}: {material.said}"] if material else [], "fine"),
    )
    checks = check_words(choice)
    with st.expander(say("Marks for the floor, and the order of work"), key="marks"):
        write(listed(mark_words(choice, fix)[: -len(checks)]))
    write(listed(checks))
    row = st.container(horizontal=True)
    offer(row, say("Marks as a sheet to print"), lambda: marks_html(choice, fix), "marks.html")
    offer(row, say("Marks as a table"), lambda: marks_csv(choice, fix), "marks.csv")
    return fix
