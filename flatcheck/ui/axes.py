"""What the drawings have in common: ink, type and layout."""

from collections.abc import Sequence

INK = "#1f2328"
FONT = {"family": "Source Sans, sans-serif", "size": 14, "color": INK}
AXIS = {
    "fixedrange": True,
    "zeroline": False,
    "ticks": "",
    "gridcolor": "#eaeef2",
    "tickangle": 0,
}
DIGIT_PX, ROW_PX = 7.5, 20
"""How wide a mark beside an axis is for each of its signs, and how tall a row of them."""

LAYOUT = {
    "showlegend": False,
    "dragmode": False,
    "font": FONT,
    "plot_bgcolor": "white",
    "paper_bgcolor": "white",
    "hoverlabel": {"bgcolor": "white", "font": {"size": 14}, "align": "left"},
}


def margin(up: Sequence[str], below_px: float, edge_px: int = 10) -> dict[str, float | bool]:
    """The room for the words beside the axis that stands, and for what stands below the other.

    Said here, not found out by drawing twice, which takes as long as the drawing.
    """
    left = edge_px + DIGIT_PX * max(map(len, up), default=0)
    return {"l": left, "r": edge_px, "t": edge_px, "b": below_px, "autoexpand": False}
