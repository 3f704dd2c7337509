"""The power goes at each call of two appends: all or nothing, and nothing forgotten.

Hazards: H01, H05, H31, H34.
"""

import os
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from hashlib import sha256
from pathlib import Path
from random import Random

import pytest

from slackwater.ledger.store import LedgerFile
from slackwater.service.memory import LIVE_NAME
from tests.faults.border import GO, Say, watched
from tests.faults.life import AT_ONCE, BATCH, BATCHES, main
from tests.faults.power import Call, Disk, File, calls
from tests.faults.voyage import SHELF
from tests.ledger.samples import kept, new_ledger

TOP = Path(__file__).parents[2]
# What a call does to a disk, and its name.
SEEN = {
    "write": "pwrite64",
    "sync": "fdatasync",
    "folder": "fdatasync",
    "unlink": "unlink",
}
NAMES = {*SEEN.values(), "fsync"}
TRACED = "pwrite64,fdatasync,fsync,unlink,openat,write"
# What may be there is drawn so often after a call, but no longer than it brings news.
EACH, EACH_LONG, IN_VAIN = 1, 420, 60
IMAGES_LONG = 4000


@pytest.fixture(scope="module")
def life(
    tmp_path_factory: pytest.TempPathFactory, strace: str
) -> tuple[bytes, list[Call]]:
    """The ledger before a life, and all that this life did to the disk."""
    folder = tmp_path_factory.mktemp("life")
    path = folder / LIVE_NAME
    new_ledger(path, [kept(1)]).close()
    before = path.read_bytes()
    words = [strace, "--seccomp-bpf", "-f", "-qq", "-y", "-xx", "-s", "100000"]
    words += ["-o", str(folder / "trace"), "-e", f"trace={TRACED}"]
    paths = os.pathsep.join((str(TOP / "daemon"), str(TOP)))
    done = subprocess.run(
        [*words, sys.executable, "-m", "tests.faults.life", str(path)],
        cwd=TOP,
        env={**os.environ, "PYTHONPATH": paths},
        check=False,
    )
    assert 0 == done.returncode
    trace = (folder / "trace").read_text(encoding="ascii")
    return before, calls(trace, folder.resolve())


@pytest.fixture
def shelf() -> Iterator[Path]:
    """A folder in memory, where there is one: no disk is waited for."""
    with tempfile.TemporaryDirectory(dir=SHELF if SHELF.is_dir() else None) as name:
        yield Path(name)


def opened(folder: Path, images: dict[str, bytes]) -> tuple[int, list[str]]:
    """The entries of what is left, and what is wrong with them; another one follows."""
    for beside in folder.iterdir():
        beside.unlink()
    for name, content in images.items():
        (folder / name).write_bytes(content)
    with LedgerFile.open(folder / LIVE_NAME, footing=AT_ONCE) as ledger:
        found = [str(one) for one in ledger.verify_all()]
        entries = ledger.head.seq
        ledger.append([kept(9)])
    return entries, found


@dataclass(slots=True)
class Looked:
    """What was found in each image that was opened; equal ones are opened once."""

    folder: Path
    known: dict[bytes, tuple[int, list[str]]] = field(default_factory=dict)

    def look(self, images: dict[str, bytes]) -> tuple[int, list[str]]:
        """The same as `opened`."""
        sketch = sha256()
        for name, content in sorted(images.items()):
            sketch.update(f"{name} {len(content)} ".encode())
            sketch.update(content)
        found = self.known.get(sketch.digest())
        if found is None:
            found = self.known[sketch.digest()] = opened(self.folder, images)
        return found


def test_h34_a_cut_of_the_power_anywhere_keeps_all_that_was_vouched_for(
    shelf: Path,
    life: tuple[bytes, list[Call]],
    tell: Callable[[str], None],
    pytestconfig: pytest.Config,
) -> None:
    """After each call, what was not synced by chance there, missing or torn."""
    before, made = life
    is_long = pytestconfig.getoption("--long")
    each = EACH_LONG if is_long else EACH
    chance = Random(8)  # noqa: S311 -- to be repeated, not to be secret
    disk = Disk({LIVE_NAME: File(bytearray(before))}, {LIVE_NAME})
    looked, whole = Looked(shelf), set[int]()
    for number, call in enumerate(made):
        disk.undergo(call)
        # In the short run each third, and all after which another word may be true.
        if not is_long and number % 3 and call.what in ("write", "sync"):
            continue
        vain = 0
        for _ in range(each):
            known = len(looked.known)
            entries, found = looked.look(disk.after_the_cut(chance))
            batches, rest = divmod(entries - 2, BATCH)
            told = f"after call {number} {call.what} {call.name}: {entries} entries"
            assert [] == found, told
            assert 0 == rest, told
            assert disk.vouched <= batches <= min(disk.vouched + 1, BATCHES), told
            whole.add(batches)
            vain = 0 if len(looked.known) > known else vain + 1
            if vain == IN_VAIN:
                break
    images = len(looked.known)
    tell(f"power cuts: {images} images of {len(made)} calls, all or nothing in each")
    assert whole == set(range(BATCHES + 1))
    assert images >= (IMAGES_LONG if is_long else BATCHES)


@pytest.mark.usefixtures("border")
def test_strace_sees_the_calls_that_the_parent_of_a_life_is_asked_for(
    tmp_path: Path, life: tuple[bytes, list[Call]]
) -> None:
    """Two ways to look at one life, one of them not ours: the same calls in order."""
    path = tmp_path / LIVE_NAME
    new_ledger(path, [kept(1)]).close()

    def live(_say: Say) -> str:
        main(path)
        return ""

    asked = watched(live, lambda _number, _name: GO, lambda _word: None, NAMES)

    seen = [SEEN[call.what] for call in life[1] if call.what in SEEN]
    assert seen == [name.replace("fsync", "fdatasync") for name in asked.calls]


def test_a_disk_that_syncs_nothing_is_found_out(
    shelf: Path, life: tuple[bytes, list[Call]]
) -> None:
    """Without its syncs that life loses what it vouched for: the trial would see it."""
    before, made = life
    disk = Disk({LIVE_NAME: File(bytearray(before))}, {LIVE_NAME})
    for call in made:
        if call.what not in ("sync", "folder"):
            disk.undergo(call)
    nothing = {LIVE_NAME: bytes(disk.files[LIVE_NAME].sure)}

    entries, _ = opened(shelf, nothing)

    assert BATCHES == disk.vouched
    assert 2 == entries
