"""Steps across joints on the page: where they were read and how they end, and one more to enter."""

from datetime import date
from html import escape

import streamlit as st

from flatcheck.assess import Assessment
from flatcheck.errors import FlatcheckError
from flatcheck.instrument import fine
from flatcheck.language import say
from flatcheck.lippage import LippageVerdict, judge_steps
from flatcheck.pattern import Laying
from flatcheck.places import where
from flatcheck.readers.folder import edited
from flatcheck.report.case import Case
from flatcheck.report.dossier import report_html
from flatcheck.report.joints import SIGN_WORDS
from flatcheck.report.lippage import TAPE, lippage_words
from flatcheck.report.text import cite
from flatcheck.room import Room
from flatcheck.rules import grade_of, standards
from flatcheck.steps import corner_steps, sides_of, steps_file, with_step
from flatcheck.survey import Survey
from flatcheck.tables import steps_of
from flatcheck.tiling import laid
from flatcheck.ui.drawing import Drawing, Line, Signs, located, pieces
from flatcheck.ui.kept import change, mine
from flatcheck.ui.markup import chosen_station, listed, offer, paragraphs, tell, write
from flatcheck.ui.plan import FLOOR, add_drains, add_ground, add_room, closed, frame
from flatcheck.verdict import Outcome

SIGNS = {
    Outcome.WITHIN: ("dot", "#1a7f37"),
    Outcome.CLOSE: ("up", "#8a5a00"),
    Outcome.OUT: ("cross", "#a3231c"),
    Outcome.NOT_ASSESSED: ("square", "#57606a"),
}
"""How a joint that was read is drawn, by how it ends: never by color alone."""

OPEN = say("Small gray dots are joints of the pattern; press one to enter its step.")


def joints_alone(source: str, survey: Survey) -> None:
    """The whole answer where only steps across joints were read: the verdict, and the report."""
    verdict = joints_read(source, survey)
    if verdict:
        case = Case(survey, None, verdict)
        offer(
            st.container(horizontal=True),
            say("Report to print or to send"),
            lambda: report_html(case, date.today()),
            "report.html",
        )


def joints_read(
    source: str, survey: Survey, assessment: Assessment | None = None
) -> LippageVerdict | None:
    """The steps that were read, on the drawing and in words, and one more to enter."""
    write(f"<h3>{say('Steps read across joints')}</h3>")
    try:
        read = (*steps_of(survey), *(corner_steps(assessment) if assessment else ()))
        verdict = judge_steps(survey, assessment) if read and survey.lippage else None
        laying = _laid(survey)
    except FlatcheckError as error:
        tell(error)
        return None
    if verdict:
        standard, grade = grade_of(f"{verdict.standard}:{verdict.grade}")
        ends = say("{outcome} for lippage", outcome=say(verdict.outcome).upper())
        write(
            f"<p class=large><b>{escape(ends)}</b>: {escape(standard.title)} - "
            f"{escape(grade.title)}</p>"
        )
    chosen = None
    if survey.room and (verdict or laying):
        drawing = joints_figure(survey, survey.room, verdict, laying)
        chosen = chosen_station(drawing, "joints", f"{source}, {len(read)} steps")
        key = [SIGN_WORDS] * bool(verdict) + [OPEN] * bool(laying)
        write(paragraphs([" ".join(key)], "fine"))
    if laying is None or survey.room is None:
        missing = say(
            "With the outline of the room, the tile and its joint every joint is drawn, and its "
            "step can be entered there."
        )
        write(f"<p>{missing}</p>")
    elif mine(source):
        _enter(source, survey, laying, chosen)
    else:
        write(f"<p>{say('Make the survey yours to enter steps on the drawing.')}</p>")
    if verdict:
        write(_words(verdict, survey))
    return verdict


def _laid(survey: Survey) -> Laying | None:
    """The tiles of the survey on its floor, None where it does not say enough of them."""
    if survey.room is None or survey.tile is None or not survey.tile.joint_mm > 0:
        return None
    laying = laid(survey, survey.room)
    return laying if len(laying.joints_mm) else None


def _words(verdict: LippageVerdict, survey: Survey) -> str:
    """The histogram, and what is said of the steps but for the headline, sources in fine print."""
    lines = lippage_words(verdict, survey)[2:]
    sources = dict.fromkeys(cite(joint.rule.citation) for joint in verdict.joints)
    bars = [words for words in lines if "   " in words.strip()]
    said = [words for words in lines if words not in (*bars, *sources)]
    drawn = escape("\n".join(words.strip() for words in bars))
    return f"<pre>{drawn}</pre>{listed(said)}{paragraphs(sources, 'fine')}"


