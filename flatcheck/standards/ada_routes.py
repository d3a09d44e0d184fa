"""United States: slopes of accessible walks and ramps."""

from flatcheck.rules import Citation, Grade, Standard
from flatcheck.usual import most_fall

_WALKS = Citation(
    document="ADA and ABA Standards",
    edition="2010",
    clause="walks and ramps (section not seen)",
    source="US Access Board and one more page",
    certainty="agreed",
    note="A slope is judged whichever way it runs; judge a walk's running slope and its cross "
    "slope in surveys, or zones, of their own.",
)

_TILE = Citation(
    document="TCA Handbook",
    edition="2009",
    clause="ramps",
    source="US Access Board report of 2011, Part III",
    certainty="single source",
    note="1:10 to 1:12 for a rise up to 6 in, 1:8 to 1:10 for a rise up to 3 in, never steeper. "
    "The rise is not judged here.",
)

STANDARD = Standard(
    id="ada-routes",
    title="ADA walks and ramps",
    region="USA",
    about="falls",
    grades=(
        Grade(
            "running",
            "Walk, running slope",
            (most_fall(1 / 20, "The walk falls at most 1:20.", _WALKS),),
        ),
        Grade(
            "cross",
            "Walk, cross slope",
            (most_fall(1 / 48, "The walk falls at most 1:48.", _WALKS),),
        ),
        Grade("ramp", "Ramp", (most_fall(1 / 12, "The ramp falls at most 1:12.", _WALKS),)),
        Grade(
            "ramp-6in",
            "Tiled ramp that rises up to 6 in",
            (most_fall(1 / 10, "The ramp falls at most 1:10.", _TILE),),
        ),
        Grade(
            "ramp-3in",
            "Tiled ramp that rises up to 3 in",
            (most_fall(1 / 8, "The ramp falls at most 1:8.", _TILE),),
        ),
    ),
)
