"""pH at its thresholds: hydroxide above 8.50, carbonate above 8.60, and how it rises.

The limits are common practice, no source. Defaults: back by 0.05, three good readings
over an hour; 0.2 an hour of half-hour medians; 0.1 within 15 minutes of a dose.
"""

from dataclasses import replace
from datetime import timedelta

import pytest

from slackwater.facts.limits import WaterLimits
from slackwater.facts.reasons import Code
from slackwater.facts.safeguards import ProbeTakenOut
from slackwater.facts.state import Flow
from slackwater.facts.waters import MeasurementKept
from slackwater.gate.interlocks import refusals
from tests.gate.watched import (
    HOUR,
    LINES,
    MINUTE,
    PROBES,
    RAISING,
    Watched,
    watched_machine,
)

PAIR = (PROBES["ph"], replace(PROBES["ph"], id="ph2"))


def tank(*groups: tuple[str, ...], limits: WaterLimits | None = None) -> Watched:
    """The tank with one pH probe."""
    return Watched(watched_machine("ph", limits=limits), *groups)


def test_calm_water_stops_nothing() -> None:
    """At pH 8.2 there is no hold."""
    calm = tank()
    assert (set(), {}, []) == (calm.stopped, calm.shares, calm.holds)


@pytest.mark.parametrize(
    ("ph", "stopped"),
    [
        (8.50, set()),
        (8.51, {"lye"}),
        (8.60, {"lye"}),
        (8.61, {"lye", "soda"}),
        (9.40, {"lye", "soda"}),
    ],
)
def test_one_reading_at_the_threshold(ph: float, stopped: set[str]) -> None:
    """At the limit nothing, one hundredth above it stops; bicarbonate never."""
    water = tank()
    water.pass_time(MINUTE)
    water.read("ph", ph)
    assert stopped == water.stopped
    assert {} == water.shares


@pytest.mark.parametrize(("ph", "ends"), [(8.45, True), (8.46, False)])
def test_a_hold_on_hydroxide_ends_at_the_hysteresis(ph: float, *, ends: bool) -> None:
    """8.45 for an hour ends it, 8.46 does not (the scene dithers downwards)."""
    water = tank()
    water.pass_time(MINUTE)
    water.read("ph", 8.55)
    water.read_for(2 * HOUR, ph=ph)
    assert ends == (water.stopped == set())


def test_a_hold_lasts_an_hour_of_good_readings() -> None:
    """Good from 5 minutes on: still held at 60, free at 65."""
    water = tank()
    water.pass_time(MINUTE)
    water.read("ph", 8.55)
    water.read_for(HOUR, ph=8.3)
    assert {"lye"} == water.stopped
    water.read_for(5 * MINUTE, ph=8.3)
    assert set() == water.stopped
    assert 1 == len(water.raised) == len(water.released)


def test_a_hold_needs_enough_good_readings() -> None:
    """Two readings over an hour are not three."""
    water = tank()
    water.pass_time(MINUTE)
    water.read("ph", 8.55)
    water.pass_time(5 * MINUTE)
    water.read("ph", 8.3)
    water.pass_time(HOUR)
    water.read("ph", 8.31)
    assert ["ph-hydroxide/reef"] == water.holds
    water.pass_time(5 * MINUTE)
    water.read("ph", 8.3)
    assert [] == water.holds


def test_a_day_without_readings_ends_the_evidence() -> None:
    """Carbonate goes on then; hydroxide waits because nothing is known."""
    water = tank()
    water.pass_time(MINUTE)
    water.read("ph", 8.7)
    water.pass_time(24 * HOUR)
    assert {"lye", "soda"} == water.stopped
    water.pass_time(MINUTE)
    assert {"lye"} == water.stopped
    assert [Code.PH_UNKNOWN] == water.codes("lye")


def test_a_partner_waits_with_what_ph_holds() -> None:
    """Calcium that is paired with carbonate stops with it; unpaired it does not."""
    paired = tank(("soda", "calcium"))
    paired.pass_time(MINUTE)
    paired.read("ph", 8.7)
    assert {"lye", "soda", "calcium"} == paired.stopped
    assert [Code.GROUP] == paired.codes("calcium")


