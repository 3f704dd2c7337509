"""What nodes, reservoirs and old dosers mean for a plan.

Floor 3. One subject: a plan against the hardware beside it. Laws here: a node runs
one dose at a time, and a dose that must wait beyond its latest start is missed for
ever, so a plan that makes it wait so long is refused; cautions do not refuse.
"""

from collections import Counter
from collections.abc import Iterator
from datetime import UTC, date, datetime, time, timedelta

from slackwater.errors import Finding
from slackwater.facts.plan import DueDose, Plan
from slackwater.facts.relays import PULSES_A_DAY
from slackwater.facts.tank import Machine
from slackwater.planning.amounts import largest_ul, run_s
from slackwater.planning.daily import day_totals
from slackwater.planning.days import ONE_DAY, days_together
from slackwater.planning.faults import place
from slackwater.planning.timetable import Timetable, timetable_of
from slackwater.water.show import show_volume

# After a power-up a node's budget comes free by one of these parts an hour.
BUDGET_PARTS = 24


def late_starts(timetable: Timetable) -> Iterator[Finding]:
    """For each node the first dose that would be missed because others run."""
    days = {day for tank in timetable.tanks for day in timetable.checked_days(tank)}
    if len(timetable.tanks) > 1:
        days.update(days_together(timetable.plan))
    seen = set()
    for day in sorted(days):
        for dose in _missed(timetable, day):
            node = timetable.machine.pumps[dose.pump].node
            if node not in seen:
                seen.add(node)
                yield _finding(dose, node)


def cautions(plan: Plan, machine: Machine) -> list[Finding]:
    """What to tell a person before the plan is approved.

    Raises: InputError when a line is at fault in itself.
    """
    timetable = timetable_of(plan, machine)
    return [
        *_empty_reservoirs(timetable),
        *_slow_budgets(timetable),
        *_behind_relays(timetable),
        *_unreplaced(plan, machine),
    ]


def too_many_pulses(plan: Plan, machine: Machine) -> Iterator[Finding]:
    """Pumps behind a timed relay that the plan doses more often than a relay may."""
    counts = Counter[str]()
    for line in plan.lines:
        # An unknown pump is a finding of its own, told beside this one.
        if line.pump in machine.pumps:
            counts[line.pump] += line.count
    for pump, count in sorted(counts.items()):
        node = machine.nodes[machine.pumps[pump].node]
        if node.relay is not None and count > PULSES_A_DAY:
            yield Finding(
                what=f"{count} doses a day of {pump} are pulses of the relay {node.id}",
                where=f"pump {pump}",
                expected=f"at most {PULSES_A_DAY} pulses a day",
                do="Give fewer, larger doses, or drive the pump by a node.",
            )


def _missed(timetable: Timetable, day: date) -> Iterator[DueDose]:
    """Doses that begin too late around a day, whatever the zone it is a day of."""
    midnight = datetime.combine(day, time(), UTC)
    free_at: dict[str, datetime] = {}
    for dose in timetable.between(midnight - ONE_DAY, midnight + 2 * ONE_DAY):
        pump = timetable.machine.pumps[dose.pump]
        starts_at = max(dose.due_at, free_at.get(pump.node, dose.due_at))
        if starts_at > dose.latest_at:
            yield dose
        else:
            run = timedelta(seconds=run_s(pump, dose.volume_ul))
            free_at[pump.node] = starts_at + run


def _finding(dose: DueDose, node: str) -> Finding:
    late_s = int((dose.latest_at - dose.due_at).total_seconds())
    return Finding(
        what=f"{dose.id} would wait more than {late_s} s for other doses of {node}",
        where=f"line {dose.tank}/{dose.line}",
        expected="run times that the node can fit in one after another",
        do="Give fewer doses, set other windows, or drive the pumps by two nodes.",
    )


def _empty_reservoirs(timetable: Timetable) -> Iterator[Finding]:
    """Reservoirs that hold less than is drawn from them on one local day."""
    machine = timetable.machine
    drawn_ul = Counter[str]()
    for tank in timetable.tanks:
        highest = Counter[str]()
        for local_day in timetable.checked_days(tank):
            for pump, ul in day_totals(timetable, tank, local_day).volumes_ul.items():
                highest[pump] = max(highest[pump], ul)
        for pump, ul in highest.items():
            drawn_ul[machine.pumps[pump].reservoir] += ul
    for name, ul in sorted(drawn_ul.items()):
        content_ul = machine.reservoirs[name].content_ul
        if ul > content_ul:
            yield Finding(
                what=f"the plan draws {show_volume(ul)} on one day",
                where=f"reservoir {name}",
                expected=f"at most {show_volume(content_ul)}, what it holds",
                do="Fill a larger reservoir, or expect refills within the day.",
            )


def _slow_budgets(timetable: Timetable) -> Iterator[Finding]:
    """Lines whose dose a node cannot give within an hour of its power-up."""
    machine = timetable.machine
    for line in timetable.plan.lines:
        node = machine.nodes[machine.pumps[line.pump].node]
        needed_ul = BUDGET_PARTS * largest_ul(line)
        if node.relay is None and needed_ul > node.day_limit_ul:
            yield Finding(
                what=f"after a power-up {node.id} takes more than an hour to allow "
                f"a dose of {show_volume(largest_ul(line))}",
                where=place(line),
                expected=f"a day limit of {show_volume(needed_ul)} or more",
                do="Give more, smaller doses, or raise the day limit of the node.",
            )


def _unreplaced(plan: Plan, machine: Machine) -> Iterator[Finding]:
    """Old dosers whose line no plan knows: nobody could ever take it over."""
    for source in machine.outside:
        if source.replaced_by and source.replaced_by not in plan.names:
            yield Finding(
                what=f"no line of the plan is {source.replaced_by}, so this old doser "
                "counts every day and cannot be taken over",
                where=f"outside {source.id}",
                expected=f"a line {source.line} for {source.tank} in the plan",
                do="Mend the name, add the line, or take the source out once the old "
                "doser is off.",
            )


def _behind_relays(timetable: Timetable) -> Iterator[Finding]:
    """Pumps dosed with reduced assurance, and what that means for their caps."""
    machine = timetable.machine
    for name in sorted({line.pump for line in timetable.plan.lines}):
        node = machine.nodes[machine.pumps[name].node]
        if node.relay is not None:
            yield Finding(
                what=f"{name} hangs on the timed relay {node.id}: reduced assurance",
                where=f"pump {name}",
                expected="a pump node, which counts and refuses by itself",
                do="Its caps of a dose and a day count half of what is stated, for two "
                f"executions. Try it out: slackwater check-relay {node.id}",
            )
