"""The store: what it acknowledged is there, whatever ends it, and nobody writes over another."""

import os
import random
import resource
import signal
import sqlite3
import threading
import time
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as some

from flatcheck.document import DOCUMENT
from flatcheck.errors import StaleError, StoreError
from flatcheck.merge import difference
from flatcheck.readers.bundle import packed, unpacked
from flatcheck.readers.folder import folder_files, read_folder, survey_of
from flatcheck.store import FILE, MIGRATIONS, Store, usual_folder

SAMPLES = Path(__file__).parents[1] / "sample_surveys"
HEAD = '[survey]\ntitle = "Kitchen"\n'


def floor(cells: str = "") -> dict[str, bytes]:
    """The files of a survey with a table of these cells."""
    return {DOCUMENT: HEAD.encode(), "laser.csv": cells.encode()}


@pytest.fixture
def store(tmp_path: Path) -> Store:
    """A store in a folder of its own."""
    return Store(tmp_path / "kept")


def table(store: Store, key: str) -> str:
    """The text of the one table as it is now."""
    return store.head(key).files["laser.csv"].decode()


def put(store: Store, key: str, text: str) -> None:
    """Write the table anew, from what it is now."""
    store.save(key, store.head(key).last.number, floor(text), "Ana")


MOVES = some.lists(some.one_of(some.integers(0, 3), some.sampled_from(["undo", "redo"])))


@settings(max_examples=60, deadline=None)
@given(MOVES)
def test_undo_and_redo(tmp_path_factory: pytest.TempPathFactory, moves: list[int | str]) -> None:
    """They go along a list of states, which a new change cuts off; the history only ever grows."""
    store = Store(tmp_path_factory.mktemp("kept"))
    key = store.create(floor("start"), "Ana", "begun")
    states, at, shown = ["start"], 0, ["start"]
    for number, move in enumerate(moves):
        base = store.head(key).last.number
        if isinstance(move, int):
            states[at + 1 :] = [f"{number}.{move}"]
            at += 1
            store.save(key, base, floor(states[at]), "Ana")
        else:
            to = at - 1 if move == "undo" else at + 1
            act = store.undo if move == "undo" else store.redo
            if not 0 <= to < len(states):
                with pytest.raises(StoreError, match=f"there is nothing to {move}"):
                    act(key, base, "Bo")
                continue
            act(key, base, "Bo")
            at = to
        shown.append(states[at])
        head = store.head(key)
        assert table(store, key) == states[at]
        assert (head.undo, head.redo) == (at > 0, at + 1 < len(states))
    log = store.history(key)
    assert [entry.number for entry in log] == list(range(1, len(shown) + 1))
    assert [store.files(key, e.number)["laser.csv"].decode() for e in log] == shown
    store.close()


def test_history(store: Store) -> None:
    """It says who changed what, when, and what was undone."""
    key = store.create(floor("1,2\n3,4"), "Ana", "begun")
    put(store, key, "1,2\n3,5")
    store.undo(key, 2, "Bo")
    log = store.history(key)
    assert [(e.who, e.kind) for e in log] == [("Ana", "edit"), ("Ana", "edit"), ("Bo", "undo")]
    assert log[1].what == "laser.csv, row 2, cell B2: '5' for '4'"
    assert log[2].what == f"undo: {log[1].what}"
    assert log[0].at <= log[1].at <= log[2].at
    assert abs(log[2].at.timestamp() - time.time()) < 60


def test_comes_back(store: Store) -> None:
    """A store opened again holds the same, the survey changed last first in its list."""
    one = store.create(floor("1"), "", "begun")
    two = store.create(floor("2"), "", "begun")
    put(store, one, "3")
    store.close()
    again = Store(store.folder)
    assert [(item.key, item.title) for item in again.surveys()] == [
        (one, "Kitchen"),
        (two, "Kitchen"),
    ]
    assert table(again, one) == "3"
    assert again.head(two).last.number == 1