def test_h54_either_probe_may_stop_and_both_must_calm() -> None:
    """One of two above is enough; the other's good readings release nothing."""
    water = Watched(watched_machine(*PAIR))
    water.pass_time(MINUTE)
    water.read("ph", 8.4)
    water.read("ph2", 8.55)
    assert {"lye"} == water.stopped
    water.read_for(2 * HOUR, ph=8.3, ph2=8.48)
    assert ["ph-hydroxide/reef"] == water.holds
    water.read_for(2 * HOUR, ph=8.3, ph2=8.4)
    assert [] == water.holds


@pytest.mark.parametrize(("other", "stopped"), [(8.40, set()), (8.41, {"lye"})])
def test_h54_probes_that_disagree_stop_hydroxide_only(
    other: float, stopped: set[str]
) -> None:
    """0.2 apart is agreement, more is not; nothing is shortened by it."""
    water = Watched(watched_machine(*PAIR))
    water.pass_time(MINUTE)
    water.read("ph", 8.2)
    water.read("ph2", other)
    assert (stopped, {}) == (water.stopped, water.shares)


@pytest.mark.parametrize(
    ("minutes", "stopped"), [(10.0, set()), (10.1, {"lye"}), (600.0, {"lye"})]
)
def test_h48_an_old_ph_stops_hydroxide_only(minutes: float, stopped: set[str]) -> None:
    """Twice the period of five minutes; carbonate and all else go on in full."""
    water = tank()
    water.pass_time(minutes * MINUTE)
    assert (stopped, {}) == (water.stopped, water.shares)


def test_h48_a_ph_that_was_never_heard_stops_hydroxide_only() -> None:
    """A probe that is configured and silent from the start."""
    water = tank()
    water.at.sight.readings.clear()
    assert [Code.PH_UNKNOWN] == water.codes("lye")
    assert {"lye"} == water.stopped


def test_h53_a_refused_reading_stops_hydroxide_until_a_good_one() -> None:
    """The reading before it is no longer the newest word."""
    water = tank()
    water.pass_time(MINUTE)
    water.spoil("ph")
    assert {"lye"} == water.stopped
    water.pass_time(MINUTE)
    water.read("ph", 8.2)
    assert set() == water.stopped


def test_h49_a_frozen_ph_stops_hydroxide_only() -> None:
    """Six hours of one value; a minute less is not long enough to tell."""
    water = tank()
    for _ in range(12 * 6):
        water.pass_time(5 * MINUTE)
        water.read("ph", 8.33)
    assert set() == water.stopped
    water.pass_time(5 * MINUTE)
    water.read("ph", 8.33)
    assert ({"lye"}, {}) == (water.stopped, water.shares)
    assert {"frozen"} == {
        str(reason.figures["doubt"]).removeprefix("probe-")
        for reason in water.reasons("lye")
    }


@pytest.mark.parametrize(("rise", "held"), [(0.195, False), (0.21, True), (0.5, True)])
def test_a_rise_within_an_hour_stops_what_raises(rise: float, *, held: bool) -> None:
    """Half-hour medians 0.2 apart in an hour; bicarbonate and all else go on."""
    water = tank()
    water.read_for(2 * HOUR, ph=8.0)
    water.read_for(35 * MINUTE, ph=8.0 + rise / 2)
    water.read_for(35 * MINUTE, ph=8.0 + rise)
    assert (RAISING if held else set()) == water.stopped
    assert (["ph-rise/reef"] if held else []) == water.holds


def test_one_high_reading_is_no_rise() -> None:
    """A median of half an hour does not follow a single value."""
    water = tank()
    water.read_for(2 * HOUR, ph=8.0)
    water.pass_time(5 * MINUTE)
    water.read("ph", 8.45)
    water.read_for(10 * MINUTE, ph=8.0)
    assert [] == water.holds


def test_a_rise_ends_an_hour_after_it_began_and_calm() -> None:
    """Not before the hour, nor while it still rises by more than 0.15."""
    water = tank()
    water.read_for(2 * HOUR, ph=7.9)
    water.read_for(30 * MINUTE, ph=8.2)
    begun = water.raised[0].at
    water.read_for(begun + HOUR - water.at.now.utc - MINUTE, ph=8.2)
    water.read_for(2 * HOUR, ph=8.2)
    assert ([], 1) == (water.holds, len(water.released))
    assert water.released[0].at - begun >= HOUR


