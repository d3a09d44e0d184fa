"""The markup of a drawing: SVG for what is drawn, and words around it that keep their size."""

import base64
import io
import re
from collections.abc import Sequence
from html import escape, unescape

import numpy as np
import numpy.typing as npt
from PIL import Image

from flatcheck.ui.drawing import INK, Colors, Drawing, Line, Scale, Signs, Words

Floats = npt.NDArray[np.float64]

WIDEST_REM, TALLEST_REM = 45, 60
"""How wide a drawing becomes at most with its margins, and how tall without: it is seen whole."""

WIDE = 1000
"""How wide a drawing is in the units that its lines are told in; about 0.7 px each on a desk."""

UNITS_PER_PX = 1.5
"""How large hatches are until drawing.js has seen how wide the drawing is."""

DASHES = {"solid": "", "dash": "7 5", "dot": "2 4"}

HATCHES = {
    "/": "M-1 1L1-1M0 {w}L{w} 0M{v} {u}L{u} {v}",
    "\\": "M-1 {v}L1 {u}M0 0L{w} {w}M{v}-1L{u} 1",
    "-": "M0 {h}H{w}",
    "+": "M0 {h}H{w}M{h} 0V{w}",
    "x": "M0 0L{w} {w}M{w} 0L0 {w}",
    ".": "M{h} {h}h.01",
}
"""Lines of a tile that is `w` wide [px]; `h` is half of that, `u` and `v` just more and less."""

SIGNS = {
    "dot": "M-1 0a1 1 0 1 0 2 0a1 1 0 1 0-2 0z",
    "square": "M-1-1H1V1H-1z",
    "diamond": "M0-1.2L1.2 0 0 1.2-1.2 0z",
    "up": "M0-1.2L1.1.8H-1.1z",
    "down": "M0 1.2L1.1-.8H-1.1z",
    "cross": "M-1-1L1 1M1-1L-1 1",
    "arrow": "M0 0L.8 2 0 1.6-.8 2z",
}
"""Each within about one unit of its place; an arrow has its tip there."""

MARKUP = re.compile(r"(</?[bi]>|<br>)")


def shown(words: str) -> str:
    """Words that may hold what a person typed, as they stand in what a drawing says."""
    return escape(words, quote=False)


def clean(text: str) -> str:
    """What a drawing says, with no markup in it but <b>, <i> and <br>, whatever it came with."""
    return "".join(
        piece if MARKUP.fullmatch(piece) else escape(unescape(piece))
        for piece in MARKUP.split(text)
    )


def plain(text: str) -> list[str]:
    """The lines of what a drawing says, as they are seen."""
    return [unescape(MARKUP.sub("", line)) for line in text.split("<br>")]


def markup(drawing: Drawing, widest_rem: float = WIDEST_REM) -> str:
    """A drawing as markup that fills the width it is given, up to `widest_rem` with its margins."""
    left, top, right, bottom = drawing.margin_px
    drawn = "".join(
        f'<g data-layer="{escape(layer.name)}">{_layer(drawing, number)}</g>'
        for number, layer in enumerate(drawing.layers)
    )
    words = "".join(_words(drawing, said) for said in drawing.words)
    colors = [layer for layer in drawing.layers if isinstance(layer, Colors)]
    keys = "".join(_bar(layer, bottom) for layer in colors)
    widest = f"{widest_rem:g} * var(--rem) - {left + right:g}px"
    tallest = f"{TALLEST_REM * drawing.shape:.2f} * var(--rem)"
    return (
        f'<div class="plan" style="aspect-ratio:{drawing.shape:.4f};'
        f"max-width:min({widest},{tallest});"
        f'margin:{top:g}px {right:g}px {bottom:g}px {left:g}px">'
        f'<svg width="100%" height="100%" role="img" aria-label="{escape(drawing.about)}">'
        f"{drawn}</svg>{words}{keys}</div>"
    )