def test_unknown(store: Store) -> None:
    """A key that nobody was given, and a change that was never made, are one sentence."""
    with pytest.raises(StoreError, match="no survey is kept here under the key 'nobody'"):
        store.head("nobody")
    key = store.create(floor(), "", "begun")
    with pytest.raises(StoreError, match="no change number 7"):
        store.files(key, 7)


def test_nothing_changed(store: Store) -> None:
    """The same files again are no change: a reading sent twice is one entry."""
    key = store.create(floor("1"), "", "begun")
    assert store.save(key, 1, floor("1"), "").last.number == 1


def test_two_at_once(store: Store) -> None:
    """Two who start from the same state and write in different cells keep both."""
    key = store.create(floor("1,2\n3,4"), "", "begun")
    store.save(key, 1, floor("1,x\n3,4"), "Ana")
    store.save(key, 1, floor("1,2\ny,4"), "Bo")
    assert table(store, key) == "1,x\ny,4\n"


@pytest.mark.parametrize(
    ("theirs", "mine"),
    [
        ("1,x\n3,4", "1,y\n3,4"),
        ("1,2\n3,4\n5,6", "1,x\n3,4"),
        ("1,x\n3,4", "1,2\n3,4\n5,6"),
        ("PK\x03\x04", "1,x\n3,4"),
    ],
)
def test_nobody_writes_over_another(store: Store, theirs: str, mine: str) -> None:
    """A change that cannot stand beside another's is refused in words, and nothing is written."""
    key = store.create(floor("1,2\n3,4"), "", "begun")
    store.save(key, 1, floor(theirs), "Ana")
    with pytest.raises(StaleError, match=r"changed meanwhile, last by Ana at .* not written over"):
        store.save(key, 1, floor(mine), "Bo")
    assert table(store, key) == theirs
    assert len(store.history(key)) == 2


def test_documents_are_not_mixed(store: Store) -> None:
    """Two changes of the document are not put together; a change of another file goes through."""
    key = store.create(floor("1"), "", "begun")
    store.save(key, 1, floor("1") | {DOCUMENT: b"a = 1"}, "Ana")
    with pytest.raises(StaleError, match=r"in survey\.toml too"):
        store.save(key, 1, floor("1") | {DOCUMENT: b"a = 2"}, "Bo")
    store.save(key, 1, floor("2"), "Bo")
    assert store.head(key).files == {DOCUMENT: b"a = 1", "laser.csv": b"2"}


def test_undo_of_what_was_not_seen(store: Store) -> None:
    """Undo does not take back another's change that came after what one was looking at."""
    key = store.create(floor("1"), "", "begun")
    store.save(key, 1, floor("2"), "Ana")
    store.save(key, 2, floor("3"), "Bo")
    with pytest.raises(StaleError, match="look at it before you undo"):
        store.undo(key, 2, "Ana")
    assert table(store, key) == "3"


WRITERS, EACH = 4, 25


