"""A backup is whole, made beside a writer, and refused when it is spoiled."""

import io
import stat
import subprocess
import sys
import tarfile
from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pytest

from slackwater.errors import InputError, LedgerStorageError, RefusedError
from slackwater.ledger.archive import (
    FILES,
    LEDGER,
    MANIFEST,
    Manifest,
    aside,
    member_of,
    pack,
    unpack,
    workshop,
)
from slackwater.ledger.copying import copy_live
from slackwater.ledger.store import LedgerFile
from tests.ledger.samples import (
    FOOTING,
    PATIENT,
    checkpoint,
    kept,
    new_ledger,
    of_every_kind,
)
from tests.ledger.test_audit import tamper
from tests.rules import tree


def packed(ledger: LedgerFile, target: Path) -> Manifest:
    """A backup of a ledger and one file."""
    with workshop(target.parent) as folder:
        copy_live(ledger, folder / LEDGER)
        (folder / FILES[0]).write_text("# invented\n", "utf-8")
        manifest = manifest_of(ledger, folder, FILES[0])
        pack(target, folder, manifest)
    return manifest


def manifest_of(ledger: LedgerFile, folder: Path, *files: str) -> Manifest:
    """What is to be said of a ledger and these files."""
    return Manifest(
        v=1,
        ledger_id=ledger.ledger_id,
        entries=ledger.head.seq,
        head=ledger.head.sha256,
        made_at="2026-05-03T12:00:00Z",
        software="0.1",
        members={name: member_of(folder / name) for name in (LEDGER, *files)},
    )


def taped(path: Path, *members: tarfile.TarInfo) -> None:
    """An archive of members with nothing but spaces in them."""
    with tarfile.open(path, mode="w") as archive:
        for member in members:
            archive.addfile(member, io.BytesIO(b" " * member.size))


@pytest.fixture
def ledger(tmp_path: Path) -> Iterator[LedgerFile]:
    """A ledger of a few entries."""
    events = [kept(number) for number in range(5)]
    with new_ledger(tmp_path / "live.ledger", events) as opened:
        yield opened


@pytest.fixture
def backup(tmp_path: Path) -> Path:
    """A backup of a ledger with an entry of every kind, made once and copied."""
    for name, content in _made().items():
        (tmp_path / name).write_bytes(content)
    return tmp_path / "reef.tar"


@cache
def _made() -> dict[str, bytes]:
    with TemporaryDirectory() as name:
        folder = Path(name)
        with new_ledger(folder / "live.ledger", of_every_kind()[1:]) as ledger:
            packed(ledger, folder / "reef.tar")
        return {path.name: path.read_bytes() for path in folder.iterdir()}


def opened_again(path: Path, folder: Path) -> tuple[Manifest, list[object]]:
    """What a backup holds."""
    folder.mkdir()
    manifest = unpack(path, folder)
    with LedgerFile.open(folder / LEDGER, footing=aside(folder)) as ledger:
        return manifest, [entry.event for entry in ledger.load().entries]


def test_every_entry_and_file_comes_back(backup: Path, tmp_path: Path) -> None:
    """The same events after the last checkpoint, the same head, the same bytes."""
    with LedgerFile.open(tmp_path / "live.ledger", footing=FOOTING) as ledger:
        head, expected = ledger.head, list(ledger.load().entries)
    manifest, events = opened_again(backup, tmp_path / "again")
    assert (head.seq, head.sha256) == (manifest.entries, manifest.head)
    assert [entry.event for entry in expected] == events
    assert "# invented\n" == (tmp_path / "again" / FILES[0]).read_text("utf-8")


def test_any_program_that_knows_the_format_opens_it(backup: Path) -> None:
    """The manifest is first. Source: POSIX.1-1988, ustar, as Python reads it."""
    with tarfile.open(backup) as archive:
        assert [MANIFEST, LEDGER, FILES[0]] == archive.getnames()
    assert b"ustar" == backup.read_bytes()[257:262]


def test_nothing_is_left_beside_it(backup: Path) -> None:
    """No draft and no folder to work in."""
    names = sorted(path.name for path in backup.parent.iterdir())
    assert ["live.ledger", "live.ledger.witness", "reef.tar"] == names


