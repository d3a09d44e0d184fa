"""What a tile in its pattern comes to on a floor, in words, as a table of joints and on paper."""

from collections.abc import Sequence
from html import escape

import numpy as np

from flatcheck.assess import Assessment
from flatcheck.bond import Pattern
from flatcheck.forecast import Answer, Forecast, Way
from flatcheck.instrument import fine
from flatcheck.language import say, several
from flatcheck.outlook import Outlook
from flatcheck.product import allowed, bow_allowed, own_classes, product_named
from flatcheck.readers.cells import csv_text
from flatcheck.report.forecast import (
    choosing_words,
    closely,
    forecast_words,
    joints_svg,
    rows_table,
    step_words,
)
from flatcheck.report.paper import MOST_LABELS, heading, page, paragraphs, plan_of
from flatcheck.report.text import cite
from flatcheck.report.tiling import pattern_words
from flatcheck.report.words import tile_size
from flatcheck.selection import Row
from flatcheck.spacing import OFFSETS, may_offset
from flatcheck.surface import Surface
from flatcheck.survey import Survey
from flatcheck.tile import Tile
from flatcheck.tiling import asked
from flatcheck.units import Style, format_distance, format_length

KEY = say(
    "Joints in an even bed: thin gray lines will be within, broken ones too close to call, thick "
    "ones out. Tiles in gray cannot be bedded within the limits."
)

SHADES = 6
"""The bed is shown in so many grays, the thinnest white."""


def outlook_words(seen: Outlook, assessment: Assessment) -> list[str]:
    """The answer, what it rests on, the forecast as it is and after each correction, the rule."""
    survey, style = assessment.survey, assessment.survey.show
    tile, pattern = asked(survey)
    joint = format_length(tile.joint_mm, closely(style))
    answer, *more = forecast_words(seen.found, assessment.surface, style)
    return [
        f"{headline(seen)}: {survey.title}",
        say("{tile}, joint {joint}", tile=option_name(tile, pattern, style), joint=joint),
        # What corrections do for it says more.
        *([] if seen.after else [answer]),
        *_after(seen, style),
        _limit(seen, tile, style),
        *more,
        *rule_words(survey),
        seen.allowed.rule.words,
        cite(seen.allowed.rule.citation),
    ]


def headline(seen: Outlook) -> str:
    """The answer in capitals; no floor is said to do more than its readings and its bed allow."""
    said = say("only with a correction") if seen.cured else say(seen.answer)
    if seen.answer is Answer.AS_IS:
        said = said if seen.even else _tile_by_tile(said)
        said = _as_far_as_read(said) if seen.found.blind else said
    return said.upper()


def _tile_by_tile(answer: str) -> str:
    return say("{answer}, but only tile by tile", answer=answer)


def _as_far_as_read(answer: str) -> str:
    return say("{answer}, as far as the readings show", answer=answer)


def option_name(tile: Tile, pattern: Pattern, style: Style) -> str:
    """A tile in its pattern, wherever that starts: 12" x 24" running bond at a third."""
    return f"{tile_size(tile, style)} {pattern_words(pattern, style, origin=False)}"


def _limit(seen: Outlook, tile: Tile, style: Style) -> str:
    limit = say(
        "At most {limit} of lippage by {standard}",
        limit=format_length(seen.allowed.limit_mm, closely(style)),
        standard=seen.allowed.standard.title,
    )
    warpage = fine(tile.bow.most_mm, style) if tile.bow else ""
    if seen.allowed.open:
        limit += say(" and the tile's own warpage, which was not measured and is not added")
    elif not seen.allowed.met and tile.bow:
        limit += say(
            "; the tile's measured warpage of {warpage} is not added, as {reason}",
            warpage=warpage,
            reason=_unmet(seen, tile, style),
        )
    elif seen.allowed.rule.adds_warpage and tile.bow:
        limit += say(", the tile's measured warpage of {warpage} in it", warpage=warpage)
    if tile.bow is None:
        straight = say("Its bow is not known; it counts as straight.")
        return f"{limit}. {straight}{_could(tile, style)}"
    bent = _BENT[tile.bow.measured, tile.bow.edge_mm > 0]
    return f"{limit}. {bent.format(bow=fine(abs(tile.bow.edge_mm), style))}"


