"""The tank that a person's record is about, and what is known of its water.

Floor 8. One subject: one tank at the command line. Laws here: a tank is named or the
only one, never guessed; what was approved last describes it, else the files; a test is
written down even where neither is at hand.
Units: levels canonical.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from slackwater.cli.opening import newest_approval
from slackwater.cli.shell import Shell
from slackwater.errors import Finding, InputError
from slackwater.facts.state import State
from slackwater.facts.tank import Machine, Tank
from slackwater.outside.settings import read_machine

UTC_ZONE = "UTC"
_OPTION = "--tank"


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


def known_levels(
    state: State, tank: str, until: datetime | None = None
) -> dict[str, Known]:
    """The newest level of each parameter, by test or probe, in order of names.

    With `until` only what was taken by then, of the last two tests that are kept.
    """
    found: dict[str, Known] = {}
    for kept in (*state.levels_before.values(), *state.levels.values()):
        if kept.tank == tank and (until is None or kept.taken_at <= until):
            found[kept.parameter] = Known(
                level=kept.value,
                at=kept.taken_at,
                source=kept.provenance,
                censored=kept.censored,
            )
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