def test_another_process_appends_meanwhile(tmp_path: Path) -> None:
    """Each copy is whole up to where it began, and the writer lost no entry by it."""
    path = tmp_path / "live.ledger"
    new_ledger(path, [kept(number) for number in range(1200)]).close()
    words = (sys.executable, "-m", "tests.ledger.steady_appender", path)
    heads: list[int] = []
    with subprocess.Popen(
        words, cwd=tree.TOP, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as writer:
        assert writer.stdout
        assert "ready\n" == writer.stdout.readline()
        # Until the writer was seen to go on between two copies.
        while len(set(heads)) < 2:
            with LedgerFile.open(path, writable=False, footing=PATIENT) as ledger:
                packed(ledger, tmp_path / f"{len(heads)}.tar")
                heads.append(ledger.head.seq)
        written = int(writer.communicate()[0])
    with LedgerFile.open(path, footing=FOOTING) as ledger:
        assert 1201 + written == ledger.head.seq
    for number, head in enumerate(heads):
        (tmp_path / f"again-{number}").mkdir()
        assert (
            head
            == unpack(tmp_path / f"{number}.tar", tmp_path / f"again-{number}").entries
        )


def _cut(text: bytes) -> bytes:
    return text[: len(text) // 2]


def _flipped(text: bytes) -> bytes:
    at = len(text) // 2
    return text[:at] + bytes([text[at] ^ 1]) + text[at + 1 :]


def _renamed(text: bytes) -> bytes:
    return rewritten(text, lambda name: name.replace("slackwater.toml", "../evil"))


def _without_ledger(text: bytes) -> bytes:
    return rewritten(text, lambda name: "" if name == LEDGER else name)


def rewritten(text: bytes, change: Callable[[str], str]) -> bytes:
    """The archive with other names for its members; an empty one leaves it out."""
    made = io.BytesIO()
    with (
        tarfile.open(fileobj=io.BytesIO(text)) as old,
        tarfile.open(fileobj=made, mode="w") as new,
    ):
        for member in old:
            source = old.extractfile(member)
            name = change(member.name)
            if name:
                member.name = name
                new.addfile(member, source)
    return made.getvalue()


@pytest.mark.parametrize(
    ("spoil", "said"),
    [
        (_cut, "backup"),
        (_flipped, "is damaged: slackwater.ledger is not what was written"),
        (_renamed, "is not in its manifest"),
        (_without_ledger, "slackwater.ledger is missing"),
        (lambda text: text.replace(b'"v":1', b'"v":2'), "not one of this version"),
        (lambda text: text.replace(b'"v":1', b'"w":1'), "manifest cannot be read"),
        (lambda text: text.replace(b"2026-05-03T12:", b"2026-05-03T99:"), "version"),
        (lambda _text: b"", "not a backup"),
        (lambda _text: b"some other file" * 999, "not a backup"),
        (lambda text: text.replace(b'"entries":', b'"entries": '), "backup"),
    ],
)
def test_a_spoiled_file_is_one_clear_error(
    backup: Path, tmp_path: Path, spoil: Callable[[bytes], bytes], said: str
) -> None:
    """One finding that names the file; nothing outside the folder is written."""
    backup.write_bytes(spoil(backup.read_bytes()))
    (tmp_path / "again").mkdir()
    before = sorted(path.name for path in tmp_path.iterdir())
    with pytest.raises(InputError, match=said) as caught:
        unpack(backup, tmp_path / "again")
    assert [str(backup)] == [one.where for one in caught.value.findings]
    assert before == sorted(path.name for path in tmp_path.iterdir())


def test_a_manifest_of_another_ledger_is_refused(backup: Path, tmp_path: Path) -> None:
    """The figures must be those of the entries."""
    # The first place is the manifest's own, and its length stays the same.
    text = backup.read_bytes().replace(b'"reef-7f3a"', b'"x"', 1)
    fixed = text.replace(b'"software":"0.1"', b'"software":"0.1-1234567"', 1)
    backup.write_bytes(fixed)
    (tmp_path / "again").mkdir()
    with pytest.raises(InputError, match="speaks of another ledger"):
        unpack(backup, tmp_path / "again")


def test_a_file_that_stands_there_is_never_replaced(
    backup: Path, tmp_path: Path
) -> None:
    """Not a byte of it is changed."""
    before = backup.read_bytes()
    with (
        LedgerFile.open(tmp_path / "live.ledger", footing=FOOTING) as ledger,
        pytest.raises(RefusedError, match="stands here already"),
    ):
        packed(ledger, backup)
    assert before == backup.read_bytes()


def test_a_missing_file_or_directory_is_said(tmp_path: Path) -> None:
    """With its name, and no traceback."""
    with pytest.raises(InputError, match="cannot be read"):
        unpack(tmp_path / "none.tar", tmp_path)
    with pytest.raises(LedgerStorageError, match="none"), workshop(tmp_path / "none"):
        pass


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
        with pytest.raises(InputError, match="entry 3 is damaged"):
            pack(tmp_path / "reef.tar", folder, manifest_of(ledger, folder))
    assert not (tmp_path / "reef.tar").exists()


def test_a_backup_of_a_ledger_that_is_broken_before_a_checkpoint_is_none(
    ledger: LedgerFile, tmp_path: Path
) -> None:
    """A start would not look so far back."""
    ledger.append([checkpoint("{}")])
    with workshop(tmp_path) as folder:
        copy_live(ledger, folder / LEDGER)
        tamper(folder / LEDGER, "UPDATE entries SET at = '2020' WHERE seq IN (3, 5)")
        with pytest.raises(InputError, match="entry 3 is damaged"):
            pack(tmp_path / "reef.tar", folder, manifest_of(ledger, folder))


@pytest.mark.parametrize(
    ("length", "said"), [(65_536, "manifest cannot be read"), (65_537, "not a backup")]
)
def test_a_manifest_that_is_too_long_is_none(
    tmp_path: Path, length: int, said: str
) -> None:
    """64 KiB are many times what one has; more is not even read."""
    member = tarfile.TarInfo(MANIFEST)
    member.size = length
    taped(tmp_path / "reef.tar", member)
    with pytest.raises(InputError, match=said):
        unpack(tmp_path / "reef.tar", tmp_path)


@pytest.mark.parametrize("kind", [tarfile.DIRTYPE, tarfile.SYMTYPE, tarfile.FIFOTYPE])
def test_a_manifest_is_a_plain_file(tmp_path: Path, kind: bytes) -> None:
    """Neither a directory nor a link to something else, whatever its name."""
    member = tarfile.TarInfo(MANIFEST)
    member.type, member.linkname = kind, "/etc/hostname"
    taped(tmp_path / "reef.tar", member)
    with pytest.raises(InputError, match="not a backup"):
        unpack(tmp_path / "reef.tar", tmp_path)


def test_a_tape_that_nothing_is_on_is_no_backup(tmp_path: Path) -> None:
    """Two empty blocks are the end of one (POSIX.1-1988, ustar)."""
    taped(tmp_path / "reef.tar")
    with pytest.raises(InputError, match="not a backup"):
        unpack(tmp_path / "reef.tar", tmp_path)


def test_both_files_come_back_with_their_ledger(
    ledger: LedgerFile, tmp_path: Path
) -> None:
    """All that a backup has names for."""
    with workshop(tmp_path) as folder:
        copy_live(ledger, folder / LEDGER)
        for name in FILES:
            (folder / name).write_text(f"# {name}\n", "utf-8")
        pack(tmp_path / "reef.tar", folder, manifest_of(ledger, folder, *FILES))
    (tmp_path / "again").mkdir()
    unpack(tmp_path / "reef.tar", tmp_path / "again")
    assert [f"# {name}\n" for name in FILES] == [
        (tmp_path / "again" / name).read_text("utf-8") for name in FILES
    ]


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"made_at": "2026-05-03T12:00:00"}, "not one of this version"),
        ({"v": 2}, "not one of this version"),
        ({"entries": 7}, "speaks of another ledger"),
        ({"head": "00" * 32}, "speaks of another ledger"),
        ({"members": {}}, "names other files"),
    ],
)
def test_what_a_manifest_says_must_hold(
    ledger: LedgerFile, tmp_path: Path, changed: dict[str, Any], said: str
) -> None:
    """A time has a zone, a version is known, the figures are those of the ledger."""
    with workshop(tmp_path) as folder:
        copy_live(ledger, folder / LEDGER)
        manifest = replace(manifest_of(ledger, folder), **changed)
        with pytest.raises(InputError, match=said):
            pack(tmp_path / "reef.tar", folder, manifest)


def test_a_backup_holds_nothing_that_it_has_no_name_for(
    ledger: LedgerFile, tmp_path: Path
) -> None:
    """A manifest with a third kind of file is refused as it is read back."""
    with workshop(tmp_path) as folder:
        copy_live(ledger, folder / LEDGER)
        (folder / "other.txt").write_text("invented", "utf-8")
        manifest = manifest_of(ledger, folder, "other.txt")
        with pytest.raises(InputError, match="names other files"):
            pack(tmp_path / "reef.tar", folder, manifest)
    assert not (tmp_path / "reef.tar").exists()
