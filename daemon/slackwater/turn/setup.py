"""What a turn is set up with, and what it gives back.

Floor 4. One subject: the records around one step. Laws here: no field says how the
daemon runs; what differs between live, shadow and rehearsal lies outside.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from types import MappingProxyType

from slackwater.facts.events import AnyEvent
from slackwater.facts.messages import Effect
from slackwater.facts.plan import Approval, Plan
from slackwater.facts.tank import Machine
from slackwater.gate.moment import Rules, rules_for
from slackwater.planning.timetable import Timetable, timetable_of


@dataclass(frozen=True, slots=True, kw_only=True)
class Force:
    """One approved plan: its doses count from when it takes over.

    `machine` is the one it was approved with: it takes over, and goes, with the plan.
    """

    approval: Approval
    plan: Plan
    machine: Machine
    timetable: Timetable
    rules: Rules


@dataclass(frozen=True, slots=True, kw_only=True)
class Setup:
    """The newest machine and the approved plans in order of taking over.

    `bare` are the rules that hold while no plan is in force.
    """

    machine: Machine
    forces: tuple[Force, ...] = ()
    bare: Rules = field(default_factory=lambda: Rules(pumps={}, lines={}))


@dataclass(frozen=True, slots=True, kw_only=True)
class Turn:
    """What one step wants: entries first, then effects, then a wake-up.

    `scanned_until`: every dose due up to here is decided; the shell hands it back
    in the next inbox. `unfinished` says that more doses were due than one step looks
    at: the shell says that it lives, and comes back at once.
    """

    events: tuple[AnyEvent, ...] = ()
    effects: tuple[Effect, ...] = ()
    wake_at: datetime | None = None
    scanned_until: datetime | None = None
    unfinished: bool = False


def make_setup(
    machine: Machine,
    approved: Mapping[int, tuple[Approval, Plan]],
    machines: Mapping[int, Machine] = MappingProxyType({}),
) -> Setup:
    """Prepare approved plans, keyed by serial, for turns.

    `machines` holds those that were approved with another machine than the newest. A
    later approval takes the place of every earlier one that would begin after it.
    """
    forces: list[Force] = []
    for serial, (approval, plan) in sorted(approved.items()):
        while forces and forces[-1].approval.takes_over_at >= approval.takes_over_at:
            forces.pop()
        forces.append(_force(approval, plan, machines.get(serial, machine)))
    return Setup(machine=machine, forces=tuple(forces), bare=rules_for(machine, None))


def _force(approval: Approval, plan: Plan, machine: Machine) -> Force:
    return Force(
        approval=approval,
        plan=plan,
        machine=machine,
        timetable=timetable_of(plan, machine),
        rules=rules_for(machine, plan),
    )
