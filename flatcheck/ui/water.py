"""The falls on the page: how it falls, where its water goes, and the heights to screed it to."""

from html import escape

import streamlit as st

from flatcheck.assess import Assessment
from flatcheck.errors import FlatcheckError
from flatcheck.falls import drainage
from flatcheck.language import say
from flatcheck.report.falls import drain_words, water_words
from flatcheck.report.screed import screed_csv, screed_html
from flatcheck.screed import screeds
from flatcheck.ui.drainage import falls_key, falls_map
from flatcheck.ui.heights import (
    SPACINGS,
    USUAL,
    heights_plan,
    heights_words,
    key_words,
    walls_tables,
    written,
)
from flatcheck.ui.markup import draw, offer, paragraphs, tell, write
from flatcheck.ui.planes import planes_table
from flatcheck.units import format_distance

HEIGHTS_REM = 32
"""How wide a drawing of planned heights becomes at most: it is looked at beside its tables."""


def falls(assessment: Assessment) -> None:
    """How it falls: the plan, the table of its planes, and where the water goes."""
    style, room = assessment.survey.show, assessment.surface.room
    water = drainage(assessment)
    write(f"<h3>{say('How it falls')}</h3>")
    draw(falls_map(assessment, water), "falls")
    write(f"<p class=fine>{escape(falls_key(assessment, water))}</p>", planes_table(assessment))
    for zone in water:
        head = f"<p><b>{escape(zone.zone)}</b></p>" if len(water) > 1 else ""
        write(head, *(f"<p>{escape(said)}</p>" for said in water_words(zone, room, style)))
    write(paragraphs(drain_words(assessment.survey, room)))


def heights(assessment: Assessment) -> None:
    """The heights to screed each falling zone to, or the sentence that says why there are none."""
    survey, room = assessment.survey, assessment.surface.room
    style = survey.show
    write(f"<h3>{say('Planned heights')}</h3>")
    spacings = SPACINGS[style.unit]
    spacing = st.selectbox(
        say("Marks along the walls every"),
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
        draw(heights_plan(plan, survey, every), f"heights-{number}", HEIGHTS_REM)
        write(
            f"<p class=fine>{escape(key_words(plan, survey, every))}</p>",
            walls_tables(plan, style),
            *(f"<p>{escape(said)}</p>" for said in heights_words(plan, survey, room)[1:]),
        )
    row = st.container(horizontal=True)
    offer(
        row,
        say("Heights as a sheet to print"),
        lambda: screed_html(plans, survey, room, None),
        "heights.html",
    )
    offer(row, say("Heights as a table"), lambda: screed_csv(plans, style), "heights.csv")
