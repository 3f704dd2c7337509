"""Faults of probes and water, of people, and several at once.

Floor 6. One subject: groups G and H of the hazards and the bursts, as scripts. Laws
here: a tank without a probe is not tried with a probe's faults, and that is said.
"""

from collections.abc import Callable
from dataclasses import replace
from functools import partial

from slackwater.facts.events import HoldRaised, HoldReleased
from slackwater.facts.messages import Reading, Request, SpoiledReading
from slackwater.facts.reasons import Code, because
from slackwater.facts.tank import Machine, Probe
from slackwater.rehearsal.faults.box_cases import disk_fills, put_back
from slackwater.rehearsal.faults.case import Case, Strike, Target
from slackwater.rehearsal.faults.house import (
    HOUR_MS,
    MINUTE_MS,
    SECOND_MS,
    Distort,
    House,
)
from slackwater.rehearsal.faults.node_cases import (
    BEFORE_MS,
    DAY_MS,
    broker_away,
    deaf,
    doubled,
    gives,
    held_at_device,
    reboots_in_run,
)

ALKALINITY = "alkalinity"
# A climb of 2 dKH in an hour, as fast as any accident with a bottle.
SWING_MEQ_PER_L_PER_HOUR = 0.7133
APART_MEQ_PER_L = 0.3567
# Half of the pairs being equal by chance, so many in a row are frozen.
FROZEN_READINGS = 11
MANUAL = "manual/rehearsal"


def _probes(machine: Machine, tank: str) -> list[Probe]:
    return [
        probe
        for _, probe in sorted(machine.probes.items())
        if (probe.tank, probe.parameter) == (tank, ALKALINITY)
    ]


def one_probe(machine: Machine, tank: str) -> str:
    """Why a tank cannot be tried with a fault of its probe."""
    if _probes(machine, tank) and tank in machine.guards:
        return ""
    return f"{tank} has no alkalinity probe: nothing would notice"


def two_probes(machine: Machine, tank: str) -> str:
    """Why a tank cannot be tried with two probes that disagree."""
    if len(_probes(machine, tank)) > 1:
        return ""
    return f"{tank} has no second alkalinity probe"


def soon_frozen(machine: Machine, tank: str) -> str:
    """Why a day is not enough to see that a probe is frozen."""
    slowest_s = max((one.period_s for one in _probes(machine, tank)), default=0.0)
    if FROZEN_READINGS * slowest_s > DAY_MS / SECOND_MS:
        return "the slowest probe needs more than a day to be seen frozen"
    return one_probe(machine, tank)


def _distorted(make: Callable[[House, Target, Probe], Distort]) -> Strike:
    """A strike that lets every alkalinity probe of the tank show something else."""
    return partial(_distort_at_due, make)


def _distort_at_due(
    make: Callable[[House, Target, Probe], Distort], house: House, target: Target
) -> None:
    house.at(target.due_ms - BEFORE_MS, lambda: _distort(make, house, target))


def _distort(
    make: Callable[[House, Target, Probe], Distort], house: House, target: Target
) -> None:
    for probe in _probes(house.machine, target.tank):
        house.distort[probe.id] = make(house, target, probe)


def _silent(_house: House, _target: Target, _probe: Probe) -> Distort:
    return lambda _reading: None


def _frozen(house: House, _target: Target, probe: Probe) -> Distort:
    kept = house.sight.readings.get(probe.id)
    stands = kept[-1].value if kept else None
    return lambda reading: replace(
        reading, value=reading.value if stands is None else stands
    )


def _spike(house: House, target: Target, probe: Probe) -> Distort:
    """One reading far above the ceiling, then the truth again."""
    ceiling = house.machine.guards[target.tank].ceiling
    done: list[Reading] = []

    def show(reading: Reading) -> Reading:
        if done and reading.at > done[0].at:
            return reading
        done.append(reading)
        return replace(reading, value=ceiling + probe.resolution + APART_MEQ_PER_L)

    return show


