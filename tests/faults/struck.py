"""Appends to a ledger under strace, process by process, and looks at what is left.

`python -m tests.faults.struck LEDGER WHEN CALL MOST` is started by strace with
`inject=CALL:...:when=WHEN` for the paths of that ledger. The N-th child first makes
WHEN - N calls that do nothing, then opens the ledger and appends: so its N-th real call
is struck, whatever CALL is, and one strace serves for all of them. After each child
another one opens the ledger and says what it finds. A line of JSON for each.
"""

import json
import os
import sys
from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace
from pathlib import Path

from slackwater.errors import LedgerError
from slackwater.facts.events import AnyEvent
from slackwater.ledger.connection import Footing
from slackwater.ledger.store import LedgerFile
from tests.ledger.samples import approved, intended, kept

# Each an intent, with an entry of some pages behind it.
BATCHES, BATCH = 2, 2
LARGE = "x" * 9_000
AT_ONCE = Footing(busy_ms=5)


def idle(call: str, path: Path, count: int) -> None:
    """So many calls of this name on the file, none of which does anything."""
    file = os.open(path, os.O_RDWR)
    for _ in range(count - (call == "openat")):
        _IDLE[call](file, path)
    os.close(file)


def _no_name(_file: int, path: Path) -> None:
    # The folder is no file: refused, and counted all the same.
    with suppress(OSError):
        path.parent.unlink()


def _opened(_file: int, path: Path) -> None:
    os.close(os.open(path, os.O_RDONLY))


_IDLE: dict[str, Callable[[int, Path], object]] = {
    "pwrite64": lambda file, _path: os.pwrite(file, b"", 0),
    "pread64": lambda file, _path: os.pread(file, 0, 0),
    "fdatasync": lambda file, _path: os.fdatasync(file),
    "fsync": lambda file, _path: os.fsync(file),
    "unlink": _no_name,
    "openat": _opened,
}


def append(path: Path, number: int, said: int) -> None:
    """Open and append some batches; a byte for each that is vouched for."""
    try:
        ledger = LedgerFile.open(path, footing=AT_ONCE)
    except LedgerError:
        os.write(said, b"o")
        return
    for batch in range(BATCHES):
        events: list[AnyEvent] = [
            intended(1_000_000 + number * BATCHES + batch),
            replace(approved(), plan=LARGE),
        ]
        try:
            ledger.append(events)
        except LedgerError:
            os.write(said, b"e")
            return
        os.write(said, b"v")
    # Left open as a dead process leaves it: no witness is written.


def look(path: Path, said: int) -> None:
    """Open what is left, read all of it, append once more: the count, or the fault."""
    try:
        with LedgerFile.open(path, footing=AT_ONCE) as ledger:
            found = [str(one) for one in ledger.verify_all()]
            seq = ledger.head.seq
            ledger.append([kept(1)])
    except LedgerError as error:
        os.write(said, f"!{error}"[:400].encode())
        return
    os.write(said, (f"!{found[0]}"[:400] if found else str(seq)).encode())


def apart(work: Callable[[int], None]) -> tuple[int, str]:
    """Let a forked process work; its exit code and what it said."""
    mouth, ear = os.pipe()
    child = os.fork()
    if child == 0:
        work(ear)
        os._exit(0)
    os.close(ear)
    said = b"".join(iter(lambda: os.read(mouth, 4096), b""))
    os.close(mouth)
    _, status = os.waitpid(child, 0)
    return os.waitstatus_to_exitcode(status), said.decode()


def main(words: list[str]) -> None:
    """Strike the first call, then the second, and so on."""
    path, when, call, most = Path(words[0]), int(words[1]), words[2], int(words[3])

    def strike(number: int, said: int) -> None:
        idle(call, path, when - number)
        append(path, number, said)

    for number in range(1, most + 1):
        code, said = apart(lambda ear, number=number: strike(number, ear))  # type: ignore[misc]
        _, left = apart(lambda ear: look(path, ear))
        line = {"number": number, "code": code, "said": said, "left": left}
        sys.stdout.write(json.dumps(line) + "\n")
        sys.stdout.flush()


if __name__ == "__main__":
    main(sys.argv[1:])
