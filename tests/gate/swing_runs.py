"""An invented series run through the gate's judge, reading by reading or test by test.

Doses and everything told of go into a real state through the real fold; only the clock
and the ledger are left out. Every reading is seen, and judged when it is due.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta

from slackwater.facts.charging import believe
from slackwater.facts.courses import Course
from slackwater.facts.events import AnyEvent
from slackwater.facts.fold import fold
from slackwater.facts.messages import Reading
from slackwater.facts.now import Event, Now
from slackwater.facts.sight import see
from slackwater.facts.state import ClosedDose
from slackwater.facts.tank import Machine, Probe, Uptake
from slackwater.facts.waters import (
    AddedByHand,
    HusbandryNoted,
    MeasurementKept,
    WaterChanged,
)
from slackwater.gate.moment import Moment
from slackwater.gate.swings.hand_tests import judge_tests
from slackwater.gate.swings.judging import is_due, judge_probe
from slackwater.gate.swings.verdicts import Verdict
from slackwater.pump.outcome import Stamp
from tests.gate.scene import NET_UL, PER_LITRE_DKH_PEQ, PROBE, dkh, machine, moment
from tests.gate.swing_tanks import DAY_MIN, Series, Told

# A Friday midnight; minutes of a series count from here.
BEGINS = datetime(2026, 5, 1, tzinfo=UTC)
PEQ_PER_DKH = PER_LITRE_DKH_PEQ * NET_UL // 1_000_000
# As long as the state remembers settled doses.
CLOSED_MIN = 2880.0


@dataclass(frozen=True, slots=True)
class Said:
    """A verdict that differs from the one before, and the minute it came at."""

    minute: float
    name: str
    excess: bool
    verdict: Verdict


@dataclass(slots=True)
class Run:
    """One series under way; `at` is the moment of its newest reading."""

    series: Series
    at: Moment
    probe: Probe
    doses: int = 0
    told: int = 0
    closed: list[float] = field(default_factory=list)

    def until(self, minute: float) -> None:
        """Let every dose and everything told of come that was on record by then."""
        doses, told = self.series.doses, self.series.told
        while self.doses < len(doses) and doses[self.doses][0] <= minute:
            self._dose(*doses[self.doses])
            self.doses += 1
        while self.told < len(told) and told[self.told].written <= minute:
            fold(self.at.state, entry_of(told[self.told], self.told))
            self.told += 1

    def read(self, minute: float, value: float) -> Course:
        """See a reading; gives the course it belongs to."""
        reading = Reading(
            tank="reef",
            probe="kh",
            parameter="alkalinity",
            value=dkh(value),
            at=utc(minute),
        )
        see(self.at.sight, reading)
        self._be_at(minute)
        return self.at.sight.courses["kh"]

    def test(self, minute: float, value: float) -> None:
        """Write a hand test down."""
        self._be_at(minute)
        fold(self.at.state, by_hand(minute, value))

    def _be_at(self, minute: float) -> None:
        now = Now(utc=utc(minute), boot_s=0.0, boot_id="boot", synchronised=True)
        self.at = replace(self.at, now=now, proven_ms=int(minute * 60_000))

    def _dose(self, minute: float, rise: float) -> None:
        stamp = stamped(minute)
        effects = {"alkalinity": int(rise * PEQ_PER_DKH)}
        believe(self.at.state, "reef", effects, stamp)
        closed = self.at.state.closed
        closed[f"{minute}"] = ClosedDose(
            pump="carbonate",
            node="shelf",
            tank="reef",
            asked_ul=1000,
            charge_ul=1000,
            believed_ul=1000,
            effects=effects,
            local_day=date(2026, 5, 1),
            in_water=True,
            proven_ms=stamp.proven_ms,
            sealed=False,
        )
        while float(next(iter(closed))) < minute - CLOSED_MIN:
            del closed[next(iter(closed))]


def utc(minute: float) -> datetime:
    """The wall time of a minute of a series."""
    return BEGINS + timedelta(minutes=minute)


def stamped(minute: float) -> Event:
    """The clocks at a minute."""
    return Event(at=utc(minute), boot_s=0.0, proven_ms=int(minute * 60_000))


def by_hand(minute: float, level_dkh: float) -> MeasurementKept:
    """A test of alkalinity, written down as it is made."""
    stamp = stamped(minute)
    return MeasurementKept(
        at=stamp.at,
        boot_s=0.0,
        proven_ms=stamp.proven_ms,
        id=f"m-{minute}",
        tank="reef",
        parameter="alkalinity",
        value=dkh(level_dkh),
        typed=f"{level_dkh} dKH",
        taken_at=stamp.at,
        provenance="hand",
        method="drops",
        by="keeper",
    )


def entry_of(told: Told, number: int) -> AnyEvent:
    """What a keeper writes down, as an entry."""
    # Portions that two pumps exchange are booked by the daemon.
    by = "daemon" if told.what == "portion" else "keeper"
    clocks: Stamp = {
        "at": utc(told.written),
        "boot_s": 0.0,
        "proven_ms": int(told.written * 60_000),
    }
    if told.what == "addition":
        return AddedByHand(
            **clocks,
            id=f"a-{number}",
            tank="reef",
            given_at=utc(told.at),
            local_day=utc(told.at).date(),
            by=by,
            effects={"alkalinity": int((told.rise or 0.0) * PEQ_PER_DKH)},
        )
    if told.what in ("water_change", "portion"):
        steps = {} if told.rise is None else {"alkalinity": dkh(told.rise)}
        return WaterChanged(
            **clocks,
            id=f"w-{number}",
            tank="reef",
            changed_at=utc(told.at),
            volume_ul=20_000_000,
            by=by,
            steps=steps,
        )
    return HusbandryNoted(
        **clocks,
        id=f"h-{number}",
        tank="reef",
        what="harvest" if told.what == "event" else "probe_serviced",
        happened_at=utc(told.at),
        by=by,
    )


def house(series: Series) -> tuple[Machine, Probe]:
    """The scene's machine with the tank and the instrument of a series."""
    probe = replace(
        PROBE,
        period_s=series.period_min * 60,
        resolution=dkh(series.resolution),
    )
    told = int(series.uptake_told * PEQ_PER_DKH)
    bare = machine()
    tank = replace(
        bare.tanks["reef"],
        uptake={"alkalinity": Uptake(estimate=told, low=told)},
        targets={"alkalinity": dkh(series.target)},
    )
    return replace(bare, tanks={"reef": tank}, probes={"kh": probe}), probe


