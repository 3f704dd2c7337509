"""Switches that stop: return pump, level, leak, feeding, hands, skimmer, air, power.

Times are common practice, no source: return pump and level must be well for ten
minutes, feeding over for five, the others for one; a switch is silent after twice its
period and a grace, here 2 x 5 + 15 minutes.
"""

from dataclasses import replace

import pytest

from slackwater.facts.events import DoseIntended, HoldReleased
from slackwater.facts.limits import Role
from slackwater.facts.messages import SwitchSeen
from slackwater.facts.reasons import Code
from slackwater.facts.sight import see
from slackwater.facts.state import Flow, OpenDose
from slackwater.gate.interlocks import refusals
from tests.facts.diary import Diary, attempt
from tests.gate.watched import (
    LINES,
    MINUTE,
    Watched,
    switch,
    watched_machine,
)

STOPPING: tuple[Role, ...] = ("return-pump", "level", "leak", "feeding", "hands")
CARBON: tuple[Role, ...] = ("skimmer", "air")
WAITS_MIN: dict[Role, int] = {"return-pump": 10, "level": 10, "feeding": 5}
SILENT_MIN = 25


def with_switch(role: Role, *groups: tuple[str, ...], **changes: object) -> Watched:
    """The tank with one switch of a role, waiting as the file would have it."""
    wait_s = 60.0 * WAITS_MIN.get(role, 1)
    one = switch(role, role, hold_at_least_s=wait_s, **changes)
    return Watched(watched_machine(switches=(one,)), *groups)


def wrong(water: Watched, role: Role) -> None:
    """The switch says what it should not."""
    water.say(role, is_on=not water.at.machine.switches[role].normal_on)


def well(water: Watched, role: Role) -> None:
    """The switch says that all is well."""
    water.say(role, is_on=water.at.machine.switches[role].normal_on)


@pytest.mark.parametrize("role", [*STOPPING, *CARBON])
def test_a_switch_that_is_well_stops_nothing(role: Role) -> None:
    """Return pump, skimmer and air are on; the others off."""
    water = with_switch(role)
    assert (set(), {}, []) == (water.stopped, water.shares, water.holds)


@pytest.mark.parametrize("role", STOPPING)
def test_a_wrong_state_stops_every_dose_at_once(role: Role) -> None:
    """With one word; the hold carries the name of the switch, and its own age."""
    water = with_switch(role)
    wrong(water, role)
    assert set(LINES) == water.stopped
    assert [f"{role}/{role}"] == water.holds
    assert {"switch": role} == water.raised[0].reason.figures


@pytest.mark.parametrize("role", CARBON)
def test_without_skimmer_or_air_there_is_no_carbon(role: Role) -> None:
    """All else goes on; what is paired with carbon waits with it."""
    water = with_switch(role)
    wrong(water, role)
    assert {"food"} == water.stopped
    paired = with_switch(role, ("food", "iodine"))
    wrong(paired, role)
    assert {"food", "iodine"} == paired.stopped


@pytest.mark.parametrize("role", ["return-pump", "level", "feeding", "hands", "air"])
def test_a_hold_ends_when_all_was_well_for_its_time(role: Role) -> None:
    """One second before it stands, with it it ends; it is told once."""
    water = with_switch(role)
    wrong(water, role)
    water.pass_time(MINUTE)
    well(water, role)
    wait = WAITS_MIN.get(role, 1) * MINUTE
    water.pass_time(wait - MINUTE / 60)
    assert [f"{role}/{role}"] == water.holds
    water.pass_time(MINUTE / 60)
    assert [] == water.holds
    assert (1, 1) == (len(water.raised), len(water.released))


def test_a_flutter_begins_the_wait_anew() -> None:
    """Well, wrong for a moment, and well again: ten minutes from the last."""
    water = with_switch("return-pump")
    wrong(water, "return-pump")
    well(water, "return-pump")
    water.pass_time(9 * MINUTE)
    wrong(water, "return-pump")
    well(water, "return-pump")
    water.pass_time(9 * MINUTE)
    assert water.holds
    water.pass_time(MINUTE)
    assert [] == water.holds


