"""Exchanges in whole turns: water out, water in, and whatever comes between.

Salinities are counted by a mass balance of their own: the salt that truly went out and
came in, in a tank whose top-off keeps its volume with fresh water.
"""

from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta

import pytest

from slackwater.facts.events import (
    Calibrated,
    HoldRaised,
    HoldReleased,
)
from slackwater.facts.exchanges import fill_of
from slackwater.facts.messages import CounterSeen, SwitchSeen
from slackwater.facts.reasons import Code
from slackwater.facts.waters import MeasurementKept, WaterChanged
from tests.gate.watched import switch
from tests.turn.pairs import (
    CONTENT_UL,
    NET_UL,
    PORTION_UL,
    Pair,
    lines,
    paired,
    plan_of,
)
from tests.turn.test_step import START

LITRE_UL = 1_000_000
NEW_WATER = 35.0
# What the issue of the pair was about: it must be found before salinity moves so far.
MOVES_ANIMALS = 0.3


class Salty(Pair):
    """A pair whose tank has a salinity: 35 at first, as the new water has."""

    def __init__(self) -> None:
        """6 L a day in 30 portions, by pumps that were calibrated well."""
        super().__init__(plan=plan_of(*lines(6 * LITRE_UL, 30)))
        self.salt = NET_UL * NEW_WATER
        self.pause_min = 2

    def _execute(self, command: object) -> None:
        before = dict(self.moved_ul)
        super()._execute(command)  # type: ignore[arg-type]  # as the bench calls it
        out_ul = self.moved_ul["a"] - before["a"]
        in_ul = self.moved_ul["b"] - before["b"]
        self.salt += in_ul * NEW_WATER - out_ul * self.salinity

    @property
    def salinity(self) -> float:
        """Once the top-off, or evaporation, has set the level right."""
        return self.salt / NET_UL


def reasons_held(pair: Pair) -> set[Code]:
    """Why the pair is held."""
    return {hold.reason.code for hold in pair.state.holds.values()}


def changes(pair: Pair) -> list[WaterChanged]:
    """The water changes that were booked."""
    return [event for event in pair.events if isinstance(event, WaterChanged)]


def held(pair: Pair) -> Iterator[HoldRaised]:
    """Holds that were raised."""
    return (event for event in pair.events if isinstance(event, HoldRaised))


def say(pair: Pair, name: str, *, is_on: bool) -> None:
    """A switch speaks now."""
    boot_s = pair.now().boot_s
    pair.news.append(
        SwitchSeen(tank="reef", switch=name, is_on=is_on, heard_boot_s=boot_s)
    )


def test_water_goes_out_and_comes_in_by_turns() -> None:
    """Ten portions out, ten in, each in after its own out, none twice."""
    pair = Pair()
    pair.until(24)
    assert [("a", PORTION_UL), ("b", PORTION_UL)] * 10 == pair.given()
    identities = [intent.dose.id for intent in pair.intents()]
    assert len(set(identities)) == len(identities)
    for out, back in zip(identities[::2], identities[1::2], strict=True):
        assert fill_of(out) == back


def test_each_exchange_is_a_water_change_of_its_batch() -> None:
    """Booked once, when the new water is in, with what its test showed."""
    pair = Pair()
    pair.until(24)
    booked = changes(pair)
    assert [PORTION_UL] * 10 == [change.volume_ul for change in booked]
    assert {("may-2", "reef", "daemon")} == {
        (change.batch, change.tank, change.by) for change in booked
    }
    assert {35.0} == {change.levels["salinity"] for change in booked}
    assert 10 == len({change.id for change in booked}) == len(pair.state.changes)


