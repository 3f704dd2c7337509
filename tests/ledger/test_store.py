"""Appending, hearing what others appended, and starting from what was kept."""

import shutil
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from slackwater.errors import (
    InputError,
    LedgerDamagedError,
    LedgerMissingError,
    LedgerMovedError,
    LedgerStorageError,
    RefusedError,
)
from slackwater.ledger.store import LedgerFile
from slackwater.ports import Entry, Head, Ledger
from tests.ledger.samples import (
    FOOTING,
    another_program,
    checkpoint,
    intended,
    kept,
    made,
    new_ledger,
    of_every_kind,
)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """Where the ledger of a test lies."""
    return tmp_path / "live.ledger"


@pytest.fixture
def ledger(path: Path) -> Iterator[LedgerFile]:
    """A live ledger with its first entry."""
    with new_ledger(path) as fresh:
        yield fresh


def reopened(path: Path) -> LedgerFile:
    """The same file, as another process opens it."""
    return LedgerFile.open(path, footing=FOOTING)


def test_a_ledger_file_is_a_ledger(ledger: LedgerFile) -> None:
    """The class has the shape the shell expects (checked by mypy, used here)."""
    port: Ledger = ledger

    assert port.head == Head(seq=1, sha256=ledger.head.sha256)


def test_what_is_appended_is_there_for_another_process(
    ledger: LedgerFile, path: Path
) -> None:
    """Every kind of entry but a checkpoint is loaded, in the order it was appended."""
    events = of_every_kind()[:-1]
    head = ledger.append(events)

    with reopened(path) as other:
        state, entries = other.load()
        assert (None, head, ledger.head) == (state, other.head, head)
    assert (made(), *events) == tuple(entry.event for entry in entries)
    assert list(range(1, len(entries) + 1)) == [entry.seq for entry in entries]


def test_appending_nothing_changes_nothing(ledger: LedgerFile) -> None:
    """An empty turn needs no disk."""
    assert ledger.head == ledger.append([])


def test_h34_a_moved_head_refuses_and_writes_nothing(
    ledger: LedgerFile, path: Path
) -> None:
    """A decision that rests on an older head is decided anew."""
    with reopened(path) as other:
        other.append([kept(1)])

        with pytest.raises(LedgerMovedError, match="appended first"):
            ledger.append([kept(2), kept(3)])
        assert [Entry(seq=2, event=kept(1))] == list(ledger.news())
        assert ledger.append([kept(2)]).seq == 3
        assert [Entry(seq=3, event=kept(2))] == list(other.news())


def test_own_entries_are_no_news(ledger: LedgerFile) -> None:
    """What this process wrote it already knows."""
    ledger.append([kept(1)])

    assert not ledger.news()


def test_news_after_own_and_others_entries_are_others_only(
    ledger: LedgerFile, path: Path
) -> None:
    """News begin after the head, wherever it came from."""
    with reopened(path) as other:
        ledger.append([kept(1)])
        other.news()
        other.append([kept(2)])

        assert [entry.seq for entry in ledger.news()] == [3]
        assert not ledger.news()


def test_news_come_in_thousands_at_most(ledger: LedgerFile, path: Path) -> None:
    """A long absence is read in bounded parts, none lost between them."""
    with reopened(path) as other:
        other.append([kept(number) for number in range(2500)])
    parts = [ledger.news() for _ in range(4)]

    assert [len(part) for part in parts] == [1000, 1000, 500, 0]
    assert list(range(2, 2502)) == [entry.seq for part in parts for entry in part]


def test_h08_a_dose_is_intended_once_for_ever(ledger: LedgerFile) -> None:
    """The second intent of a dose is refused even on the right head."""
    head = ledger.append([intended(7)])

    with pytest.raises(LedgerMovedError, match="dose already intended"):
        ledger.append([kept(1), intended(7, attempt="f" * 32)])
    assert (head, 3) == (ledger.head, ledger.append([intended(8)]).seq)


