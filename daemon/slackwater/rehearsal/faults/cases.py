"""The fixed list of faults that every rehearsal with faults tries.

Floor 6. One subject: the order of the list. Laws here: each group of hazards is in it
at least once, and three bursts close it.
"""

from slackwater.rehearsal.faults.alkalinity_cases import ALKALINITY_CASES
from slackwater.rehearsal.faults.box_cases import BOX_CASES, CLOCK_CASES
from slackwater.rehearsal.faults.bursts import BURSTS
from slackwater.rehearsal.faults.case import GROUPS, Case
from slackwater.rehearsal.faults.climate_cases import CLIMATE_CASES
from slackwater.rehearsal.faults.node_cases import NODE_CASES, WIRE_CASES
from slackwater.rehearsal.faults.people_cases import PEOPLE_CASES
from slackwater.rehearsal.faults.switch_cases import SWITCH_CASES

_ORDER = {group: place for place, group in enumerate(GROUPS)}


def _place(case: Case) -> int:
    return _ORDER[case.group]


CASES: tuple[Case, ...] = tuple(
    sorted(
        (
            *BOX_CASES,
            *WIRE_CASES,
            *NODE_CASES,
            *CLOCK_CASES,
            *ALKALINITY_CASES,
            *CLIMATE_CASES,
            *SWITCH_CASES,
            *PEOPLE_CASES,
            *BURSTS,
        ),
        key=_place,
    )
)