@pytest.mark.parametrize(
    ("out", "back", "reads_levels"),
    [
        (1.05, 1.0, False),
        (1.025, 0.975, True),
        pytest.param(1.0, 1.05, False, marks=pytest.mark.long),
        pytest.param(0.95, 1.0, True, marks=pytest.mark.long),
        pytest.param(1.05, 1.0, True, marks=pytest.mark.long),
        pytest.param(1.0, 1.05, True, marks=pytest.mark.long),
        pytest.param(0.95, 1.0, False, marks=pytest.mark.long),
        pytest.param(1.025, 0.975, False, marks=pytest.mark.long),
    ],
)
def test_a_mismatch_of_5_percent_is_found_before_salinity_moves(
    out: float, back: float, *, reads_levels: bool
) -> None:
    """Pumps that were calibrated perfectly and part since, wherever the fault is.

    Where nobody measures, the pair rests in time and the first levels then show it.
    """
    pair = Salty()
    for name in ("out", "in"):
        pair.tell(calibrated(pair, name))
    pair.factors = {"a": out, "b": back}
    for day in range(1, 13):
        pair.until(24, day=day - 1)
        if reads_levels and day % 3 == 0:
            pair.read_levels()
        if pair.state.holds:
            break
    assert abs(pair.salinity - NEW_WATER) < MOVES_ANIMALS
    if Code.EXCHANGE_UNPROVEN in reasons_held(pair):
        pair.read_levels()
        pair.run_until(pair.utc + timedelta(minutes=2))
    assert Code.EXCHANGE_OFF in reasons_held(pair)
    before = len(pair.commands)
    pair.run_until(pair.utc + timedelta(days=2))
    assert before == len(pair.commands)
    # 35 times the part of the tank that fresh water, or evaporation, made up for.
    off_ul = pair.moved_ul["a"] - pair.moved_ul["b"]
    assert NEW_WATER * (1 - off_ul / NET_UL) == pytest.approx(pair.salinity, abs=0.02)
    assert abs(pair.salinity - NEW_WATER) < MOVES_ANIMALS


def calibrated(pair: Pair, name: str) -> Calibrated:
    """A calibration that leaves nothing open, approved with the plan."""
    return Calibrated(
        **pair.stamp(),  # type: ignore[arg-type]  # the three clocks
        pump=name,
        rate_nl_per_s=16_666_667,
        cal="",
        shots=6,
        spread_percent=0.1,
        proofs=(),
        by="keeper",
        rate_interval_nl_per_s=(16_650_000, 16_683_334),
    )


def test_pumps_that_give_what_they_say_go_on_for_weeks() -> None:
    """With levels read each third day nothing holds, and salinity stands still."""
    pair = Salty()
    for name in ("out", "in"):
        pair.tell(calibrated(pair, name))
    for day in range(1, 10):
        pair.until(24, day=day - 1)
        if day % 3 == 0:
            pair.read_levels()
        if day % 6 == 0:
            pair.moved_ul = {"a": 0.0, "b": 0.0}
            for container in ("waste", "canister"):
                pair.tell(pair.filled(container, levels={"salinity": 35.0}))
    assert [] == list(held(pair))
    assert 8 * 60 <= len(pair.commands)
    assert NEW_WATER == pytest.approx(pair.salinity, abs=1e-9)


def test_pumps_that_part_from_belief_together_are_even() -> None:
    """Both give 5 % more: between two readings the pair waits, and latches nothing."""
    pair = Salty()
    for name in ("out", "in"):
        pair.tell(calibrated(pair, name))
    pair.factors = {"a": 1.05, "b": 1.05}
    pair.until(24, day=2)
    for reservoir, channel in (("waste", "a"), ("canister", "b")):
        left_ul = CONTENT_UL - round(pair.moved_ul[channel])
        pair.tell(pair.measured(reservoir, left_ul, 20_000))
        pair.run_until(pair.utc + timedelta(minutes=2))
        is_half_read = reservoir == "waste"
        assert is_half_read == (Code.EXCHANGE_UNPROVEN in reasons_held(pair))
    assert [False] == [hold.latched for hold in held(pair)]
    before = len(pair.commands)
    pair.until(24, day=3)
    assert before + 60 == len(pair.commands)
    assert NEW_WATER == pytest.approx(pair.salinity, abs=1e-9)


