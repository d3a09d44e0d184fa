"""What was typed, on disk before it is acknowledged: surveys, each with all that was ever done.

A survey is kept as the files of its folder. Every change appends one entry to its history, with
the files as they are then; undo and redo are entries too, so nothing is ever taken away. SQLite
does the writing (WAL, synchronous FULL): a function that returns has written to the disk.
"""

import json
import os
import secrets
import sqlite3
import threading
import tomllib
import zlib
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from hashlib import sha256
from pathlib import Path

from flatcheck.document import DOCUMENT
from flatcheck.errors import StaleError, StoreError
from flatcheck.language import say
from flatcheck.merge import Files, difference, merged

FILE = "surveys.db"
"""The one file of the store in its folder, but for what SQLite puts beside it while it is open."""

APPLICATION = 0x666C6174
"""What marks a file as ours among SQLite's ("flat")."""

MIGRATIONS: tuple[tuple[str, ...], ...] = (
    (
        "CREATE TABLE piece (digest TEXT PRIMARY KEY, data BLOB NOT NULL) WITHOUT ROWID",
        """CREATE TABLE entry (survey TEXT NOT NULL, number INTEGER NOT NULL, at TEXT NOT NULL,
        who TEXT NOT NULL, kind TEXT NOT NULL, what TEXT NOT NULL, files TEXT NOT NULL,
        PRIMARY KEY (survey, number)) WITHOUT ROWID""",
    ),
)
"""Number n takes a store from version n to n + 1; none is ever changed once it has been used."""

SIGNS = "abcdefghjkmnpqrstuvwxyz23456789"
"""What a key is made of: no letter that could be read as another."""

KEY_LENGTH = 12

_MOVES = {
    "undo": (
        say("{changed}; look at it before you undo."),
        say("there is nothing to undo."),
        say("undo: {change}"),
    ),
    "redo": (
        say("{changed}; look at it before you redo."),
        say("there is nothing to redo."),
        say("redo: {change}"),
    ),
}
"""Why one cannot be done, twice, and what the history says of it."""


@dataclass(frozen=True)
class Entry:
    """One change: its number from 1, when (UTC), by whom, its kind, and what it did in words."""

    number: int
    at: datetime
    who: str
    kind: str
    what: str


@dataclass(frozen=True)
class Kept:
    """A survey as it is now: its last entry, its files, and whether undo and redo lead anywhere."""

    key: str
    last: Entry
    files: dict[str, bytes]
    undo: bool
    redo: bool


@dataclass(frozen=True)
class Listed:
    """A survey in the list of all: its key, what it calls itself, and when it was last changed."""

    key: str
    title: str
    at: datetime


def usual_folder() -> Path:
    """Where the store lies if nobody says: in the user's data folder (XDG_DATA_HOME), or home."""
    data = os.environ.get("XDG_DATA_HOME", "")
    # A relative one is to be ignored (XDG Base Directory Specification 0.8).
    base = Path(data) if Path(data).is_absolute() else Path.home() / ".local" / "share"
    return base / "flatcheck"


