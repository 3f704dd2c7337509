"""What the daemon sees now, written down for people who ask why.

Floor 7. One subject: from rig to glimpse. Laws here: the gate itself is asked, so that
nobody explains another gate than the one that decides; holds are left out, because the
ledger says them better.
"""

from collections.abc import Mapping

from slackwater.alarms.conditions import ask_of
from slackwater.gate.moment import Moment
from slackwater.gate.resuming import WHOLE
from slackwater.gate.shortening import share_of
from slackwater.gate.verdict import Refused, may_dose
from slackwater.outside.glimpse import (
    Glimpse,
    NodeGlimpse,
    ProbeGlimpse,
    PumpGlimpse,
    write_glimpse,
)
from slackwater.service.wiring import Rig
from slackwater.turn.step import moment_at


def glimpse(rig: Rig) -> None:
    """Write the present down; a disk that refuses is nobody's loss."""
    write_glimpse(rig.places.state, glimpse_of(rig))


def glimpse_of(rig: Rig) -> Glimpse:
    """The present as this rig sees it."""
    now = rig.clock.now()
    moment = moment_at(now, rig.memory.state, rig.sight, rig.setup)
    sight = rig.sight
    return Glimpse(
        at=now.utc,
        mode=rig.mode,
        synchronised=now.synchronised,
        observe_up=sight.observe_up,
        actuate_up=sight.actuate_up,
        cut_since=rig.cut_since,
        free_bytes=sight.free_bytes,
        differ=rig.differ,
        nodes=_nodes(moment),
        probes=_probes(moment),
        lines=_lines(moment),
    )


def _nodes(moment: Moment) -> Mapping[str, NodeGlimpse]:
    return {
        name: NodeGlimpse(
            beat_age_s=round(moment.now.boot_s - seen.beat.heard_boot_s, 1),
            up_s=seen.beat.up / 1000,
            held=seen.beat.hold,
            channels={
                head: (channel.state, channel.budget_ul)
                for head, channel in seen.beat.channels.items()
            },
        )
        for name, seen in moment.sight.nodes.items()
    }


def _probes(moment: Moment) -> Mapping[str, ProbeGlimpse]:
    sight = moment.sight
    return {
        name: ProbeGlimpse(
            parameter=series[-1].parameter,
            value=series[-1].value,
            taken_at=series[-1].at,
            spoiled=sight.spoiled.get(name, 0),
        )
        for name, series in sight.readings.items()
        if series
    }


def _lines(moment: Moment) -> Mapping[str, PumpGlimpse]:
    """Each line of the plan in force, as if a dose of it were due now."""
    held = [hold.reason for hold in moment.state.holds.values()]
    found = {}
    for name, rule in moment.rules.lines.items():
        ask = ask_of(moment, rule)
        if ask is None:
            continue
        verdict, share = (
            may_dose(moment, ask, ask.dose.local_day),
            share_of(moment, ask),
        )
        asked_ul, less = ask.dose.volume_ul, share.reasons
        if isinstance(verdict, Refused):
            volume_ul = asked_ul * min(share.ppm, WHOLE) // WHOLE
            refused = [one for one in verdict.reasons if one not in (*held, *less)]
        else:
            volume_ul, refused = verdict.volume_ul, []
        found[name] = PumpGlimpse(
            pump=ask.pump.pump.id,
            asked_ul=asked_ul,
            volume_ul=volume_ul,
            refused=tuple(refused),
            shortened=less if volume_ul < asked_ul else (),
        )
    return found
