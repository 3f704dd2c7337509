"""What a keeper should hear about a plan that is allowed.

Floor 3. One subject: findings that do not refuse. Laws here: a plan with cautions is
a sound plan.
"""

from collections import Counter
from collections.abc import Iterator

from slackwater.errors import Finding
from slackwater.facts.plan import Plan
from slackwater.facts.tank import Machine
from slackwater.planning.amounts import largest_ul
from slackwater.planning.daily import day_totals
from slackwater.planning.faults import place
from slackwater.planning.timetable import Timetable

# After a power-up a node's budget comes free by one of these parts an hour.
BUDGET_PARTS = 24


def cautions(plan: Plan, machine: Machine) -> list[Finding]:
    """What to tell a person before the plan is approved.

    Raises: InputError when a line is at fault in itself.
    """
    timetable = Timetable(plan, machine)
    return [*_empty_reservoirs(timetable), *_slow_budgets(timetable)]


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
                what=f"the plan draws {ul} µL on one day",
                where=f"reservoir {name}",
                expected=f"at most {content_ul} µL, what it holds",
                do="Fill a larger reservoir, or expect refills within the day.",
            )


def _slow_budgets(timetable: Timetable) -> Iterator[Finding]:
    """Lines whose dose a node cannot give within an hour of its power-up."""
    machine = timetable.machine
    for line in timetable.plan.lines:
        node = machine.nodes[machine.pumps[line.pump].node]
        needed_ul = BUDGET_PARTS * largest_ul(line)
        if needed_ul > node.day_limit_ul:
            yield Finding(
                what=f"after a power-up {node.id} takes more than an hour to allow "
                f"a dose of {largest_ul(line)} µL",
                where=place(line),
                expected=f"a day limit of {needed_ul} µL or more",
                do="Give more, smaller doses, or raise the day limit of the node.",
            )
