"""Sweden: wet room floors, and walls, by the classes of AMA Hus."""

from flatcheck.rules import Citation, Grade, Limit, Rule, Standard
from flatcheck.usual import flat_rule


def _citation(table: str, section: str) -> Citation:
    return Citation(
        document="AMA Hus",
        edition="as quoted in 2016",
        clause=table,
        source=f"sakravatrum.gvk.se 2016, {section}",
        certainty="single source",
        note="The page gives plus or minus: high and low both count, under a bar on equal blocks.",
    )


_FLOOR = _citation("43.DC/-1, class A", "4.5.1")
_WALL = _citation("44.C/-1", "5.3.1")

_PLUMB = Rule(
    id="plumb",
    measure="lean",
    length_mm=None,
    limit=Limit(((3000.0, 5.0), (12000.0, 20.0))),
    words="No line up the wall out of plumb by more than a six-hundredth of its length, 5 mm at "
    "least (up to 3 m) and 20 mm at most (from 12 m).",
    citation=Citation(
        _WALL.document,
        _WALL.edition,
        _WALL.clause,
        _WALL.source,
        _WALL.certainty,
        "The length is taken from the lowest to the highest reading of a line.",
    ),
    pitch_mm=1000.0,
)


def _floor(id: str, name: str, short: str, long: str) -> Grade:
    rules = (flat_rule("blocks", "2 m", long, _FLOOR), flat_rule("blocks", "0.25 m", short, _FLOOR))
    return Grade(id, f"Wet room floor, {name}", rules)


STANDARD = Standard(
    id="ama-hus",
    title="AMA Hus floors and walls",
    region="Sweden",
    grades=(
        _floor("A", "A", "1.2 mm", "3 mm"),
        _floor("A-plus", "A+", "1 mm", "2 mm"),
        _floor("B", "B", "1.2 mm", "5 mm"),
        Grade(
            id="wall",
            title="Wall: flat and plumb",
            rules=(
                flat_rule("blocks", "2 m", "5 mm", _WALL),
                flat_rule("blocks", "0.25 m", "2 mm", _WALL),
                _PLUMB,
            ),
            on="wall",
        ),
    ),
)
