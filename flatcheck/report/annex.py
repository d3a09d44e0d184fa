"""What a report ends with: its readings in full, what it rests on, and the text that is hashed."""

import tomllib
from collections.abc import Iterable, Sequence
from html import escape

import tomli_w

from flatcheck.instrument import fine
from flatcheck.language import say
from flatcheck.report.paper import heading, paragraphs
from flatcheck.survey import Survey, Table
from flatcheck.units import Style

WIDE = 100
"""So many letters fit beside each other in a table of readings; more columns go below."""

PRIVATE = "correction"
"""The section of a survey's document that stays out of the report: one's own prices and rates."""

RELIANCE = say(
    "This report says what the readings show on the day they were taken, by the rules it names. A "
    "dip smaller than the space between two readings can be missed. Interpolated heights draw the "
    "maps and pass no rule. Many limits were seen in trade pages that quote the standards, as each "
    "source says; the standard itself, the tile maker's data sheet and the local code come first."
)

FINGERPRINT_WORDS = say(
    "The fingerprint is the SHA-256 of the readings above, as they were written, in the text "
    "below: one JSON value a line, each line ended by one line feed. `flatcheck verify` with this "
    "file works it out again, judges the readings again, and with the survey names every reading "
    "that differs. It is no signature: note it elsewhere, such as in the offer or a message, so "
    "that nobody can change the readings and work out a new one."
)


def readings(survey: Survey) -> str:
    """Every cell of every table as it was written."""
    tables = "".join(
        heading(_meaning(table, survey.show), 3) + _cells(number, table)
        for number, table in enumerate(survey.tables, 1)
    )
    return heading(say("Readings in full, as written")) + tables


def _meaning(table: Table, style: Style) -> str:
    sense = {
        "rod": say(", rod: larger is lower"),
        "elevation": say(", elevation: larger is higher"),
    }
    said = say(
        "{table}: {kind}{sense}; bare readings in {unit}, bare offsets in {offset_unit}; good to "
        "{size}",
        table=table.name,
        kind=table.kind,
        sense=sense.get(table.sense, ""),
        unit=table.unit,
        offset_unit=table.offset_unit,
        size=fine(table.u_mm, style),
    )
    return said + "".join(f", {key} = {value}" for key, value in table.options)


def _cells(number: int, table: Table) -> str:
    """A table's cells; one that is too wide for paper in parts, its first column in front of each.

    Each cell says where it is: table, row and column, counted from 1.
    """
    count = max((len(row) for row in table.cells), default=0)
    widths = [
        min(max((len(row[c]) for row in table.cells if c < len(row)), default=0), 30) + 3
        for c in range(count)
    ]
    drawn = []
    for columns in _split(widths):
        rows = "".join(
            "<tr>"
            + "".join(
                f'<td data-at="{number}:{r}:{c + 1}">{escape(row[c])}</td>'
                for c in columns
                if c < len(row)
            )
            + "</tr>"
            for r, row in enumerate(table.cells, 1)
        )
        beside = max(1, WIDE // sum(widths[c] for c in columns))
        drawn.append(
            f'<div class="scroll" style="columns: {beside}">'
            f'<table class="readings">{rows}</table></div>'
        )
    return "".join(drawn)


def _split(widths: Sequence[int]) -> Iterable[list[int]]:
    """Columns in groups that fit beside each other, the first in front of each."""
    group: list[int] = []
    for c, width in enumerate(widths):
        if group and sum(widths[k] for k in group) + width > WIDE and len(group) > 1:
            yield group
            group = [0]
        group.append(c)
    if group:
        yield group


def proof(survey: Survey, text: str, mark: str) -> str:
    """What the report is worth, a place to sign, and the readings in the text that is hashed."""
    head = tomllib.loads(survey.document)
    head.pop(PRIVATE, None)
    signed = "".join(
        f"<p>{escape(words)}</p>" for words in (say("Read by, date"), say("For the client, date"))
    )
    return (
        f"{heading(say('What this rests on'))}{paragraphs([RELIANCE])}"
        f'<div class="signed">{signed}</div>'
        f"{heading(say('Fingerprint'))}<p><code>{mark}</code></p>{paragraphs([FINGERPRINT_WORDS])}"
        f"<details><summary>{escape(say('The text that is hashed'))}</summary>"
        f'<pre class="canonical" id="readings">\n{escape(text)}</pre></details>'
        f'<pre id="survey" hidden>\n{escape(tomli_w.dumps(head))}</pre>'
    )
