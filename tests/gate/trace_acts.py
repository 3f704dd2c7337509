"""What can happen in a trace: each act tells the gate and the judge the same.

Every value lies at a limit, one step to either side of it, or where a hold may end.
"""

from collections.abc import Callable
from dataclasses import replace
from datetime import date, timedelta

from slackwater.facts.events import Calibrated
from slackwater.facts.judgements import SeriesJudged, Verdict
from slackwater.facts.messages import SpoiledReading, SwitchSeen
from slackwater.facts.reasons import Code, because
from slackwater.facts.safeguards import (
    AwayDeclared,
    AwayEnded,
    BypassGranted,
    ProbeTakenOut,
    TopOffSummed,
)
from slackwater.facts.sight import CounterSight, see
from slackwater.facts.state import Flow
from slackwater.facts.waters import HusbandryNoted, MeasurementKept
from slackwater.gate.bypass import BYPASSABLE
from slackwater.turn.watching import hear_news
from tests.gate.plain_tables import LINES, PROBES, SWITCHES
from tests.gate.scene import dkh
from tests.gate.trace_bottle import leak, lose, refill
from tests.gate.traces import DAY, HOUR, Trace

STEPS = 8
SPANS_S = (1.0, 59.0, 60.0, 300.0, 300.0, 300.0, 601.0, 1_501.0, HOUR, 5 * HOUR)
LONG_SPANS_S = (DAY, 2 * DAY, 15 * DAY, 91 * DAY)


def tenths(text: str) -> tuple[float, ...]:
    """Values written in tenths."""
    return tuple(int(word) / 10 for word in text.split())


# Values at the limits, one step to either side, and where a hold may end.
VALUES = {
    "ph": (8.0, 8.2, 8.21, 8.31, 8.41, 8.45, 8.46, 8.5, 8.51, 8.55, 8.6, 8.61, 9.0),
    "temperature": tenths(
        "179 180 184 185 209 210 215 255 256 266 290 291 295 296 315 316 320 321"
    ),
    "salinity": tenths(
        "319 320 322 339 340 342 350 351 358 359 360 361 378 379 380 381"
    ),
    # No two of these, nor a mean of two, lie just as far apart as a limit says.
    "alkalinity": (6.413, 6.617, 7.709, 8.0, 8.101, 8.637, 8.879, 9.603, 9.817, 10.45),
}
CALM = {"ph": 8.2, "temperature": 25.5, "salinity": 35.0, "alkalinity": 8.0}
# Hand tests around their limits, as the plain judge takes them.
TESTS = {
    "salinity": (31.9, 33.9, 34.0, 35.0, 36.0, 36.1, 38.1),
    "nitrate": (0.5, 0.99, 1.0, 10.0),
    "phosphate": (0.0, 0.019, 0.02, 0.1),
    "alkalinity": (8.0, 9.6, 9.8, 11.0),
    "ph": (8.2,),
    "temperature": (25.0,),
}
BYPASSES = sorted(BYPASSABLE)
# What can be said of a series, and whether that is too much.
SAID_OF_SERIES: tuple[tuple[Verdict, bool], ...] = (
    ("steady", False),
    ("swing-down", False),
    ("probe-fault", False),
    ("dose-fault", False),
    ("dose-fault", True),
    ("swing-up", True),
)
CODES = {
    "swing-down": Code.ALKALINITY_SWING_DOWN,
    "probe-fault": Code.ALKALINITY_PROBE_FAULT,
    "dose-fault": Code.ALKALINITY_DOSE_FAULT,
    "swing-up": Code.ALKALINITY_SWING_UP,
}


def _one_reading(trace: Trace) -> None:
    for probe in sorted(trace.judge.probes):
        if trace.chance.random() < 0.7:
            trace.read(probe, trace.chance.choice(VALUES[PROBES[probe][0]]))


def _calm(trace: Trace) -> None:
    """An hour or more of values near each other, switches well all along."""
    centre = {
        kind: trace.chance.choice((CALM[kind], CALM[kind], *values))
        for kind, values in VALUES.items()
    }
    for number in range(trace.chance.choice((2, 4, 14))):
        trace.wait(300.0)
        for probe in sorted(trace.judge.probes):
            kind, _, step, _ = PROBES[probe]
            trace.read(probe, centre[kind] - step * (number % 2))
        for name in sorted(trace.judge.switches):
            _say(trace, name, is_on=SWITCHES[name][0])
        trace.look()


def _stand_still(trace: Trace) -> None:
    """The same value again and again, long enough to be frozen, or nearly."""
    if not trace.judge.probes:
        return
    probe = trace.chance.choice(sorted(trace.judge.probes))
    value = CALM[PROBES[probe][0]]
    for _ in range(trace.chance.choice((70, 73, 289))):
        trace.wait(300.0)
        trace.read(probe, value)
        trace.look()


