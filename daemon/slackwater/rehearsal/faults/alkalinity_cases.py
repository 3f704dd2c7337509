"""Faults of alkalinity probes, and true swings of what they measure.

Floor 6. One subject: group G of the hazards for alkalinity, as scripts. Laws here: a
tank without a probe is not tried with a probe's faults, and that is said.
"""

from dataclasses import replace
from functools import partial
from math import inf

from slackwater.facts.limits import limits_of
from slackwater.facts.messages import Reading, SpoiledReading
from slackwater.facts.reasons import Code
from slackwater.facts.tank import Machine, Probe
from slackwater.gate.alkalinity import STALE_PERIODS
from slackwater.rehearsal.faults.case import Case, Target, Unfit
from slackwater.rehearsal.faults.distorting import (
    distort,
    distorted,
    frozen,
    moves,
    probes_of,
    silent,
    too_slow,
)
from slackwater.rehearsal.faults.hand_tests import tested
from slackwater.rehearsal.faults.house import SECOND_MS, Distort, House
from slackwater.rehearsal.virtual_tank import ALKALINITY

# A climb of 2 dKH in an hour, as fast as any accident with a bottle.
SWING_MEQ_PER_L_PER_HOUR = 0.7133
# A fall ends after 3 dKH: no water has less than nothing.
FALLS_AT_MOST_MEQ_PER_L = 1.0700
APART_MEQ_PER_L = 0.3567
# Half of the pairs being equal by chance, so many in a row are frozen.
FROZEN_READINGS = 11


def one_probe(machine: Machine, target: Target) -> str:
    """Why a tank cannot be tried with a fault that its probe tells at once."""
    tank = target.tank
    if probes_of(machine, tank, ALKALINITY) and tank in machine.guards:
        return ""
    return f"{tank} has no alkalinity probe: nothing would notice"


def spoken_to(periods: float) -> Unfit:
    """Why a day is not enough for a fault that so many readings in a row must tell."""

    def why(machine: Machine, target: Target) -> str:
        slow = too_slow(machine, target.tank, ALKALINITY, periods)
        return one_probe(machine, target) or slow

    return why


def two_probes(machine: Machine, target: Target) -> str:
    """Why a tank cannot be tried with two probes that disagree."""
    if len(probes_of(machine, target.tank, ALKALINITY)) > 1:
        return spoken_to(1)(machine, target)
    return f"{target.tank} has no second alkalinity probe"


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


def _disagree(house: House, target: Target) -> None:
    first = probes_of(house.machine, target.tank, ALKALINITY)[0]
    spread = house.machine.guards[target.tank].spread

    def show(reading: Reading) -> Reading:
        return replace(reading, value=reading.value - spread - APART_MEQ_PER_L)

    house.at(target.before_ms, lambda: house.distort.update({first.id: show}))


def _spoiled(house: House, target: Target) -> None:
    """Readings in a unit nobody configured: the rim refuses them all."""
    at_ms = target.before_ms
    house.at(at_ms, lambda: distort(house, target, ALKALINITY, silent))
    for probe in probes_of(house.machine, target.tank, ALKALINITY):
        told = SpoiledReading(tank=target.tank, probe=probe.id, why="another unit")
        house.at(at_ms, partial(house.wire.to_daemon, told, at_ms))


def _contradicted(house: House, target: Target) -> None:
    """A hand test beside the newest readings says much less than they do."""
    house.at(target.before_ms, lambda: _test_beside(house, target))


def _test_beside(house: House, target: Target) -> None:
    probes = probes_of(house.machine, target.tank, ALKALINITY)
    kept = [
        house.state.readings[p.id][-1] for p in probes if p.id in house.state.readings
    ]
    limits = limits_of(house.machine.limits, target.tank)
    apart = (limits.against_test(ALKALINITY) or 0.0) + APART_MEQ_PER_L
    beside = max(kept, key=lambda reading: reading.taken_at)
    least = min(reading.value for reading in kept)
    house.append([tested(house, target, value=least - apart, taken_at=beside.taken_at)])