_BENT = {
    (True, True): say("The middle of its long edge is measured {bow} high."),
    (True, False): say("The middle of its long edge is measured {bow} low."),
    (False, True): say("The middle of its long edge is taken to be {bow} high."),
    (False, False): say("The middle of its long edge is taken to be {bow} low."),
}
"""What is said of a tile's bow, by whether it was measured and whether it is a crown."""


def _unmet(seen: Outlook, tile: Tile, style: Style) -> str:
    """Why a tile that is bent has no claim to a wider limit."""
    groups = own_classes(tile, seen.allowed.standard.region)
    document = groups[0][0].citation.document
    each = sorted(bow_allowed(tile, group) for group in groups)
    if seen.allowed.met is None:
        return say(
            "{document} lets that edge be bowed by {least} to {most} by how edges were made; say "
            "edges in [tile]",
            document=document,
            least=fine(each[0], style),
            most=fine(each[-1], style),
        )
    return say(
        "the tile itself does not meet {document}, which lets that edge be bowed by {most} at most",
        document=document,
        most=fine(each[-1], style),
    )


def _could(tile: Tile, style: Style) -> str:
    """How far a porcelain tile of these edges may be bowed by its own standard."""
    if tile.edges not in ("rectified", "calibrated", "natural"):
        return ""
    product = product_named(f"ansi-{tile.edges}")
    most = allowed(product.edge, max(tile.length_mm, tile.width_mm))[1]
    could = say(
        "{tile} may be bowed by {most} along that edge.",
        tile=product.title,
        most=fine(most, style),
    )
    return f" {could}"


def _after(seen: Outlook, style: Style) -> list[str]:
    """What each correction would do for this tile."""
    if seen.why:
        return [say("No correction was worked out: {why}", why=seen.why)]
    if not seen.after:
        return [say("No correction was tried.")] if seen.answer is Answer.CORRECTED else []
    said = [
        say("Only with one of these corrections: {names}.", names=", ".join(seen.cured))
        if seen.cured
        else say("None of the corrections for its standard for flatness is enough for this tile.")
    ]
    for row in seen.after:
        way = row.found.better
        out = int(np.count_nonzero(row.found.out(way)))
        best = way is row.found.best
        corrected = row.found.answer is Answer.CORRECTED
        answer = say("not even then") if corrected else say(row.found.answer)
        answer = _tile_by_tile(answer) if best and not out else answer
        worst = step_words(row.found.even.worst_mm, style)
        head = say(
            "{remedy}: {answer}; worst lippage {lippage} in an even bed",
            remedy=row.remedy,
            answer=_as_far_as_read(answer) if row.found.blind else answer,
            lippage=worst,
        )
        joints = len(row.found.limit_mm)
        tail = (
            say("{out} of {joints} joints out at best", out=out, joints=joints)
            if best
            else say("{out} of {joints} joints out", out=out, joints=joints)
        )
        told = f"{head}, {tail}."
        said.append(f"  {told}")
    return said


def rule_words(survey: Survey) -> list[str]:
    """What the rules on offsets say against the pattern of a survey."""
    tile, pattern = asked(survey)
    if pattern.kind != "running bond":
        return []
    side = max(tile.length_mm, tile.width_mm)
    against = [rule for rule in OFFSETS if not may_offset(rule, side, pattern.offset_ratio)]
    return [
        say(
            "{document}, {edition}, allows an offset of a third at most for a side over {side}.",
            document=rule.citation.document,
            edition=rule.citation.edition,
            side=format_length(rule.side_over_mm, survey.show),
        )
        for rule in against
    ]


def choice_of_tiles(rows: Sequence[Row], refused: Sequence[str], style: Style) -> list[str]:
    """Tiles and patterns beside each other on the floor as it is, and which could not be laid."""
    coarse = [row.found for row in rows if row.found.coarse]
    return [
        *choosing_words(rows, style),
        *(
            say(
                "Readings {spacing} apart show little of what lies under narrower tiles.",
                spacing=format_distance(found.apart_mm, style),
            )
            for found in coarse[:1]
        ),
        *_unread(rows),
        say(
            "Even: the worst lippage in an even bed. At best: where that will not do, with the bed "
            "made up tile by tile; out, bed and bags are then of that way."
        ),
        *(say("Not compared: {reason}", reason=words) for words in refused),
    ]


