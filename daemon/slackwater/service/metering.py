"""The figures of this daemon, for a monitoring system.

Floor 7. One subject: from rig to metrics. Laws here: they are reckoned by the loop
between two passes and handed over whole; whatever goes wrong with that is logged and
costs figures, never a decision; every figure has its unit in its name.
"""

from collections import Counter
from collections.abc import Callable, Iterable, Iterator

import structlog
from structlog.typing import FilteringBoundLogger

from slackwater import __version__
from slackwater.errors import SlackwaterError
from slackwater.facts.inventory import left_ul
from slackwater.facts.rolling import DAY_MS
from slackwater.gate.moment import Moment
from slackwater.outside.metrics import Family, Sample, Type
from slackwater.planning.wall import zone_named
from slackwater.service import logs
from slackwater.service.tally import BOUNDS_S
from slackwater.service.wiring import Rig
from slackwater.turn.step import moment_at

METER_S = 15.0
PREFIX = "slackwater_"
# What a figure that is not what it seems to be can raise.
ODD = (ArithmeticError, AttributeError, LookupError, TypeError, ValueError)
Made = Callable[[Rig, Moment], Iterator[Sample]]

_log: FilteringBoundLogger = structlog.get_logger()


def meter(rig: Rig) -> None:
    """Reckon the figures anew; without a listener none are."""
    if rig.meter is None:
        return
    try:
        if not rig.meter.is_open:
            rig.meter.start()
        rig.meter.families = families(rig)
    except (OSError, SlackwaterError, *ODD) as error:
        _log.warning(logs.METRICS_NOT_SERVED, why=type(error).__name__)


def families(rig: Rig) -> list[Family]:
    """Every family of the table, with its figures of now."""
    moment = moment_at(rig.clock.now(), rig.memory.state, rig.sight, rig.setup)
    return [
        Family(
            name=f"{PREFIX}{name}",
            meaning=meaning,
            type=kind,
            samples=tuple(made(rig, moment)),
        )
        for name, kind, meaning, made in TABLE
    ]


def _build(rig: Rig, _moment: Moment) -> Iterator[Sample]:
    yield Sample(value=1, labels={"version": __version__, "mode": rig.mode})


def _links(_rig: Rig, moment: Moment) -> Iterator[Sample]:
    sight = moment.sight
    for link, up in (("observe", sight.observe_up), ("actuate", sight.actuate_up)):
        yield Sample(value=int(up), labels={"link": link})


def _doses(rig: Rig, _moment: Moment) -> Iterator[Sample]:
    for (tank, line, outcome), count in sorted(rig.tally.doses.items()):
        labels = {"tank": tank, "line": line, "outcome": outcome}
        yield Sample(value=count, labels=labels)


def _lateness(rig: Rig, _moment: Moment) -> Iterator[Sample]:
    """Cumulative, as a histogram is."""
    below = 0
    for bound, count in zip((*BOUNDS_S, float("inf")), rig.tally.late, strict=True):
        below += count
        shown = "+Inf" if bound == float("inf") else f"{bound:g}"
        yield Sample(value=below, labels={"le": shown}, suffix="_bucket")
    yield Sample(value=rig.tally.late_s, suffix="_sum")
    yield Sample(value=below, suffix="_count")


def _holds(_rig: Rig, moment: Moment) -> Iterator[Sample]:
    yield from _counted(
        (str(hold.reason.code), "yes" if hold.latched else "no")
        for hold in moment.state.holds.values()
    )


def _counted(found: Iterable[tuple[str, str]]) -> Iterator[Sample]:
    for (reason, latched), count in sorted(Counter(found).items()):
        yield Sample(value=count, labels={"reason": reason, "latched": latched})


def _raised(rig: Rig, _moment: Moment) -> Iterator[Sample]:
    for reason, count in sorted(rig.tally.holds.items()):
        yield Sample(value=count, labels={"reason": reason})


def _alarms(_rig: Rig, moment: Moment) -> Iterator[Sample]:
    standing = (one for one in moment.state.alarms.values() if one.is_standing)
    counted = Counter(one.raised.priority for one in standing)
    for priority, count in sorted(counted.items()):
        yield Sample(value=count, labels={"priority": priority})


def _charges(_rig: Rig, moment: Moment) -> Iterator[Sample]:
    """What counts against the two daily caps of each pump."""
    for name, pump in sorted(moment.machine.pumps.items()):
        given = moment.state.charges.get(f"pump/{name}")
        rolling = 0 if given is None else given.since(moment.proven_ms - DAY_MS)
        zone = zone_named(moment.machine.tanks[pump.tank].zone)
        today = moment.now.utc.astimezone(zone).date()
        day = moment.state.days.get(f"pump/{name}", {}).get(today, 0)
        for window, volume_ul in (("24h", rolling), ("day", day)):
            yield Sample(value=volume_ul, labels={"pump": name, "window": window})