def test_a_leak_waits_for_a_person() -> None:
    """Dry for a day releases nothing; a person's release does, once it is dry."""
    water = with_switch("leak")
    wrong(water, "leak")
    assert water.raised[0].latched
    water.pass_time(MINUTE)
    well(water, "leak")
    for _ in range(24 * 6):
        water.pass_time(10 * MINUTE)
        well(water, "leak")
    assert ["leak/leak"] == water.holds
    released = HoldReleased(**water.stamp, hold_id="leak/leak", by="keeper")
    water.write(released)
    assert [] == water.holds


def test_a_leak_that_is_still_wet_comes_back() -> None:
    """A release does not dry the floor."""
    water = with_switch("leak")
    wrong(water, "leak")
    water.write(HoldReleased(**water.stamp, hold_id="leak/leak", by="keeper"))
    assert ["leak/leak"] == water.holds
    assert 2 == len(water.raised)


def test_two_switches_of_a_role_stop_each_for_itself() -> None:
    """One of two is enough, and its hold ends by its own word."""
    two = (switch("level", "sump"), switch("level", "display"))
    water = Watched(watched_machine(switches=two))
    water.say("sump", is_on=True)
    assert (["level/sump"], set(LINES)) == (water.holds, water.stopped)
    water.pass_time(MINUTE)
    water.say("sump", is_on=False)
    water.pass_time(MINUTE)
    assert [] == water.holds


@pytest.mark.parametrize("role", [r for r in STOPPING if r != "return-pump"])
def test_h48_a_silent_switch_shortens_to_the_base_after_its_grace(role: Role) -> None:
    """At 25 minutes its word still counts; a second later only the base runs."""
    water = with_switch(role)
    water.pass_time(SILENT_MIN * MINUTE)
    assert {} == water.shares
    water.pass_time(MINUTE / 60)
    assert dict.fromkeys(LINES - {"raise"}, 80) | {"raise": 0} == water.shares
    assert set() == water.stopped
    well(water, role)
    assert {} == water.shares


def test_h46_circulation_that_is_watched_must_be_proven() -> None:
    """Silent beyond its grace: no dose into the water until it is heard again."""
    water = with_switch("return-pump")
    water.pass_time(SILENT_MIN * MINUTE)
    assert (set(), {}) == (water.stopped, water.shares)
    water.pass_time(MINUTE / 60)
    assert (set(LINES), {}, []) == (water.stopped, water.shares, water.holds)
    assert [Code.RETURN_UNKNOWN] == water.codes("soda")
    assert [] == refusals(
        water.at, replace(water.asked("soda"), kind="calibrate", line=None)
    )
    well(water, "return-pump")
    assert set() == water.stopped


@pytest.mark.parametrize("role", CARBON)
def test_h48_a_silent_skimmer_shortens_carbon_alone(role: Role) -> None:
    """Only what the switch watches is shortened."""
    water = with_switch(role)
    water.pass_time(SILENT_MIN * MINUTE + MINUTE)
    assert {"food": 80} == water.shares


def test_h48_a_switch_never_heard_counts_from_the_start() -> None:
    """Since the daemon took charge, not since the machine booted."""
    water = with_switch("return-pump")
    water.at.sight.switches.clear()
    water.at.sight.started_boot_s = water.at.now.boot_s - 60.0
    assert set() == water.stopped
    water.pass_time(24 * MINUTE)
    assert set() == water.stopped
    water.pass_time(MINUTE)
    assert "soda" in water.stopped


def test_a_wrong_word_that_grows_old_ends_nothing() -> None:
    """A pump that was off when its switch died stays off until somebody looks."""
    water = with_switch("return-pump")
    wrong(water, "return-pump")
    water.pass_time(60 * MINUTE)
    assert ["return-pump/return-pump"] == water.holds
    water.write(
        HoldReleased(**water.stamp, hold_id="return-pump/return-pump", by="keeper")
    )
    assert [] == water.holds
    assert [Code.RETURN_UNKNOWN] == water.codes("soda")