def test_writers_at_once(store: Store) -> None:
    """Threads that write a hundred cells from old states lose none of them."""
    blank = "\n".join([",".join(["-"] * EACH)] * WRITERS)
    key = store.create(floor(blank), "", "begun")

    def write(row: int) -> None:
        for column in range(EACH):
            rows = [["-"] * EACH for _ in range(WRITERS)]
            rows[row][: column + 1] = map(str, range(column + 1))
            store.save(key, 1, floor("\n".join(map(",".join, rows))), f"{row}")

    threads = [threading.Thread(target=write, args=(row,)) for row in range(WRITERS)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    line = ",".join(map(str, range(EACH)))
    assert table(store, key).splitlines() == [line] * WRITERS
    assert len(store.history(key)) == 1 + WRITERS * EACH


def child(work: Callable[[int], None]) -> tuple[int, int]:
    """Runs in a process of its own; gives its number and where to read what it tells."""
    told, tell = os.pipe()
    process = os.fork()
    if process == 0:
        os.close(told)
        try:
            work(tell)
        finally:
            os._exit(0)
    os.close(tell)
    return process, told


def test_killed(tmp_path: Path) -> None:
    """Killed 50 times while it writes: every reading that it acknowledged is there."""
    chance = random.Random(7)
    store = Store(tmp_path)
    key = store.create(floor("0"), "", "begun")
    store.close()
    acknowledged = 0
    for _ in range(50):

        def work(tell: int) -> None:
            own = Store(tmp_path)
            count = int(table(own, key))
            while True:
                count += 1
                put(own, key, f"{count}")
                os.write(tell, f"{count}\n".encode())

        process, told = child(work)
        with os.fdopen(told) as said:
            for _ in range(chance.randint(1, 8)):
                acknowledged = int(said.readline())
            time.sleep(chance.uniform(0, 0.004))
            os.kill(process, signal.SIGKILL)
            os.waitpid(process, 0)
            acknowledged = max([acknowledged, *map(int, said.read().split())])
        again = Store(tmp_path)
        # One more may have been written whose acknowledgment did not get out any more.
        assert int(table(again, key)) - acknowledged in (0, 1)
        log = again.history(key)
        assert [e.number for e in log] == list(range(1, len(log) + 1))
        assert len(log) == int(table(again, key)) + 1
        again.close()
    assert acknowledged > 100


def test_full_disk(tmp_path: Path) -> None:
    """Where no more can be written it is one sentence, and all that was acknowledged is there."""
    store = Store(tmp_path)
    key = store.create(floor("0"), "", "begun")
    store.close()

    def work(tell: int) -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (200_000, 200_000))
        own = Store(tmp_path)
        for count in range(1, 2000):
            try:
                put(own, key, f"{count}," + "".join(random.choices("abcdefgh", k=2000)))
            except StoreError as error:
                os.write(tell, f"{error}\n{table(own, key).partition(',')[0]}\n".encode())
                return
            os.write(tell, f"{count}\n".encode())

    process, told = child(work)
    with os.fdopen(told) as said:
        *counts, sentence, seen = said.read().splitlines()
    os.waitpid(process, 0)
    assert "the disk is full or broken; what was kept before is still there." in sentence
    assert int(seen) == len(counts) > 5
    again = Store(tmp_path)
    assert table(again, key).partition(",")[0] == seen
    put(again, key, "there is room again")
    assert table(again, key) == "there is room again"


def test_folder_that_is_none(tmp_path: Path) -> None:
    """A store in the place of a file, or in a file that is none, is one sentence."""
    (tmp_path / "file").write_text("")
    with pytest.raises(StoreError, match="cannot be used to keep surveys"):
        Store(tmp_path / "file")
    (tmp_path / FILE).write_bytes(b"no database" * 1000)
    with pytest.raises(StoreError, match="file is not a database"):
        Store(tmp_path)


def test_another_program_writes(store: Store) -> None:
    """Who holds the store for too long is named in a sentence, and waiting ends."""
    key = store.create(floor("1"), "", "begun")
    other = sqlite3.connect(store.folder / FILE, isolation_level=None)
    again = Store(store.folder, wait_s=0.05)
    other.execute("BEGIN IMMEDIATE")
    with pytest.raises(StoreError, match="another program is writing there"):
        put(again, key, "2")
    other.execute("COMMIT")
    put(again, key, "2")
    assert table(store, key) == "2"


def test_newer_store(store: Store) -> None:
    """A store of a later version is refused in a sentence and left as it is."""
    key = store.create(floor("1"), "", "begun")
    store.close()
    newer = (*MIGRATIONS, ("CREATE TABLE more (a)",))
    Store(store.folder, newer).close()
    with pytest.raises(StoreError, match="kept by a newer flatcheck, in version 2"):
        Store(store.folder)
    assert table(Store(store.folder, newer), key) == "1"


