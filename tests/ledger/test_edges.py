"""What stands in the way of a ledger, a backup or a place, each refused by itself."""

import io
import sqlite3
import stat
import tarfile
from pathlib import Path

import pytest

from slackwater.errors import InputError, LedgerDamagedError, RefusedError
from slackwater.facts.events import AnyEvent
from slackwater.ledger.archive import (
    FILES,
    LEDGER,
    MANIFEST,
    Manifest,
    member_of,
    pack,
    unpack,
    workshop,
)
from slackwater.ledger.audit import FINDINGS_AT_MOST
from slackwater.ledger.birth import place, refuse_leftovers
from slackwater.ledger.chain import Row, digest
from slackwater.ledger.codec import decode
from slackwater.ledger.connection import (
    Footing,
    filesystem_of,
    open_file,
    translation,
)
from slackwater.ledger.copying import copy_live
from slackwater.ledger.store import LedgerFile
from tests.ledger.samples import another_program, checkpoint, kept, made, new_ledger
from tests.ledger.test_archive import packed, rewritten
from tests.ledger.test_audit import forge, rows, tamper
from tests.ledger.test_connection import provoked


@pytest.fixture
def ledger(tmp_path: Path) -> LedgerFile:
    """A ledger of a few entries."""
    return new_ledger(tmp_path / "live.ledger", [kept(n) for n in range(5)])


def test_a_backup_is_for_the_owner_and_the_group(
    ledger: LedgerFile, tmp_path: Path
) -> None:
    """Permissions are 0640 whatever the umask."""
    packed(ledger, tmp_path / "reef.tar")
    assert 0o640 == stat.S_IMODE((tmp_path / "reef.tar").stat().st_mode)


def test_a_first_member_of_another_name_is_no_manifest(
    ledger: LedgerFile, tmp_path: Path
) -> None:
    """However well it reads."""
    backup = tmp_path / "reef.tar"
    packed(ledger, backup)
    backup.write_bytes(
        rewritten(
            backup.read_bytes(), lambda name: "other.json" if name == MANIFEST else name
        )
    )
    (tmp_path / "again").mkdir()
    with pytest.raises(InputError, match="not a backup"):
        unpack(backup, tmp_path / "again")


def test_a_file_that_is_not_there_is_told_in_the_words_of_the_system(
    tmp_path: Path,
) -> None:
    """Without its number, which says nothing to a keeper."""
    with pytest.raises(InputError) as caught:
        unpack(tmp_path / "none.tar", tmp_path)
    (finding,) = caught.value.findings
    assert "the backup cannot be read: No such file or directory" == finding.what


def test_a_backup_of_a_ledger_with_a_broken_link_is_none(
    ledger: LedgerFile, tmp_path: Path
) -> None:
    """Its files are as the manifest says, and what they say is not."""
    with workshop(tmp_path) as folder:
        copy_live(ledger, folder / LEDGER)
        tamper(folder / LEDGER, "UPDATE entries SET at = '2020' WHERE seq = 3")
        manifest = Manifest(
            v=1,
            ledger_id=ledger.ledger_id,
            entries=ledger.head.seq,
            head=ledger.head.sha256,
            made_at="2026-05-03T12:00:00Z",
            software="0.1",
            members={LEDGER: member_of(folder / LEDGER)},
        )
        with pytest.raises(InputError, match="entry 3 is damaged"):
            pack(tmp_path / "reef.tar", folder, manifest)
    assert not (tmp_path / "reef.tar").exists()
    assert FILES


def test_a_copy_replaces_no_file(ledger: LedgerFile, tmp_path: Path) -> None:
    """Also an empty one."""
    (tmp_path / "copy").touch()
    with pytest.raises(FileExistsError):
        copy_live(ledger, tmp_path / "copy")


