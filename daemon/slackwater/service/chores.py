"""Housekeeping that the alarm reminds the loop of.

Floor 7. One subject: the small regular jobs. Laws here: a job only leaves its name in
a queue; everything that touches the ledger is done by the loop's own thread; none of
them decides a dose.
"""

import hashlib
import shutil
from collections.abc import Mapping
from pathlib import Path
from queue import Empty, SimpleQueue

from slackwater.errors import InputError
from slackwater.facts.events import AnyEvent, Checkpoint, FilesDiffer, WatchKept
from slackwater.facts.stages import CapsLowered
from slackwater.facts.state import State
from slackwater.outside.approved import machine_from, machine_text, plan_text
from slackwater.outside.settings import read_machine, read_plan
from slackwater.planning.lowering import lower_caps
from slackwater.service.alarming import assess_uptake, summarise, survey
from slackwater.service.glimpsing import glimpse
from slackwater.service.loop import stamp_of, take_news, write
from slackwater.service.metering import METER_S, meter
from slackwater.service.showing import show_all
from slackwater.service.summing import sums_due
from slackwater.service.verifying import VERIFY_S, begin_to_verify, verify_on
from slackwater.service.wiring import Rig

MACHINE_FILE, PLAN_FILE = "slackwater.toml", "plan.toml"
MINUTE_S = 60.0
SHOW_S = 30.0
PROBE_S = 300.0
WATCH_S = 3600.0
AUDIT_AT_UTC = (3, 10)
ASSESS_AT_UTC = (3, 40)


def set_chores(rig: Rig) -> None:
    """Let the alarm remind the loop of every job; the first round is done at once."""
    intervals = {
        "look": MINUTE_S,
        "show": SHOW_S,
        "probe": PROBE_S,
        "watch": WATCH_S,
        "sum": MINUTE_S,
        "glimpse": MINUTE_S,
        "meter": METER_S,
        "verify": VERIFY_S,
    }
    for name, seconds in intervals.items():
        rig.alarm.add_interval(name, seconds, _reminder(rig, name))
    for name, at_utc in (
        ("audit", AUDIT_AT_UTC),
        ("assess", ASSESS_AT_UTC),
        ("summary", rig.summary_at_utc),
    ):
        rig.alarm.add_daily(name, at_utc, _reminder(rig, name))
    # Whoever watches from elsewhere need not wait for the next morning.
    first = () if rig.home is None else ("survey",)
    for name in ("look", *first, "show", "sum", "glimpse", "meter"):
        rig.chores.put(name)
    begin_to_verify(rig)


class _Reminder:
    """Puts one name into the queue and ends the loop's wait."""

    def __init__(self, rig: Rig, name: str) -> None:
        self._rig = rig
        self._name = name

    def __call__(self) -> None:
        self._rig.chores.put(self._name)
        self._rig.mailbox.wake()


def _reminder(rig: Rig, name: str) -> _Reminder:
    return _Reminder(rig, name)


def do_chores(rig: Rig) -> None:
    """All jobs that fell due, each once.

    Raises: the ledger errors; a disk that refuses ends the daemon.
    """
    for name in _waiting(rig.chores):
        _CHORES[name](rig)


def _waiting(chores: "SimpleQueue[str]") -> list[str]:
    names: list[str] = []
    while True:
        try:
            name = chores.get_nowait()
        except Empty:
            return names
        if name not in names:
            names.append(name)


def _look(rig: Rig) -> None:
    """How much disk is left, and whether the files are still the approved ones."""
    rig.sight.free_bytes = shutil.disk_usage(rig.places.state).free
    files = file_hashes(rig.places.config)
    approved = _approved_files(rig.memory.state)
    names = tuple(
        sorted(name for name in approved if files.get(name) != approved[name])
    )
    # What an approval would call the same is the same here.
    same = _same_meaning(rig) if names else set()
    names = tuple(name for name in names if name not in same)
    # Once per change, be it of a file or of what it is compared with: the approved
    # bytes go on, and an entry says so.
    if (files, names) != (rig.files, rig.differ) and _say(rig, names):
        rig.files, rig.differ = files, names


def _same_meaning(rig: Rig) -> set[str]:
    """The files that say what was approved, be it in other bytes."""
    approved = rig.memory.state.approvals[-1]
    same = set()
    try:
        machine = read_machine(rig.places.config)
        if machine_text(machine) == approved.machine:
            same.add(MACHINE_FILE)
        if plan_text(read_plan(rig.places.config, machine)) == approved.plan:
            same.add(PLAN_FILE)
    except InputError:
        # Nobody can say what a file means that cannot be read.
        return same
    return same


def _say(rig: Rig, names: tuple[str, ...]) -> bool:
    """Write that files differ, and which caps count at once because they are lower.

    False when somebody else was first: the next look says it.
    """
    state = rig.memory.state
    found: list[AnyEvent] = []
    if names:
        found.append(FilesDiffer(**stamp_of(rig), names=names))
    caps = _lower(rig, names) if state.approvals else {}
    if caps != state.lowered:
        found.append(CapsLowered(**stamp_of(rig), caps=caps))
    return not found or write(rig, found)


def _lower(rig: Rig, names: tuple[str, ...]) -> Mapping[str, int | float]:
    """Caps of the file below the approved ones; a file nobody can read says nothing."""
    state = rig.memory.state
    if MACHINE_FILE not in names:
        return {}
    try:
        theirs = read_machine(rig.places.config)
    except InputError:
        return state.lowered
    return lower_caps(machine_from(state.approvals[-1].machine), theirs)


def file_hashes(config: Path) -> dict[str, str]:
    """SHA-256 of the two files; one that cannot be read is left out."""
    hashes = {}
    for name in (MACHINE_FILE, PLAN_FILE):
        try:
            hashes[name] = hashlib.sha256((config / name).read_bytes()).hexdigest()
        except OSError:
            continue
    return hashes


def _approved_files(state: State) -> Mapping[str, str]:
    return state.approvals[-1].files if state.approvals else {}


def _probe(rig: Rig) -> None:
    rig.memory.ledger.probe_write()


def _watch(rig: Rig) -> None:
    """While in shadow, prove hourly that the daemon was there; keep the witness."""
    if rig.mode == "shadow":
        write(rig, [WatchKept(**stamp_of(rig))])
    rig.memory.ledger.write_witness()


def _audit(rig: Rig) -> None:
    """A checkpoint a day, so that a start reads a day and not the whole history.

    The rest of the history is read in steps from here on.
    """
    while not write(rig, [Checkpoint(**stamp_of(rig), state=rig.memory.state_text())]):
        take_news(rig)
    rig.memory.ledger.write_witness()
    begin_to_verify(rig)


def _sum(rig: Rig) -> None:
    """A past day each minute until all have their sums; then a look costs nothing."""
    sums = sums_due(rig.memory, rig.setup.machine, rig.clock.now())
    # Where somebody else was first, the next minute decides anew.
    if sums:
        write(rig, sums)


_CHORES = {
    "look": _look,
    "show": show_all,
    "survey": survey,
    "probe": _probe,
    "watch": _watch,
    "audit": _audit,
    "sum": _sum,
    "glimpse": glimpse,
    "meter": meter,
    "verify": verify_on,
    "assess": assess_uptake,
    "summary": summarise,
}
