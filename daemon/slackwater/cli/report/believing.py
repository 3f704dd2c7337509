"""Alkalinity as a status believes it, for a tank of which no assessment says it.

Floor 8. One subject: the level a rehearsal begins from where the newest test stands
apart or is too old. Laws here: it is the reckoning of a status and no second one; where
pumps only run in shadow a status counts what flowed in no water, so nothing is said.
"""

from collections.abc import Mapping
from datetime import datetime

from slackwater.alarms.pace import Pace
from slackwater.cli.opening import newest_approval
from slackwater.cli.subject import Known
from slackwater.facts.state import State
from slackwater.gate.moment import rules_for
from slackwater.planning.daily import ALKALINITY


def believed_alkalinity(
    state: State, tank: str, known: Mapping[str, Known], at: datetime
) -> dict[str, float]:
    """The newest test carried to a moment, by its name; often empty."""
    tested, approved = known.get(ALKALINITY), newest_approval(state)
    if tested is None or approved is None or state.stage == "shadow":
        return {}
    machine, plan = approved.machine, approved.plan
    if tank not in machine.tanks:
        return {}
    pace = Pace(
        tank=machine.tanks[tank],
        guard=machine.guards.get(tank),
        rules=rules_for(machine, plan),
        begins=max(at, approved.approval.takes_over_at),
        hours=(state.hours.get(tank, {}),),
    )
    level = pace.level_at(tested.level, tested.at, at)
    return {} if level is None else {ALKALINITY: level}