def test_h08_one_turn_cannot_intend_a_dose_twice(ledger: LedgerFile) -> None:
    """Two intents of one dose in one append are refused together."""
    with pytest.raises(LedgerMovedError, match="dose already intended"):
        ledger.append([intended(7), intended(7, attempt="f" * 32)])
    assert ledger.select("SELECT count(*) FROM entries") == [(1,)]


def test_an_attempt_is_used_once_for_ever(ledger: LedgerFile) -> None:
    """Two doses never share the identity of a command."""
    ledger.append([intended(7, attempt="a" * 32)])

    with pytest.raises(LedgerMovedError, match="attempt already used"):
        ledger.append([intended(8, attempt="a" * 32)])


def test_an_event_that_cannot_be_written_writes_none_of_its_turn(
    ledger: LedgerFile,
) -> None:
    """A turn is appended whole or not at all."""
    wrong = replace(kept(2), boot_s=float("nan"))

    with pytest.raises(InputError):
        ledger.append([kept(1), wrong])
    assert ledger.select("SELECT count(*) FROM entries") == [(1,)]
    assert ledger.append([kept(1)]).seq == 2


def test_a_start_reads_from_the_last_checkpoint(ledger: LedgerFile, path: Path) -> None:
    """What is before the newest checkpoint is not read again."""
    newest = checkpoint("{}")
    ledger.append([kept(1), checkpoint("old"), kept(2), newest, kept(3)])

    with reopened(path) as other:
        assert ("{}", [Entry(seq=5, event=newest), Entry(seq=6, event=kept(3))]) == (
            tuple(other.load())
        )


def test_a_checkpoint_as_newest_entry_is_all_there_is_to_fold(
    ledger: LedgerFile, path: Path
) -> None:
    """Its state and its own clocks are then the start."""
    ledger.append([checkpoint("{}")])

    with reopened(path) as other:
        assert ("{}", [Entry(seq=2, event=checkpoint("{}"))]) == tuple(other.load())


def test_loading_stops_at_the_head_decided_on(ledger: LedgerFile, path: Path) -> None:
    """Entries that came after opening are news, not part of the load."""
    with reopened(path) as other:
        ledger.append([kept(1), checkpoint("{}")])

        assert (None, [Entry(seq=1, event=made())]) == tuple(other.load())
        assert [entry.seq for entry in other.news()] == [2, 3]


def test_a_long_ledger_loads_whole(ledger: LedgerFile, path: Path) -> None:
    """Pages of a thousand join without loss."""
    ledger.append([kept(number) for number in range(2100)])

    with reopened(path) as other:
        assert list(range(1, 2102)) == [entry.seq for entry in other.load().entries]


@pytest.mark.parametrize("witnessed", [False, True])
def test_h32_a_missing_ledger_is_not_a_new_one(path: Path, witnessed: bool) -> None:
    """Absence is an error that names the verb for a new machine."""
    if witnessed:
        new_ledger(path).close()
        path.unlink()

    with pytest.raises(LedgerMissingError, match="slackwater init") as caught:
        LedgerFile.open(path)
    assert witnessed == ("remembers one" in str(caught.value))
    assert not path.exists()


@pytest.mark.parametrize("content", [b"", b"not a database" * 100, b"\0" * 8192])
def test_h32_an_empty_or_foreign_file_is_damage(path: Path, content: bytes) -> None:
    """An empty file is not an unused day budget; it is left as it was found."""
    path.write_bytes(content)

    with pytest.raises(LedgerDamagedError):
        LedgerFile.open(path)
    assert content == path.read_bytes()


def test_a_shadow_ledger_is_never_opened_as_live(tmp_path: Path) -> None:
    """The two roles are two file formats by identity."""
    shadow, live = tmp_path / "shadow.ledger", tmp_path / "live.ledger"
    LedgerFile.create(shadow, made(), "shadow").close()
    LedgerFile.create(live, made(), "live").close()

    with pytest.raises(LedgerDamagedError, match="this is a shadow ledger"):
        LedgerFile.open(shadow, "live")
    with pytest.raises(LedgerDamagedError, match="this is a live ledger"):
        LedgerFile.open(live, "shadow")


