"""One family of errors, each a single sentence a person can act on.

The faces (command line, pages) catch `FlatcheckError` and print it; anything else is a bug and
must show as one.
"""


class FlatcheckError(ValueError):
    """Something the person can put right: bad text, a bad file, a rule that does not exist."""


class UnitsError(FlatcheckError):
    """A length or slope that cannot be read."""


class SurveyError(FlatcheckError):
    """Readings, or the survey document around them, that cannot be used."""


class RoomError(FlatcheckError):
    """An outline, cutout or zone that is not a floor."""


class RuleError(FlatcheckError):
    """A standard, grade or tile for which no rule is published here."""


class StoreError(FlatcheckError):
    """What the store on disk cannot keep or give back."""


class StaleError(StoreError):
    """A change made from what is no longer so; nothing was written over."""