def _caps(_rig: Rig, moment: Moment) -> Iterator[Sample]:
    for name, pump in sorted(moment.machine.pumps.items()):
        yield Sample(value=pump.per_day_ul, labels={"pump": name})


def _effects(_rig: Rig, moment: Moment) -> Iterator[Sample]:
    """The part of each effect cap that 24 hours have used up."""
    for tank in sorted(moment.machine.tanks):
        for name, cap in sorted(moment.machine.tanks[tank].caps.items()):
            given = moment.state.charges.get(f"effect/{tank}/{name}")
            used = 0 if given is None else given.since(moment.proven_ms - DAY_MS)
            if cap.gross > 0:
                labels = {"tank": tank, "parameter": name}
                yield Sample(value=used / cap.gross, labels=labels)


def _levels(_rig: Rig, moment: Moment) -> Iterator[Sample]:
    """The newest test of each parameter, and the newest reading of each probe."""
    for key, kept in sorted(moment.state.levels.items()):
        tank, _, name = key.partition("/")
        labels = {"tank": tank, "parameter": name, "source": kept.provenance}
        yield Sample(value=kept.value, labels=labels)
    for probe, series in sorted(moment.sight.readings.items()):
        if series:
            newest = series[-1]
            labels = {
                "tank": newest.tank,
                "parameter": newest.parameter,
                "source": probe,
            }
            yield Sample(value=newest.value, labels=labels)


def _reservoirs(_rig: Rig, moment: Moment) -> Iterator[Sample]:
    for name in sorted(moment.machine.reservoirs):
        volume_ul = left_ul(moment.machine, moment.state, name)
        yield Sample(value=volume_ul, labels={"reservoir": name})


def _beats(_rig: Rig, moment: Moment) -> Iterator[Sample]:
    for name, seen in sorted(moment.sight.nodes.items()):
        age_s = moment.now.boot_s - seen.beat.heard_boot_s
        yield Sample(value=round(age_s, 3), labels={"node": name})


def _queues(rig: Rig, _moment: Moment) -> Iterator[Sample]:
    yield Sample(value=rig.mailbox.depth, labels={"queue": "inbox"})
    yield Sample(value=rig.chores.qsize(), labels={"queue": "chores"})


def _dropped(rig: Rig, _moment: Moment) -> Iterator[Sample]:
    yield Sample(value=rig.mailbox.dropped)


def _entries(rig: Rig, _moment: Moment) -> Iterator[Sample]:
    yield Sample(value=rig.memory.ledger.head.seq)


def _open(_rig: Rig, moment: Moment) -> Iterator[Sample]:
    yield Sample(value=len(moment.state.open))


# The one table: name, kind, what it means, and who makes its figures.
TABLE: tuple[tuple[str, Type, str, Made], ...] = (
    ("build_info", "gauge", "Version and mode of the daemon; always 1.", _build),
    ("link_up", "gauge", "Whether a connection to the broker is proven.", _links),
    (
        "doses_total",
        "counter",
        "Doses since the start by what became of them; a published command is none.",
        _doses,
    ),
    (
        "dose_lateness_seconds",
        "histogram",
        "From the due time of a dose to its intent, since the start.",
        _lateness,
    ),
    ("open_doses", "gauge", "Intents that nobody has settled yet.", _open),
    ("holds", "gauge", "Holds that stand, by reason.", _holds),
    ("holds_raised_total", "counter", "Holds raised since the start.", _raised),
    ("alarms", "gauge", "Alarms whose cause is still there.", _alarms),
    (
        "pump_charge_microlitres",
        "gauge",
        "What counts against a pump's daily caps: local day and any 24 hours.",
        _charges,
    ),
    ("pump_cap_microlitres", "gauge", "The daily cap of a pump.", _caps),
    (
        "effect_cap_used_ratio",
        "gauge",
        "Part of what may be added in 24 hours that was.",
        _effects,
    ),
    (
        "level",
        "gauge",
        "Newest level, canonical unit of its parameter; source hand, lab or a probe.",
        _levels,
    ),
    ("reservoir_left_microlitres", "gauge", "What a reservoir holds.", _reservoirs),
    ("node_beat_age_seconds", "gauge", "Since the last beat of a node.", _beats),
    ("queue_depth", "gauge", "What waits for the decision loop.", _queues),
    ("messages_dropped_total", "counter", "Messages given up in a flood.", _dropped),
    ("ledger_entries", "gauge", "Number of the newest ledger entry.", _entries),
)