def test_a_ledger_opened_for_reading_takes_nothing(
    ledger: LedgerFile, path: Path
) -> None:
    """Reading cannot become writing, by append or by a question."""
    with LedgerFile.open(path, writable=False, footing=FOOTING) as reading:
        with pytest.raises(RefusedError, match="opened for reading"):
            reading.append([kept(1)])
        with pytest.raises(LedgerStorageError, match="readonly"):
            reading.select("INSERT INTO marks VALUES ('a', 'b')")
        ledger.append([kept(1)])
        assert [entry.seq for entry in reading.news()] == [2]


def test_a_closed_ledger_is_of_no_use(ledger: LedgerFile) -> None:
    """Closing twice is harmless, anything else is an error."""
    ledger.close()
    ledger.close()

    for use in (
        lambda: ledger.append([kept(1)]),
        ledger.news,
        ledger.load,
        ledger.verify_all,
        ledger.write_witness,
        lambda: ledger.select("SELECT 1"),
    ):
        with pytest.raises(LedgerStorageError, match="it was closed"):
            use()


def test_h33_a_file_put_back_in_place_while_open_is_damage(
    ledger: LedgerFile, path: Path, tmp_path: Path
) -> None:
    """An older copy written over the open file is noticed at the next look."""
    old = tmp_path / "copy"
    shutil.copyfile(path, old)
    ledger.append([kept(1), kept(2)])
    with another_program(old) as source, another_program(path) as target:
        source.backup(target)

    with pytest.raises(LedgerDamagedError, match="rolled back while it was open"):
        ledger.news()
    with pytest.raises(LedgerDamagedError, match="rolled back while it was open"):
        ledger.append([kept(3)])


def test_h32_a_file_deleted_while_open_takes_no_entry(
    ledger: LedgerFile, path: Path
) -> None:
    """Nothing is written into a file that has no name any more."""
    path.unlink()

    with pytest.raises(LedgerStorageError):
        ledger.append([kept(1)])
    with pytest.raises(LedgerStorageError, match="no longer be used"):
        ledger.append([kept(1)])


@pytest.mark.parametrize(
    ("statement", "said"),
    [
        ("UPDATE entries SET body = '{}' WHERE seq = 1", "entry 1"),
        ("UPDATE entries SET at = '2020' WHERE seq = 3", "entry 3"),
        ("UPDATE entries SET sha256 = zeroblob(32) WHERE seq = 3", "entry 3"),
        ("UPDATE entries SET prev = zeroblob(32) WHERE seq = 3", "entry 3"),
        ("DELETE FROM entries WHERE seq = 3", "entry 4"),
        ("DELETE FROM entries WHERE seq = 1", "entry 1"),
        ("DELETE FROM entries", "entry 1"),
        ("UPDATE marks SET value = 'other'", "does not name this ledger"),
    ],
)
def test_h31_a_row_changed_past_the_triggers_stops_the_start(
    ledger: LedgerFile, path: Path, statement: str, said: str
) -> None:
    """The chain since the last checkpoint is checked before anything is folded."""
    ledger.append([intended(7), kept(1), kept(2)])
    ledger.close()
    with another_program(path) as stranger:
        shape = "SELECT sql FROM sqlite_schema WHERE type = 'trigger'"
        triggers = [sql for (sql,) in stranger.execute(shape)]
        for name in ("entries_no_update", "entries_no_delete", "marks_no_update"):
            stranger.execute(f"DROP TRIGGER {name}")
        stranger.execute(statement)
        for sql in triggers:
            if "_no_delete BEFORE" in sql or "_no_update BEFORE" in sql:
                words = sql.split()
                stranger.execute(f"DROP TRIGGER IF EXISTS {words[2]}")
                stranger.execute(sql)

    with pytest.raises(LedgerDamagedError, match=said):
        reopened(path)
