"""Faults that switches of a tank tell of, and their silence.

Floor 6. One subject: floats, leak detectors and buttons as scripts. Laws here: a tank
without a switch is not tried with one, and that is said.
"""

from slackwater.facts.limits import Role
from slackwater.facts.reasons import Code
from slackwater.facts.tank import Machine
from slackwater.gate.switches import ROLES
from slackwater.rehearsal.faults.case import Case, Target
from slackwater.rehearsal.faults.house import HOUR_MS, MINUTE_MS, House

DAY_S = 86_400.0
# What stops everything that goes into the water.
WATER: frozenset[Role] = frozenset(
    role for role, (scope, _code) in ROLES.items() if scope == "water"
)


def _names(machine: Machine, tank: str) -> frozenset[str]:
    return frozenset(
        switch.id
        for switch in machine.switches.values()
        if switch.tank == tank and switch.role in WATER
    )


def no_switch(machine: Machine, target: Target) -> str:
    """Why a tank cannot be tried with a switch."""
    if _names(machine, target.tank):
        return ""
    return f"{target.tank} has no switch for return pump, level, leak, feeding or hands"


def soon_missed(machine: Machine, target: Target) -> str:
    """Why a day is not enough to miss a switch: buttons speak only when pressed."""
    names = _names(machine, target.tank)
    silences_s = [machine.switches[name].silent_s for name in names]
    if silences_s and min(silences_s) > DAY_S:
        return f"no switch of {target.tank} is missed within a day of silence"
    return no_switch(machine, target)


def _trips(house: House, target: Target) -> None:
    names = _names(house.machine, target.tank)
    house.at(target.before_ms, lambda: _show(house, names))
    house.at(target.before_ms + 2 * HOUR_MS, lambda: _show(house, frozenset()))


def _falls_silent(house: House, target: Target) -> None:
    house.at(target.before_ms, lambda: _show(house, None))


def _show(house: House, names: frozenset[str] | None) -> None:
    house.switched = names
    house.look_closely(3 * MINUTE_MS)


SWITCH_CASES: tuple[Case, ...] = (
    Case(
        id="switch-trips",
        group="G",
        hazards=("H22", "H46"),
        title="Every switch of the tank says that something is wrong, for two hours",
        strike=_trips,
        expects=frozenset(ROLES[role][1] for role in WATER),
        about=("switch", "wrong"),
        unfit=no_switch,
    ),
    Case(
        id="switch-silent",
        group="G",
        hazards=("H48",),
        title="The switches of the tank fall silent",
        strike=_falls_silent,
        expects=frozenset({Code.SWITCH_UNKNOWN, Code.RETURN_UNKNOWN}),
        about=("switch", "stale"),
        unfit=soon_missed,
    ),
)
