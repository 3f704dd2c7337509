"""A ledger that was put back in time is noticed."""

import os
import shutil
import stat
from pathlib import Path

import pytest

from slackwater.errors import LedgerDamagedError, LedgerStorageError
from slackwater.ledger import witness
from slackwater.ledger.chain import Row
from slackwater.ledger.connection import Footing
from slackwater.ledger.reader import Reader
from slackwater.ledger.store import LedgerFile
from slackwater.ledger.witness import Witness, rolled_back
from slackwater.ports import Head
from slackwater.service.standing import only_one
from tests.ledger.samples import FOOTING, kept, made, new_ledger


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """Where the ledger of a test lies."""
    return tmp_path / "live.ledger"


def seen(seq: int, ledger_id: str = "reef-7f3a") -> Witness:
    """A witness of an invented head."""
    return Witness(ledger_id=ledger_id, head=Head(seq=seq, sha256=f"{seq:064x}"))


def test_what_root_writes_belongs_to_whom_the_directory_does(
    path: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """After a verb typed as root the daemon can still read ledger, witness and lock."""
    # Only root may give files away, and tests run as anybody.
    given: dict[int, tuple[int, int]] = {}

    def give(one: Path, uid: int, gid: int) -> None:
        given[one.stat().st_ino] = uid, gid

    monkeypatch.setattr(os, "geteuid", lambda: 0)
    monkeypatch.setattr(os, "chown", give)
    new_ledger(path, [kept(1)]).close()
    with only_one(tmp_path):
        written = sorted(tmp_path.iterdir())

    assert ["daemon.lock", path.name, f"{path.name}.witness"] == [
        one.name for one in written
    ]
    owner = tmp_path.stat()
    theirs = owner.st_uid, owner.st_gid
    assert [theirs] * 3 == [given.get(one.stat().st_ino) for one in written]


def test_h33_an_older_copy_is_behind_its_witness(path: Path, tmp_path: Path) -> None:
    """A restored backup is refused and says how far the ledger had come."""
    ledger = new_ledger(path, [kept(1)])
    shutil.copyfile(path, tmp_path / "backup")
    ledger.append([kept(2), kept(3)])
    ledger.close()
    shutil.copyfile(tmp_path / "backup", path)

    with pytest.raises(LedgerDamagedError, match=r"rolled back.*entry is 2.*entry 4"):
        LedgerFile.open(path)


def test_h33_another_history_of_the_same_length_is_noticed(
    path: Path, tmp_path: Path
) -> None:
    """A copy that went on by itself is not the ledger."""
    ledger = new_ledger(path, [kept(1)])
    shutil.copyfile(path, tmp_path / "fork")
    ledger.append([kept(2)])
    ledger.close()
    fork = LedgerFile.open(tmp_path / "fork", footing=FOOTING)
    fork.append([kept(5), kept(6), kept(7)])
    fork.close()
    shutil.copyfile(tmp_path / "fork", path)

    with pytest.raises(LedgerDamagedError, match=r"exchanged.*entry is 5.*entry 3"):
        LedgerFile.open(path)


def test_h33_another_ledger_in_its_place_is_noticed(path: Path, tmp_path: Path) -> None:
    """The witness knows which ledger it speaks of."""
    new_ledger(path).close()
    LedgerFile.create(tmp_path / "other", made("other")).close()
    shutil.copyfile(tmp_path / "other", path)

    with pytest.raises(LedgerDamagedError, match=r"exchanged.*of ledger reef-7f3a"):
        LedgerFile.open(path)


def test_h34_one_that_grows_while_it_is_opened_is_not_rolled_back(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Another program appends and keeps its witness in the middle of an opening."""
    new_ledger(path, [kept(1)]).close()
    newest = Reader.newest

    def overtaken(reader: Reader) -> Row | None:
        read = newest(reader)
        monkeypatch.setattr(Reader, "newest", newest)
        with LedgerFile.open(path, footing=FOOTING) as other:
            other.append([kept(2), kept(3)])
        return read

    monkeypatch.setattr(Reader, "newest", overtaken)
    with LedgerFile.open(path, writable=False, footing=FOOTING) as ledger:
        assert (ledger.head.seq, len(ledger.news())) == (2, 2)


def test_a_ledger_ahead_of_its_witness_is_fine(path: Path) -> None:
    """After a crash the witness is the older one."""
    ledger = new_ledger(path)
    ledger.append([kept(1)])

    with LedgerFile.open(path, footing=FOOTING) as other:
        assert other.head == ledger.head
    ledger.close()


def test_a_ledger_without_a_witness_opens(path: Path) -> None:
    """A lost witness weakens the check, no more."""
    new_ledger(path).close()
    path.with_name("live.ledger.witness").unlink()

    with LedgerFile.open(path) as ledger:
        assert ledger.head.seq == 1


def test_the_witness_can_be_kept_on_another_disk(path: Path, tmp_path: Path) -> None:
    """Elsewhere is better: a snapshot takes back both that lie together."""
    elsewhere = tmp_path / "other disk" / "witness"
    elsewhere.parent.mkdir()
    footing = Footing(witness=elsewhere)
    with new_ledger(path, [kept(1)], footing) as ledger:
        ledger.write_witness()
        expected = Witness(ledger_id="reef-7f3a", head=ledger.head)

        assert expected == witness.read(elsewhere)
    assert not path.with_name("live.ledger.witness").exists()


def test_closing_and_asking_write_the_witness(path: Path) -> None:
    """The shell asks once an hour; a clean end writes it by itself."""
    place = path.with_name("live.ledger.witness")
    ledger = new_ledger(path, [kept(1)])
    ledger.write_witness()
    asked = witness.read(place)
    ledger.append([kept(2)])
    ledger.close()
    closed = witness.read(place)

    assert (asked and asked.head.seq, closed and closed.head.seq) == (2, 3)


def test_a_witness_is_never_replaced_by_an_older_one(tmp_path: Path) -> None:
    """A slow second process cannot turn it back."""
    place = tmp_path / "witness"
    witness.write(place, seen(5))
    witness.write(place, seen(4))
    kept_back = witness.read(place)
    witness.write(place, seen(6))

    assert (seen(5), seen(6)) == (kept_back, witness.read(place))


def test_a_process_that_is_behind_leaves_the_witness(path: Path) -> None:
    """Closing a reader that never looked again changes nothing."""
    ledger = new_ledger(path)
    behind = LedgerFile.open(path, footing=FOOTING)
    ledger.append([kept(1)])
    ledger.close()
    behind.close()

    with LedgerFile.open(path) as again:
        assert again.head.seq == 2


GOOD = (
    '{"ledger_id":"reef-7f3a","seq":5,"sha256":"' + "0" * 63 + '5","v":1}'
)  # fmt: skip


def test_a_witness_reads_as_plain_json(tmp_path: Path) -> None:
    """Four fields, canonical, so that a person can compare them."""
    place = tmp_path / "witness"
    witness.write(place, seen(5))

    assert place.read_text(encoding="utf-8") == GOOD


@pytest.mark.parametrize(
    "text",
    [
        b"",
        b"[]",
        b"\xff",
        b"[" * 99_999,
        GOOD[:-1].encode(),
        GOOD.replace('"v":1', '"v":2').encode(),
        GOOD.replace("5,", "0,").encode(),
        GOOD.replace("5,", "5.0,").encode(),
        GOOD.replace("00", "0").encode(),
        GOOD.replace('"v"', '"u":1,"v"').encode(),
        GOOD.replace(",", ", ").encode(),
    ],
)
def test_h33_a_witness_that_is_none_stops_the_start(path: Path, text: bytes) -> None:
    """It is replaced whole or not at all, so a broken one means something."""
    new_ledger(path).close()
    path.with_name("live.ledger.witness").write_bytes(text)

    with pytest.raises(LedgerDamagedError, match="not a witness"):
        LedgerFile.open(path)


def test_a_witness_is_for_the_owner_and_the_group(tmp_path: Path) -> None:
    """Permissions are 0640 whatever the umask."""
    witness.write(tmp_path / "witness", seen(5))

    assert 0o640 == stat.S_IMODE((tmp_path / "witness").stat().st_mode)


def test_a_witness_of_the_same_head_is_left(tmp_path: Path) -> None:
    """Once an hour it is asked for; a disk that nothing happens on is not worn."""
    place = tmp_path / "witness"
    witness.write(place, seen(5))
    before = place.stat().st_ino
    witness.write(place, seen(5))

    assert before == place.stat().st_ino


def test_writing_a_witness_leaves_no_file_open(tmp_path: Path) -> None:
    """A daemon that writes one each hour for years must not run out of them."""
    before = len(list(Path("/proc/self/fd").iterdir()))
    for number in range(1, 4):
        witness.write(tmp_path / "witness", seen(number))

    assert before == len(list(Path("/proc/self/fd").iterdir()))


def test_a_witness_that_cannot_be_read_is_a_storage_fault(tmp_path: Path) -> None:
    """A directory in its place is no broken witness."""
    with pytest.raises(LedgerStorageError, match="Is a directory"):
        witness.read(tmp_path)


def test_h33_what_the_witness_remembers_is_told_as_others_tell_it() -> None:
    """The first eight digits of the hash, as the alarms and the screen have them."""
    known = Witness(ledger_id="reef-1", head=Head(seq=5, sha256="0123456789abcdef" * 4))
    error = rolled_back("x", Head(seq=2, sha256="f" * 64), known)

    assert "(01234567)" in error.findings[0].expected


def test_a_witness_that_cannot_be_written_is_said(tmp_path: Path) -> None:
    """A missing directory is a storage fault with the place named."""
    place = tmp_path / "none" / "witness"

    with pytest.raises(LedgerStorageError, match="witness") as caught:
        witness.replace(place, seen(1))
    assert caught.value.findings[0].where == str(place)


def test_a_failed_replacement_leaves_no_draft(tmp_path: Path) -> None:
    """A directory in the way is left, and nothing beside it."""
    place = tmp_path / "witness"
    place.mkdir()

    with pytest.raises(LedgerStorageError):
        witness.replace(place, seen(1))
    assert [place] == list(tmp_path.iterdir())
