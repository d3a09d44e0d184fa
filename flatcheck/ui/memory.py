"""What was worked out of a survey, kept so that a redraw of the page does not work it out anew."""

from collections.abc import Callable, Hashable
from typing import TypeVar

import streamlit as st

from flatcheck.survey import Survey

KEPT = 4
"""How many of a kind are kept: each holds the floor that it is of."""

Made = TypeVar("Made")


def text_of(survey: Survey) -> tuple[Hashable, ...]:
    """All that a survey says, to tell whether another says the same."""
    return (survey.document, *(table.cells for table in survey.tables))


def kept(slot: str, key: Hashable, make: Callable[[], Made]) -> Made:
    """What is kept under this key, or made now; what was used longest ago gives way."""
    held: dict[Hashable, Made] = st.session_state.setdefault(slot, {})
    found = held.pop(key) if key in held else make()
    held[key] = found
    for oldest in list(held)[:-KEPT]:
        del held[oldest]
    return found
