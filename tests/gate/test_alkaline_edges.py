"""Rows of alkalinity one by one: whom they ask, and what they say to the last digit.

Values in meq/L that are exact in quarters meet a limit exactly; limits are common
practice, no source.
"""

from collections.abc import Callable, Iterable
from dataclasses import replace
from datetime import timedelta

import pytest

from slackwater.facts.judgements import SeriesJudged
from slackwater.facts.messages import Reading
from slackwater.facts.reasons import Code, Reason, because
from slackwater.facts.tank import Probe
from slackwater.gate import alkaline
from slackwater.gate.moment import Moment
from slackwater.gate.watch import Doubt
from tests.facts.safeguards import taken_out
from tests.gate.scene import GUARD, NOW, PROBE, PROVEN_MS, dkh, moment, probed
from tests.gate.test_alkalinity import SPARE, at_ages, thrice, with_probes
from tests.gate.test_climate import hand_test
from tests.gate.watched import DAY, Watched, watched_machine

Rows = Callable[[Moment, str], Iterable[Doubt]]
OUT = "spare"


def read(at: Moment, probe: str, *pairs: tuple[float, float]) -> Reading:
    """A probe showed these values in meq/L, so many minutes ago; gives the newest."""
    like = at_ages((0, 8.0), probe=probe)[0]
    series = [
        replace(like, value=value, at=NOW - timedelta(minutes=age))
        for age, value in sorted(pairs, reverse=True)
    ]
    at.sight.readings[probe] = series
    return series[-1]


def guarded(at: Moment, **changes: float) -> Moment:
    """The same with other limits of alkalinity."""
    guard = replace(GUARD, **changes)  # type: ignore[arg-type]  # numbers all
    return replace(at, machine=replace(at.machine, guards={"reef": guard}))


def told(rows: Rows, at: Moment) -> list[Reason]:
    """What one row doubts."""
    return [doubt.reason for doubt in rows(at, "reef")]


def out_of_service(at: Moment, probe: str) -> Moment:
    """Somebody took a probe out just now."""
    stamp = {"at": NOW, "boot_s": at.now.boot_s, "proven_ms": PROVEN_MS}
    at.state.out_of_service[probe] = taken_out(stamp, probe)  # type: ignore[arg-type]  # the three clocks
    return at


def test_a_probe_out_of_service_neither_climbs_nor_is_too_high() -> None:
    """In service it would be both; and without any limits nothing is."""
    at = with_probes(PROBE)
    at.sight.readings["kh"] = thrice((300, 8.0), (0, 12.0))
    news = at.sight.readings["kh"][-1]
    for hears in (alkaline.climb_hears, alkaline.ceiling_hears):
        assert 1 == len(list(hears(at, news)))
        bare = replace(at, machine=replace(at.machine, guards={}))
        assert [] == list(hears(bare, news))
    out_of_service(at, "kh")
    assert [] == list(alkaline.climb_hears(at, news))
    assert [] == list(alkaline.ceiling_hears(at, news))


def test_a_verdict_of_too_much_raises_the_hold_of_its_own_code() -> None:
    """And of no other."""
    code = Code.ALKALINITY_SWING_UP
    judged = SeriesJudged(
        at=NOW,
        boot_s=0.0,
        proven_ms=PROVEN_MS,
        tank="reef",
        source="probe/kh",
        verdict="swing-up",
        taken_at=NOW,
        reason=because(code),
        excess=True,
    )
    (seen,) = alkaline.verdict_hears(code)(moment(), judged)
    assert (f"{code}/alkalinity/reef", "alkalinity/reef") == (seen.hold_id, seen.scope)
    other = alkaline.verdict_hears(Code.ALKALINITY_DOSE_FAULT)
    assert [] == list(other(moment(), judged))


def test_a_verdict_that_tells_of_no_excess_shortens() -> None:
    """While it is of the last day."""
    at = moment(probed())
    at.state.judged["probe/kh"] = SeriesJudged(
        at=NOW,
        boot_s=0.0,
        proven_ms=PROVEN_MS,
        tank="reef",
        source="probe/kh",
        verdict="swing-down",
        taken_at=NOW,
        reason=because(Code.ALKALINITY_SWING_DOWN),
    )
    rows = alkaline.verdict_doubts("swing-down")
    assert [Code.ALKALINITY_SWING_DOWN] == [one.code for one in told(rows, at)]
    assert [] == told(alkaline.verdict_doubts("swing-up"), at)


@pytest.mark.parametrize(("value", "is_low"), [(2.25, False), (2.1756, True)])
def test_the_floor_itself_is_not_below_it(value: float, *, is_low: bool) -> None:
    """Although an old word of another probe was; told to three digits."""
    at = guarded(with_probes(PROBE, SPARE), floor=2.25)
    read(at, "kh", (0, value))
    read(at, "spare", (300, 1.5))
    found = [dict(reason.figures) for reason in told(alkaline.floor_doubts, at)]
    low = {"probe": "kh", "newest_meq_per_l": 2.176, "floor_meq_per_l": 2.25}
    assert ([low] if is_low else []) == found