def _spoil(trace: Trace) -> None:
    for probe in sorted(trace.judge.probes):
        if trace.chance.random() < 0.4:
            trace.told.append(f"{probe} refused")
            trace.judge.refused.add(probe)
            see(trace.at.sight, SpoiledReading(tank="reef", probe=probe, why="unit"))


def _say(trace: Trace, name: str, *, is_on: bool) -> None:
    trace.told.append(f"{name} {is_on}")
    trace.judge.say(name, is_on=is_on)
    boot_s = trace.at.now.boot_s
    seen = SwitchSeen(tank="reef", switch=name, is_on=is_on, heard_boot_s=boot_s)
    see(trace.at.sight, seen)


def _switches(trace: Trace) -> None:
    for name in sorted(trace.judge.switches):
        if trace.chance.random() < 0.8:
            wrong = trace.chance.random() < 0.3
            _say(trace, name, is_on=SWITCHES[name][0] != wrong)


def _test(trace: Trace) -> None:
    parameter = trace.chance.choice(sorted(TESTS))
    _tested(trace, parameter, trace.chance.choice((0.0, HOUR, 2 * DAY)))


def _beside(trace: Trace) -> None:
    """A test by hand right after readings of alkalinity."""
    for probe in sorted(trace.judge.alkalinity.probes):
        trace.read(probe, trace.chance.choice(VALUES["alkalinity"]))
    _tested(trace, "alkalinity", 0.0)


def _tested(trace: Trace, parameter: str, ago: float) -> None:
    value = trace.chance.choice(TESTS[parameter])
    known = trace.judge.tests.get(parameter)
    taken = trace.judge.now - ago
    trace.told.append(f"test {parameter} {value} of {ago} ago")
    if known is None or taken >= known[1]:
        trace.judge.tests[parameter] = (value, taken)
    if parameter == "alkalinity":
        trace.judge.alkalinity.tested(value, taken)
    trace.write(
        MeasurementKept(
            **trace.stamp,
            id=f"m-{len(trace.told)}",
            tank="reef",
            parameter=parameter,
            value=dkh(value) if parameter == "alkalinity" else value,
            typed="",
            taken_at=trace.at.now.utc - timedelta(seconds=ago),
            provenance="hand",
            by="keeper",
        )
    )


def _judge(trace: Trace) -> None:
    """A verdict on the series of a probe, or on tests by hand, is put on record."""
    named = sorted(trace.judge.alkalinity.probes)
    source = trace.chance.choice([*(f"probe/{name}" for name in named), "hand/reef"])
    verdict, excess = trace.chance.choice(SAID_OF_SERIES)
    if verdict == "probe-fault" and source == "hand/reef":
        return
    ago = trace.chance.choice((0.0, HOUR))
    trace.told.append(f"{source} judged {verdict}, too much: {excess}, {ago} ago")
    trace.judge.alkalinity.told(source, verdict, trace.judge.now - ago, excess=excess)
    code = CODES.get(verdict)
    judged = SeriesJudged(
        **trace.stamp,
        tank="reef",
        source=source,
        verdict=verdict,
        taken_at=trace.at.now.utc - timedelta(seconds=ago),
        reason=None if code is None else because(code),
        excess=excess,
    )
    trace.write(judged, *hear_news(trace.at, judged, trace.stamp))


def _treat(trace: Trace) -> None:
    lasts = trace.chance.choice((-1.0, HOUR, DAY))
    trace.told.append(f"treated for {lasts}")
    trace.judge.treated_until = trace.judge.now + lasts
    # Whatever happened to the tank takes back what was said of its series.
    trace.judge.alkalinity.verdicts.clear()
    trace.write(
        HusbandryNoted(
            **trace.stamp,
            id="h",
            tank="reef",
            what="treatment",
            happened_at=trace.at.now.utc,
            by="keeper",
            until=trace.at.now.utc + timedelta(seconds=lasts),
        )
    )


def _measure(trace: Trace) -> None:
    pump = trace.chance.choice(("raise", "soda"))
    ago = trace.chance.choice((0.0, 179 * DAY, 180 * DAY))
    trace.told.append(f"{pump} measured {ago} ago")
    trace.judge.measured_at[pump] = trace.judge.now - ago
    stamp = trace.stamp
    stamp["at"] -= timedelta(seconds=ago)
    trace.at.state.calibrations[pump] = Calibrated(
        **stamp,
        pump=pump,
        rate_nl_per_s=1_300_000,
        cal="77aa01cf",
        shots=3,
        spread_percent=1.0,
        proofs=(),
        by="keeper",
    )
    assert trace.at.approval is not None
    known = dict.fromkeys(trace.at.state.calibrations, "77aa01cf")
    trace.at = replace(
        trace.at, approval=replace(trace.at.approval, calibrations=known)
    )


