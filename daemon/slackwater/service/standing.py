"""What must hold around the process: one daemon per ledger, known zone data.

Floor 7. One subject: the footing of a start. Laws here: a second daemon on the same
ledger, and a second calibration, is refused before it reads anything; the bytes of the
zone data are on record.
"""

import fcntl
import zoneinfo
from collections.abc import Iterator
from contextlib import contextmanager
from hashlib import sha256
from importlib import resources
from pathlib import Path

from slackwater.errors import Finding, LedgerMissingError, RefusedError
from slackwater.facts.tank import Machine
from slackwater.ledger.witness import belong

LOCK_NAME = "daemon.lock"
# A lock of its own: who asks whether a daemon is here must not be told of a person who
# measures.
MEASURING_NAME = "calibrate.lock"


@contextmanager
def only_one(state: Path) -> Iterator[None]:
    """Hold the state directory for one daemon as long as the context lasts.

    Raises: RefusedError when another daemon holds it, LedgerMissingError when there
    is no such directory.
    """
    other = Finding(
        what="another daemon runs on this ledger",
        where=str(state),
        expected="one daemon for one ledger",
        do="Stop the other one first; a `slackwater calibrate` under way counts as "
        "one.",
    )
    with _locked(state, LOCK_NAME, other):
        yield


@contextmanager
def only_one_measures(state: Path) -> Iterator[None]:
    """Hold the state directory for one calibration as long as the context lasts.

    Two of them would push each other off the broker, for they have one name there.
    Raises: RefusedError when another one holds it, LedgerMissingError when there is no
    such directory.
    """
    other = Finding(
        what="another `slackwater calibrate` runs on this ledger",
        where=str(state),
        expected="one pump measured at a time: only one may command",
        do="Nothing has run. Finish the other one, or end it with Ctrl-C, then "
        "calibrate.",
    )
    with _locked(state, MEASURING_NAME, other):
        yield


@contextmanager
def _locked(state: Path, name: str, other: Finding) -> Iterator[None]:
    """Hold a lock file; refused with `other` where somebody else has it."""
    try:
        lock = (state / name).open("a")
    except OSError as error:
        raise _unusable(state, error) from error
    belong(state / name, state)
    with lock:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as error:
            raise RefusedError(other) from error
        except OSError as error:
            raise _unusable(state, error) from error
        yield


def _unusable(state: Path, error: OSError) -> LedgerMissingError:
    return LedgerMissingError(
        Finding(
            what=f"the state directory cannot be used ({error.strerror})",
            where=str(state),
            expected="a directory this user may write to and lock files in, with a "
            "ledger",
            do="Run `slackwater init` once, or give --state; some network shares "
            "lock no file.",
        )
    )


def zone_hashes(machine: Machine) -> dict[str, str]:
    """SHA-256 of the zone data this process uses, by zone name."""
    zones = sorted({tank.zone for tank in machine.tanks.values()})
    return {zone: sha256(_zone_bytes(zone)).hexdigest() for zone in zones}


def _zone_bytes(zone: str) -> bytes:
    """The file `zoneinfo` would read: the system's first, else the package's."""
    for folder in zoneinfo.TZPATH:
        path = Path(folder) / zone
        if path.is_file():
            return path.read_bytes()
    return resources.files("tzdata").joinpath("zoneinfo", *zone.split("/")).read_bytes()