WATCHED = {
    "leak": (switch("leak", "floor"), True),
    "level": (switch("level", "float"), True),
    "return": (switch("return-pump", "motor"), False),
    "hands": (switch("hands", "button"), True),
}


@pytest.mark.parametrize("name", WATCHED)
def test_leak_level_return_and_hands_stop_both(name: str) -> None:
    """Neither pump begins while it lasts; one that runs is stopped."""
    of, wrong = WATCHED[name]
    pair = Pair(replace(paired(), switches={of.id: of}))
    pair.until(9.8)
    while pair.utc < START + timedelta(hours=12):
        say(pair, of.id, is_on=wrong)
        pair.run_until(pair.utc + timedelta(minutes=5))
    assert [] == pair.given()
    say(pair, of.id, is_on=not wrong)
    pair.run_until(pair.utc + timedelta(minutes=5))
    assert (name == "leak") == any(hold.latched for hold in pair.state.holds.values())


@pytest.mark.parametrize("name", ["leak", "level", "hands"])
def test_a_silent_switch_stops_drains(name: str) -> None:
    """What would stop an exchange is not heard: other doses shorten, this one waits."""
    of, _ = WATCHED[name]
    pair = Pair(replace(paired(), switches={of.id: of}))
    pair.until(24)
    assert [] == pair.given()


@pytest.mark.parametrize("container", ["canister", "waste"])
def test_new_water_low_or_waste_full_ends_both(container: str) -> None:
    """One litre is kept; the last drain is made up for all the same."""
    pair = Pair()
    left_ul = LITRE_UL + 3 * PORTION_UL + PORTION_UL // 2
    filled = pair.filled(container, levels={"salinity": 35.0})
    pair.tell(replace(filled, content_ul=left_ul))
    pair.until(24)
    assert [("a", PORTION_UL), ("b", PORTION_UL)] * 3 == pair.given()


def test_new_water_that_nobody_tested_is_not_given() -> None:
    """A fill without a test of its salinity, though the one before had one."""
    pair = Pair()
    pair.tell(pair.filled("canister", lot="june-1", levels={"alkalinity": 2.9}))
    pair.until(24)
    assert [] == pair.given()