def started(series: Series) -> Run:
    """A run before its first reading."""
    used, probe = house(series)
    at = moment(used)
    # The first reading makes the state remember doses to the second.
    at.state.courses["kh"] = Course()
    at.state.stage_since = BEGINS
    ordered = tuple(sorted(series.told, key=lambda told: told.written))
    return Run(series=replace(series, told=ordered), at=at, probe=probe)


def said(series: Series, since: float, until: float = float("inf")) -> list[Said]:
    """What the judge says from one minute to another, each time it changes."""
    return list(_said(started(series), since, until))


def _said(run: Run, since: float, until: float) -> Iterator[Said]:
    known = ("", False)
    for minute, verdict in _verdicts(run, since, until):
        if (verdict.name, verdict.excess) != known:
            known = verdict.name, verdict.excess
            yield Said(minute, verdict.name, verdict.excess, verdict)


def _verdicts(run: Run, since: float, until: float) -> Iterator[tuple[float, Verdict]]:
    """Everything is seen; what was said before is no matter to what is said later."""
    for minute, value in run.series.readings:
        if minute > until:
            return
        run.until(minute)
        if run.series.period_min >= DAY_MIN:
            run.test(minute, value)
            if minute >= since:
                yield minute, judge_tests(run.at, "reef")
            continue
        course = run.read(minute, value)
        if minute >= since and is_due(course, run.probe):
            yield minute, judge_probe(run.at, run.probe, course)
