"""France: how far one tile may stand proud of the next, growing with the joint."""

from flatcheck.rules import Citation, Grade, Standard
from flatcheck.usual import most_step

_LEAST_MM = 0.5
_STONE_MM = 1.0


def _citation(note: str) -> Citation:
    return Citation(
        document="NF DTU 52.1 and 52.2",
        edition="edition not stated by the pages seen",
        clause="lippage between neighboring tiles (article number not seen)",
        source="infociments.fr 18 and 19 (one author); ffbatiment.fr (2018) in part",
        certainty="agreed",
        note=note,
    )


STANDARD = Standard(
    id="dtu-lippage",
    title="NF DTU 52.1 and 52.2 lippage",
    region="France",
    about="lippage",
    grades=(
        Grade(
            id="tile",
            title="Ceramic tile",
            rules=(
                most_step(
                    "tile",
                    _LEAST_MM,
                    f"No edge stands proud by more than {_LEAST_MM:g} mm, a tenth of the joint's "
                    "width and the tile's own tolerance.",
                    _citation(
                        "The material's tolerance is added; the warpage that was measured stands "
                        "for it here, which is stricter where the tile is better than it must be."
                    ),
                    joint_ratio=1 / 10,
                    adds_warpage=True,
                ),
            ),
        ),
        Grade(
            id="stone",
            title="Natural stone",
            rules=(
                most_step(
                    "stone",
                    _STONE_MM,
                    f"No edge stands proud by more than {_STONE_MM:g} mm.",
                    _citation("Nothing is added."),
                ),
            ),
        ),
    ),
)