def test_a_drain_that_took_less_is_made_up_for_by_no_more() -> None:
    """Half of it came: half goes in, and no more is drained to make up."""
    pair = Pair()
    pair.short["a"] = 0.5
    pair.until(11)
    assert [("a", PORTION_UL), ("b", PORTION_UL // 2)] == pair.given()[:2]
    fills = [one for one in pair.intents() if one.dose.pump == "in"]
    assert {Code.EXCHANGE_LESS} == {why.code for one in fills for why in one.reasons}
    assert PORTION_UL // 2 == changes(pair)[0].volume_ul


def test_a_drain_of_which_nobody_knows_stops_the_pair() -> None:
    """No word of it, and the node began anew: nothing is filled in, nothing drained."""
    pair = Pair()
    pair.silent.add("a")
    pair.until(10.1)
    seen = pair.sight.nodes["shelf"]
    assert [("a", PORTION_UL)] == pair.given()
    pair.sight.nodes["shelf"] = seen
    pair.lost = True
    pair.until(24)
    assert [("a", PORTION_UL)] == pair.given()
    assert Code.EXCHANGE_UNFILLED in reasons_held(pair)
    assert [] == changes(pair)


def test_a_fill_that_cannot_follow_stops_the_pair_until_a_person_says_so() -> None:
    """Its channel fails after the drain: one portion is missing, no second one."""
    pair = Pair()
    pair.until(10)
    while not pair.given():
        pair.run_until(pair.utc + timedelta(minutes=1))
    pair.faulty = {"b"}
    pair.run_until(START + timedelta(hours=24))
    assert [("a", PORTION_UL)] == pair.given()
    (hold,) = held(pair)
    assert (True, "pump/out", Code.EXCHANGE_UNFILLED) == (
        hold.latched,
        hold.scope,
        hold.reason.code,
    )
    pair.faulty = set()
    pair.tell(
        HoldReleased(
            **pair.stamp(),  # type: ignore[arg-type]  # the three clocks
            hold_id=hold.hold_id,
            by="keeper",
        )
    )
    pair.until(24, day=1)
    assert [("a", PORTION_UL), ("b", PORTION_UL)] * 10 == pair.given()[1:]


def test_top_off_water_that_came_meanwhile_counts_as_missing() -> None:
    """60 mL of fresh water with each portion: found when they come to the limit."""
    counter = switch("top-off", "counter", unit_ul=1000)
    pair = Pair(replace(paired(), switches={"counter": counter}))
    total_ul = 0
    while pair.utc < START + timedelta(hours=24):
        drained = len([one for one in pair.given() if one[0] == "a"])
        total_ul = 60_000 * drained
        pair.news.append(
            CounterSeen(
                tank="reef",
                switch="counter",
                total_ul=total_ul,
                at=pair.utc,
                heard_boot_s=pair.now().boot_s,
            )
        )
        pair.run_until(pair.utc + timedelta(minutes=3))
    assert 60_000 == changes(pair)[0].topped_ul
    assert reasons_held(pair) & {Code.EXCHANGE_OFF, Code.EXCHANGE_UNPROVEN}
    most = NET_UL * 2 // 1000
    assert sum(change.topped_ul for change in changes(pair)) <= most


def test_a_counter_that_begins_anew_counts_from_nothing() -> None:
    """It fell from 900 mL to 20 while a portion was on its way: 20 mL came at least."""
    counter = switch("top-off", "counter", unit_ul=1000)
    pair = Pair(replace(paired(), switches={"counter": counter}))
    pair.until(9.9)
    while not changes(pair):
        total_ul = 20_000 if pair.given() else 900_000
        pair.news.append(
            CounterSeen(
                tank="reef",
                switch="counter",
                total_ul=total_ul,
                at=pair.utc,
                heard_boot_s=pair.now().boot_s,
            )
        )
        pair.run_until(pair.utc + timedelta(minutes=1))
    assert 20_000 == changes(pair)[0].topped_ul


def test_a_change_foretells_how_far_it_moves_what_is_known_in_both_waters() -> None:
    """100 mL of 300 L at 33 into a tank at 35: 2 / 3000 down, each from the last."""
    pair = Pair()
    pair.tell(pair.filled("canister", levels={"salinity": 33.0, "calcium": 430.0}))
    pair.tell(
        MeasurementKept(
            **pair.stamp(),  # type: ignore[arg-type]  # the three clocks
            id="m-1",
            tank="reef",
            parameter="salinity",
            value=35.0,
            typed="35 PSU",
            taken_at=pair.utc,
            provenance="hand",
            by="keeper",
        )
    )
    pair.until(24)
    steps = [change.steps for change in changes(pair)]
    assert [{"salinity"}] * 10 == [set(one) for one in steps]
    share = PORTION_UL / NET_UL
    # C1 = C0 (1 - f) + Cn f, ten times.
    assert -2 * share == pytest.approx(steps[0]["salinity"])
    assert -2 * (1 - (1 - share) ** 10) == pytest.approx(
        sum(one["salinity"] for one in steps)
    )


def test_other_doses_go_on_beside_an_exchange() -> None:
    """A pump of no pair is neither asked nor booked."""
    made = paired()
    trace = replace(made.pumps["in"], id="trace", channel="b", reservoir="waste")
    machine = replace(made, pumps={**made.pumps, "trace": trace})
    out, back = lines()
    line = replace(out, id="trace", pump="trace", solution="new-water")
    pair = Pair(machine, plan_of(line, out, back))
    pair.until(24)
    assert 30 == len(pair.given())
    assert 10 == len(changes(pair))
    assert {"", "water/drain", "water/fill"} == {one.exchange for one in pair.intents()}
