"""What is said of a correction: whole sentences, amounts as one buys, no codes."""

from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest

from flatcheck.assess import assess
from flatcheck.cli import main
from flatcheck.correction import Choice, correct
from flatcheck.instead import Instead
from flatcheck.readers.folder import edited, read_folder
from flatcheck.report.correction import (
    PROVEN,
    choice_words,
    instead_words,
    recommended,
    terms_words,
)
from flatcheck.report.remedy import correction
from flatcheck.rules import standards
from flatcheck.units import STYLES, format_load, format_volume, format_weight

SAMPLES = Path(__file__).parents[1] / "sample_surveys"


@cache
def sample(name: str) -> Choice:
    """What to do with a sample."""
    return correct(assess(read_folder(SAMPLES / name)))


@pytest.mark.parametrize(
    "name", ["gorse-yard-humps", "withy-lane-dips", "marram-hall-waves", "millbrook-plywood"]
)
def test_whole_sentences_without_codes(name: str) -> None:
    """Reasons begin with a capital and end with a point; no standard is named by code."""
    choice = sample(name)
    for refusal in choice.refused:
        assert refusal.why[0].isupper()
        assert refusal.why.endswith(".")
    said = " ".join(choice_words(choice))
    assert not [f"{s}:" for s in standards() if f"{s}:" in said]
    assert " 1 bags" not in said
    assert "give way by 0" not in said.replace("give way by 0.", "")


def test_break_evens_of_the_samples() -> None:
    """The second sentence names an amount of work, and a price, that would turn the choice."""
    (_, grind) = recommended(sample("gorse-yard-humps"))
    assert grind.startswith("Patching the low places becomes the cheaper if there is more than ")
    assert "l to grind off (planned 0.41 l) or if a grinder must be rented for more than " in grind
    (_, patch) = recommended(sample("withy-lane-dips"))
    assert patch.startswith(
        "Pouring a self-leveler becomes the cheaper if it takes 5 bags of patch"
    )
    assert "or more (planned 1) or if a bag of patch costs more than " in patch


def test_free_work_is_said() -> None:
    """Where two remedies cost nothing the quicker is first, and how work is weighed is told."""
    free = {"labor": 0, "grinder": 0, "primer": 0, "patch": {"price": 0}}
    survey = read_folder(SAMPLES / "gorse-yard-humps")
    choice = correct(assess(edited(survey, {"correction": free})))
    assert recommended(choice)[0].endswith(
        "; patching the low places costs as much and takes 1.0 hours."
    )
    assert "planned by its volume" in terms_words(choice)
    assert "planned by its volume" not in terms_words(sample("gorse-yard-humps"))


def test_a_stopped_search_is_said() -> None:
    """What was not tried says so, and the recommendation that the comparison is not complete."""
    choice = correct(assess(read_folder(SAMPLES / "marram-hall-waves")), stop=lambda: True)
    said = choice_words(choice)
    assert said[1].startswith("The search was stopped, so the comparison is not complete")
    for title in ("Grinding the high places", "Patching the low places"):
        assert f"{title}: Not tried: the search was stopped before its turn." in said
    assert PROVEN not in said
    assert said[1] in correction(choice, choice.fixes[0])
    none = recommended(replace(choice, fixes=()))
    assert none == ["No plan that passes was known when the search was stopped."]


def test_what_is_proven_is_said() -> None:
    """Where a plan is proven least it is said of what; where none is, nothing."""
    assert PROVEN in choice_words(sample("withy-lane-dips"))
    assert "room for reading and placing error left at every place" in PROVEN
    assert PROVEN not in choice_words(sample("millbrook-plywood"))


def test_what_else_it_would_do_for() -> None:
    """Other rules are named as people call them, each standard once."""
    (said,) = instead_words(sample("gorse-yard-humps"))
    assert said.count("DIN 18202 flatness") == 1
    assert "BS 8204 surface regularity (SR3)" in said


def test_what_else_is_named_once_or_in_full() -> None:
    """A name that two grades share stands for both; of one of them alone its full title does."""
    choice = sample("gorse-yard-humps")

    def said(*grades: str) -> str:
        found = tuple(Instead(f"aci-bar:{grade}") for grade in grades)
        return instead_words(replace(choice, instead=found))[0]

    assert "(Flat)" in said("flat", "1990-flat")
    assert "(Flat, edition of 1990)" in said("1990-flat")
    assert "(Conventional; Flat, edition of 1990)" in said(
        "conventional", "1990-flat", "1990-conventional"
    )


def test_nothing_is_offered_where_readings_do_not_show_the_floor() -> None:
    """A floor not assessed is not "left as it is": the rest is to be read, and the status is 3."""
    said = choice_words(sample("larkfield-coarse"))
    assert said[0].startswith("What was read does not show whether the floor holds")
    assert said[-1].startswith("The readings cannot show this rule, so no plan can be proven: ")
    assert not [line for line in said if "every rule holds" in line]
    assert main(["correct", str(SAMPLES / "larkfield-coarse")]) == 3


def test_small_numbers_are_not_said_as_nothing() -> None:
    """Placing of 1/64 in is said to a survey that shows sixteenths; a little is not called 0."""
    assert 'work placed to 0.016"' in terms_words(sample("millbrook-plywood"))
    assert "1 bag an hour" in terms_words(sample("marram-hall-waves"))
    inch, metric = STYLES["in/16"], STYLES["mm"]
    assert format_volume(0.001, metric) == "under 0.01 l"
    assert format_volume(28.316846592, inch) == "1.0 cubic ft"
    assert format_volume(3.785411784, inch) == "1.0 gal"
    assert format_volume(0, metric) == "0.00 l"
    assert format_weight(0.32, metric) == "0.3 kg"
    assert format_weight(0.45359237 * 25, inch) == "25 lb"
    assert format_load(58.59, inch) == "12.0 lb on each square foot"
