"""What a house gave in all: totals of 24 h, and whether anything was carried over.

Floor 6. One subject: the balance after a fault. Laws here: what flowed is taken from
the nodes and what was charged from the entries, and neither stands for the other.
Units: microlitres, milliseconds of true time.
"""

from collections import Counter
from collections.abc import Iterable, Iterator
from datetime import date

from slackwater.facts.events import ChargeRaised, DoseEnded, DoseIntended, DoseVoided
from slackwater.rehearsal.faults.case import Highest
from slackwater.rehearsal.faults.house import House
from slackwater.water.show import show_volume

DAY_MS = 86_400_000
# By so much a window of truly flowed volume may pass what was charged (a tenth).
SLACK_TENTHS = 11


def highest(house: House) -> Highest:
    """The pump whose charges of any 24 h come nearest its cap."""
    charged = {pump: _most_in_a_day(of) for pump, of in _charges(house).items()}
    flowed = {pump: _most_in_a_day(of) for pump, of in _flows(house).items()}
    pumps = house.machine.pumps
    found = [
        Highest(
            pump=name,
            charged_ul=charged.get(name, 0),
            flowed_ul=flowed.get(name, 0),
            cap_ul=pump.per_day_ul,
        )
        for name, pump in sorted(pumps.items())
        if pump.per_day_ul
    ]
    return max(found, key=lambda one: one.charged_ul / one.cap_ul)


def over_caps(house: House) -> Iterator[str]:
    """Pumps that passed their cap of 24 h, or gave much more than was charged."""
    charged, flowed = _charges(house), _flows(house)
    for name, pump in sorted(house.machine.pumps.items()):
        intended_ul = _most_in_a_day(_intended(house).get(name, []))
        if intended_ul > pump.per_day_ul:
            cap = show_volume(pump.per_day_ul)
            yield f"{name}: {show_volume(intended_ul)} in 24 h, cap {cap}"
        most_ul = _most_in_a_day(flowed.get(name, []))
        counted_ul = _most_in_a_day(charged.get(name, []))
        if most_ul * 10 > counted_ul * SLACK_TENTHS + 10 * pump.per_dose_ul:
            most, counted = show_volume(most_ul), show_volume(counted_ul)
            yield f"{name}: {most} flowed in 24 h, {counted} charged"


def carried(house: House) -> Iterator[str]:
    """Whatever was given twice, too late, or more than its plan had for the day."""
    intents = [
        noted.event for noted in house.entries if isinstance(noted.event, DoseIntended)
    ]
    runs = Counter(flow.attempt for node in house.nodes.values() for flow in node.flows)
    yield from (f"{one} ran {times} times" for one, times in runs.items() if times > 1)
    doses = Counter(one.dose.id for one in intents)
    yield from (f"{one} was given {n} times" for one, n in doses.items() if n > 1)
    given, planned = Counter[tuple[str, date]](), Counter[tuple[str, date]]()
    for one in intents:
        dose = one.dose
        if not dose.due_at <= one.at <= dose.latest_at:
            yield f"{dose.id} began outside its time"
        if one.command.ul > dose.volume_ul:
            yield f"{dose.id} gave more than its plan"
        given[f"{dose.tank}/{dose.line}", dose.local_day] += one.command.ul
    for line, day in given:
        tank, _, name = line.partition("/")
        for force in house.setup.forces[-1:]:
            planned[line, day] = sum(
                dose.volume_ul
                for dose in force.timetable.day(tank, day).doses
                if dose.line == name
            )
        if given[line, day] > planned[line, day]:
            yield f"{line} gave more on {day} than its plan"


def _intended(house: House) -> dict[str, list[tuple[int, int]]]:
    """What was asked for, by pump, less what is proven never to have run."""
    voided = {
        noted.event.attempt
        for noted in house.entries
        if isinstance(noted.event, DoseVoided)
    }
    found: dict[str, list[tuple[int, int]]] = {}
    for noted in house.entries:
        event = noted.event
        if isinstance(event, DoseIntended) and event.command.attempt not in voided:
            found.setdefault(event.dose.pump, []).append((noted.t_ms, event.command.ul))
    return found


def _charges(house: House) -> dict[str, list[tuple[int, int]]]:
    """The same with what reports added to it."""
    found = _intended(house)
    asked = {
        noted.event.command.attempt: noted.event
        for noted in house.entries
        if isinstance(noted.event, DoseIntended)
    }
    for noted in house.entries:
        event = noted.event
        if isinstance(event, (DoseEnded, ChargeRaised)) and event.attempt in asked:
            intent = asked[event.attempt]
            more_ul = event.charge_ul - intent.command.ul
            if more_ul > 0:
                found[intent.dose.pump].append((noted.t_ms, more_ul))
    return {pump: sorted(entries) for pump, entries in found.items()}


def _flows(house: House) -> dict[str, list[tuple[int, int]]]:
    """What truly flowed, by pump."""
    found: dict[str, list[tuple[int, int]]] = {}
    for node in house.nodes.values():
        for flow in node.flows:
            found.setdefault(flow.pump, []).append((flow.began_ms, flow.volume_ul))
    return {pump: sorted(entries) for pump, entries in found.items()}


def _most_in_a_day(entries: Iterable[tuple[int, int]]) -> int:
    """The largest sum within any 24 h; entries in order of time."""
    window: list[tuple[int, int]] = []
    most = total = 0
    for at_ms, amount in entries:
        window.append((at_ms, amount))
        total += amount
        while window[0][0] <= at_ms - DAY_MS:
            total -= window.pop(0)[1]
        most = max(most, total)
    return most
