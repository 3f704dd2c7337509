"""The tank that a person's record is about, and what is known of its water.

Floor 8. One subject: one tank at the command line. Laws here: a tank is named or the
only one, never guessed; what was approved last describes it, else the files; a test is
written down even where neither is at hand.
Units: levels canonical.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

from slackwater.cli.opening import newest_approval
from slackwater.cli.shell import Shell
from slackwater.errors import Finding, InputError
from slackwater.facts.state import State
from slackwater.facts.tank import Machine, Tank
from slackwater.facts.waters import OWN_TESTS_ONLY, MeasurementKept
from slackwater.ledger.measured import all_measured, standing
from slackwater.ledger.store import LedgerFile
from slackwater.outside.settings import read_machine
from slackwater.service.memory import LIVE_NAME

UTC_ZONE = "UTC"
_OPTION = "--tank"
# An older test says nothing of a later day.
LOOKED_BACK = timedelta(days=60)


@dataclass(frozen=True, slots=True, kw_only=True)
class Subject:
    """A tank by its id; `machine` None where nothing describes it."""

    tank: str
    machine: Machine | None = None

    @property
    def zone(self) -> str:
        """The zone of the tank's wall clock; UTC where nobody says."""
        return UTC_ZONE if self.machine is None else self.machine.tanks[self.tank].zone

    @property
    def described(self) -> tuple[Machine, Tank]:
        """The machine and the tank in it.

        Raises: InputError where nothing describes them.
        """
        if self.machine is None:
            raise InputError(_undescribed(self.tank))
        return self.machine, self.machine.tanks[self.tank]


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """The newest level of a parameter; `source` is hand, lab or the probe's id.

    `censored`: nothing was seen, and the level is the limit.
    """

    level: float
    at: datetime
    source: str
    censored: bool = False


def subject_of(shell: Shell, state: State, named: str | None) -> Subject:
    """The tank with this name, or the only one there is.

    Raises: InputError for a name nobody knows, or none where there are several.
    """
    approved = newest_approval(state)
    if approved is not None:
        return _among(approved.machine, named)
    try:
        machine = read_machine(shell.config)
    except InputError:
        if named:
            return Subject(tank=named)
        raise
    return _among(machine, named)


def _among(machine: Machine, named: str | None) -> Subject:
    tanks = sorted(machine.tanks)
    if named is None and len(tanks) == 1:
        return Subject(tank=tanks[0], machine=machine)
    if named in machine.tanks:
        return Subject(tank=str(named), machine=machine)
    raise InputError(_unknown(named, tanks))


def refuse_no_tank(asked: str | None, machine: Machine | None, *more: str) -> None:
    """Refuse a tank of which nobody knows; `more` are names from before, or elsewhere.

    Nothing to list for a tank must not be said of a slip of the hand.
    Raises: InputError.
    """
    known = {*more, *(() if machine is None else machine.tanks)}
    if asked is not None and known and asked not in known:
        raise InputError(_unknown(asked, sorted(known)))


def only_tank(machine: Machine, asked: str | None) -> str:
    """The tank that was named, or the only one there is.

    Raises: InputError for an unknown one, or when several could be meant.
    """
    if asked is not None and asked in machine.tanks:
        return asked
    if asked is None and len(machine.tanks) == 1:
        return next(iter(machine.tanks))
    names = ", ".join(sorted(machine.tanks))
    what = "no tank was named" if asked is None else f"there is no tank {asked!r}"
    raise InputError(
        Finding(
            what=what,
            where="--tank",
            expected=f"one of {names}",
            do="Name one of them.",
        )
    )


def known_levels(state: State, tank: str) -> dict[str, Known]:
    """The newest level of each parameter, by test or probe, in order of names."""
    found = {
        kept.parameter: _known(kept)
        for kept in state.levels.values()
        if kept.tank == tank
    }
    return _with_probes(found, state, tank, None)


def known_levels_by(
    shell: Shell, state: State, tank: str, until: datetime
) -> dict[str, Known]:
    """The newest level of each parameter that was taken by then, in order of names.

    A state keeps the newest tests alone: those before are looked up in the ledger.
    Raises: the ledger errors.
    """
    late = [
        kept
        for kept in state.levels.values()
        if kept.tank == tank and kept.taken_at > until
    ]
    if not late:
        return known_levels(state, tank)
    with LedgerFile.open(shell.state / LIVE_NAME, writable=False) as ledger:
        kept_by_then = list(
            standing(all_measured(ledger, tank, until - LOOKED_BACK, until))
        )
    found: dict[str, MeasurementKept] = {}
    for kept in kept_by_then:
        known = found.get(kept.parameter)
        if known is None or not _is_posted(kept) or _is_posted(known):
            found[kept.parameter] = kept
    levels = {name: _known(kept) for name, kept in found.items()}
    return _with_probes(levels, state, tank, until)


def _is_posted(kept: MeasurementKept) -> bool:
    return kept.provenance == "lab" and kept.parameter in OWN_TESTS_ONLY


def _known(kept: MeasurementKept) -> Known:
    return Known(
        level=kept.value,
        at=kept.taken_at,
        source=kept.provenance,
        censored=kept.censored,
    )


def _with_probes(
    found: dict[str, Known], state: State, tank: str, until: datetime | None
) -> dict[str, Known]:
    for series in state.readings.values():
        taken = [one for one in series if until is None or one.taken_at <= until]
        if not taken:
            continue
        newest = taken[-1]
        known = found.get(newest.parameter)
        if newest.tank == tank and (known is None or known.at < newest.taken_at):
            found[newest.parameter] = Known(
                level=newest.value, at=newest.taken_at, source=newest.probe
            )
    return dict(sorted(found.items()))


def _unknown(named: str | None, tanks: Iterable[str]) -> Finding:
    names = ", ".join(tanks)
    return Finding(
        what="which tank is not said" if named is None else f'no tank is "{named}"',
        where=_OPTION,
        expected=f"one of {names}",
        do=f"Name the tank with {_OPTION}; nothing was written.",
    )


def _undescribed(tank: str) -> Finding:
    return Finding(
        what=f"nothing says how much water {tank} holds",
        where=_OPTION,
        expected="an approved plan, or the machine's file in --config",
        do="Run `slackwater setup`, or name the directory of the file; nothing was "
        "written.",
    )
