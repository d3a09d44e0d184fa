"""Britain: floors of free movement in warehouses, an older edition. Not made for tile."""

from flatcheck.rules import Citation, Grade, Limit, Rule, Standard
from flatcheck.units import parse_length
from flatcheck.usual import flat_rule

_CITATION = Citation(
    document="TR34",
    edition="older edition",
    clause="free movement, classes FM2 and FM3 (section not seen)",
    source="US Access Board report of 2011, Part III",
    certainty="single source",
    note="Warehouse floors; it says nothing of tile.",
)


def _change(limit: str) -> Rule:
    return flat_rule("plane", "600 mm", limit, _CITATION)


def _bend(limit: str) -> Rule:
    """The change from one step of 300 mm to the next, which is twice the departure midway."""
    half = parse_length(limit) / 2
    return Rule(
        id="bend",
        measure="neighbors",
        length_mm=600.0,
        limit=Limit(((600.0, half),)),
        words=f"No place more than {half:g} mm off the middle between its neighbors, over 600 mm.",
        citation=_CITATION,
        pitch_mm=300.0,
    )


def _disputed(name: str) -> str:
    return (
        f"The page gives a change over 600 mm. That is read as a change in height (tr34:{name}) or "
        f"as the change from one step of 300 mm to the next (tr34:{name}-bend); which is meant is "
        "not settled."
    )


STANDARD = Standard(
    id="tr34",
    title="TR34 free movement",
    region="Britain",
    grades=tuple(
        grade
        for name, limit in (("FM2", "3.5 mm"), ("FM3", "5 mm"))
        for grade in (
            Grade(name, f"{name}, change in height", (_change(limit),), disputed=_disputed(name)),
            Grade(
                f"{name}-bend",
                f"{name}, change from step to step",
                (_bend(limit),),
                disputed=_disputed(name),
            ),
        )
    ),
)
