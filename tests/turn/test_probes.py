"""What readings do to doses: stop, shorten, never add (H50, H51, H54).

The limits of the scene: ceiling 9.7 dKH with a hysteresis of 0.2, floor 6.5, a climb or
a fall of 0.8 in a day, two probes 0.5 apart, three good readings over an hour.
"""

from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta
from itertools import product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from slackwater.facts.events import HoldRaised, HoldReleased, ReadingKept
from slackwater.facts.messages import Reading
from slackwater.facts.reasons import Code
from slackwater.facts.tank import Machine
from slackwater.facts.waters import WaterChanged
from tests.gate.scene import PROBE, dkh, machine, probed
from tests.turn.test_step import START, Bench

QUARTER = timedelta(minutes=15)
HOUR = timedelta(hours=1)
PLANNED_UL = 2000
HELD = "alkalinity-ceiling/reef"


def reading(bench: Bench, value: float, probe: str = "kh", age_min: float = 0) -> None:
    """Let a probe say a value in dKH."""
    bench.news.append(
        Reading(
            tank="reef",
            probe=probe,
            parameter="alkalinity",
            value=dkh(value),
            at=bench.utc - timedelta(minutes=age_min),
        )
    )


def follow(bench: Bench, values: Sequence[float], every: timedelta = QUARTER) -> None:
    """A reading and then the time to the next, again and again."""
    for value in values:
        reading(bench, value)
        end = bench.utc + every
        while bench.utc < end:
            bench.hear_beat()
            while bench.step() or bench.news:
                pass
            bench.utc += min(timedelta(minutes=1), end - bench.utc)


def quiet(count: int) -> list[float]:
    """A probe in water at 8 dKH, never the same twice."""
    return [8.0 + 0.02 * (n % 2) for n in range(count)]


def released(bench: Bench) -> list[timedelta]:
    """When ceiling holds ended, since the beginning."""
    return [
        event.at - START
        for event in bench.events
        if isinstance(event, HoldReleased) and event.hold_id == HELD
    ]


def test_h50_one_spike_stops_and_an_hour_of_good_readings_releases() -> None:
    """9.8 once at 1:00; good from 1:15 on; three good at 1:45, an hour at 2:15."""
    bench = Bench(probed())
    follow(bench, [*quiet(4), 9.8, *quiet(8)])
    assert [2.25 * HOUR] == released(bench)
    held = [i for i in bench.intents() if HOUR <= i.at - START < 2.25 * HOUR]
    assert [] == held
    assert [i for i in bench.intents() if i.at - START >= 2.25 * HOUR]


def test_h50_silence_ends_no_ceiling() -> None:
    """Good from 0:15 to 1:00, and then nothing: at 1:15 an hour of good would be up."""
    bench = Bench(probed())
    follow(bench, [9.8, *quiet(4)])
    end = bench.utc + 3 * HOUR
    while bench.utc < end:
        bench.hear_beat()
        while bench.step() or bench.news:
            pass
        bench.utc += timedelta(minutes=1)
    assert [] == released(bench)
    assert HELD in bench.state.holds
    follow(bench, quiet(1))
    assert HELD not in bench.state.holds


def test_h50_samples_twenty_seconds_apart_do_not_hurry_a_release() -> None:
    """A hundred good readings in half an hour are not an hour."""
    bench = Bench(probed())
    follow(bench, [9.8, 9.8], timedelta(seconds=20))
    first_good = bench.utc
    follow(bench, quiet(100), timedelta(seconds=20))
    assert [] == released(bench)
    follow(bench, quiet(200), timedelta(seconds=20))
    assert len(released(bench)) == 1
    assert released(bench)[0] >= first_good - START + HOUR
    assert 1 == len([e for e in bench.events if isinstance(e, HoldRaised)])


