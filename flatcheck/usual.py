"""The usual sentences of standards as rules: a flat floor, a fall, a pond, a step between tiles."""

import math

from flatcheck.rules import STEP, Citation, Limit, Rule
from flatcheck.units import MM_PER_FOOT, parse_length

_FLAT = {
    "resting": "No gap over {limit} under a {length} straightedge resting on the high points.",
    "blocks": "No place more than {limit} high or low under a {length} straightedge on equal "
    "blocks.",
    "plane": "No place more than {limit} below the required plane that touches the high points, "
    "over any {length}.",
    "step": "No change in level over {limit} within {length}.",
}


def flat_rule(
    measure: str,
    length: str,
    limit: str,
    citation: Citation,
    *,
    edge_from_mm: float = 0.0,
    edge_below_mm: float = math.inf,
) -> Rule:
    """A limit over one length, both as the document writes them: "3 mm" under "2 m"."""
    length_mm = parse_length(length)
    return Rule(
        id=length.replace(" ", "").replace(".", "-"),
        measure=measure,
        length_mm=length_mm,
        limit=Limit(((length_mm, parse_length(limit)),)),
        words=_FLAT[measure].format(limit=limit, length=length),
        citation=citation,
        edge_from_mm=edge_from_mm,
        edge_below_mm=edge_below_mm,
    )


LEVEL_MM = 2 * MM_PER_FOOT
"""The level that rules of fall are tried with: documents give a slope and no length for it [mm].

Common practice, no source: a 24 in level is the one that fits in a shower."""


def least_fall(ratio: float, words: str, citation: Citation) -> Rule:
    """A floor falls at least `ratio` along each plane's own line of flow."""
    limit = Limit(((LEVEL_MM, -ratio * LEVEL_MM),))
    return Rule("least", "fall_least", LEVEL_MM, limit, words, citation, pitch_mm=LEVEL_MM / 2)


def most_fall(ratio: float, words: str, citation: Citation) -> Rule:
    """A floor falls at most `ratio`, whichever way."""
    limit = Limit(((LEVEL_MM, ratio * LEVEL_MM),))
    return Rule("most", "fall_most", LEVEL_MM, limit, words, citation, pitch_mm=LEVEL_MM / 2)


def no_ponds(held_mm: float, citation: Citation) -> Rule:
    """No water stands deeper than surface tension holds it anyway."""
    words = f"No water stands deeper than the {held_mm:.1f} mm that surface tension holds anyway."
    # A birdbath smaller than a foot across is not looked for (common practice, no source).
    limit = Limit(((1.0, held_mm),))
    return Rule("ponds", "ponding", None, limit, words, citation, pitch_mm=MM_PER_FOOT)


def up_to(value: float) -> float:
    """The bound `below` which a rule holds that still holds at the value itself."""
    return math.nextafter(value, math.inf)


def most_step(
    id: str,
    step_mm: float,
    words: str,
    citation: Citation,
    *,
    joint_ratio: float = 0.0,
    edges_ratio: float = 0.0,
    joint_from_mm: float = 0.0,
    joint_below_mm: float = math.inf,
    area_from_mm2: float = 0.0,
    area_below_mm2: float = math.inf,
    edge_below_mm: float = math.inf,
    adds_warpage: bool = False,
) -> Rule:
    """No edge stands proud of the next by more than `step_mm`, with what the rule adds to it."""
    return Rule(
        id=id,
        measure=STEP,
        length_mm=None,
        limit=Limit(((1.0, step_mm),), joint_ratio=joint_ratio, edges_ratio=edges_ratio),
        words=words,
        citation=citation,
        edge_below_mm=edge_below_mm,
        pitch_mm=math.inf,  # each joint is judged by itself, however far the next one is
        joint_from_mm=joint_from_mm,
        joint_below_mm=joint_below_mm,
        area_from_mm2=area_from_mm2,
        area_below_mm2=area_below_mm2,
        adds_warpage=adds_warpage,
    )
