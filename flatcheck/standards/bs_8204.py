"""Britain: surface regularity of screeds and concrete bases, classes SR1 to SR3."""

from flatcheck.rules import Citation, Grade, Limit, Rule, Standard

_BAR_MM = 2000.0

_CITATION = Citation(
    document="BS 8204-1, BS 8204-2 and BS 8204-7",
    edition="edition not stated by the pages seen",
    clause="surface regularity, classes SR1 to SR3 (Annex C for the test)",
    source="technical pages of four screeding firms, one of which cites Annex C",
    certainty="agreed",
    note="SR2 is the usual class; SR1 is asked for large tile and high demands. The straightedge "
    "rests under its own weight and a slip gauge is tried under it. How many places are tested "
    "must be agreed beforehand.",
)


def _grade(name: str, use: str, limit_mm: float) -> Grade:
    words = (
        f"No gap over {limit_mm:g} mm under a {_BAR_MM / 1000:g} m straightedge "
        "resting under its own weight."
    )
    limit = Limit(((_BAR_MM, limit_mm),))
    return Grade(
        id=name,
        title=f"{name}, {use}",
        rules=(Rule("2m", "resting", _BAR_MM, limit, words, _CITATION),),
    )


STANDARD = Standard(
    id="bs-8204",
    title="BS 8204 surface regularity",
    region="Britain",
    grades=(
        _grade("SR2", "the usual class", 5),
        _grade("SR1", "for large tile and high demands", 3),
        _grade("SR3", "the widest class", 10),
    ),
)