def _never_heard(house: House, target: Target) -> None:
    """The daemon starts anew and has never heard this probe."""
    house.at(target.before_ms, lambda: _forget_probes(house, target))


def _forget_probes(house: House, target: Target) -> None:
    distort(house, target, ALKALINITY, silent)
    for probe in probes_of(house.machine, target.tank, ALKALINITY):
        house.state.readings.pop(probe.id, None)
    house.die(SECOND_MS)


ALKALINITY_CASES: tuple[Case, ...] = (
    Case(
        id="probe-silent",
        group="G",
        hazards=("H48",),
        title="The alkalinity probe falls silent",
        strike=distorted(ALKALINITY, silent),
        expects=frozenset({Code.ALKALINITY_STALE}),
        about=("alkalinity probe", "stale"),
        unfit=spoken_to(STALE_PERIODS),
    ),
    Case(
        id="probe-never-heard",
        group="G",
        hazards=("H48",),
        title="The daemon starts and hears no alkalinity probe",
        strike=_never_heard,
        expects=frozenset({Code.ALKALINITY_MISSING}),
        about=("alkalinity probe", "missing"),
        unfit=one_probe,
    ),
    Case(
        id="probe-frozen",
        group="G",
        hazards=("H49",),
        title="The alkalinity probe repeats one value",
        strike=distorted(ALKALINITY, frozen),
        expects=frozenset({Code.ALKALINITY_FROZEN}),
        about=("alkalinity probe", "frozen"),
        unfit=spoken_to(FROZEN_READINGS),
    ),
    Case(
        id="probe-spike",
        group="G",
        hazards=("H50",),
        title="One reading above the ceiling",
        strike=distorted(ALKALINITY, _spike),
        expects=frozenset({Code.ALKALINITY_CEILING}),
        about=("alkalinity probe", "spike"),
        unfit=spoken_to(1),
    ),
    Case(
        id="water-climbs",
        group="G",
        hazards=("H51",),
        title="Alkalinity climbs by 2 dKH an hour",
        strike=distorted(ALKALINITY, moves(SWING_MEQ_PER_L_PER_HOUR, inf)),
        expects=frozenset({Code.ALKALINITY_CLIMB, Code.ALKALINITY_CEILING}),
        about=("alkalinity probe", "step"),
        unfit=spoken_to(1),
    ),
    Case(
        id="water-falls",
        group="G",
        hazards=("H51",),
        title="Alkalinity falls by half a dKH an hour",
        strike=distorted(
            ALKALINITY, moves(-SWING_MEQ_PER_L_PER_HOUR / 4, FALLS_AT_MOST_MEQ_PER_L)
        ),
        expects=frozenset({Code.ALKALINITY_FALL, Code.ALKALINITY_LOW}),
        about=("alkalinity probe", "fall"),
        unfit=spoken_to(1),
    ),
    Case(
        id="probe-other-unit",
        group="G",
        hazards=("H53",),
        title="The alkalinity probe speaks in another unit",
        strike=_spoiled,
        expects=frozenset({Code.PROBE_REFUSED, Code.ALKALINITY_STALE}),
        about=("alkalinity probe", "another unit"),
        unfit=one_probe,
    ),
    Case(
        id="test-contradicts",
        group="G",
        hazards=("H52",),
        title="A hand test contradicts the alkalinity probe",
        strike=_contradicted,
        expects=frozenset({Code.PROBE_AGAINST_TEST}),
        about=("alkalinity probe", "against a hand test"),
        unfit=spoken_to(1),
    ),
    Case(
        id="probes-disagree",
        group="G",
        hazards=("H54",),
        title="Two alkalinity probes disagree",
        strike=_disagree,
        expects=frozenset({Code.ALKALINITY_SPREAD}),
        about=("alkalinity probe", "disagree"),
        unfit=two_probes,
    ),
)
