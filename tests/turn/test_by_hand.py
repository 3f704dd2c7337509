"""Doses asked for by hand: through the same gate, caps and ledger (H55)."""

from dataclasses import replace
from datetime import datetime, timedelta

import pytest

from slackwater.facts.events import (
    DoseHeld,
    DoseMissed,
    HoldRaised,
    RequestTakenBack,
    ShotRequested,
)
from slackwater.facts.fold import fold
from slackwater.facts.messages import StopPump
from slackwater.facts.reasons import Code, because
from slackwater.facts.tank import Machine
from tests.gate.scene import machine
from tests.turn.test_step import BOOT_S, START, Bench

SOON = START - timedelta(minutes=30)


def roomy(per_hand_ul: int = 5000, **caps: int) -> Machine:
    """The scene's machine; its carbonate pump may give so much by hand."""
    base = machine()
    pump = replace(base.pumps["carbonate"], per_hand_ul=per_hand_ul, **caps)  # type: ignore[arg-type]  # whole numbers
    return replace(base, pumps={**base.pumps, "carbonate": pump})


def asked(name: str, volume_ul: int, until: datetime) -> ShotRequested:
    """A dose of carbonate that a person asked for."""
    return ShotRequested(
        at=SOON,
        boot_s=BOOT_S,
        proven_ms=10**9,
        request=name,
        pump="carbonate",
        volume_ul=volume_ul,
        until=until,
        by="keeper",
        purpose="manual",
        why="a test was low",
    )


def primed(name: str, volume_ul: int) -> ShotRequested:
    """A hose to be filled with its outlet out of the water."""
    wanted = asked(name, volume_ul, SOON + timedelta(minutes=25))
    return replace(wanted, purpose="prime", why="prime, outlet out of the water")


def bench(base: Machine, *volumes_ul: int) -> Bench:
    """Half an hour before the plan's first dose, with these doses asked for."""
    made = Bench(base)
    made.utc = made.sight.scanned_until = SOON
    assert made.state.mark is not None
    made.state.mark.utc, made.state.mark.boot_s = SOON, made.now().boot_s
    for number, volume_ul in enumerate(volumes_ul, start=1):
        name = f"hand-{number}"
        made.state.requests[name] = asked(name, volume_ul, SOON + timedelta(minutes=25))
    return made


def reasons(made: Bench) -> set[Code]:
    """Why doses by hand wait, or were missed."""
    held = {one.code for each in made.state.held.values() for one in each.reasons}
    missed = [event for event in made.events if isinstance(event, DoseMissed)]
    return held | {one.code for each in missed for one in each.reasons}


def test_h55_a_dose_by_hand_counts_everywhere() -> None:
    """It is in the water: against the pump, the effect, and what hands may give."""
    made = bench(roomy(), 2000)
    made.run_until(SOON + timedelta(minutes=2))
    (intent,) = made.intents()
    assert ("hand-1", "manual", True) == (
        intent.dose.id,
        intent.dose_kind,
        intent.in_water,
    )
    assert {"pump/carbonate", "effect/reef/alkalinity", "hand/carbonate"} == set(
        made.state.charges
    )
    assert 2000 == made.state.charges["hand/carbonate"].total


@pytest.mark.parametrize(("per_hand_ul", "given"), [(4000, 2), (3999, 1), (0, 0)])
def test_h55_all_doses_by_hand_of_a_day_have_one_small_cap(
    per_hand_ul: int, given: int
) -> None:
    """Twice 2 mL; a cap that is absent is nothing."""
    made = bench(roomy(per_hand_ul), 2000, 2000)
    made.run_until(SOON + timedelta(minutes=10))
    assert given == len(list(made.intents()))
    assert (given < 2) == (Code.CAP_BY_HAND in reasons(made))


@pytest.mark.parametrize(
    ("caps", "code"),
    [({"per_dose_ul": 1999}, Code.CAP_DOSE), ({"per_day_ul": 1999}, Code.CAP_DAY)],
)
def test_h55_the_caps_of_the_pump_hold_for_hands_too(
    caps: dict[str, int], code: Code
) -> None:
    """What hands may give never reaches beyond what the pump may."""
    made = bench(roomy(**caps), 2000)
    made.run_until(SOON + timedelta(minutes=2))
    assert [] == list(made.intents())
    assert code in reasons(made)


@pytest.mark.parametrize("scope", ["all", "pump/carbonate", "alkalinity/reef"])
def test_h55_what_holds_the_plan_holds_a_dose_by_hand(scope: str) -> None:
    """A hold on the pump, on everything, on what adds alkalinity."""
    made = bench(roomy(), 2000)
    made.state.holds["h"] = HoldRaised(
        at=SOON,
        boot_s=BOOT_S,
        proven_ms=10**9,
        hold_id="h",
        scope=scope,
        reason=because(Code.MANUAL_HOLD),
        latched=True,
    )
    made.run_until(SOON + timedelta(minutes=2))
    assert [] == list(made.intents())
    assert Code.MANUAL_HOLD in reasons(made)


