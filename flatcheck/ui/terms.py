"""The terms of a correction as a form: what the floor is made of, prices, bags and yields."""

import tomllib
from typing import Any

import streamlit as st

from flatcheck.language import say
from flatcheck.readers.folder import edited
from flatcheck.survey import Survey
from flatcheck.terms import SAID, SUBSTRATES, Material
from flatcheck.ui.markup import paragraphs, write
from flatcheck.units import STYLES, format_length, format_volume, format_weight

MATERIALS = {"patch": say("Patch"), "leveler": say("Self-leveler"), "mortar": say("Mortar bed")}

HOLDS = {
    "concrete": say("concrete"),
    "screed": say("screed"),
    "wood": say("wood"),
    "membrane": say("membrane"),
    "heated": say("heated"),
    "post-tensioned": say("post-tensioned"),
    "old adhesive": say("old adhesive"),
    "tile": say("tile"),
}
"""What each of SUBSTRATES is called."""

FINE = {"in": STYLES["in/64"], "mm": STYLES["mm/0.1"]}
"""How finely the usual placing is said."""


def terms_form(source: str, survey: Survey) -> tuple[bool, dict[str, Any]]:
    """Whether the correction was asked for, and the `[correction]` section as the person has it.

    A field that is left empty has what is usual, which stands in it in gray.
    """
    held = f"terms of {source}"
    own = st.session_state.get(held, written_terms(survey))
    wanted = dict(own)
    with st.form(f"{source} terms", border=False):
        with st.expander(say("What the floor is made of, and your prices"), key=f"prices {source}"):
            _put(wanted, "substrate", _substrate(source, own))
            row = st.container(horizontal=True, vertical_alignment="bottom")
            terms, fine = survey.terms, FINE[survey.show.unit]
            for key, label, usual in (
                ("most_grind", say("Grind off at most"), format_length(terms.most_grind_mm, fine)),
                (
                    "placing",
                    say("Depth is placed to within"),
                    format_length(terms.placing_mm, fine),
                ),
            ):
                _put(wanted, key, _text(row, label, own.get(key), usual, f"{source}/terms/{key}"))
            row = st.container(horizontal=True, vertical_alignment="bottom")
            for key, label, price in (
                ("labor", say("An hour of work costs"), terms.labor),
                ("grinder", say("The grinder costs, 0 if it is yours"), terms.grinder),
            ):
                _put(wanted, key, _number(row, label, own.get(key), price, f"{source}/terms/{key}"))
            for name, title in MATERIALS.items():
                material = getattr(terms, name)
                _put(wanted, name, _bag(source, name, title, own.get(name, {}), material, survey))
            write(paragraphs((SAID,), "fine"))
        pressed = st.form_submit_button(say("Work out the correction"), type="primary")
    st.session_state[held] = wanted
    return pressed, wanted


def written_terms(survey: Survey) -> dict[str, Any]:
    """The `[correction]` section of a survey document, as it is written."""
    section: dict[str, Any] = tomllib.loads(survey.document).get("correction", {})
    return section


def on_terms(survey: Survey, section: dict[str, Any]) -> Survey:
    """The survey with this for its `[correction]` section.

    Raises SurveyError naming the key that cannot be used.
    """
    if section == written_terms(survey):
        return survey
    return edited(edited(survey, {"correction": None}), {"correction": section})


def _put(section: dict[str, Any], key: str, value: Any) -> None:
    """A value into its section; nothing said takes the key out."""
    if value in (None, "", [], {}):
        section.pop(key, None)
    else:
        section[key] = value


def _substrate(source: str, own: dict[str, Any]) -> Any:
    said = own.get("substrate", [])
    known = [said] if isinstance(said, str) else list(said)
    chosen = st.multiselect(
        say("What the floor is made of, or holds"),
        SUBSTRATES,
        known,
        HOLDS.__getitem__,
        key=f"{source}/terms/substrate",
        placeholder=HOLDS["concrete"],
    )
    return said if chosen == known else chosen


def _bag(
    source: str, name: str, title: str, own: dict[str, Any], material: Material, survey: Survey
) -> dict[str, Any]:
    """A material as its bag and data sheet have it."""
    found, style = dict(own), survey.show
    row = st.container(horizontal=True, vertical_alignment="bottom", key=f"bag-{name}")
    for key, label, usual in (
        ("bag", say("{material}, bag of", material=title), format_weight(material.bag_kg, style)),
        ("yield", say("gives"), format_volume(material.yield_l, style)),
    ):
        _put(found, key, _text(row, label, own.get(key), usual, f"{source}/terms/{name}/{key}"))
    price = _number(
        row, say("costs"), own.get("price"), material.price, f"{source}/terms/{name}/price"
    )
    _put(found, "price", price)
    return found


def _text(row: Any, label: str, own: Any, usual: str, key: str) -> str:
    written = row.text_input(label, "" if own is None else str(own), key=key, placeholder=usual)
    return str(written).strip()


def _number(row: Any, label: str, own: float | None, usual: float, key: str) -> float | None:
    given: float | None = row.number_input(
        label,
        min_value=0.0,
        value=None if own is None else float(own),
        key=key,
        placeholder=f"{usual:g}",
        format="%g",
    )
    return given