def test_migrations(store: Store) -> None:
    """An old store is brought up step by step, once, and keeps what it holds."""
    key = store.create(floor("1"), "", "begun")
    store.close()
    steps = (
        ("CREATE TABLE more (a)", "INSERT INTO more VALUES ('first')"),
        ("INSERT INTO more SELECT a || ', then second' FROM more",),
    )
    for known in ((*MIGRATIONS, steps[0]), (*MIGRATIONS, *steps), (*MIGRATIONS, *steps)):
        Store(store.folder, known).close()
    with sqlite3.connect(store.folder / FILE) as seen:
        rows = [row[0] for row in seen.execute("SELECT a FROM more")]
        assert rows == ["first", "first, then second"]
        assert seen.execute("PRAGMA user_version").fetchone()[0] == len(MIGRATIONS) + 2
    assert table(Store(store.folder, (*MIGRATIONS, *steps)), key) == "1"


def test_broken_migration(store: Store) -> None:
    """A migration that fails on the way leaves the store as it was."""
    key = store.create(floor("1"), "", "begun")
    store.close()
    with pytest.raises(StoreError, match="cannot be written: no such table"):
        Store(store.folder, (*MIGRATIONS, ("CREATE TABLE more (a)", "DROP TABLE nowhere")))
    assert table(Store(store.folder), key) == "1"


def test_foreign_database(tmp_path: Path) -> None:
    """Another program's database is refused and not touched."""
    with sqlite3.connect(tmp_path / FILE) as other:
        other.execute("CREATE TABLE theirs (a)")
    other.close()
    before = (tmp_path / FILE).read_bytes()
    with pytest.raises(StoreError, match="no store of flatcheck's"):
        Store(tmp_path)
    assert (tmp_path / FILE).read_bytes() == before


def test_durable(store: Store) -> None:
    """SQLite's own word for it: a write-ahead log, and every commit goes to the disk."""
    assert store._connection.execute("PRAGMA journal_mode").fetchone()[0] == "wal"
    assert store._connection.execute("PRAGMA synchronous").fetchone()[0] == 2


@pytest.mark.parametrize("folder", sorted(p.parent for p in SAMPLES.glob("*/survey.toml")), ids=str)
def test_out_and_in_again(store: Store, folder: Path) -> None:
    """Every sample, kept, packed, unpacked and kept again, is the same to the last byte."""
    files = folder_files(folder)
    key = store.create(files, "", "begun")
    data = packed(store.head(key).files)
    assert packed(store.head(key).files) == data
    again = store.create(unpacked("a.zip", data), "", "brought in")
    assert store.head(again).files == files == store.head(key).files
    assert survey_of(store.head(again).files) == read_folder(folder)


def test_difference() -> None:
    """A change is told by its cells while they are few, by their number where they are many."""
    assert difference(floor("1,2"), floor("1,3")) == "laser.csv, row 1, cell B1: '3' for '2'"
    assert difference(floor("1,"), floor("1,3")) == "laser.csv, row 1, cell B1: '3'"
    assert difference(floor("1,2,3,4"), floor("5,6,7,8")) == "laser.csv: 4 cells changed"
    assert difference(floor("1"), {DOCUMENT: HEAD.encode()}) == "laser.csv taken out"
    changed = floor("1") | {DOCUMENT: b'[survey]\ntitle = "Bath"\n[tile]\nlength = 1'}
    assert difference(floor("1"), changed) == "survey.toml: survey, tile changed"


def test_usual_folder(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Without a word it is the user's data folder; a relative XDG_DATA_HOME does not count."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    assert usual_folder() == tmp_path / "flatcheck"
    monkeypatch.setenv("XDG_DATA_HOME", "relative")
    monkeypatch.setenv("HOME", str(tmp_path))
    assert usual_folder() == tmp_path / ".local" / "share" / "flatcheck"