def _swing(house: House, _target: Target, _probe: Probe) -> Distort:
    began = house.times.true_utc()

    def show(reading: Reading) -> Reading:
        hours = (reading.at - began).total_seconds() / 3600
        rise = max(hours, 0.0) * SWING_MEQ_PER_L_PER_HOUR
        return replace(reading, value=reading.value + rise)

    return show


def _fall(house: House, _target: Target, _probe: Probe) -> Distort:
    began = house.times.true_utc()

    def show(reading: Reading) -> Reading:
        hours = (reading.at - began).total_seconds() / 3600
        fall = min(max(hours, 0.0) * SWING_MEQ_PER_L_PER_HOUR / 4, reading.value / 2)
        return replace(reading, value=reading.value - fall)

    return show


def _disagree(house: House, target: Target) -> None:
    first = _probes(house.machine, target.tank)[0]
    spread = house.machine.guards[target.tank].spread

    def show(reading: Reading) -> Reading:
        return replace(reading, value=reading.value - spread - APART_MEQ_PER_L)

    house.at(target.due_ms - BEFORE_MS, lambda: house.distort.update({first.id: show}))


def _spoiled(house: House, target: Target) -> None:
    """Readings in a unit nobody configured: the rim refuses them all."""
    at_ms = target.due_ms - BEFORE_MS
    house.at(at_ms, lambda: _distort(_silent, house, target))
    for probe in _probes(house.machine, target.tank):
        told = SpoiledReading(tank=target.tank, probe=probe.id, why="another unit")
        house.at(at_ms, partial(house.wire.to_daemon, told, at_ms))


def _never_heard(house: House, target: Target) -> None:
    """The daemon starts anew and has never heard this probe."""
    house.at(target.due_ms - BEFORE_MS, lambda: _forget_probes(house, target))


def _forget_probes(house: House, target: Target) -> None:
    _distort(_silent, house, target)
    for probe in _probes(house.machine, target.tank):
        house.state.readings.pop(probe.id, None)
    house.die(SECOND_MS)


def _held_by_hand(house: House, target: Target) -> None:
    house.at(target.due_ms - BEFORE_MS, lambda: _hold(house))
    house.at(target.due_ms - BEFORE_MS + 6 * HOUR_MS, lambda: _release(house))


def _hold(house: House) -> None:
    held = HoldRaised(
        **house.stamp(),
        hold_id=MANUAL,
        scope="all",
        reason=because(Code.MANUAL_HOLD),
        latched=True,
        by="keeper",
    )
    house.append([held])


def _release(house: House) -> None:
    house.append([HoldReleased(**house.stamp(), hold_id=MANUAL, by="keeper")])
    house.look_closely(MINUTE_MS)


def _paused(house: House, target: Target) -> None:
    at_ms = target.due_ms - BEFORE_MS
    asked = Request(tank=target.tank, id="rehearsal", act="pause", minutes=60)
    house.at(at_ms, lambda: house.wire.to_daemon(asked, at_ms))


def _together(*strikes: Strike) -> Strike:
    return partial(_all_of, strikes)


def _all_of(strikes: tuple[Strike, ...], house: House, target: Target) -> None:
    for strike in strikes:
        strike(house, target)


def _nothing(_house: House, _target: Target) -> None:
    """Change nothing: the calendar alone is tried."""