class Store:
    """The surveys in a folder. Threads may share it, and other processes the folder.

    Every function raises StoreError, one sentence, where the disk is full, the folder cannot be
    written, or a survey is not there; what was acknowledged before is there then all the same.
    """

    def __init__(
        self, folder: Path, migrations: Sequence[Iterable[str]] = MIGRATIONS, wait_s: float = 10
    ) -> None:
        self.folder = folder
        self._lock = threading.RLock()
        with self._told(say("cannot be opened")):
            folder.mkdir(parents=True, exist_ok=True, mode=0o700)
            self._connection = sqlite3.connect(
                folder / FILE, timeout=wait_s, isolation_level=None, check_same_thread=False
            )
        try:
            with self._told(say("cannot be opened")):
                self._open(migrations)
        except StoreError:
            self.close()
            raise

    def _open(self, migrations: Sequence[Iterable[str]]) -> None:
        """Bring the store to the newest version, all of it or not at all."""
        owner = self._number("application_id")
        if owner != APPLICATION and (owner or self._number("schema_version")):
            raise StoreError(say("{file} is no store of flatcheck's.", file=self.folder / FILE))
        self._connection.execute("PRAGMA journal_mode = WAL")
        self._connection.execute("PRAGMA synchronous = FULL")
        if self._number("user_version") == len(migrations):
            return  # nothing to write, which a full disk would refuse
        with self._writing() as write:
            version = self._number("user_version")
            if version > len(migrations):
                raise StoreError(
                    say(
                        "the surveys in {folder} were kept by a newer flatcheck, in version "
                        "{version} of its store, and this one knows {known}; use that one.",
                        folder=self.folder,
                        version=version,
                        known=len(migrations),
                    )
                )
            for steps in migrations[version:]:
                for step in steps:
                    write.execute(step)
            write.execute(f"PRAGMA application_id = {APPLICATION}")
            write.execute(f"PRAGMA user_version = {len(migrations)}")

    def close(self) -> None:
        """Let go of the file."""
        self._connection.close()

    def create(self, files: Files, who: str, what: str) -> str:
        """Keep a new survey; returns its key."""
        key = "".join(secrets.choice(SIGNS) for _ in range(KEY_LENGTH))
        with self._writing() as write:
            _append(write, key, Entry(1, datetime.now(UTC), who, "edit", what), _keep(write, files))
        return key

    def surveys(self) -> tuple[Listed, ...]:
        """All surveys, the one that was changed last first."""
        with self._reading() as read:
            rows = read.execute(
                "SELECT survey, at, files FROM entry JOIN (SELECT survey AS s, max(number) AS n "
                "FROM entry GROUP BY survey) ON survey = s AND number = n ORDER BY at DESC, survey"
            ).fetchall()
            return tuple(
                Listed(
                    key,
                    title_of(_data(read, json.loads(held)[DOCUMENT])),
                    datetime.fromisoformat(at),
                )
                for key, at, held in rows
            )

    def head(self, key: str) -> Kept:
        """A survey as it is now."""
        with self._reading() as read:
            return _head(read, key)

    def history(self, key: str) -> tuple[Entry, ...]:
        """All that was done to a survey, in order."""
        with self._reading() as read:
            return _entries(read, key)

    def files(self, key: str, number: int) -> dict[str, bytes]:
        """The files of a survey as they were after one entry of its history."""
        with self._reading() as read:
            return _files(read, key, number)

    def save(self, key: str, base: int, files: Files, who: str, what: str = "") -> Kept:
        """Keep changed files of a survey; returns it as it is then.

        `base` is the number of the last entry that the change was made from. What others changed
        since is kept, cell by cell in tables of the same shape; where they changed the same, their
        change stands and StaleError says what it is. Files without a change append nothing.
        """
        with self._writing() as write:
            head = _head(write, key)
            since = head.files if base == head.last.number else _files(write, key, base)
            after = merged(since, head.files, files, _since(head.last))
            if after != head.files:
                words = what or difference(head.files, after)
                entry = Entry(head.last.number + 1, datetime.now(UTC), who, "edit", words)
                _append(write, key, entry, _keep(write, after))
            return _head(write, key)

    def undo(self, key: str, base: int, who: str) -> Kept:
        """Take back the last change that still stands; `base` as in `save`.

        Raises StaleError where the survey was changed since, and StoreError where nothing is left.
        """
        return self._move(key, base, who, "undo", -1)

    def redo(self, key: str, base: int, who: str) -> Kept:
        """Do again what was undone last, as long as nothing else was done since; as `undo`."""
        return self._move(key, base, who, "redo", 1)

    def _move(self, key: str, base: int, who: str, kind: str, by: int) -> Kept:
        stale, nothing, done = _MOVES[kind]
        with self._writing() as write:
            log = _entries(write, key)
            if base != log[-1].number:
                raise StaleError(stale.format(changed=_since(log[-1])))
            path, at = _path(log)
            if not 0 <= at + by < len(path):
                raise StoreError(nothing)
            what = done.format(change=log[path[max(at, at + by)] - 1].what)
            entry = Entry(base + 1, datetime.now(UTC), who, kind, what)
            _append(write, key, entry, _held(write, key, path[at + by]))
            return _head(write, key)

    def _number(self, pragma: str) -> int:
        return int(self._connection.execute(f"PRAGMA {pragma}").fetchone()[0])

    @contextmanager
    def _reading(self) -> Iterator[sqlite3.Connection]:
        with self._transaction("BEGIN", say("cannot be read")) as read:
            yield read

    @contextmanager
    def _writing(self) -> Iterator[sqlite3.Connection]:
        with self._transaction("BEGIN IMMEDIATE", say("cannot be written")) as write:
            yield write

    @contextmanager
    def _transaction(self, begin: str, failure: str) -> Iterator[sqlite3.Connection]:
        with self._lock, self._told(failure):
            self._connection.execute(begin)
            try:
                yield self._connection
                self._connection.execute("COMMIT")
            finally:
                # SQLite may have ended it by itself, as it does when the disk is full.
                if self._connection.in_transaction:
                    self._connection.execute("ROLLBACK")

    @contextmanager
    def _told(self, failure: str) -> Iterator[None]:
        """What the disk refuses, as a sentence; `failure` is what it says of the surveys."""
        try:
            yield
        except sqlite3.Error as error:
            raise StoreError(
                say(
                    "the surveys in {folder} {failure}: {reason}; what was kept before is still "
                    "there.",
                    folder=self.folder,
                    failure=failure,
                    reason=_reason(error),
                )
            ) from None
        except OSError as error:
            raise StoreError(
                say(
                    "{folder} cannot be used to keep surveys: {reason}.",
                    folder=self.folder,
                    reason=error.strerror or error,
                )
            ) from None


