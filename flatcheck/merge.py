"""Two changes of one survey brought together, cell by cell in tables of the same shape."""

from collections.abc import Mapping

from flatcheck.document import DOCUMENT
from flatcheck.errors import FlatcheckError, StaleError
from flatcheck.language import say
from flatcheck.readers.cells import cells_of, csv_text
from flatcheck.survey import Cells, cell_name

Files = Mapping[str, bytes]


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
