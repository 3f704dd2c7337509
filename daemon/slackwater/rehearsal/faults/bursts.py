"""Several faults at once.

Floor 6. One subject: bursts. Laws here: each brings together what shares a cause in a
house - the net, the time, the device - so that no guard can lean on another one.
"""

from functools import partial

from slackwater.facts.reasons import Code
from slackwater.rehearsal.faults.box_cases import disk_fills, put_back
from slackwater.rehearsal.faults.case import Case, Strike, Target
from slackwater.rehearsal.faults.house import MINUTE_MS, SECOND_MS, House
from slackwater.rehearsal.faults.node_cases import (
    DAY_MS,
    broker_away,
    deaf,
    doubled,
    gives,
    held_at_device,
    reboots_in_run,
)


def _together(*strikes: Strike) -> Strike:
    return partial(_all_of, strikes)


def _all_of(strikes: tuple[Strike, ...], house: House, target: Target) -> None:
    for strike in strikes:
        strike(house, target)


BURSTS: tuple[Case, ...] = (
    Case(
        id="burst-network",
        group="burst",
        hazards=("H02", "H10", "H23"),
        title="Broker gone, daemon killed after writing, node without power",
        strike=_together(
            broker_away(20 * MINUTE_MS),
            lambda house, target: house.at(
                target.due_ms, lambda: house.die(30 * SECOND_MS)
            ),
            reboots_in_run,
        ),
        expects=frozenset({Code.LINK_DOWN, Code.NODE_SETTLING, Code.NODE_ABSENT}),
    ),
    Case(
        id="burst-time",
        group="burst",
        hazards=("H11", "H18", "H38"),
        title="Clock put back, every result lost, each command doubled",
        strike=_together(put_back, deaf("result", DAY_MS), doubled),
        expects=frozenset({Code.CLOCK_JUMPED, Code.CLOCK_BEHIND}),
    ),
    Case(
        id="burst-device",
        group="burst",
        hazards=("H17", "H20", "H30"),
        title="Too much delivered, held at the device, disk full",
        strike=_together(
            gives(1.5),
            held_at_device,
            lambda house, target: house.at(
                target.due_ms + MINUTE_MS, lambda: disk_fills(house)
            ),
        ),
        expects=frozenset({Code.NODE_HELD, Code.OVER_DELIVERED, Code.LEDGER_FULL}),
        begins_s=0.0,
    ),
)
