"""Australia: how far one tile may stand proud of the next before it is a defect."""

from flatcheck.rules import Citation, Grade, Standard
from flatcheck.usual import most_step, up_to

_TILE_MM, _GROUND_MM, _NARROW_MM, _JOINT_MM = 2.0, 1.5, 1.0, 3.0


def _citation(source: str, certainty: str) -> Citation:
    return Citation(
        document="Guides to standards and tolerances",
        edition="Victoria 2015, New South Wales 2017, Tasmania 2017",
        clause="Tasmania 12.9",
        source=source,
        certainty=certainty,
    )


_TWO = _citation("premiumbms.com.au (full text); a page on AS 3958.1", "agreed")
_ONE = _citation("premiumbms.com.au (full text)", "single source")

STANDARD = Standard(
    id="au-lippage",
    title="Australian guides, lippage",
    region="Australia",
    about="lippage",
    grades=(
        Grade(
            id="tile",
            title="Tile",
            rules=(
                most_step(
                    "tile", _TILE_MM, f"No edge stands proud by more than {_TILE_MM:g} mm.", _TWO
                ),
            ),
        ),
        Grade(
            id="ground",
            title="Ground flat or polished tile",
            rules=(
                most_step(
                    "ground",
                    _GROUND_MM,
                    f"No edge stands proud by more than {_GROUND_MM:g} mm.",
                    _ONE,
                ),
            ),
        ),
        Grade(
            id="narrow",
            title="Joints up to 3 mm",
            rules=(
                most_step(
                    "narrow",
                    _NARROW_MM,
                    f"At a joint up to {_JOINT_MM:g} mm wide no edge stands proud by more than "
                    f"{_NARROW_MM:g} mm.",
                    _ONE,
                    joint_below_mm=up_to(_JOINT_MM),
                ),
            ),
        ),
    ),
)
