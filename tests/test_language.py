"""Texts in the person's language."""

from flatcheck.language import say, several


def test_filled() -> None:
    """A text has its values in the places of their names; without values its braces stay."""
    assert say("{share:.0%} of the {about}", share=0.5, about="floor") == "50% of the floor"
    assert say("a {b} c") == "a {b} c"
    assert say("") == ""


def test_number() -> None:
    """One thing has its own text, and any other number of them another."""
    one, other = "{number} bag of {what}", "{number} bags of {what}"
    assert several(1, one, other, what="patch") == "1 bag of patch"
    assert several(0, one, other, what="patch") == "0 bags of patch"
    assert several(2, one, other, what="patch") == "2 bags of patch"