def test_h50_copies_of_one_reading_count_once() -> None:
    """Two good readings and twenty copies of the second are no three."""
    bench = Bench(probed())
    follow(bench, [9.8, 8.0])
    reading(bench, 8.02)
    copies = bench.news * 20
    bench.run_until(bench.utc + HOUR)
    bench.news.extend(copies)
    bench.run_until(bench.utc + HOUR)
    assert [] == released(bench)


def test_h50_a_second_spike_begins_the_wait_anew() -> None:
    """Good at 0:15, bad at 1:00, good from 1:15: nothing before 2:15."""
    bench = Bench(probed())
    follow(bench, [9.8, *quiet(3), 9.8, *quiet(8)])
    assert [2.25 * HOUR] == released(bench)


def test_h50_a_spike_that_comes_together_with_a_good_reading_stops() -> None:
    """A probe that was cut off sends both at once: the first was read all the same."""
    bench = Bench(probed())
    follow(bench, quiet(4))
    reading(bench, 9.8, age_min=5)
    reading(bench, 8.0)
    bench.run_until(bench.utc + HOUR)
    assert HELD in bench.state.holds
    assert [] == [i for i in bench.intents() if i.at - START >= HOUR]


def test_h50_a_spike_is_kept_and_so_is_what_came_after_it() -> None:
    """Of readings each quarter of an hour: 0:00, 0:30, the spike, and the next.

    Whoever looks at what was kept sees no level that has gone; every half hour again.
    """
    bench = Bench(probed())
    follow(bench, [*quiet(3), 9.8, *quiet(4)])
    kept = [event for event in bench.events if isinstance(event, ReadingKept)]
    quarters = [(event.taken_at - START) // QUARTER for event in kept]
    assert [0, 2, 3, 4, 6] == quarters
    assert dkh(9.8) == kept[2].value


def test_h48_a_spike_that_comes_out_of_order_is_refused() -> None:
    """It is older than what is known: it says nothing of the water of now."""
    bench = Bench(probed())
    follow(bench, quiet(4))
    reading(bench, 9.8, age_min=20)
    bench.run_until(bench.utc + QUARTER)
    assert {} == bench.state.holds


@pytest.mark.parametrize("low", [6.4, 4.0, 3.0])
def test_h50_one_spike_below_never_raises(low: float) -> None:
    """It shortens while it lasts; no dose is larger and none is added."""
    calm, spiked = Bench(probed()), Bench(probed())
    follow(calm, quiet(40))
    follow(spiked, [*quiet(8), low, *quiet(31)])
    assert {} == spiked.state.holds
    volumes = [
        {intent.dose.id: intent.command.ul for intent in bench.intents()}
        for bench in (calm, spiked)
    ]
    assert volumes[1].keys() <= volumes[0].keys()
    assert all(ul <= volumes[0][dose] for dose, ul in volumes[1].items())
    assert sum(volumes[1].values()) < sum(volumes[0].values())


@settings(max_examples=40, deadline=None)
@given(st.lists(st.floats(0.5, 9.7), min_size=1, max_size=40))
def test_h50_whatever_low_readings_come_no_dose_grows(values: list[float]) -> None:
    """Any course below the ceiling: each dose at most as planned, each once."""
    bench = Bench(probed())
    follow(bench, values)
    given_ul = [intent.command.ul for intent in bench.intents()]
    assert max(given_ul, default=0) <= PLANNED_UL
    assert len(given_ul) == len({intent.dose.id for intent in bench.intents()})


@pytest.mark.parametrize(("rise", "expected"), [(0.79, []), (0.81, ["latched"])])
def test_h51_a_climb_beyond_the_limit_latches(rise: float, expected: list[str]) -> None:
    """A step of the water, 0.01 dKH on either side; good readings release nothing."""
    bench = Bench(probed())
    follow(bench, [*quiet(8), *(value + rise for value in quiet(5)), *quiet(40)])
    holds = [event for event in bench.events if isinstance(event, HoldRaised)]
    assert expected == ["latched" if hold.latched else "not" for hold in holds]
    assert {Code.ALKALINITY_CLIMB} >= {hold.reason.code for hold in holds}
    assert len(holds) == len(bench.state.holds)


@pytest.mark.parametrize(
    ("ahead_min", "high", "expected"),
    [
        (120, 8.9, set()),
        (151, 8.9, {Code.ALKALINITY_CLIMB}),
        (120, 9.8, {Code.ALKALINITY_CEILING}),
    ],
)
def test_h51_a_climb_that_a_water_change_explains_holds_nothing(
    ahead_min: int, high: float, expected: set[Code]
) -> None:
    """Announced for two hours ahead, the new water comes just then.

    Half an hour early it is a climb as any other; the ceiling knows no change.
    """
    bench = Bench(probed())
    change = WaterChanged(
        at=bench.utc,
        boot_s=0.0,
        proven_ms=0,
        id="w-1",
        tank="reef",
        changed_at=bench.utc + timedelta(minutes=ahead_min),
        volume_ul=60_000_000,
        by="keeper",
        steps={"alkalinity": dkh(1.5)},
    )
    bench.state.changes[change.id] = change
    follow(bench, [*quiet(8), high, high, high])

    assert expected == {hold.reason.code for hold in bench.state.holds.values()}


@pytest.mark.parametrize(("fall", "expected"), [(0.77, 0), (0.83, 1)])
def test_h51_a_fall_shortens_and_holds_nothing(fall: float, expected: int) -> None:
    """The mirror of the climb: base instead of the plan, and no latch."""
    bench = Bench(probed())
    follow(bench, [*quiet(8), *(value - fall for value in quiet(8))])
    shortened = [i for i in bench.intents() if i.verdict == "shortened"]
    assert {} == bench.state.holds
    assert bool(expected) == bool(shortened)
    reasons = {reason.code for intent in shortened for reason in intent.reasons}
    assert reasons == ({Code.ALKALINITY_FALL} if expected else set())


STATES = ("high", "sound", "apart", "low", "stale", "missing", "frozen")
# What a probe in a state says now; the others say nothing that counts.
SAYS = {"high": 9.8, "sound": 8.0, "apart": 8.6, "low": 6.4}


def paired() -> Machine:
    """The scene with two alkalinity probes."""
    spare = replace(PROBE, id="spare")
    return replace(machine(), probes={"kh": PROBE, "spare": spare})


def put(bench: Bench, probe: str, state: str) -> None:
    """Bring one probe into a state, its newest word at the very beginning."""
    if state in SAYS:
        reading(bench, SAYS[state], probe)
    elif state == "stale":
        reading(bench, 8.0, probe, age_min=31)
    elif state == "frozen":
        for age in range(30, -1, -1):
            reading(bench, 8.0, probe, age_min=15 * age)


def expected_of(one: str, other: str) -> str:
    """The rule in words: 1 of 2 stops; without one clear voice the base is given."""
    if "high" in (one, other):
        return "held"
    voices = [SAYS[state] for state in (one, other) if state in SAYS]
    if not voices or min(voices) < 6.5 or max(voices) - min(voices) > 0.5:
        return "shortened"
    return "granted"


@pytest.mark.parametrize(("one", "other"), list(product(STATES, repeat=2)))
def test_h54_each_pair_of_probe_states(one: str, other: str) -> None:
    """49 pairs: either stops on excess, a contradiction or no voice gives the base."""
    bench = Bench(paired())
    put(bench, "kh", one)
    put(bench, "spare", other)
    bench.run_until(START + timedelta(minutes=2))
    verdicts = [intent.verdict for intent in bench.intents()]
    expected = expected_of(one, other)
    assert ([] if expected == "held" else [expected]) == verdicts
    assert (expected == "held") == (list(bench.state.holds) == [HELD])
    assert all(intent.command.ul <= PLANNED_UL for intent in bench.intents())
