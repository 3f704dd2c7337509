"""Newest tests above their bound, beside a plan that would raise them.

Floor 8. One subject: a warning that is read before anybody consents. Laws here: what an
assessment finds is told, never a second reckoning; only what the plan adds is named.
"""

from slackwater.assessment.excess import excess_words
from slackwater.assessment.practice import ALKALINITY
from slackwater.assessment.records import Assessment, Standing
from slackwater.cli.opening import Opened
from slackwater.facts.plan import Plan
from slackwater.facts.tank import Machine
from slackwater.service.assessing import LookBack, assessed


def too_high(found: Assessment, machine: Machine) -> dict[str, str]:
    """A sentence for each parameter of a tank that was tested above its bound."""
    return {
        name: f"{found.tank}: {told}{_held(one, machine, found.tank)}."
        for name, one in sorted(found.standings.items())
        if (told := excess_words(one))
    }


def raised_by(plan: Plan, machine: Machine, tank: str) -> frozenset[str]:
    """The parameters that the lines of a plan add to one tank."""
    return frozenset(
        name
        for line in plan.lines
        if line.tank == tank
        for name in machine.solutions[line.solution].effects
    )


def high_tests(found: Opened, plan: Plan, machine: Machine) -> list[str]:
    """A warning for each newest test above its bound of what a plan adds.

    Raises: LedgerDamagedError, LedgerBusyError, LedgerStorageError.
    """
    at, look = found.now.utc, LookBack.of(found.state)
    return [
        told
        for tank in sorted(machine.tanks)
        for name, told in too_high(
            assessed(found.ledger, machine, tank, at, look), machine
        ).items()
        if name in raised_by(plan, machine, tank)
    ]


def _held(one: Standing, machine: Machine, tank: str) -> str:
    """That the gate holds it too, as it does for alkalinity above the ceiling."""
    guard = machine.guards.get(tank)
    if one.parameter != ALKALINITY or guard is None or one.above is None:
        return ""
    held = "; the daemon holds what raises it meanwhile"
    return held if one.above > guard.ceiling else ""