@pytest.mark.parametrize("suffix", ["", "-journal", "-wal", "-shm"])
def test_a_whole_ledger_is_put_where_nothing_stands(
    tmp_path: Path, suffix: str
) -> None:
    """Neither a file nor what SQLite would replay; then nothing is put there."""
    whole, path = tmp_path / "whole", tmp_path / "live.ledger"
    whole.write_bytes(b"invented")
    in_the_way = path.with_name(path.name + suffix)
    in_the_way.write_bytes(b"old")
    with pytest.raises(RefusedError):
        place(whole, path)
    in_the_way.unlink()
    assert not path.exists()
    place(whole, path)
    assert b"invented" == path.read_bytes()


def test_a_file_and_a_link_to_nothing_are_both_in_the_way(tmp_path: Path) -> None:
    """Before anything is made."""
    file, link = tmp_path / "file", tmp_path / "link"
    file.touch()
    link.symlink_to(tmp_path / "nowhere")
    for path in (file, link):
        with pytest.raises(RefusedError, match="stands here already"):
            refuse_leftovers(path)
    refuse_leftovers(tmp_path / "free")


def test_making_a_ledger_leaves_no_file_open(tmp_path: Path) -> None:
    """A daemon that makes shadows for years must not run out of them."""
    before = len(list(Path("/proc/self/fd").iterdir()))
    for number in range(3):
        LedgerFile.create(tmp_path / f"{number}.ledger", made(f"reef-{number}")).close()
    assert before == len(list(Path("/proc/self/fd").iterdir()))


def test_entries_that_are_gone_are_told_by_number(tmp_path: Path) -> None:
    """Two in the middle: from the third to the fourth."""
    path = tmp_path / "live.ledger"
    new_ledger(path, [*(kept(n) for n in range(5)), checkpoint("{}")]).close()
    emptied(path, "seq IN (3, 4)")
    with LedgerFile.open(path, writable=False) as ledger:
        said = [finding.what for finding in ledger.verify_all()]
    assert "entry 5 is damaged: entries 3 to 4 are missing before it" == said[0]


def test_a_reader_can_change_nothing_by_two_locks(tmp_path: Path) -> None:
    """The file is opened for reading, and the connection refuses to write."""
    path = tmp_path / "any.db"
    with another_program(path) as stranger:
        stranger.execute("CREATE TABLE t (x)")
    reader = open_file(path, writable=False, busy_ms=10)
    (locked,) = reader.execute("PRAGMA query_only").fetchone()
    reader.close()
    assert 1 == locked


def test_a_lock_is_waited_for_two_seconds() -> None:
    """Far below any window of a dose (common practice, no source)."""
    assert 2000 == Footing().busy_ms


def test_a_line_of_another_form_hides_no_mount() -> None:
    """What comes after it is read."""
    table = "garbage\n/dev/x / ext4 rw 0 0\n"
    assert "ext4" == filesystem_of(Path("/home/x"), table)


def test_only_a_second_dose_is_told_as_one(tmp_path: Path) -> None:
    """Another broken constraint is damage."""
    path = tmp_path / "any.db"
    with another_program(path) as stranger:
        stranger.execute("CREATE TABLE t (x NOT NULL)")
    error = provoked(path, "INSERT INTO t VALUES (NULL)")
    assert isinstance(error, sqlite3.IntegrityError)
    assert type(translation(error, "x")) is LedgerDamagedError


def test_a_manifest_that_is_too_long_is_none(
    ledger: LedgerFile, tmp_path: Path
) -> None:
    """64 KiB are many times what one has; more is not even read."""
    backup = tmp_path / "reef.tar"
    packed(ledger, backup)
    made_of = io.BytesIO()
    with tarfile.open(fileobj=made_of, mode="w") as archive:
        member = tarfile.TarInfo(MANIFEST)
        member.size = 65_537
        archive.addfile(member, io.BytesIO(b" " * member.size))
    backup.write_bytes(made_of.getvalue())
    (tmp_path / "again").mkdir()
    with pytest.raises(InputError, match="not a backup"):
        unpack(backup, tmp_path / "again")