def _enter(source: str, survey: Survey, laying: Laying, chosen: int | None) -> None:
    """One step: at which joint, how much, which tile stands proud; kept when it is asked for."""
    assert survey.room is not None  # by `_laid`
    row = st.container(horizontal=True, vertical_alignment="bottom")
    number = row.number_input(
        say("Joint"),
        1,
        len(laying.joints_mm),
        1 if chosen is None else chosen + 1,
        key=f"{source}/joints/{chosen}",
        help=say("Its number on the drawing; press a joint there to choose it."),
    )
    middle = laying.joints_mm[int(number) - 1].mean(axis=0)
    at = (float(middle[0]), float(middle[1]))
    fresh = f"{source}/joints/step/{len(steps_of(survey))}"  # empty again once one is kept
    step = row.text_input(say("Step"), key=fresh, placeholder="1/32 in").strip()
    sides = sides_of(laying, int(number) - 1)
    proud = row.radio(
        say("The tile that stands proud is to the"),
        sides,
        format_func=say,
        horizontal=True,
        key=f"{source}/joints/{sides[0]}",
    )
    tape = TAPE if survey.show.unit == "in" else survey.show
    place = where(survey.room, at, tape)
    write(paragraphs([say("Joint {number}: {place}.", number=number, place=place)], "fine"))
    uncertainty, named = "", survey.lippage
    if not steps_file(survey):
        uncertainty = st.text_input(
            say("How far a reading of the gauge may be off"),
            key=f"{source}/joints/uncertainty",
            placeholder=say("0.002 in, or 0.05 mm"),
        ).strip()
    if not named:
        titles = {
            f"{s.id}:{g.id}": f"{s.title}, {s.region}: {g.title}"
            for s in standards().values()
            if s.about == "lippage"
            for g in s.grades
        }
        named = st.selectbox(
            say("Standard for lippage"),
            list(titles),
            format_func=titles.__getitem__,
            key=f"{source}/joints/standard",
        )
    if not st.button(say("Keep this step"), key=f"{source}/joints/keep", type="primary"):
        return
    if not step or not (uncertainty or steps_file(survey)):
        lacks = say("Say the step, and how far the gauge may be off.")
        write(f"<p class=error role=alert>{lacks}</p>")
        return

    def act(now: Survey) -> Survey:
        after = with_step(now, at, step, proud, uncertainty)
        return after if after.lippage else edited(after, {"standard": {"lippage": named}})

    try:
        what = say(
            "step at joint {number}: {step}, {side}", number=number, step=step, side=say(proud)
        )
        change(source, act, what)
    except FlatcheckError as error:
        tell(error)


def joints_figure(
    survey: Survey, room: Room, verdict: LippageVerdict | None, laying: Laying | None
) -> Drawing:
    """The room to scale with its tiles, every joint to choose, and those read by how they end."""
    drawing = Drawing(say("The joints between the tiles, those that were read by how they end"))
    add_ground(drawing, room, FLOOR)
    add_room(drawing, room)
    if laying is not None:
        middle = laying.joints_mm.mean(axis=1)
        drawing.add(
            Line("tiles", pieces([closed(piece) for piece in laying.pieces]), "#d0d7de"),
            Signs(
                "joints",
                middle,
                size_px=5,
                fill="#8c959f",
                told=[say("joint {number}", number=n + 1) for n in range(len(middle))],
                numbers=range(len(middle)),
            ),
        )
    for outcome, (sign, color) in SIGNS.items():
        own = [j for j in verdict.joints if verdict.ends(j) is outcome] if verdict else []
        drawing.add(
            Signs(
                str(outcome),
                located([(joint.step.x_mm, joint.step.y_mm) for joint in own]),
                sign,
                9,
                fill=color,
                edge=color,
                edge_px=3 if sign == "cross" else 0,
                told=[
                    say(
                        "<b>{outcome}</b><br>{step} of {limit}",
                        outcome=say(outcome),
                        step=fine(joint.height_mm, survey.show),
                        limit=fine(joint.limit_mm, survey.show),
                    )
                    for joint in own
                ],
            )
        )
    add_drains(drawing, survey.drains)
    frame(drawing, room, survey.show)
    return drawing