# In a transaction


def _append(write: sqlite3.Connection, key: str, entry: Entry, held: str) -> None:
    said = (entry.at.isoformat(), _line(entry.who), entry.kind, _line(entry.what))
    write.execute(
        "INSERT INTO entry VALUES (?, ?, ?, ?, ?, ?, ?)", (key, entry.number, *said, held)
    )


def _keep(write: sqlite3.Connection, files: Files) -> str:
    """Keeps the contents of files, each once, and says which they are."""
    held = {name: sha256(data).hexdigest() for name, data in files.items()}
    for name, digest in held.items():
        write.execute(
            "INSERT OR IGNORE INTO piece VALUES (?, ?)", (digest, zlib.compress(files[name]))
        )
    return json.dumps(held)


def _held(read: sqlite3.Connection, key: str, number: int) -> str:
    row = read.execute(
        "SELECT files FROM entry WHERE survey = ? AND number = ?", (key, number)
    ).fetchone()
    if row is None:
        raise StoreError(say("the survey has no change number {number}.", number=number))
    return str(row[0])


def _files(read: sqlite3.Connection, key: str, number: int) -> dict[str, bytes]:
    held = json.loads(_held(read, key, number))
    return {name: _data(read, digest) for name, digest in held.items()}


def _data(read: sqlite3.Connection, digest: str) -> bytes:
    row = read.execute("SELECT data FROM piece WHERE digest = ?", (digest,)).fetchone()
    return zlib.decompress(row[0])


def _entries(read: sqlite3.Connection, key: str) -> tuple[Entry, ...]:
    rows = read.execute(
        "SELECT number, at, who, kind, what FROM entry WHERE survey = ? ORDER BY number", (key,)
    ).fetchall()
    if not rows:
        raise StoreError(say("no survey is kept here under the key {key!r}.", key=key[:40]))
    return tuple(Entry(n, datetime.fromisoformat(at), *said) for n, at, *said in rows)


def _head(read: sqlite3.Connection, key: str) -> Kept:
    log = _entries(read, key)
    path, at = _path(log)
    return Kept(key, log[-1], _files(read, key, log[-1].number), at > 0, at + 1 < len(path))


# In words


def title_of(document: bytes) -> str:
    """What a survey calls itself, even where its document cannot be used as it is."""
    try:
        return str(tomllib.loads(document.decode("utf-8-sig"))["survey"]["title"])[:200]
    except (ValueError, KeyError, TypeError):
        return say("survey")


def _since(last: Entry) -> str:
    return say(
        "the survey was changed meanwhile, last by {who} at {time:%H:%M}",
        who=last.who or say("somebody"),
        time=last.at.astimezone(),
    )


def _path(log: Sequence[Entry]) -> tuple[list[int], int]:
    """The entries that undo and redo go along, and at which of them the survey is."""
    path: list[int] = []
    at = -1
    for entry in log:
        if entry.kind == "edit":
            at += 1
            path[at:] = [entry.number]
        else:
            at += 1 if entry.kind == "redo" else -1
    return path, at


def _line(text: str) -> str:
    """A text as one line of a history."""
    return " ".join(text.split())[:500]


def _reason(error: sqlite3.Error) -> str:
    words = str(error)
    if "full" in words or "disk I/O" in words:
        return say("the disk is full or broken")
    if "locked" in words:
        return say("another program is writing there")
    if "readonly" in words or "unable to open" in words:
        return say("the folder cannot be written to")
    return words
