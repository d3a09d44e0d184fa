"""The job on the page: whose floor it is, what will be laid on it and what it is held against."""

from html import escape

import numpy as np

from flatcheck.assess import Assessment
from flatcheck.language import say
from flatcheck.report.words import tile_size, titles
from flatcheck.room import area
from flatcheck.ui.markup import write
from flatcheck.units import format_area, format_distance


def job(assessment: Assessment) -> None:
    """What is known of the job, as a table; what was not said is left out."""
    survey, room, style = assessment.survey, assessment.surface.room, assessment.survey.show
    across, up = (format_distance(mm, style) for mm in np.ptp(room.outline.corners_mm, axis=0))
    size = format_area(area(room), style)
    facts = {
        say("Job"): survey.title,
        say("Place"): survey.place,
        say("Read on"): survey.day and survey.day.isoformat(),
        say("By"): survey.by,
        say("With"): survey.instrument,
        say("Floor"): survey.surface,
        say("Room"): say("{across} by {up}, {area}", across=across, up=up, area=size),
        say("Places read"): f"{len(assessment.surface.xy_mm):,}",
        say("Tile"): survey.tile and tile_size(survey.tile, style),
        say("Held against"): "; ".join(titles(assessment.verdict)),
        say("Notes"): survey.notes,
    }
    rows = "".join(
        f"<tr><td>{name}</td><td>{escape(said)}</td></tr>" for name, said in facts.items() if said
    )
    write(f"<h3>{say('The job')}</h3><table>{rows}</table>")
