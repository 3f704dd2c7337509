"""Appending, hearing what others appended, and starting from what was kept."""

import shutil
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
from slackwater.ledger import witness
from slackwater.ledger.birth import INSERT
from slackwater.ledger.chain import link
from slackwater.ledger.codec import encode
from slackwater.ledger.schema import STEPS
from slackwater.ledger.store import LedgerFile
from slackwater.ledger.witness import Witness
from slackwater.ports import Entry, Head, Ledger
from tests.ledger.reopening import reopened
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
from tests.ledger.test_audit import forge, tamper
from tests.ledger.test_kept_ledgers import kept_ledger

# The head of a ledger that was just made.
FIRST = link(None, [made()])[0].head


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
        ledger.audit_steps,
        ledger.rows,
        ledger.probe_write,
        ledger.write_witness,
        lambda: ledger.select("SELECT 1"),
    ):
        with pytest.raises(LedgerStorageError, match="it was closed"):
            use()


def test_a_ledger_that_was_closed_holds_no_file(ledger: LedgerFile, path: Path) -> None:
    """However long the object lives on."""
    before = open_files(path)
    ledger.close()

    assert (1, 0) == (before, open_files(path))


def open_files(path: Path) -> int:
    """How often this process has a file open."""
    links = [one for one in Path("/proc/self/fd").iterdir() if one.is_symlink()]
    return [one.readlink() for one in links if one.exists()].count(path)


def test_a_ledger_that_is_refused_holds_no_file(ledger: LedgerFile, path: Path) -> None:
    """However long the error is told on."""
    ledger.close()
    path.with_name("live.ledger.witness").write_text("{}", "utf-8")
    with pytest.raises(LedgerDamagedError) as caught:
        reopened(path)

    assert (0, 1) == (open_files(path), len(caught.value.findings))


def test_a_ledger_remembers_how_far_it_came_when_it_is_closed(
    ledger: LedgerFile, path: Path
) -> None:
    """Whoever only reads leaves that to others."""
    ledger.append([kept(1)])
    before = witness.read(path.with_name("live.ledger.witness"))
    with LedgerFile.open(path, writable=False, footing=FOOTING):
        pass
    read_only = witness.read(path.with_name("live.ledger.witness"))
    with ledger:
        pass
    after = witness.read(path.with_name("live.ledger.witness"))

    assert before == read_only == Witness(ledger_id="reef-7f3a", head=FIRST)
    assert after == Witness(ledger_id="reef-7f3a", head=ledger.head)


def test_the_audit_in_steps_finds_what_the_audit_finds(
    ledger: LedgerFile, path: Path
) -> None:
    """Nothing in a whole one; a broken row in one that was damaged while open."""
    ledger.append([kept(1), kept(2)])
    whole = [one for found in ledger.audit_steps() for one in found]
    tamper(path, "UPDATE entries SET at = '2020' WHERE seq = 2")
    damaged = [one for found in ledger.audit_steps() for one in found]

    assert ([], ledger.verify_all()) == (whole, damaged)
    assert ["entry 2 is damaged: its content is not what was written"] == [
        one.what for one in damaged
    ]


def test_h31_news_are_checked_against_the_chain(ledger: LedgerFile, path: Path) -> None:
    """A row that follows and carries another hash than its own is no news."""
    (row,) = link(ledger.head, [kept(1)])
    with another_program(path) as stranger:
        forged = row._replace(sha256=bytes(32))
        stranger.execute(INSERT, forged)

    with pytest.raises(LedgerDamagedError, match="entry 2 is damaged: its content"):
        ledger.news()


def test_h31_a_checkpoint_that_is_none_is_not_started_from(
    ledger: LedgerFile, path: Path
) -> None:
    """Every hash is right, and what the row calls a checkpoint is a reading."""
    ledger.append([kept(1), kept(2)])
    ledger.close()
    path.with_name("live.ledger.witness").unlink()
    forge(path, "UPDATE entries SET kind = 'checkpoint' WHERE seq = 2")

    with (
        reopened(path) as other,
        pytest.raises(LedgerDamagedError, match="entry 2 is damaged: no checkpoint"),
    ):
        other.load()


def test_h31_the_first_entry_is_checked_however_late_the_checkpoint(
    ledger: LedgerFile, path: Path
) -> None:
    """It says which ledger this is."""
    ledger.append([kept(1), checkpoint("{}")])
    ledger.close()
    tamper(path, "UPDATE entries SET at = '2020' WHERE seq = 1")

    with pytest.raises(LedgerDamagedError, match="entry 1 is damaged: its content"):
        reopened(path)


def test_h31_a_ledger_begins_with_its_making(ledger: LedgerFile, path: Path) -> None:
    """Every hash is right, and the first entry is a reading."""
    ledger.close()
    path.with_name("live.ledger.witness").unlink()
    body = encode(kept(1)).replace("'", "''")
    forge(path, f"UPDATE entries SET body = '{body}' WHERE seq = 1")  # noqa: S608  # ours

    with pytest.raises(LedgerDamagedError, match="it does not name this ledger"):
        reopened(path)


def test_h33_a_probe_finds_a_file_that_was_put_back(
    ledger: LedgerFile, path: Path, tmp_path: Path
) -> None:
    """Before anything rests on it."""
    shutil.copyfile(path, tmp_path / "copy")
    ledger.append([kept(1)])
    with another_program(tmp_path / "copy") as source, another_program(path) as target:
        source.backup(target)

    with pytest.raises(LedgerDamagedError, match="rolled back while it was open"):
        ledger.probe_write()


def test_h33_another_history_of_the_same_length_is_no_news(
    ledger: LedgerFile, path: Path, tmp_path: Path
) -> None:
    """What was known is gone, and the numbers are the same."""
    shutil.copyfile(path, tmp_path / "fork")
    with LedgerFile.open(tmp_path / "fork", footing=FOOTING) as fork:
        fork.append([kept(9)])
    ledger.append([kept(1)])
    with another_program(tmp_path / "fork") as source, another_program(path) as target:
        source.backup(target)

    for use in (ledger.news, lambda: ledger.append([kept(2)])):
        with pytest.raises(LedgerDamagedError, match="exchanged or rolled back"):
            use()


def test_a_missing_ledger_of_a_shadow_run_is_told_as_one(path: Path) -> None:
    """It needs no making: the daemon begins it."""
    with pytest.raises(LedgerMissingError, match="no ledger of a shadow run"):
        LedgerFile.open(path, "shadow")


def test_only_who_may_write_brings_an_older_file_up_to_date(tmp_path: Path) -> None:
    """Who reads is told its version."""
    path = kept_ledger(tmp_path)
    with pytest.raises(LedgerDamagedError, match="the schema has version 1"):
        LedgerFile.open(path, writable=False)
    with reopened(path):
        pass
    with LedgerFile.open(path, writable=False) as reading:
        assert [(len(STEPS),)] == reading.select("PRAGMA user_version")


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
        ("UPDATE marks SET value = 'other'", "entry 1 .* does not name this ledger"),
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
