"""Inputs in whole turns: they stop before the next dose, and what runs; they end alone.

The carbonate of the scene is grouped with its calcium; doses come every hour from local
midnight on.
"""

from dataclasses import replace
from datetime import timedelta

from slackwater.facts.events import HoldRaised, HoldReleased
from slackwater.facts.limits import Switch
from slackwater.facts.messages import CounterSeen, Reading, StopPump, SwitchSeen
from slackwater.facts.reasons import Code
from slackwater.facts.safeguards import (
    BypassEnded,
    BypassGranted,
    ProbePutBack,
    ProbeTakenOut,
    TopOffSummed,
)
from slackwater.facts.sight import Inbox, see
from slackwater.facts.tank import Machine
from slackwater.gate.watches import looking
from slackwater.turn.step import turn
from tests.gate.scene import PROBE, dkh, machine, probed
from tests.gate.watched import PROBES, switch
from tests.turn.test_step import BOOT_S, START, Bench, shot

MINUTE = timedelta(minutes=1)
HOUR = timedelta(hours=1)
RETURN: Switch = switch("return-pump", "return", hold_at_least_s=600.0)
PH_LIMIT = 8.6


def wired(*switches: Switch) -> Machine:
    """The two pumps with switches."""
    return replace(machine(), switches={each.id: each for each in switches})


def acid() -> Machine:
    """The two pumps with a pH probe."""
    return replace(machine(), probes={"ph": PROBES["ph"]})


def say(bench: Bench, name: str, *, is_on: bool) -> None:
    """A switch speaks now."""
    boot_s = bench.now().boot_s
    bench.news.append(
        SwitchSeen(tank="reef", switch=name, is_on=is_on, heard_boot_s=boot_s)
    )


def show(bench: Bench, probe: str, value: float, parameter: str = "ph") -> None:
    """A probe shows a value of now."""
    bench.news.append(
        Reading(
            tank="reef", probe=probe, parameter=parameter, value=value, at=bench.utc
        )
    )


