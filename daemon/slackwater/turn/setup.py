"""What a turn is set up with, and what it gives back.

Floor 4. One subject: the records around one step. Laws here: no field says how the
daemon runs; what differs between live, shadow and rehearsal lies outside.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime

from slackwater.facts.events import AnyEvent
from slackwater.facts.messages import Effect
from slackwater.facts.plan import Approval, Plan
from slackwater.facts.tank import Machine
from slackwater.gate.moment import Rules, rules_for
from slackwater.planning.timetable import Timetable


@dataclass(frozen=True, slots=True, kw_only=True)
class Force:
    """One approved plan: its doses count from when it takes over."""

    approval: Approval
    plan: Plan
    timetable: Timetable
    rules: Rules


@dataclass(frozen=True, slots=True, kw_only=True)
class Setup:
    """The machine and the approved plans in order of taking over.

    `bare` are the rules that hold while no plan is in force.
    """

    machine: Machine
    forces: tuple[Force, ...] = ()
    bare: Rules = field(default_factory=lambda: Rules(pumps={}, lines={}))


@dataclass(frozen=True, slots=True, kw_only=True)
class Turn:
    """What one step wants: entries first, then effects, then a wake-up.

    `scanned_until`: every dose due up to here is decided; the shell hands it back
    in the next inbox.
    """

    events: tuple[AnyEvent, ...] = ()
    effects: tuple[Effect, ...] = ()
    wake_at: datetime | None = None
    scanned_until: datetime | None = None


def make_setup(
    machine: Machine, approved: Mapping[int, tuple[Approval, Plan]]
) -> Setup:
    """Prepare approved plans, keyed by serial, for turns."""
    forces = [
        Force(
            approval=approval,
            plan=plan,
            timetable=Timetable(plan, machine),
            rules=rules_for(machine, plan),
        )
        for _, (approval, plan) in sorted(approved.items())
    ]
    forces.sort(key=lambda force: force.approval.takes_over_at)
    return Setup(machine=machine, forces=tuple(forces), bare=rules_for(machine, None))
