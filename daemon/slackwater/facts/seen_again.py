"""From a view to the entry that keeps it, and back.

Floor 2. One subject: the part of the view that decides about doses. Laws here: a view
laid out anew from such entries decides as the one that was seen; what only tells of
news (courses of probes, earlier boots, contradictions) is left out, for a turn with
news decides nothing.
"""

from collections.abc import Mapping
from datetime import date, datetime, timedelta

from slackwater.facts.inputs import InputsKept, NodeInput
from slackwater.facts.messages import Beat, Channel, Reading
from slackwater.facts.now import Now
from slackwater.facts.sight import CounterSight, NodeSight, Sight, SwitchSight, see
from slackwater.facts.tank import Machine

MICROSECOND = timedelta(microseconds=1)


def inputs_kept(
    now: Now, sight: Sight, since: Mapping[str, datetime], proven_ms: int
) -> InputsKept:
    """The entry for a decision at this moment; `since` the newest reading kept before.

    Shape: `since` by probe; a probe that is not in it keeps all its readings.
    """
    return InputsKept(
        at=now.utc,
        boot_s=now.boot_s,
        proven_ms=proven_ms,
        synchronised=now.synchronised,
        observe_up=sight.observe_up,
        actuate_up=sight.actuate_up,
        scanned_until=sight.scanned_until,
        free_bytes=sight.free_bytes,
        nodes={name: _node(seen) for name, seen in sorted(sight.nodes.items())},
        readings={
            probe: kept
            for probe, series in sorted(sight.readings.items())
            if (kept := _since(series, since.get(probe), now.utc))
        },
        flawed=dict(sight.flawed),
        switches={
            name: (seen.is_on, seen.since_boot_s, seen.heard_boot_s)
            for name, seen in sorted(sight.switches.items())
        },
        top_offs={
            name: counter.days.get(now.utc.date(), 0)
            for name, counter in sorted(sight.counters.items())
        },
        totals={
            name: counter.total_ul for name, counter in sorted(sight.counters.items())
        },
    )


def newest_readings(sight: Sight) -> dict[str, datetime]:
    """The time of the newest reading of each probe in view."""
    return {probe: series[-1].at for probe, series in sight.readings.items() if series}


def _node(seen: NodeSight) -> NodeInput:
    beat = seen.beat
    return NodeInput(
        boot=beat.boot,
        up=beat.up,
        fence=beat.fence,
        hw=beat.hw,
        cfg=beat.cfg,
        hold=beat.hold,
        heard_s=beat.heard_boot_s,
        first_s=seen.first_heard_boot_s,
        beats=seen.beats,
        channels={
            name: (channel.n, channel.state, channel.odo_ul, channel.budget_ul)
            for name, channel in sorted(beat.channels.items())
        },
    )


def _since(
    series: list[Reading], last: datetime | None, utc: datetime
) -> tuple[tuple[int, float], ...]:
    return tuple(
        ((utc - one.at) // MICROSECOND, one.value)
        for one in series
        if last is None or one.at > last
    )


def lay_out(sight: Sight, kept: InputsKept, machine: Machine) -> None:
    """Let a view show what an entry says it showed; readings are added to it."""
    sight.observe_up, sight.actuate_up = kept.observe_up, kept.actuate_up
    sight.scanned_until, sight.free_bytes = kept.scanned_until, kept.free_bytes
    sight.nodes = {name: _seen(name, node) for name, node in kept.nodes.items()}
    for probe, readings in kept.readings.items():
        known = machine.probes.get(probe)
        if known is None:
            continue
        for ago_us, value in readings:
            see(
                sight,
                Reading(
                    tank=known.tank,
                    probe=probe,
                    parameter=known.parameter,
                    value=value,
                    at=kept.at - ago_us * MICROSECOND,
                ),
            )
    sight.flawed = dict(kept.flawed)
    sight.switches = {
        name: SwitchSight(is_on=is_on, since_boot_s=since_s, heard_boot_s=heard_s)
        for name, (is_on, since_s, heard_s) in kept.switches.items()
    }
    sight.counters = {
        name: CounterSight(
            total_ul=kept.totals.get(name, 0),
            heard_boot_s=kept.boot_s,
            # Whole days are in the ledger; nothing is to be summed up again.
            whole_from=date.max,
            days={kept.at.date(): today_ul},
        )
        for name, today_ul in kept.top_offs.items()
    }


def _seen(name: str, node: NodeInput) -> NodeSight:
    channels = {
        channel: Channel(n=n, state=state, odo_ul=odo_ul, odo_ms=0, budget_ul=budget_ul)
        for channel, (n, state, odo_ul, budget_ul) in node.channels.items()
    }
    return NodeSight(
        beat=Beat(
            node=name,
            boot=node.boot,
            up=node.up,
            seq=0,
            hold=node.hold,
            fence=node.fence,
            hw=node.hw,
            cfg=node.cfg,
            channels=channels,
            heard_boot_s=node.heard_s,
        ),
        first_heard_boot_s=node.first_s,
        beats=node.beats,
    )