def keep_well(bench: Bench, span: timedelta, ph: float | None = None) -> None:
    """Each five minutes the return pump runs, and pH shows a value."""
    end = bench.utc + span
    while bench.utc < end:
        if "return" in bench.setup.machine.switches:
            say(bench, "return", is_on=True)
        if ph is not None:
            show(bench, "ph", ph + 0.01 * (bench.utc.minute // 5 % 2))
        bench.run_until(bench.utc + 5 * MINUTE)


def stops(bench: Bench) -> list[StopPump]:
    """What a turn of now would stop."""
    bench.hear_beat()
    done = turn(bench.now(), bench.state, Inbox(sight=bench.sight), bench.setup)
    return [effect for effect in done.effects if isinstance(effect, StopPump)]


def test_a_return_pump_that_stops_holds_every_dose() -> None:
    """Off at 0:59, so the doses of 1:00 to 3:00 do not begin; none comes later."""
    bench = Bench(wired(RETURN))
    keep_well(bench, 59 * MINUTE)
    given = len(list(bench.intents()))
    say(bench, "return", is_on=False)
    bench.run_until(START + 3 * HOUR)
    assert given == len(list(bench.intents()))
    keep_well(bench, 2 * HOUR)
    again = [i for i in bench.intents() if i.at > START + 3 * HOUR]
    assert again
    # Ten minutes of circulation first, and only what is still in its time.
    assert all(i.at >= START + 3 * HOUR + 10 * MINUTE for i in again)
    assert all(i.at <= i.dose.latest_at for i in again)


def test_a_word_that_was_taken_back_is_looked_at_for_itself_alone() -> None:
    """Off and on in one turn is a hold; what else is wrong has its own turn."""
    leak = switch("leak", "floor")
    bench = Bench(wired(RETURN, leak))
    wet = SwitchSeen(tank="reef", switch="floor", is_on=True, heard_boot_s=BOOT_S)
    see(bench.sight, wet)
    say(bench, "return", is_on=False)
    say(bench, "return", is_on=True)
    told = [
        [event.hold_id for event in bench.step() if isinstance(event, HoldRaised)]
        for _ in range(2)
    ]
    assert [["return-pump/return"], ["leak/floor"]] == told


def test_a_running_dose_is_stopped_when_the_return_pump_fails() -> None:
    """In the turn after the word, again each turn until it stands."""
    bench = Bench(wired(RETURN))
    bench.answers = False
    say(bench, "return", is_on=True)
    bench.hear_beat()
    while bench.step():
        pass
    assert 1 == len(bench.state.open)
    assert [] == stops(bench)
    say(bench, "return", is_on=False)
    while bench.step():
        pass
    assert [StopPump(node="shelf", channel="a")] == stops(bench)


def test_a_bypassed_switch_stops_no_running_dose() -> None:
    """Somebody stands beside it and said so."""
    bench = Bench(wired(RETURN))
    bench.answers = False
    say(bench, "return", is_on=True)
    bench.hear_beat()
    while bench.step():
        pass
    bench.state.bypasses["return-pump"] = granted(bench, "return-pump")
    say(bench, "return", is_on=False)
    while bench.step():
        pass
    assert [] == stops(bench)


def granted(bench: Bench, interlock: str) -> BypassGranted:
    """An hour without an interlock."""
    now = bench.now()
    return BypassGranted(
        at=now.utc,
        boot_s=now.boot_s,
        proven_ms=10**9,
        interlock=interlock,
        scope="all",
        until=now.utc + HOUR,
        why="test",
        by="keeper",
    )


def test_a_calibration_runs_while_the_return_pump_is_off() -> None:
    """The cylinder is not the water."""
    bench = Bench(wired(RETURN))
    bench.utc = START - 30 * MINUTE
    bench.sight.scanned_until = bench.utc
    bench.state.requests["shot-1"] = shot(bench.utc + 20 * MINUTE)
    say(bench, "return", is_on=False)
    bench.run_until(START - 25 * MINUTE)
    assert ["shot-1"] == [intent.dose.id for intent in bench.intents()]


def test_a_leak_that_is_taken_back_within_a_turn_latches_all_the_same() -> None:
    """A drop on the contact: on and off come in one inbox, and no dose runs then."""
    bench = Bench(wired(switch("leak", "floor")))
    bench.utc = START + 30 * MINUTE
    say(bench, "floor", is_on=True)
    say(bench, "floor", is_on=False)
    bench.run_until(START + 3 * HOUR)
    assert ["leak/floor"] == list(bench.state.holds)
    assert [] == [i for i in bench.intents() if i.at > START + 30 * MINUTE]


def test_a_button_that_is_pressed_and_let_go_at_once_holds_for_its_time() -> None:
    """Feeding for ten minutes, however short the press was."""
    feeding = switch("feeding", "button", period_s=0.0, hold_at_least_s=600.0)
    bench = Bench(wired(feeding))
    bench.utc = START + 30 * MINUTE
    say(bench, "button", is_on=True)
    say(bench, "button", is_on=False)
    bench.run_until(START + HOUR)
    (raised,) = [e for e in bench.events if isinstance(e, HoldRaised)]
    (ended,) = [e for e in bench.events if isinstance(e, HoldReleased)]
    assert "feeding/button" == raised.hold_id == ended.hold_id
    assert timedelta(minutes=10) == ended.at - raised.at


def test_h51_a_high_ph_that_comes_together_with_a_good_one_stops() -> None:
    """Both in one inbox, a minute apart by their times."""
    bench = Bench(acid())
    keep_well(bench, 55 * MINUTE, ph=8.2)
    show(bench, "ph", PH_LIMIT + 0.01)
    bench.utc += MINUTE
    show(bench, "ph", 8.2)
    bench.run_until(START + HOUR)
    assert {"ph-hydroxide/reef", "ph-carbonate/reef"} == set(bench.state.holds)


def test_h51_one_reading_of_ph_stops_before_the_next_dose() -> None:
    """Carbonate and what is paired with it, within the turn that hears it."""
    bench = Bench(acid())
    keep_well(bench, 55 * MINUTE, ph=8.2)
    given = len(list(bench.intents()))
    assert given
    show(bench, "ph", PH_LIMIT + 0.01)
    bench.run_until(START + 2 * HOUR)
    assert given == len(list(bench.intents()))
    raised = [e for e in bench.events if isinstance(e, HoldRaised)]
    assert ["ph-hydroxide/reef", "ph-carbonate/reef"] == [e.hold_id for e in raised]


def test_h51_the_doses_go_on_when_ph_was_calm_for_its_time() -> None:
    """The entry says who ended it; the missed doses stay missed."""
    bench = Bench(acid())
    keep_well(bench, 55 * MINUTE, ph=8.2)
    show(bench, "ph", PH_LIMIT + 0.01)
    bench.run_until(START + HOUR)
    keep_well(bench, 2 * HOUR, ph=8.3)
    released = [e for e in bench.events if isinstance(e, HoldReleased)]
    assert {"daemon"} == {e.by for e in released}
    assert {} == bench.state.holds
    assert [i for i in bench.intents() if i.at > released[0].at]
    held = [i for i in bench.intents() if START + HOUR <= i.at < released[0].at]
    assert [] == held


def test_each_cause_is_one_entry_however_often_it_is_heard() -> None:
    """A probe that stays high for hours raises one hold (H63)."""
    bench = Bench(acid())
    keep_well(bench, 3 * HOUR, ph=8.55)
    raised = [e for e in bench.events if isinstance(e, HoldRaised)]
    assert ["ph-hydroxide/reef"] == [e.hold_id for e in raised]


def test_a_bypass_and_a_probe_come_back_with_an_entry() -> None:
    """At their ends, by the daemon, once."""
    bench = Bench(probed())
    bench.state.bypasses["leak"] = granted(bench, "leak")
    now = bench.now()
    bench.state.out_of_service["kh"] = ProbeTakenOut(
        at=now.utc,
        boot_s=now.boot_s,
        proven_ms=10**9,
        probe="kh",
        until=now.utc + 2 * HOUR,
        by="keeper",
    )
    bench.run_until(START + 3 * HOUR)
    ended = [e for e in bench.events if isinstance(e, BypassEnded | ProbePutBack)]
    assert [(HOUR, "daemon"), (2 * HOUR, "daemon")] == [
        (e.at - START, e.by) for e in ended
    ]
    assert ({}, {}) == (bench.state.bypasses, bench.state.out_of_service)


def test_h59_a_probe_out_of_service_raises_no_ceiling() -> None:
    """Whatever a dead probe shows; back in service it does."""
    bench = Bench(probed())
    now = bench.now()
    out = ProbeTakenOut(
        at=now.utc,
        boot_s=now.boot_s,
        proven_ms=10**9,
        probe="kh",
        until=now.utc + HOUR,
        by="keeper",
    )
    bench.state.out_of_service["kh"] = out
    show(bench, "kh", dkh(12.0), "alkalinity")
    bench.run_until(START + 30 * MINUTE)
    assert {} == bench.state.holds
    bench.run_until(START + HOUR + MINUTE)
    show(bench, "kh", dkh(12.0), "alkalinity")
    bench.run_until(START + HOUR + 2 * MINUTE)
    assert "alkalinity-ceiling/reef" in bench.state.holds


def test_h37_no_hold_ends_while_the_clock_is_in_doubt() -> None:
    """A day that only the wall clock saw makes no reading old."""
    bench = Bench(acid())
    keep_well(bench, 30 * MINUTE, ph=8.55)
    bench.jump_s = 200_000.0
    bench.run_until(bench.utc + HOUR)
    assert {"ph-hydroxide/reef", Code.CLOCK_JUMPED} <= set(bench.state.holds)
    assert [] == [e for e in bench.events if isinstance(e, HoldReleased)]


def test_top_off_is_summed_by_whole_days() -> None:
    """Two whole days after the one in which the counter was first heard."""
    counter = switch("top-off", "refill", unit_ul=1000, topic="t", pointer="")
    bench = Bench(wired(counter))
    for hours in range(0, 96, 12):
        now = bench.now()
        bench.news.append(
            CounterSeen(
                tank="reef",
                switch="refill",
                total_ul=hours * 1_000,
                at=now.utc,
                heard_boot_s=now.boot_s,
            )
        )
        bench.hear_beat()
        while bench.step() or bench.news:
            pass
        bench.utc += 12 * HOUR
    kept = [e for e in bench.events if isinstance(e, TopOffSummed)]
    assert [24_000] * len(kept) == [e.volume_ul for e in kept]
    assert len(kept) >= 2


def test_the_sums_of_a_counter_end_with_its_place_in_the_file() -> None:
    """What it counted before it was taken out is summed no more."""
    counter = switch("top-off", "refill", unit_ul=1000, topic="t", pointer="")
    kept = []
    for later in (wired(counter), machine()):
        bench = Bench(wired(counter))
        for days in range(3):
            now = bench.now()
            seen = CounterSeen(
                tank="reef",
                switch="refill",
                total_ul=days * 1_000,
                at=now.utc,
                heard_boot_s=now.boot_s,
            )
            see(bench.sight, seen)
            bench.utc += 24 * HOUR
        bench.setup = Bench(later).setup
        bench.hear_beat()
        kept.append([e for e in bench.step() if isinstance(e, TopOffSummed)])
    assert [[1_000, 1_000], []] == [[e.volume_ul for e in found] for found in kept]


def test_h46_nothing_is_dosed_while_a_return_pump_is_silent() -> None:
    """Whole doses within its grace of 25 minutes, none after it, whole ones again."""
    bench = Bench(wired(RETURN))
    keep_well(bench, 55 * MINUTE)
    last = bench.utc
    bench.run_until(last + 3 * HOUR)
    back = bench.utc
    keep_well(bench, 2 * HOUR)
    given = [i for i in bench.intents() if i.dose.pump == "carbonate"]
    grace = timedelta(seconds=RETURN.silent_s)
    assert [i for i in given if last < i.at <= last + grace]
    assert [] == [i for i in given if last + grace < i.at < back]
    again = [i for i in given if i.at >= back]
    assert {2000} == {i.command.ul for i in again}
    assert [] == [e for e in bench.events if isinstance(e, HoldRaised)]


def test_h48_a_silent_float_leaves_the_base() -> None:
    """After its grace; four fifths of an uptake of 1.4 dKH a day are 1.12.

    48 mL of 1.887 meq/mL in 200 L add 1.27 dKH a day: 88.2 % of it, 1764 uL of 2000.
    """
    bench = Bench(wired(switch("level", "float")))
    say(bench, "float", is_on=False)
    bench.run_until(START + 55 * MINUTE)
    last = bench.utc
    bench.run_until(last + 2 * HOUR)
    given = [i for i in bench.intents() if i.dose.pump == "carbonate"]
    assert {2000} == {i.command.ul for i in given if i.at <= START + 25 * MINUTE}
    assert {1764} == {i.command.ul for i in given if i.at > START + 30 * MINUTE}


def test_two_probes_of_one_turn_raise_one_hold() -> None:
    """Both above in the same inbox: one entry."""
    twin = replace(PROBES["ph"], id="ph2")
    bench = Bench(replace(machine(), probes={"ph": PROBES["ph"], "ph2": twin}))
    show(bench, "ph", 8.55)
    show(bench, "ph2", 8.56)
    bench.run_until(START + 2 * MINUTE)
    raised = [e.hold_id for e in bench.events if isinstance(e, HoldRaised)]
    assert ["ph-hydroxide/reef"] == raised


def test_an_alkalinity_probe_alone_is_looked_at_with_its_readings() -> None:
    """Its rows wait for news: between readings there is nothing to look at."""
    bench = Bench(replace(probed(), probes={"kh": PROBE}))
    watched = bench.setup.forces[0].rules.watched
    assert () == looking(watched["reef"])
