"""The readings in one canonical text, its fingerprint, and what differs between two of them.

The canonical text has one JSON value a line, in ASCII, each line ended by one line feed: first
`{"flatcheck readings":1}`, the version of this form; then for each table of the survey, in the
order of its document, one object with what its bare numbers mean (keys sorted, no spaces), and
below it one array for each row, its cells as they were written. The fingerprint is the SHA-256 of
that text, so that it can be worked out without flatcheck. It is no signature: who changes a
reading can work out a new one; only a fingerprint that was noted elsewhere binds.
"""

import hashlib
import json
from itertools import zip_longest
from typing import Any

from flatcheck.errors import SurveyError
from flatcheck.language import say
from flatcheck.survey import Survey, Table, cell_name

FORM = 1
"""Version of the canonical text."""

HEAD = {"flatcheck readings": FORM}


def canonical(survey: Survey) -> str:
    """The readings of a survey as they were written, in one text that does not depend on how."""
    lines: list[object] = [HEAD]
    for table in survey.tables:
        lines.append(_meaning(table))
        lines += [list(row) for row in table.cells]
    return "".join(f"{_json(line)}\n" for line in lines)


def fingerprint(text: str) -> str:
    """The SHA-256 of a canonical text, 64 hexadecimal digits."""
    return hashlib.sha256(text.encode()).hexdigest()


def differences(one: str, other: str, names: tuple[str, str]) -> list[str]:
    """Every cell, or meaning of a table, in which two canonical texts differ, a sentence each.

    `names` are what the two are called. Raises SurveyError for a text that is not canonical.
    """
    said = []
    first, second = dict(tables_in(one)), dict(tables_in(other))
    for file in dict.fromkeys((*first, *second)):
        if file not in first or file not in second:
            has, lacks = names if file in first else names[::-1]
            said.append(
                say(
                    "{here} holds the table {table}, and {there} does not.",
                    here=has,
                    table=file,
                    there=lacks,
                )
            )
            continue
        (meant, rows), (meant_other, rows_other) = first[file], second[file]
        for key in dict.fromkeys((*meant, *meant_other)):
            a, b = (_json(of.get(key)) for of in (meant, meant_other))
            if a != b:
                said.append(
                    say(
                        "{table}: {key} is {one} in {here} and {other} in {there}.",
                        table=file,
                        key=key,
                        one=a,
                        here=names[0],
                        other=b,
                        there=names[1],
                    )
                )
        none: list[str] = []
        for r, (row, row_other) in enumerate(zip_longest(rows, rows_other, fillvalue=none), 1):
            for c, (a, b) in enumerate(zip_longest(row, row_other, fillvalue=""), 1):
                if a != b:
                    said.append(differs(cell_name(file, r, c), (a, b), names))
    return said


def differs(cell: str, found: tuple[str, str], names: tuple[str, str]) -> str:
    """The sentence that names one cell and what stands in it here and there."""
    return say(
        "{cell} is {one!r} in {here} and {other!r} in {there}.",
        cell=cell,
        one=found[0],
        here=names[0],
        other=found[1],
        there=names[1],
    )


def tables_in(text: str) -> list[tuple[str, tuple[dict[str, Any], list[list[str]]]]]:
    """The tables in a canonical text: name, what its numbers mean, and its rows.

    Raises SurveyError for a text that is not canonical.
    """
    found: list[tuple[str, tuple[dict[str, Any], list[list[str]]]]] = []
    try:
        head, *lines = [json.loads(line) for line in text.splitlines()]
        if head != HEAD:
            raise SurveyError(
                say("the readings are of another form than {form}.", form=_json(HEAD))
            )
        for line in lines:
            if isinstance(line, dict):
                found.append((str(line["table"]), (line, [])))
            else:
                found[-1][1][1].append([str(cell) for cell in line])
    except (ValueError, LookupError, TypeError, RecursionError):
        raise SurveyError(say("the readings are not in the form that flatcheck writes.")) from None
    return found


def _meaning(table: Table) -> dict[str, Any]:
    """What the bare numbers of a table mean; u to six digits, as the last depend on the machine."""
    return {
        "table": table.name,
        "kind": table.kind,
        "sense": table.sense,
        "setup": table.setup,
        "readings": table.unit,
        "offsets": table.offset_unit,
        "uncertainty_mm": float(f"{table.u_mm:.6g}"),
        "options": dict(table.options),
    }


def _json(value: object) -> str:
    return json.dumps(value, sort_keys=True, separators=(",", ":"), default=str)