def _unread(rows: Sequence[Row]) -> list[str]:
    """How many tiles of these options lie where nobody read, so that no answer holds there."""
    counts = [len(row.found.unread) for row in rows]
    if not any(counts):
        return []
    least, most = min(counts), max(counts)
    if least != most:
        said = say(
            "{least} to {most} tiles, by the pattern, would lie where nobody read; no answer holds "
            "there.",
            least=least,
            most=most,
        )
    else:
        said = several(
            most,
            "{number} tile would lie where nobody read; no answer holds there.",
            "{number} tiles would lie where nobody read; no answer holds there.",
        )
    return [f"{said} {say('See `flatcheck forecast`.')}"]


def joints_csv(seen: Outlook, assessment: Assessment) -> str:
    """Every joint: where its middle is, its limit, the lippage foreseen there, how it ends."""
    style, found = assessment.survey.show, seen.found
    rows: list[tuple[str, ...]] = [
        (
            "x",
            "y",
            say("limit"),
            say("in an even bed"),
            say("give or take"),
            say("at best"),
            say("ends"),
        )
    ]
    best = found.even if found.best is None else found.best
    even, at_best, outcomes = found.even.lippage_mm, best.lippage_mm, found.outcomes
    for k, joint in enumerate(found.laying.joints_mm):
        x, y = joint.mean(axis=0)
        rows.append(
            (
                *(format_distance(float(at), style) for at in (x, y)),
                format_length(float(found.limit_mm[k]), closely(style)),
                step_words(float(even[k]), style),
                fine(2 * float(found.u_mm[k]), style) if np.isfinite(found.u_mm[k]) else "",
                step_words(float(at_best[k]), style),
                say(outcomes[k]),
            )
        )
    return csv_text(tuple(rows))


def outlook_html(seen: Outlook, assessment: Assessment) -> str:
    """One self-contained page: the words, the joints by how they end, the bed under each tile."""
    survey, floor = assessment.survey, assessment.surface
    words = outlook_words(seen, assessment)
    style, way = survey.show, seen.found.better
    even = say("The bed under each tile, even")
    bed = even if way is seen.found.even else say("The bed under each tile, at best")
    body = (
        heading(words[0])
        + joints_svg(seen.found, floor)
        + paragraphs([KEY, *(line.strip() for line in words[1:])])
        + heading(bed)
        + bed_svg(seen.found, way, floor, style)
        + paragraphs([bed_key(way, style)])
    )
    return page(survey.title, body)


def choosing_html(rows: Sequence[Row], refused: Sequence[str], survey: Survey) -> str:
    """One self-contained page with the table of tiles and patterns."""
    head, *lines = rows_table(rows, survey.show)
    cells = "".join(f"<th>{escape(cell)}</th>" for cell in head)
    body = "".join(
        f"<tr>{''.join(f'<td class=words>{escape(cell)}</td>' for cell in line)}</tr>"
        for line in lines
    )
    said = choice_of_tiles(rows, refused, survey.show)[len(rows) + 1 :]
    return page(
        survey.title,
        f"<table><tr>{cells}</tr>{body}</table>{paragraphs(said)}",
    )


def bed_key(way: Way, style: Style) -> str:
    """What the grays of the bed stand for."""
    low, high = (format_length(float(mm), style) for mm in (way.mean_mm.min(), way.mean_mm.max()))
    return say(
        "Mortar on average {least} under the lightest tile, {most} under the darkest.",
        least=low,
        most=high,
    )


def bed_svg(found: Forecast, way: Way, floor: Surface, style: Style) -> str:
    """Every tile to scale, the darker the thicker its bed; numbers where there are not too many."""
    paper, rim = plan_of(floor.room)
    low, reach = float(way.mean_mm.min()), max(float(np.ptp(way.mean_mm)), 1e-9)
    shade = np.minimum((way.mean_mm - low) / reach * SHADES, SHADES - 1).astype(int)
    drawn = []
    for level in range(SHADES):
        gray = 255 - 20 * level
        drawn.append(f'<g fill="rgb({gray},{gray},{gray})" stroke="#000" stroke-width="0.1">')
        drawn += [
            paper.line("tile", found.laying.pieces[k], closed=True)
            for k in np.flatnonzero(shade == level).tolist()
        ]
        drawn.append("</g>")
    if len(shade) <= MOST_LABELS:
        drawn += [
            paper.label(at, (0, 0), format_length(float(thick), style))
            for at, thick in zip(found.middle_mm, way.mean_mm, strict=True)
        ]
    return paper.svg([*drawn, *rim], say("thickness of the mortar bed under each tile"))
