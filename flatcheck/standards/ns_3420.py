"""Norway: flatness in four classes; a tiled floor is class PB."""

from flatcheck.rules import Citation, Grade, Standard
from flatcheck.usual import flat_rule

_CITATION = Citation(
    document="NS 3420-1",
    edition="2012",
    clause="table 3",
    source="norskbyggkeramikkforening.no (two language versions)",
    certainty="single source",
    note="The page gives plus or minus: high and low both count, under a bar on equal blocks.",
)

_CLASSES = (
    ("PB", "PB, tiled floors", ("3 mm", "2 mm", "1 mm")),
    ("PA", "PA, the narrowest", ("2 mm", "1 mm")),
    ("PC", "PC", ("5 mm", "3 mm", "2 mm")),
    ("PD", "PD, the widest", ("8 mm", "5 mm", "3 mm")),
)
"""Limits under 2 m, 1 m and 0.25 m; class PA has none for the shortest."""

STANDARD = Standard(
    id="ns-3420",
    title="NS 3420 flatness",
    region="Norway",
    grades=tuple(
        Grade(
            id,
            title,
            tuple(
                flat_rule("blocks", length, limit, _CITATION)
                for length, limit in zip(("2 m", "1 m", "0.25 m"), limits, strict=False)
            ),
        )
        for id, title, limits in _CLASSES
    ),
)