def places(drawing: Drawing) -> list[tuple[float, float, str, int | None]]:
    """What is told at a place, right and down in hundredths of it, and the number it is chosen by.

    Those drawn last come first: where two lie at one place it is the upper one that is meant.
    """
    found: list[tuple[float, float, str, int | None]] = []
    for layer in reversed(drawing.layers):
        if isinstance(layer, Signs):
            told = [*map(clean, layer.told)] or [""] * len(layer.xy)
            numbers: list[int | None] = [*layer.numbers] or [None] * len(layer.xy)
        elif isinstance(layer, Line):
            told = [clean(layer.told)] * len(layer.xy)
            numbers = [None] * len(layer.xy)
        else:
            continue
        at = (100 * drawing.share(layer.xy)).round(2).tolist()
        found += [
            (x, y, words, number)
            for (x, y), words, number in zip(at, told, numbers, strict=True)
            if words or number is not None
        ]
    return found


def _layer(drawing: Drawing, number: int) -> str:
    layer = drawing.layers[number]
    if isinstance(layer, Colors):
        return _scaled(drawing, _image(drawing, layer))
    if isinstance(layer, Line):
        return _scaled(drawing, _line(drawing, layer, f"h{number}"))
    if not layer.sign:
        return ""
    if layer.sign == "dot" and not layer.edge_px and isinstance(layer.fill, str):
        return _scaled(drawing, _dots(drawing, layer))
    return _signs(drawing, layer)


def _scaled(drawing: Drawing, drawn: str) -> str:
    """What scales with the drawing."""
    box = f"0 0 {WIDE} {WIDE / drawing.shape:.1f}"
    return (
        f'<svg width="100%" height="100%" viewBox="{box}" preserveAspectRatio="none">{drawn}</svg>'
    )


def _units(drawing: Drawing, xy: Floats) -> Floats:
    """Places (n, 2) in the units of the drawing."""
    units: Floats = (drawing.share(xy) * (WIDE, WIDE / drawing.shape)).round(1)
    return units


def _path(drawing: Drawing, xy: Floats) -> str:
    drawn, pen = [], "M"
    for x, y in _units(drawing, xy).tolist():
        if x != x:
            pen = "M"
            continue
        drawn.append(f"{pen}{x:g} {y:g}")
        pen = "L"
    return "".join(drawn)


def _line(drawing: Drawing, line: Line, own: str) -> str:
    path = _path(drawing, line.xy)
    if not path:
        return ""
    drawn = ""
    if line.fill != "none":
        drawn += f'<path d="{path}" fill="{line.fill}" fill-rule="evenodd"/>'
    if line.hatch:
        wide = {".": 6, "-": 5, "x": 6}.get(line.hatch, 8)
        known = {"w": wide, "h": wide / 2, "u": wide + 1, "v": wide - 1}
        thick = 2.2 if line.hatch == "." else 1
        drawn += (
            f'<pattern id="{own}" width="{wide}" height="{wide}" patternUnits="userSpaceOnUse" '
            f'patternTransform="scale({UNITS_PER_PX})">'
            f'<path d="{HATCHES[line.hatch].format(**known)}" stroke="{line.hatch_color}" '
            f'stroke-width="{thick}" stroke-linecap="round"/></pattern>'
            f'<path d="{path}" fill="url(#{own})" fill-rule="evenodd"/>'
        )
    if line.halo_px:
        drawn += _stroke(path, "white", line.width_px + line.halo_px, "")
    if line.width_px:
        drawn += _stroke(path, line.color, line.width_px, DASHES[line.dash])
    return drawn


def _stroke(path: str, color: str, width_px: float, dash: str) -> str:
    dashed = f' stroke-dasharray="{dash}"' if dash else ""
    return (
        f'<path class="line" d="{path}" fill="none" stroke="{color}" '
        f'stroke-width="{width_px:g}"{dashed}/>'
    )


def _dots(drawing: Drawing, signs: Signs) -> str:
    """Dots as one line of no length with round ends, which is a hundred times less to draw."""
    path = "".join(f"M{x:g} {y:g}h0" for x, y in _units(drawing, signs.xy).tolist())
    if not path:
        return ""
    rims = [("white", signs.size_px + signs.halo_px)] if signs.halo_px else []
    return "".join(
        f'<path class="line dots" d="{path}" fill="none" stroke="{color}" '
        f'stroke-width="{size_px:g}" stroke-linecap="round" opacity="{signs.opacity:g}"/>'
        for color, size_px in [*rims, (signs.fill, signs.size_px)]
    )