PROBE_CASES: tuple[Case, ...] = (
    Case(
        id="probe-silent",
        group="G",
        hazards=("H48",),
        title="The alkalinity probe falls silent",
        strike=_distorted(_silent),
        expects=frozenset({Code.ALKALINITY_STALE}),
        about=("probe", "stale"),
        unfit=one_probe,
    ),
    Case(
        id="probe-never-heard",
        group="G",
        hazards=("H48",),
        title="The daemon starts and hears no alkalinity probe",
        strike=_never_heard,
        expects=frozenset({Code.ALKALINITY_MISSING}),
        about=("probe", "missing"),
        unfit=one_probe,
    ),
    Case(
        id="probe-frozen",
        group="G",
        hazards=("H49",),
        title="The alkalinity probe repeats one value",
        strike=_distorted(_frozen),
        expects=frozenset({Code.ALKALINITY_FROZEN}),
        about=("probe", "frozen"),
        unfit=soon_frozen,
    ),
    Case(
        id="probe-spike",
        group="G",
        hazards=("H50",),
        title="One reading above the ceiling",
        strike=_distorted(_spike),
        expects=frozenset({Code.ALKALINITY_CEILING}),
        about=("probe", "spike"),
        unfit=one_probe,
    ),
    Case(
        id="water-climbs",
        group="G",
        hazards=("H51",),
        title="Alkalinity climbs by 2 dKH an hour",
        strike=_distorted(_swing),
        expects=frozenset({Code.ALKALINITY_CLIMB, Code.ALKALINITY_CEILING}),
        about=("probe", "step"),
        unfit=one_probe,
    ),
    Case(
        id="water-falls",
        group="G",
        hazards=("H51",),
        title="Alkalinity falls by half a dKH an hour",
        strike=_distorted(_fall),
        expects=frozenset({Code.ALKALINITY_FALL, Code.ALKALINITY_LOW}),
        about=("probe", "fall"),
        unfit=one_probe,
    ),
    Case(
        id="probe-other-unit",
        group="G",
        hazards=("H53",),
        title="The alkalinity probe speaks in another unit",
        strike=_spoiled,
        expects=frozenset({Code.PROBE_REFUSED, Code.ALKALINITY_STALE}),
        about=("probe", "another unit"),
        unfit=one_probe,
    ),
    Case(
        id="probes-disagree",
        group="G",
        hazards=("H54",),
        title="Two alkalinity probes disagree",
        strike=_disagree,
        expects=frozenset({Code.ALKALINITY_SPREAD}),
        about=("probe", "disagree"),
        unfit=two_probes,
    ),
)

PEOPLE_CASES: tuple[Case, ...] = (
    Case(
        id="held-by-hand",
        group="H",
        hazards=("H59",),
        title="A person holds everything for six hours and releases it",
        strike=_held_by_hand,
        expects=frozenset({Code.MANUAL_HOLD}),
        about=("person", "hold"),
    ),
    Case(
        id="paused-from-afar",
        group="H",
        hazards=("H59",),
        title="Somebody pauses the tank for an hour from afar",
        strike=_paused,
        expects=frozenset({Code.PAUSE}),
        about=("person", "pause"),
    ),
)

CLOCK_CASES: tuple[Case, ...] = (
    Case(
        id="clock-change-forward",
        group="E",
        hazards=("H36",),
        title="The clocks go forward for summer",
        strike=_nothing,
        begins_s=-6 * 3600.0,
        day="forward",
    ),
    Case(
        id="clock-change-back",
        group="E",
        hazards=("H36",),
        title="The clocks go back for winter",
        strike=_nothing,
        begins_s=-6 * 3600.0,
        day="back",
    ),
)

BURSTS: tuple[Case, ...] = (
    Case(
        id="burst-network",
        group="burst",
        hazards=("H02", "H10", "H23"),
        title="Broker gone, daemon killed after writing, node without power",
        strike=_together(
            broker_away(20 * MINUTE_MS),
            lambda house, target: house.at(
                target.due_ms, lambda: house.die(30 * SECOND_MS)
            ),
            reboots_in_run,
        ),
        expects=frozenset({Code.LINK_DOWN, Code.NODE_SETTLING, Code.NODE_ABSENT}),
    ),
    Case(
        id="burst-time",
        group="burst",
        hazards=("H11", "H18", "H38"),
        title="Clock put back, every result lost, each command doubled",
        strike=_together(put_back, deaf("result", DAY_MS), doubled),
        expects=frozenset({Code.CLOCK_JUMPED, Code.CLOCK_BEHIND}),
    ),
    Case(
        id="burst-device",
        group="burst",
        hazards=("H17", "H20", "H30"),
        title="Too much delivered, held at the device, disk full",
        strike=_together(
            gives(1.5),
            held_at_device,
            lambda house, target: house.at(
                target.due_ms + MINUTE_MS, lambda: disk_fills(house)
            ),
        ),
        expects=frozenset({Code.NODE_HELD, Code.OVER_DELIVERED, Code.LEDGER_FULL}),
        begins_s=0.0,
    ),
)
