"""What the drawings have in common: ink, type and layout."""

INK = "#1f2328"
FONT = {"family": "Source Sans, sans-serif", "size": 14, "color": INK}
AXIS = {
    "fixedrange": True,
    "zeroline": False,
    "ticks": "",
    "gridcolor": "#eaeef2",
    "automargin": True,
    "tickangle": 0,
}
LAYOUT = {
    "showlegend": False,
    "dragmode": False,
    "font": FONT,
    "plot_bgcolor": "white",
    "paper_bgcolor": "white",
    "hoverlabel": {"bgcolor": "white", "font": {"size": 14}, "align": "left"},
}
