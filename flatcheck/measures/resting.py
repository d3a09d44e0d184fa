"""Gap under a straightedge that rests on the high points.

The bar touches the floor at two contacts; the gap is from the line between them down to the floor
between them, never under an end that hangs over. For a bar of a given length the largest gap at a
place is upper hull minus profile (DIN 18202 practice and ACI 117 practice, the bar not levelled).
"""

from flatcheck.evidence import Evidence, View, from_bars
from flatcheck.language import say
from flatcheck.straightedge import bars

WORDS = say("gap under a straightedge resting on the high points")
OF = "plane"


def measure(view: View, length_mm: float | None) -> Evidence:
    """Every gap under a bar up to `length_mm` long, or of any length when None."""
    found = bars(view.lines, view.flat_mm, length_mm)
    if length_mm is not None:
        return from_bars(view, found, slice(None), signed=False)
    # Where the limit depends on the distance between the contacts only a chord that a bar can
    # really rest on may be looked up; with one limit for all the others are harmless.
    return from_bars(view, found, found.rests, signed=False)
