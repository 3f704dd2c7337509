"""Whether an approved plan still means the doses that were approved.

Floor 7. One subject: the dose table at a start. Laws here: new zone data, or a new
version, that lays the same table changes nothing; one that lays another holds
everything until a person approved again.
"""

from datetime import datetime

from slackwater.facts.events import HoldRaised
from slackwater.facts.plan import Plan
from slackwater.facts.reasons import Code, because
from slackwater.facts.state import State
from slackwater.facts.tank import Machine
from slackwater.outside.approved import machine_from, plan_from, table_digest
from slackwater.planning.days import approved_days
from slackwater.planning.timetable import dose_table_lines
from slackwater.service.loop import stamp_of, take_news, write
from slackwater.service.wiring import Rig


def table_digest_of(plan: Plan, machine: Machine) -> str:
    """SHA-256 of the dose table of a plan, as this process lays it.

    Raises: InputError when a line of the plan is at fault in itself.
    """
    days = approved_days(plan, machine)
    return table_digest(dose_table_lines(plan, machine, days))


def changed_tables(state: State, utc: datetime) -> list[int]:
    """Approvals in force, or to come, whose dose table is another than was approved.

    One given before tables were recorded is taken at its word.
    """
    begun = [one for one in state.approvals if one.approval.takes_over_at <= utc]
    coming = [one for one in state.approvals if one.approval.takes_over_at > utc]
    return [
        event.approval.serial
        for event in (*begun[-1:], *coming)
        if event.table
        and event.table
        != table_digest_of(plan_from(event.plan), machine_from(event.machine))
    ]


def hold_changed_tables(rig: Rig) -> None:
    """Hold everything when an approved plan no longer means what was approved."""
    for serial in changed_tables(rig.memory.state, rig.clock.now().utc):
        hold_id = f"{Code.TABLE_CHANGED}/{serial}"
        while hold_id not in rig.memory.state.holds:
            raised = HoldRaised(
                **stamp_of(rig),
                hold_id=hold_id,
                scope="all",
                reason=because(Code.TABLE_CHANGED, approval=serial),
                latched=True,
            )
            if not write(rig, [raised]):
                take_news(rig)
