"""Two states of one survey: what differs between them, and two changes brought together.

Tables of the same shape are held against each other cell by cell.
"""

import tomllib
from collections.abc import Mapping
from itertools import zip_longest

from flatcheck.document import DOCUMENT
from flatcheck.errors import FlatcheckError, StaleError
from flatcheck.language import say, several
from flatcheck.readers.cells import cells_of, csv_text
from flatcheck.survey import Cells, cell_name

Files = Mapping[str, bytes]

TELL = 3
"""More changed cells than this are counted, not listed."""


def merged(base: Files, head: Files, mine: Files, changed: str) -> dict[str, bytes]:
    """The files with both what others changed since `base` and what was changed in `mine`.

    Raises StaleError where both changed the same; it begins with `changed`, which says by whom.
    """
    if head == base:
        return dict(mine)
    result: dict[str, bytes] = {}
    for name in dict.fromkeys([*head, *mine]):
        was, theirs, ours = base.get(name), head.get(name), mine.get(name)
        if was in (ours, theirs) or ours == theirs:
            found = theirs if ours == was else ours
        elif was and theirs and ours and name != DOCUMENT:
            found = _table(name, was, theirs, ours, changed)
        else:
            raise _stands(name, changed)
        if found is not None:
            result[name] = found
    return result


def _table(name: str, was: bytes, theirs: bytes, ours: bytes, changed: str) -> bytes:
    try:
        tables: list[Cells] = [cells_of(name, data) for data in (was, theirs, ours)]
    except FlatcheckError:
        tables = []
    # A spreadsheet cannot be written back as one.
    packed = any(data.startswith(b"PK") for data in (was, theirs, ours))
    if packed or len({tuple(map(len, cells)) for cells in tables}) != 1:
        raise _stands(name, changed)
    rows = []
    for row, three in enumerate(zip(*tables, strict=True), 1):
        cells = []
        for column, (before, other, own) in enumerate(zip(*three, strict=True), 1):
            if before not in (other, own) and own != other:
                raise StaleError(
                    say(
                        "{changed}: {cell} holds {theirs!r} by now, and your {yours!r} was not "
                        "written over it.",
                        changed=changed,
                        cell=cell_name(name, row, column),
                        theirs=other,
                        yours=own,
                    )
                )
            cells.append(other if own == before else own)
        rows.append(tuple(cells))
    return csv_text(tuple(rows)).encode()


def _stands(name: str, changed: str) -> StaleError:
    return StaleError(
        say("{changed}, in {file} too; yours was not written over it.", changed=changed, file=name)
    )


def difference(before: Files, after: Files) -> str:
    """What changed between two states of a survey's files, in words."""
    said = []
    for name in dict.fromkeys([*before, *after]):
        old, new = before.get(name), after.get(name)
        if old == new:
            continue
        if old is None or new is None:
            said.append(
                say("{file} added", file=name)
                if old is None
                else say("{file} taken out", file=name)
            )
        elif name == DOCUMENT:
            said.append(_document_words(old, new))
        else:
            said.append(_table_words(name, old, new))
    return "; ".join(said)


def _document_words(old: bytes, new: bytes) -> str:
    try:
        was, now = (tomllib.loads(data.decode("utf-8-sig")) for data in (old, new))
    except ValueError:
        return say("{file} changed", file=DOCUMENT)
    parts = [part for part in dict.fromkeys([*was, *now]) if was.get(part) != now.get(part)]
    where = f"{DOCUMENT}: {', '.join(parts)}" if parts else DOCUMENT
    return say("{file} changed", file=where)


def _table_words(name: str, old: bytes, new: bytes) -> str:
    try:
        was, now = cells_of(name, old), cells_of(name, new)
    except FlatcheckError:
        return say("{file} changed", file=name)
    changes = [
        (row, column, a, b)
        for row, pair in enumerate(zip_longest(was, now, fillvalue=()), 1)
        for column, (a, b) in enumerate(zip_longest(*pair, fillvalue=""), 1)
        if a != b
    ]
    if not changes:
        return say("{file} written anew", file=name)
    if len(changes) > TELL:
        return several(
            len(changes),
            "{file}: {number} cell changed",
            "{file}: {number} cells changed",
            file=name,
        )
    return "; ".join(
        say("{cell}: {new!r} for {old!r}", cell=cell_name(name, row, column), new=b, old=a)
        if a
        else f"{cell_name(name, row, column)}: {b!r}"
        for row, column, a, b in changes
    )