def _take_out(trace: Trace) -> None:
    if not trace.judge.probes:
        return
    probe = trace.chance.choice(sorted(trace.judge.probes))
    lasts = trace.chance.choice((HOUR, DAY, 3 * DAY))
    trace.told.append(f"{probe} out for {lasts}")
    trace.judge.out[probe] = trace.judge.now + lasts
    until = trace.at.now.utc + timedelta(seconds=lasts)
    trace.write(ProbeTakenOut(**trace.stamp, probe=probe, until=until, by="keeper"))


def _bypass(trace: Trace) -> None:
    name = trace.chance.choice(BYPASSES)
    lasts = trace.chance.choice((60.0, HOUR, 4 * HOUR, 9 * HOUR))
    trace.told.append(f"bypass {name} for {lasts}")
    trace.judge.bypassed[name] = (trace.judge.now, trace.judge.now + lasts)
    trace.write(
        BypassGranted(
            **trace.stamp,
            interlock=name,
            scope="all",
            until=trace.at.now.utc + timedelta(seconds=lasts),
            why="test",
            by="keeper",
        )
    )


def _leave(trace: Trace) -> None:
    if trace.judge.away_from is not None:
        trace.told.append("back")
        trace.judge.away_from = None
        trace.write(AwayEnded(**trace.stamp, by="keeper"))
        return
    ahead = trace.chance.choice((0.0, HOUR))
    trace.told.append(f"away in {ahead}")
    trace.judge.away_from = trace.judge.now + ahead
    begins = trace.at.now.utc + timedelta(seconds=ahead)
    trace.write(
        AwayDeclared(
            **trace.stamp, from_at=begins, until=begins + timedelta(days=9), by="keeper"
        )
    )


def _jump(trace: Trace) -> None:
    """A run between two readings of pH, near enough to be its cause, or not."""
    probes = [p for p in sorted(trace.judge.probes) if PROBES[p][0] == "ph"]
    for probe in probes:
        trace.read(probe, trace.chance.choice((8.1, 8.2)))
    trace.wait(trace.chance.choice((67.0, 68.0, 240.0)))
    _run(trace)
    trace.wait(trace.chance.choice((60.0, 300.0, 900.0, 901.0)))
    for probe in probes:
        trace.read(probe, trace.chance.choice((8.2, 8.3, 8.31, 8.4)))


def _top_off(trace: Trace) -> None:
    """A week of usual days, or the volume of today at its limit."""
    if trace.judge.counted is None:
        return
    today = trace.at.now.utc.date()
    if trace.chance.random() < 0.6:
        trace.told.append("usual top-off")
        for ago in range(1, trace.chance.choice((7, 8, 9))):
            trace.judge.top_off(trace.judge.today - ago, 10_000)
            day = today - timedelta(days=ago)
            summed = TopOffSummed(
                **trace.stamp, tank="reef", switch="refill", day=day, volume_ul=10_000
            )
            trace.write(summed)
    volume_ul = trace.chance.choice((0, 15_000, 15_001, 90_000))
    trace.told.append(f"top-off of today {volume_ul}")
    trace.judge.counted[trace.judge.today] = volume_ul
    trace.at.sight.counters["refill"] = CounterSight(
        total_ul=0, heard_boot_s=0.0, whole_from=date.max, days={today: volume_ul}
    )


def _run(trace: Trace) -> None:
    line = trace.chance.choice(("lye", "soda", "mild"))
    trace.told.append(f"{line} ran")
    trace.judge.ran[line] = trace.judge.now
    trace.at.state.flows[line] = Flow(
        tank="reef", solution=line, end_ms=trace.at.proven_ms
    )


ACTS: tuple[Callable[[Trace], None], ...] = (
    _one_reading,
    _calm,
    _stand_still,
    _spoil,
    _switches,
    _test,
    _treat,
    refill,
    _measure,
    _take_out,
    _bypass,
    _leave,
    _run,
    _jump,
    _top_off,
    _judge,
    _beside,
    lose,
    leak,
)
WEIGHTS = (40, 12, 0.2, 5, 20, 8, 3, 4, 4, 5, 5, 2, 6, 6, 8, 4, 3, 2, 2)


def play(seed: int) -> list[str]:
    """Everything that a trace broke, with what was told before it."""
    trace = Trace(seed)
    chance = trace.chance
    for _ in range(STEPS):
        spans = LONG_SPANS_S if chance.random() < 0.03 else SPANS_S
        trace.wait(chance.choice(spans))
        chance.choices(ACTS, WEIGHTS)[0](trace)
        trace.look()
        for line in chance.sample(sorted(LINES), 2):
            found = trace.ask(line)
            if found:
                return [f"seed {seed}", found, *trace.told]
    return []
