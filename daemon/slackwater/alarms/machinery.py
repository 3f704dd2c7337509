"""What is wrong with links, clocks, disk, nodes and pumps.

Floor 4. One subject: everything but water and paper. Laws here: only what the plan in
force needs is looked at; what the gate would refuse for is a condition here, found in
the same figures.
"""

from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta

from slackwater.alarms.conditions import (
    EVERYTHING,
    Condition,
    of_all,
    of_pumps,
    used_pumps,
)
from slackwater.facts.alarms import Cause, Priority
from slackwater.facts.reasons import Code
from slackwater.facts.sight import NodeSight
from slackwater.facts.tank import Pump
from slackwater.gate.interlocks import CLOCK_SLACK_S, clock_is_trusted
from slackwater.gate.moment import Moment

# Hardware and configuration of a node that nobody approved.
UNSEEN = ("", "")
# What was asked from afar, and may not be, is told for so long after the last time.
REMEMBERED_S = 600.0
# A node may reboot now and then, and a message be lost. Common practice, no source.
UNSEEN_TIMES = 3
# A broker that restarts is back long before. Common practice, no source.
LASTING = timedelta(hours=1)


def machinery(moment: Moment) -> Iterator[Condition]:
    """Every condition of the machinery."""
    yield from _clock(moment)
    yield from _disk(moment)
    yield from _link(moment)
    yield from _overreach(moment)
    by_node: dict[str, list[Pump]] = {}
    for pump in used_pumps(moment):
        by_node.setdefault(pump.node, []).append(pump)
    for node, pumps in sorted(by_node.items()):
        yield from _node(moment, node, pumps)
        yield from _unseen(moment, pumps)


def _unseen(moment: Moment, pumps: list[Pump]) -> Iterator[Condition]:
    """Pumps of which some doses in a row were sent, and none was seen to end.

    Where nobody knows what flowed the books believe that all of it did.
    """
    for pump in pumps:
        doses = moment.state.unseen.get(pump.id, 0)
        if doses >= UNSEEN_TIMES:
            what = (Cause.DOSES_UNSEEN, pump.id)
            yield of_pumps(moment, what, [pump], doses=doses)


def _clock(moment: Moment) -> Iterator[Condition]:
    if not clock_is_trusted(moment):
        yield of_all(moment, Cause.CLOCK_UNPROVEN)
    newest = moment.state.newest_at
    behind_s = 0.0 if newest is None else (newest - moment.now.utc).total_seconds()
    if behind_s > CLOCK_SLACK_S:
        yield of_all(moment, Cause.CLOCK_BEHIND, behind_s=int(behind_s))


def _disk(moment: Moment) -> Iterator[Condition]:
    free, least = moment.sight.free_bytes, moment.machine.timing.free_space_bytes
    if free is not None and free < least:
        yield of_all(moment, Cause.DISK_FULL, free_bytes=free, least_bytes=least)


def _link(moment: Moment) -> Iterator[Condition]:
    observe, actuate = moment.sight.observe_up, moment.sight.actuate_up
    if not (observe and actuate):
        found = of_all(moment, Cause.LINK_DOWN, observe=observe, actuate=actuate)
        yield replace(found, least=_least(moment, found.id))


def _least(moment: Moment, alarm: str) -> Priority:
    """How pressing it is, however much time is left.

    Nothing at all is dosed: what did not mend itself in an hour wants a person.
    """
    known = moment.state.alarms.get(alarm)
    if moment.state.stage != "live" or known is None or not known.is_standing:
        return "note"
    return "soon" if moment.now.utc - known.first.at >= LASTING else "note"


def _overreach(moment: Moment) -> Iterator[Condition]:
    """One alarm for all that is asked, until ten minutes have passed without any."""
    asked = moment.sight.overreach
    if asked is None or moment.now.boot_s - asked.heard_boot_s > REMEMBERED_S:
        return
    yield Condition(
        cause=Cause.OVERREACH, about=EVERYTHING, figures={"asked": asked.act}
    )


def _node(moment: Moment, node: str, pumps: list[Pump]) -> Iterator[Condition]:
    seen = moment.sight.nodes.get(node)
    if seen is None:
        yield of_pumps(moment, (Cause.NODE_ABSENT, node), pumps)
        return
    age_s = moment.now.boot_s - seen.beat.heard_boot_s
    if not 0 <= age_s <= moment.machine.timing.beat_fresh_s:
        figures = {"beat_age_s": round(age_s)}
        yield of_pumps(moment, (Cause.NODE_ABSENT, node), pumps, **figures)
        return
    yield from _identity(moment, seen, pumps)
    yield from _channels(moment, seen, pumps)


def _identity(
    moment: Moment, seen: NodeSight, pumps: list[Pump]
) -> Iterator[Condition]:
    beat, known = seen.beat, moment.machine.nodes[seen.beat.node]
    approved = UNSEEN
    if moment.approval is not None:
        approved = moment.approval.hardware.get(beat.node, UNSEEN)
    hardware = known.hardware_id or approved[0] or beat.hw
    config = known.config_id or approved[1] or beat.cfg
    if (hardware, config) != (beat.hw, beat.cfg):
        yield of_pumps(
            moment,
            (Cause.NODE_IDENTITY, beat.node),
            pumps,
            hardware=beat.hw,
            configuration=beat.cfg,
        )


def _channels(
    moment: Moment, seen: NodeSight, pumps: list[Pump]
) -> Iterator[Condition]:
    beat = seen.beat
    channels = {pump.id: beat.channels.get(pump.channel) for pump in pumps}
    gone = [pump for pump in pumps if channels[pump.id] is None]
    if gone:
        names = ", ".join(pump.channel for pump in gone)
        yield of_pumps(moment, (Cause.NODE_ABSENT, beat.node), gone, channels=names)
    for cause, phase in ((Cause.NODE_FAULT, "fault"), (Cause.NODE_HELD, "held")):
        found = [
            pump
            for pump in pumps
            if (channel := channels[pump.id]) is not None and channel.state == phase
        ]
        if found:
            names = ", ".join(pump.channel for pump in found)
            yield of_pumps(moment, (cause, beat.node), found, channels=names)
    short = [pump for pump in pumps if _waits_for_budget(moment, pump)]
    if short:
        yield of_pumps(moment, (Cause.NODE_BUDGET, beat.node), short)


def _waits_for_budget(moment: Moment, pump: Pump) -> bool:
    """Whether a dose of the pump is held because its node may not give so much."""
    return any(
        held.pump == pump.id
        and any(reason.code is Code.NODE_BUDGET for reason in held.reasons)
        for held in moment.state.held.values()
    )
