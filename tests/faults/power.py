"""What a disk may hold after the power went, at any moment of an append.

The calls of one life are read from a trace of strace(1) and played again on a disk that
promises no more than a sync gives: whatever was written since may be there, may be
missing, may be torn at a sector; a new or deleted name may be as it was until its
folder was synced. Source of the model: fsync(2), and "All File Systems Are Not Created
Equal", Pillai and others, OSDI 2014, table 1.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from random import Random

SECTOR = 512
CALL = re.compile(r"^\d+ +(?P<name>\w+)\((?P<words>.*)\) += (?P<came>-?\d+)")
HELD = re.compile(r"^\d+<(?P<path>[^>]*)>(?:, (?P<rest>.*))?$", re.DOTALL)
TEXT = re.compile(r'"(?P<hex>(?:\\x[0-9a-f]{2})*)"')
VOUCHED = ".said"


@dataclass(frozen=True, slots=True, kw_only=True)
class Call:
    """One call that changes the disk: `what` it does to the file of that name."""

    what: str
    name: str
    at: int = 0
    content: bytes = b""


@dataclass(slots=True)
class File:
    """What is surely there, and what was written since."""

    sure: bytearray = field(default_factory=bytearray)
    since: list[tuple[int, bytes]] = field(default_factory=list)

    def sync(self) -> None:
        """All of it is there from now on."""
        for at, content in self.since:
            put(self.sure, at, content)
        self.since.clear()


def put(into: bytearray, at: int, content: bytes) -> None:
    """Write at a place; what lies before it and was never written is nought."""
    into.extend(bytes(max(0, at - len(into))))
    into[at : at + len(content)] = content


def calls(trace: str, folder: Path) -> list[Call]:
    """The calls of a trace that change files of a folder, or the folder, in order."""
    found = []
    for line in trace.splitlines():
        match = CALL.match(line)
        if match is not None and int(match["came"]) >= 0:
            found += list(_read(match["name"], match["words"], folder))
    return found


def _read(name: str, words: str, folder: Path) -> Iterator[Call]:
    texts = [_plain(each["hex"]) for each in TEXT.finditer(words)]
    if name in ("unlink", "openat"):
        path = Path(texts[0].decode())
        made = name == "unlink" or "O_CREAT" in words
        if made and path.parent == folder:
            yield Call(what=name, name=path.name)
        return
    match = HELD.match(words)
    path = Path(_plain(match["path"]).decode()) if match else Path()
    if path == folder and name in ("fsync", "fdatasync"):
        yield Call(what="folder", name="")
    elif path.parent == folder and name == "write" and path.suffix == VOUCHED:
        yield Call(what="vouch", name="")
    elif path.parent == folder and name == "pwrite64":
        at = int(words.rpartition(", ")[2])
        yield Call(what="write", name=path.name, at=at, content=texts[-1])
    elif path.parent == folder and name in ("fsync", "fdatasync"):
        yield Call(what="sync", name=path.name)


def _plain(words: str) -> bytes:
    return bytes.fromhex(words.replace("\\x", ""))


@dataclass(slots=True)
class Disk:
    """The files of a folder; `names` are surely in it, `turns` came since its sync."""

    files: dict[str, File]
    names: set[str]
    turns: list[tuple[str, str]] = field(default_factory=list)
    vouched: int = 0

    def undergo(self, call: Call) -> None:
        """One call."""
        if call.what == "openat":
            if call.name not in self.files:
                self.files[call.name] = File()
                self.turns.append(("made", call.name))
        elif call.what == "unlink":
            self.turns.append(("gone", call.name))
            # The next file of this name is another one; the old may still come back.
            self.files[f"old {call.name}"] = self.files.pop(call.name)
        elif call.what == "write":
            self.files[call.name].since.append((call.at, call.content))
        elif call.what == "sync":
            self.files[call.name].sync()
        elif call.what == "folder":
            for how, name in self.turns:
                (self.names.add if how == "made" else self.names.discard)(name)
            self.turns.clear()
        else:
            self.vouched += 1

    def after_the_cut(self, chance: Random) -> dict[str, bytes]:
        """One of the many things that may be there when the power is back."""
        names = {name: name for name in self.names}
        for how, name in self.turns[: chance.randint(0, len(self.turns))]:
            if how == "made":
                names[name] = name
            else:
                names.pop(name, None)
        found = {}
        for name in names:
            # A deletion that never reached the disk leaves the file of before.
            gone = ("gone", name) in self.turns or name not in self.files
            file = self.files[f"old {name}" if gone else name]
            found[name] = _as_it_fell(file, chance)
        return found


def _as_it_fell(file: File, chance: Random) -> bytes:
    content = bytearray(file.sure)
    for at, written in file.since:
        fate = chance.choice(("there", "there", "missing", "torn"))
        if fate == "there":
            put(content, at, written)
        elif fate == "torn":
            sectors = chance.randint(0, len(written) // SECTOR)
            put(content, at, written[: sectors * SECTOR])
    return bytes(content)