def test_a_backup_holds_nothing_that_it_has_no_name_for(
    ledger: LedgerFile, tmp_path: Path
) -> None:
    """A manifest with a third kind of file is refused as it is read back."""
    with workshop(tmp_path) as folder:
        copy_live(ledger, folder / LEDGER)
        (folder / "other.txt").write_text("invented", "utf-8")
        manifest = Manifest(
            v=1,
            ledger_id=ledger.ledger_id,
            entries=ledger.head.seq,
            head=ledger.head.sha256,
            made_at="2026-05-03T12:00:00Z",
            software="0.1",
            members={name: member_of(folder / name) for name in (LEDGER, "other.txt")},
        )
        with pytest.raises(InputError):
            pack(tmp_path / "reef.tar", folder, manifest)
    assert not (tmp_path / "reef.tar").exists()


def emptied(path: Path, where: str) -> None:
    """Take rows out, as someone can who knows the triggers."""
    with another_program(path) as stranger:
        triggers = stranger.execute(
            "SELECT name, sql FROM sqlite_schema WHERE type = 'trigger'"
        ).fetchall()
        for name, _sql in triggers:
            stranger.execute(f"DROP TRIGGER {name}")
        stranger.execute(f"DELETE FROM entries WHERE {where}")  # noqa: S608  # ours
        for _name, sql in triggers:
            stranger.execute(sql)


@pytest.mark.parametrize(
    ("where", "said"),
    [
        ("seq > 0", "entry 1 is damaged: it is missing"),
        ("seq <= 4", "entry 5 is damaged: entries 1 to 4 are missing before it"),
    ],
)
def test_entries_that_go_while_it_is_open_are_found(
    tmp_path: Path, where: str, said: str
) -> None:
    """All of them, or the first four."""
    path = tmp_path / "live.ledger"
    new_ledger(path, [*(kept(n) for n in range(5)), checkpoint("{}")]).close()
    with LedgerFile.open(path, writable=False) as ledger:
        emptied(path, where)
        found = [finding.what for finding in ledger.verify_all()]
    assert said == found[0]


def test_a_whole_page_of_entries_that_is_gone_is_found(tmp_path: Path) -> None:
    """A thousand are read at once: of 2102, all from the second page on but three."""
    path = tmp_path / "live.ledger"
    events: list[AnyEvent] = [kept(number) for number in range(2100)]
    new_ledger(path, [*events, checkpoint("{}")]).close()
    with LedgerFile.open(path, writable=False) as ledger:
        emptied(path, "seq BETWEEN 1001 AND 2099")
        found = [finding.what for finding in ledger.verify_all()]
    assert [
        "entry 2100 is damaged: entries 1001 to 2099 are missing before it"
    ] == found


def test_a_body_that_cannot_be_read_is_told_in_the_words_of_its_fault(
    ledger: LedgerFile, tmp_path: Path
) -> None:
    """Every hash is right, and what was hashed is no entry."""
    ledger.close()
    path = tmp_path / "live.ledger"
    path.with_name("live.ledger.witness").unlink()
    forge(path, "UPDATE entries SET body = '{}' WHERE seq = 3")
    with LedgerFile.open(path, writable=False) as again:
        found = [finding.what for finding in again.verify_all()]
    with pytest.raises(LedgerDamagedError) as caught:
        decode("{}", str(path))
    assert f"entry 3 is damaged: {caught.value.findings[0].what}" == found[0]


def test_twenty_findings_are_enough() -> None:
    """More would only scroll the first ones away (common practice, no source)."""
    assert 20 == FINDINGS_AT_MOST


def test_an_entry_that_was_exchanged_whole_is_missed_by_the_next(
    ledger: LedgerFile, tmp_path: Path
) -> None:
    """Its own hash is right again; the entry after it speaks of another one."""
    ledger.close()
    path = tmp_path / "live.ledger"
    (old,) = (Row._make(row) for row in rows(path) if row[0] == 3)
    changed = old._replace(at="2026-05-03T12:00:09.000000Z")
    tamper(
        path,
        "UPDATE entries SET at = ?, sha256 = ? WHERE seq = ?",
        [(changed.at, digest(changed), 3)],
    )
    with (
        pytest.raises(LedgerDamagedError, match="does not follow the entry"),
        LedgerFile.open(path, writable=False) as again,
    ):
        again.verify_all()