def _signs(drawing: Drawing, signs: Signs) -> str:
    radius, shape = signs.size_px / 2, SIGNS[signs.sign]
    fills = [signs.fill] * len(signs.xy) if isinstance(signs.fill, str) else signs.fill
    turns = [*signs.turn_deg] or [0.0] * len(signs.xy)
    rims, drawn = [], []
    at = (100 * drawing.share(signs.xy)).round(2).tolist()
    for (x, y), fill, turn in zip(at, fills, turns, strict=True):
        turned = f"rotate({turn:g}) " if turn else ""
        place = f'<svg x="{x:g}%" y="{y:g}%">'
        path = f'<path class="line" d="{shape}" transform="{turned}scale({radius:g})"'
        if signs.halo_px:
            around = signs.edge_px + signs.halo_px
            rims.append(
                f'{place}{path} fill="none" stroke="white" stroke-width="{around:g}"/></svg>'
            )
        edge = f' stroke="{signs.edge}" stroke-width="{signs.edge_px:g}"' if signs.edge_px else ""
        drawn.append(f'{place}{path} fill="{fill}"{edge}/></svg>')
    faint = f' opacity="{signs.opacity:g}"' if signs.opacity < 1 else ""
    # All rims first: none covers another sign.
    return f"<g{faint}>{''.join(rims + drawn)}</g>"


def _rgb(color: str) -> tuple[int, ...]:
    return tuple(bytes.fromhex(color.removeprefix("#")))


def _image(drawing: Drawing, colors: Colors) -> str:
    """The cells as a picture, each a dot of it, in colors between those of the scale."""
    at, named = zip(*colors.scale, strict=True)
    low, high = colors.marks[0], colors.marks[-1]
    value = np.flipud(colors.value)
    share = np.nan_to_num((value - low) / (high - low))
    rgb = np.array([_rgb(color) for color in named])
    dots = np.dstack([np.interp(share, at, band) for band in rgb.T] + [255.0 * np.isfinite(value)])
    kept = io.BytesIO()
    Image.fromarray(dots.round().astype(np.uint8), "RGBA").save(kept, "PNG", compress_level=1)
    half = colors.step_mm / 2
    corners = np.array(
        [
            (colors.x_mm[0] - half, colors.y_mm[-1] + half),
            (colors.x_mm[-1] + half, colors.y_mm[0] - half),
        ]
    )
    (x0, y0), (x1, y1) = _units(drawing, corners).tolist()
    return (
        f'<image x="{x0:g}" y="{y0:g}" width="{x1 - x0:g}" height="{y1 - y0:g}" '
        f'preserveAspectRatio="none" '
        f'href="data:image/png;base64,{base64.b64encode(kept.getvalue()).decode()}"/>'
    )


def _words(drawing: Drawing, words: Words) -> str:
    x, y = (100 * drawing.share(np.array(words.at)))[0].round(2).tolist()
    across, up = words.side
    moves = f"translate({50 * (across - 1)}%,{-50 * (up + 1)}%)"
    right, above = words.off_px
    if right or above:
        moves += f" translate({right:g}px,{-above:g}px)"
    if words.upright:
        moves += " rotate(180deg)"
    kinds = ["upright"] * words.upright + ["halo"] * words.halo + ["spare"] * words.spare
    color = f";color:{words.color}" if words.color != INK else ""
    return (
        f'<span data-words="{escape(words.name)}" class="{" ".join(kinds)}" '
        f'style="left:{x:g}%;top:{y:g}%;font-size:{words.size_px:g}px;transform:{moves}{color}">'
        f"{clean(words.text)}</span>"
    )


def _bar(colors: Colors, bottom_px: float) -> str:
    """The bar of colors, with its marks, at the bottom of the room below the drawing."""
    below_px = bottom_px - colors.bar_px
    marks = np.array(colors.marks)
    share = 100 * (marks - marks[0]) / (marks[-1] - marks[0])
    words = "".join(
        f'<span style="left:{at:g}%;top:100%;transform:translate(-50%,2px)">{clean(said)}</span>'
        for at, said in zip(share.tolist(), colors.words, strict=True)
    )
    place = f"top:calc(100% + {below_px:g}px);background:{_gradient(colors.scale)}"
    return f'<div class="key" style="{place}">{words}</div>'


def _gradient(scale: Scale) -> str:
    stops: Sequence[str] = [f"{color} {100 * at:g}%" for at, color in scale]
    return f"linear-gradient(90deg,{','.join(stops)})"