def test_a_button_that_speaks_when_pressed_is_never_silent() -> None:
    """Its last word counts for ever."""
    water = with_switch("feeding", period_s=0.0)
    water.pass_time(10_000 * MINUTE)
    assert ({}, set()) == (water.shares, water.stopped)
    water.say("feeding", is_on=True)
    water.pass_time(10_000 * MINUTE)
    assert set(LINES) == water.stopped


def test_a_switch_taken_out_of_the_file_ends_its_hold() -> None:
    """Nothing watches any more, so nothing holds."""
    water = with_switch("level")
    wrong(water, "level")
    water.at = replace(water.at, machine=replace(water.at.machine, switches={}))
    water.look()
    assert [] == water.holds


def test_h46_no_dose_runs_into_water_that_stands_still() -> None:
    """Solutions that must not meet stay apart: all of them wait for circulation."""
    water = with_switch("return-pump", ("soda", "calcium"))
    wrong(water, "return-pump")
    assert [Code.RETURN_OFF] == water.codes("soda")
    assert [Code.RETURN_OFF] == water.codes("calcium")
    assert [] == refusals(
        water.at, replace(water.asked("soda"), kind="calibrate", line=None)
    )


POWER = switch("power", "socket", pump="soda")


def powered() -> Watched:
    """The soda pump's socket tells whether its motor draws power."""
    return Watched(watched_machine(switches=(POWER,)))


def test_h22_power_while_a_pump_rests_latches_that_pump() -> None:
    """A welded contact shows; the other pumps go on, and a person must look."""
    water = powered()
    water.say("socket", is_on=True)
    assert ({"soda"}, ["power/socket"]) == (water.stopped, water.holds)
    assert water.raised[0].latched
    water.say("socket", is_on=False)
    water.pass_time(24 * 60 * MINUTE)
    assert ["power/socket"] == water.holds


def test_h22_power_during_a_run_and_right_after_it_is_as_it_should_be() -> None:
    """Ten seconds beyond the last possible drop belong to the run."""
    water = powered()
    water.at.state.flows["soda"] = Flow(
        tank="reef", solution="soda", end_ms=water.at.proven_ms + 5_000
    )
    for _ in range(15):
        water.say("socket", is_on=True)
        assert [] == water.holds
        water.pass_time(MINUTE / 60)
    water.pass_time(MINUTE / 60)
    water.say("socket", is_on=True)
    assert ["power/socket"] == water.holds


def test_h22_an_open_run_may_draw_power() -> None:
    """Until it is settled nobody knows that the pump rests."""
    water = powered()
    diary = Diary()
    diary.intend(1, pump="soda")
    intent = next(e for e in diary.events if isinstance(e, DoseIntended))
    water.at.state.open[attempt(1)] = OpenDose(intent=intent)
    water.say("socket", is_on=True)
    assert [] == water.holds


def test_h22_the_run_of_another_pump_explains_no_power() -> None:
    """Only the pump that runs may draw."""
    water = powered()
    diary = Diary()
    diary.intend(1, pump="calcium")
    intent = next(e for e in diary.events if isinstance(e, DoseIntended))
    water.at.state.open[attempt(1)] = OpenDose(intent=intent)
    water.say("socket", is_on=True)
    assert ["power/socket"] == water.holds


def test_h22_an_old_word_of_a_run_is_no_power_at_rest() -> None:
    """What was heard before the run ended says nothing of the rest after it."""
    water = powered()
    water.at.state.flows["soda"] = Flow(
        tank="reef", solution="soda", end_ms=water.at.proven_ms
    )
    water.say("socket", is_on=True)
    water.pass_time(10 * MINUTE)
    assert [] == water.holds


def test_h22_a_level_that_changes_while_nothing_runs_stops_everything() -> None:
    """A siphon shows in the level; no dose is added to it."""
    water = with_switch("level")
    wrong(water, "level")
    assert set(LINES) == water.stopped


def test_a_word_of_an_unknown_switch_changes_nothing() -> None:
    """Only what is configured is looked at."""
    water = with_switch("level")
    see(
        water.at.sight,
        SwitchSeen(tank="reef", switch="x", is_on=True, heard_boot_s=10_000.0),
    )
    water.look()
    assert [] == water.holds