@pytest.mark.parametrize(
    ("scope", "expected"),
    [("all", 1), ("pump/carbonate", 1), ("corrections/reef", 1), ("pump/calcium", 0)],
)
def test_h55_a_dose_by_hand_that_runs_is_stopped_as_a_correction_is(
    scope: str, expected: int
) -> None:
    """By whatever reaches it by now; what reaches another pump lets it run."""
    made = bench(roomy(), 2000)
    made.answers = False
    made.hear_beat()
    made.step()
    (intent,) = made.intents()
    assert "manual" == intent.dose_kind
    assert [] == stops(made)
    made.state.holds["h"] = HoldRaised(
        at=SOON,
        boot_s=BOOT_S,
        proven_ms=10**9,
        hold_id="h",
        scope=scope,
        reason=because(Code.MANUAL_HOLD),
        latched=True,
    )
    assert ["a"] * expected == stops(made)


def stops(made: Bench) -> list[str]:
    """The channels that a turn at this moment would stop."""
    found = [one for one in made.effects_now() if isinstance(one, StopPump)]
    return [stop.channel for stop in found]


def test_why_it_waits_is_told_again_when_it_is_another_reason() -> None:
    """A pause that ended is no reason any more; the same one is told once."""
    made = bench(roomy(), 2000)
    for minutes, code in ((2, Code.PAUSE), (4, Code.PAUSE), (6, Code.LEAK)):
        made.state.holds["h"] = HoldRaised(
            at=SOON,
            boot_s=BOOT_S,
            proven_ms=10**9,
            hold_id="h",
            scope="pump/carbonate",
            reason=because(code),
            latched=True,
        )
        made.run_until(SOON + timedelta(minutes=minutes))
    told = [event for event in made.events if isinstance(event, DoseHeld)]
    assert [[Code.PAUSE], [Code.LEAK]] == [
        [reason.code for reason in each.reasons] for each in told
    ]
    assert {Code.LEAK} == reasons(made)


def test_h55_without_an_approval_nothing_is_given_by_hand() -> None:
    """An approval that was withdrawn is none."""
    made = bench(roomy(), 2000)
    made.state.withdrawn.append(1)
    made.run_until(SOON + timedelta(minutes=2))
    assert [] == list(made.intents())
    assert Code.NO_PLAN in reasons(made)


def test_h55_a_dose_by_hand_that_waited_too_long_is_missed() -> None:
    """After its half hour it is on record as missed, and never given."""
    made = bench(roomy(), 2000)
    made.answers = False
    made.state.requests["hand-1"] = asked("hand-1", 2000, SOON - timedelta(seconds=1))
    made.run_until(SOON + timedelta(minutes=2))
    assert [] == list(made.intents())
    assert {Code.REQUEST_EXPIRED} == reasons(made)


@pytest.mark.parametrize("is_held", [False, True])
def test_h55_what_was_taken_back_is_not_begun(*, is_held: bool) -> None:
    """Of two that wait the other one runs; nothing more is said of the first."""
    made = bench(roomy(), 2000, 1500)
    if is_held:
        held = because(Code.GAP_SAME_PUMP)
        made.state.held["hand-1"] = DoseHeld(
            at=SOON,
            boot_s=BOOT_S,
            proven_ms=10**9,
            dose_id="hand-1",
            pump="carbonate",
            reasons=(held,),
        )
    taken = RequestTakenBack(
        at=SOON,
        boot_s=made.now().boot_s,
        proven_ms=10**9,
        request="hand-1",
        pump="carbonate",
        volume_ul=2000,
        by="keeper",
    )
    fold(made.state, taken)
    made.run_until(SOON + timedelta(minutes=26))
    assert ["hand-2"] == [intent.dose.id for intent in made.intents()]
    told = [e for e in made.events if isinstance(e, DoseMissed | DoseHeld)]
    assert [] == told
    assert "hand-1" not in made.state.held


@pytest.mark.parametrize(
    ("per_priming_ul", "given"), [(4000, 2), (3999, 1), (1999, 0), (0, 0)]
)
def test_h56_priming_out_of_the_water_has_a_small_cap_of_its_own(
    per_priming_ul: int, given: int
) -> None:
    """Twice 2 mL in an hour, logged apart; the water's accounts stay empty."""
    made = bench(roomy(per_priming_ul=per_priming_ul))
    for name in ("hand-1", "hand-2"):
        made.state.requests[name] = primed(name, 2000)
    made.run_until(SOON + timedelta(minutes=10))
    intents = list(made.intents())
    assert given == len(intents)
    assert all(not intent.in_water and intent.effects == {} for intent in intents)
    assert ({"prime/carbonate"} if given else set()) == set(made.state.charges)
    assert (given < 2) == (Code.CAP_PRIMING in reasons(made))


def test_h56_priming_near_a_cap_of_the_water_is_told_apart() -> None:
    """A day cap used up: out of the water it runs, into the water it does not."""
    full = roomy(per_priming_ul=5000, per_day_ul=1999)
    out = bench(full)
    out.state.requests["hand-1"] = primed("hand-1", 2000)
    out.run_until(SOON + timedelta(minutes=2))
    into = bench(full, 2000)
    into.run_until(SOON + timedelta(minutes=2))
    assert (1, 0) == (len(list(out.intents())), len(list(into.intents())))


def test_h56_priming_keeps_the_gap_of_its_pump() -> None:
    """The second run waits until the first has surely ended and rested."""
    made = bench(roomy(per_priming_ul=5000))
    for name in ("hand-1", "hand-2"):
        made.state.requests[name] = primed(name, 1000)
    made.run_until(SOON + timedelta(minutes=10))
    first, second = made.intents()
    rest_ms = 1000 * made.setup.machine.timing.same_pump_gap_s
    assert second.proven_ms - first.proven_ms >= rest_ms
