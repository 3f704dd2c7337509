"""A ledger on a file system that is really full, and really read-only.

`python -m tests.faults.cramped` mounts 256 KiB of memory in a name space of its own,
which nothing else sees; where the kernel allows none it says that this was not tried
here. Hazards: H05, H30.
"""

import os
import shutil
import subprocess
import sys
import tempfile
from dataclasses import replace
from pathlib import Path

from slackwater.errors import LedgerStorageError
from slackwater.facts.events import AnyEvent
from slackwater.ledger.connection import Footing
from slackwater.ledger.store import LedgerFile
from slackwater.service.memory import LIVE_NAME
from tests.ledger.samples import approved, intended, kept, new_ledger

ROOM = "256k"
MORE = "2m"
AT_ONCE = Footing(busy_ms=50)
# More entries of some pages each than there is room for.
TRIES = 200
INSIDE = "--inside"


def fill(folder: Path) -> int:
    """Append until the disk is full; the entries that were vouched for."""
    path = folder / LIVE_NAME
    new_ledger(path, [kept(1)]).close()
    vouched = 2
    with_room = LedgerFile.open(path, footing=AT_ONCE)
    for number in range(TRIES):
        events: list[AnyEvent] = [
            intended(number),
            replace(approved(), plan="x" * 3_000),
        ]
        try:
            with_room.append(events)
        except LedgerStorageError:
            return vouched
        vouched += 2
    message = f"{TRIES} entries found room in {ROOM}"
    raise SystemExit(message)


def looked_at(folder: Path) -> int:
    """Read all that is there; the number of entries."""
    with LedgerFile.open(folder / LIVE_NAME, writable=False, footing=AT_ONCE) as ledger:
        found = ledger.verify_all()
        if found:
            raise SystemExit(str(found[0]))
        return ledger.head.seq


def refused(folder: Path) -> bool:
    """Whether a write is refused, and refused as the fault of a disk."""
    try:
        with LedgerFile.open(folder / LIVE_NAME, footing=AT_ONCE) as ledger:
            ledger.append([intended(TRIES), replace(approved(), plan="x" * 9_000)])
    except LedgerStorageError:
        return True
    return False


def remount(folder: Path, options: str) -> None:
    """Change the file system under the ledger."""
    words = ["mount", "-o", f"remount,{options}", "tmpfs", str(folder)]
    subprocess.run(words, check=True)


def inside(folder: Path) -> None:
    """All of it, in a name space of its own."""
    words = ["mount", "-t", "tmpfs", "-o", f"size={ROOM}", "tmpfs", str(folder)]
    subprocess.run(words, check=True)
    vouched = fill(folder)
    told = [
        ("full: what was vouched for is there", looked_at(folder) == vouched),
        ("full: refused again", refused(folder)),
    ]
    remount(folder, "ro")
    told += [
        ("read-only: all of it can be read", looked_at(folder) == vouched),
        ("read-only: refused", refused(folder)),
    ]
    remount(folder, f"rw,size={MORE}")
    told += [
        ("room again: an append works", not refused(folder)),
        ("room again: it is there, whole", looked_at(folder) == vouched + 2),
    ]
    for words_of_it, is_so in told:
        sys.stdout.write(f"  {'yes' if is_so else 'NO '}  {words_of_it}\n")
    sys.stdout.flush()
    sys.exit(0 if all(is_so for _, is_so in told) else 1)


def main() -> int:
    """Start the trial where the kernel allows it."""
    if sys.argv[1:2] == [INSIDE]:
        inside(Path(sys.argv[2]))
    apart = ["unshare", "-m"] if os.geteuid() == 0 else ["unshare", "-rm"]
    if (
        not shutil.which("unshare")
        or subprocess.run([*apart, "true"], check=False).returncode
    ):
        sys.stdout.write("NOT TRIED HERE: a really full disk, no name spaces\n")
        return 0
    sys.stdout.write("a ledger on a disk that is really full:\n")
    sys.stdout.flush()
    with tempfile.TemporaryDirectory() as name:
        again = [sys.executable, "-m", "tests.faults.cramped", INSIDE, name]
        return subprocess.run([*apart, *again], check=False).returncode


if __name__ == "__main__":
    sys.exit(main())