def test_an_old_low_word_alone_is_no_low_alkalinity() -> None:
    """It is unknown, which another row says."""
    at = with_probes(PROBE)
    read(at, "kh", (119, 1.5))
    assert [] == told(alkaline.floor_doubts, at)
    (stale,) = told(alkaline.unknown_doubts, at)
    assert {"probe": "kh", "age_min": 119} == dict(stale.figures)


def test_an_age_is_that_of_the_newest_reading() -> None:
    """Of two, 95 and 130 minutes old."""
    at = with_probes(PROBE)
    read(at, "kh", (130, 2.8), (95, 2.9))
    (stale,) = told(alkaline.unknown_doubts, at)
    assert 95 == stale.figures["age_min"]


def test_a_word_that_had_to_be_refused_is_told_with_why() -> None:
    """Whatever it showed before."""
    at = with_probes(PROBE)
    read(at, "kh", (0, 2.8))
    at.sight.flawed["kh"] = "unit changed"
    (refused,) = told(alkaline.unknown_doubts, at)
    expected = {"probe": "kh", "why": "unit changed"}
    assert (Code.PROBE_REFUSED, expected) == (refused.code, refused.figures)


@pytest.mark.parametrize(("high", "apart"), [(3.25, None), (3.5126, 0.513)])
def test_two_probes_may_be_apart_by_the_spread_itself(
    high: float, apart: float | None
) -> None:
    """0.25 meq/L; what they are apart is told in thousandths."""
    at = guarded(with_probes(PROBE, SPARE), spread=0.25)
    read(at, "kh", (0, 3.0))
    read(at, "spare", (0, high))
    found = [one.figures["apart_meq_per_l"] for one in told(alkaline.spread_doubts, at)]
    assert ([] if apart is None else [apart]) == found


def stood_in(*probes: str, out: str = OUT, has_guard: bool = True) -> list[Doubt]:
    """What is doubted with a fresh hand test while a probe is out of service."""
    kept = [replace(PROBE, id=name) for name in probes]
    water = Watched(watched_machine(*kept))
    water.write(hand_test(water, "alkalinity", dkh(8.0)))
    at = out_of_service(water.at, out)
    if not has_guard:
        at = replace(at, machine=replace(at.machine, guards={}))
    return list(alkaline.stood_in_doubts(at, "reef"))


def test_a_hand_stands_in_for_all_probes_of_a_guarded_tank_alone() -> None:
    """Nothing is unknown then, for no time at all."""
    (doubt,) = stood_in(OUT)
    assert Code.PROBE_STOOD_IN is doubt.reason.code
    assert 0.0 == doubt.for_s
    assert [] == stood_in(OUT, has_guard=False)
    assert [] == stood_in(OUT, "kh")
    assert [] == stood_in(out="elsewhere")


@pytest.mark.parametrize(
    "rows",
    [
        alkaline.unknown_doubts,
        alkaline.floor_doubts,
        alkaline.spread_doubts,
        alkaline.fall_doubts,
        alkaline.out_doubts,
        alkaline.against_doubts,
    ],
)
def test_a_tank_without_limits_is_not_doubted(rows: Rows) -> None:
    """Whatever its probes show."""
    at = with_probes(PROBE, SPARE)
    read(at, "kh", (300, 4.0), (0, 1.0))
    at = replace(at, machine=replace(at.machine, guards={}))
    assert [] == told(rows, at)


def test_what_is_unknown_is_so_since_a_probe_was_heard() -> None:
    """Two days; the scope is that of alkalinity."""
    at = with_probes(PROBE)
    read(at, "kh", (2 * 1440, 2.8))
    (doubt,) = alkaline.unknown_doubts(at, "reef")
    assert (2 * DAY.total_seconds(), "alkalinity/reef") == (doubt.for_s, doubt.scope)


@pytest.mark.parametrize(("probes", "codes"), [((PROBE,), 1), ((), 0), ((SPARE,), 0)])
def test_a_probe_that_is_gone_is_doubted_no_more(
    probes: tuple[Probe, ...], codes: int
) -> None:
    """What was said of its series would shorten for good: no reading ends it."""
    at = with_probes(*probes)
    at.state.judged["probe/kh"] = SeriesJudged(
        at=NOW,
        boot_s=0.0,
        proven_ms=PROVEN_MS,
        tank="reef",
        source="probe/kh",
        verdict="probe-fault",
        taken_at=NOW - timedelta(days=40),
        reason=because(Code.ALKALINITY_PROBE_FAULT, source="probe/kh"),
    )
    rows = alkaline.verdict_doubts("probe-fault")
    assert codes == len(told(rows, at))