def flowed(water: Watched, pump: str, ago: timedelta) -> None:
    """The last run of a pump that ended so long ago."""
    ago_ms = int(ago / timedelta(milliseconds=1))
    water.at.state.flows[pump] = Flow(
        tank="reef", solution=pump, end_ms=water.at.proven_ms - ago_ms
    )


@pytest.mark.parametrize(
    ("pump", "rise", "ago", "held"),
    [
        ("lye", 0.10, 5, False),
        ("lye", 0.11, 5, True),
        ("soda", 0.11, 15, True),
        ("soda", 0.11, 16, False),
        ("mild", 0.30, 5, False),
        ("calcium", 0.30, 5, False),
    ],
)
def test_a_jump_after_an_own_dose_stops_what_raises(
    pump: str, rise: float, ago: int, *, held: bool
) -> None:
    """More than 0.1 within a quarter of an hour of a run that can raise pH."""
    water = tank()
    water.read_for(2 * HOUR, ph=8.0)
    water.pass_time(MINUTE)
    water.read("ph", 8.0)
    water.pass_time(3 * MINUTE)
    flowed(water, pump, timedelta())
    water.pass_time(ago * MINUTE)
    water.read("ph", 8.0 + rise)
    assert (["ph-jump/reef"] if held else []) == water.holds
    assert (RAISING if held else set()) == water.stopped


def test_a_jump_without_a_reading_before_is_none() -> None:
    """Nothing was read within half an hour before the run."""
    water = tank()
    water.pass_time(HOUR)
    flowed(water, "lye", timedelta())
    water.pass_time(5 * MINUTE)
    water.read("ph", 8.45)
    assert [] == water.holds


def test_a_jump_is_over_after_the_least_time() -> None:
    """An hour by default; the next dose is judged by itself."""
    water = tank()
    water.read_for(HOUR, ph=8.0)
    water.pass_time(3 * MINUTE)
    flowed(water, "lye", timedelta())
    water.pass_time(5 * MINUTE)
    water.read("ph", 8.2)
    water.read_for(55 * MINUTE, ph=8.2)
    assert "ph-jump/reef" in water.holds
    water.read_for(10 * MINUTE, ph=8.2)
    assert "ph-jump/reef" not in water.holds


def test_the_limits_of_the_file_count() -> None:
    """8.30 for hydroxide, 8.40 for carbonate, one good reading for a minute."""
    own = WaterLimits(
        ph_hydroxide=8.3, ph_carbonate=8.4, good_readings=1, hold_at_least_s=60.0
    )
    water = tank(limits=own)
    water.pass_time(MINUTE)
    water.read("ph", 8.35)
    assert {"lye"} == water.stopped
    water.pass_time(MINUTE)
    water.read("ph", 8.2)
    assert {"lye"} == water.stopped
    water.pass_time(MINUTE)
    assert set() == water.stopped


def test_h59_a_probe_out_of_service_needs_a_hand_test() -> None:
    """Without one within 48 h hydroxide waits; what the dead probe said is ignored."""
    water = tank()
    water.pass_time(MINUTE)
    water.read("ph", 9.3)
    assert {"lye", "soda"} == water.stopped
    out = ProbeTakenOut(
        **water.stamp, probe="ph", until=water.at.now.utc + 72 * HOUR, by="keeper"
    )
    water.write(out)
    assert {"lye"} == water.stopped
    tested = MeasurementKept(
        **water.stamp,
        id="m-1",
        tank="reef",
        parameter="ph",
        value=8.2,
        typed="8.2",
        taken_at=water.at.now.utc,
        provenance="hand",
        by="keeper",
    )
    water.write(tested)
    assert set() == water.stopped
    water.pass_time(48 * HOUR + MINUTE)
    assert {"lye"} == water.stopped
    water.pass_time(24 * HOUR)
    assert [Code.PH_UNKNOWN] == water.codes("lye")
    assert {} == water.at.state.out_of_service


def test_nothing_of_ph_reaches_a_shot() -> None:
    """The cylinder is not the water."""
    water = tank()
    water.pass_time(MINUTE)
    water.read("ph", 9.3)
    shot = replace(water.asked("lye"), kind="calibrate", line=None)
    assert [] == refusals(water.at, shot)
    assert LINES > water.stopped
