"""Figures that the machine's file could say better."""

from dataclasses import replace
from datetime import timedelta

import pytest

from slackwater.assessment.proposal import Asked, propose
from slackwater.assessment.records import HALF_WIDTH_90, Assessment, UptakeFound
from slackwater.assessment.stating import (
    CapToState,
    UptakeToState,
    caps_to_state,
    uptakes_apart,
    uptakes_to_state,
)
from slackwater.facts.proposal import Ground, Proposal
from slackwater.facts.tank import AlkalinityGuard, EffectCap, Machine, Tank, Uptake
from tests.assessment.past import NOW
from tests.assessment.reefs import (
    DKH,
    TODAY,
    change,
    grounds,
    known,
    line,
    machine,
    per_day,
    plan,
)

SD = 0.02


def found_uptake(per_day_meq: float, **other: object) -> UptakeFound:
    """An uptake of alkalinity from ten tests in nine days."""
    given: dict[str, object] = {
        "parameter": "alkalinity",
        "per_day": per_day_meq,
        "sd_per_day": SD,
        "level": 2.9,
        "level_sd": 0.02,
        "at": NOW - timedelta(hours=1),
        "tests": 10,
        "span_days": 9.0,
        "provenance": "hand",
        "method": "drops",
        "enough": True,
    }
    return UptakeFound(**{**given, **other})  # type: ignore[arg-type]  # any field


def assessed(*uptakes: UptakeFound) -> Assessment:
    """An assessment that found these uptakes and nothing else."""
    return Assessment(
        tank="reef", at=NOW, uptakes={one.parameter: one for one in uptakes}
    )


def tank(estimate: float | None) -> Tank:
    """The tank with a stated uptake of alkalinity, meq/L a day."""
    made = machine().tanks["reef"]
    stated = {}
    if estimate is not None:
        low = per_day("alkalinity", estimate / 2)
        stated["alkalinity"] = Uptake(estimate=per_day("alkalinity", estimate), low=low)
    return Tank(id="reef", name="Reef", net_ul=made.net_ul, zone="UTC", uptake=stated)


@pytest.mark.parametrize(
    ("stated", "is_named"),
    [(0.50, False), (0.532, False), (0.534, True), (0.467, True), (0.468, False)],
)
def test_an_uptake_is_named_beyond_its_interval(stated: float, is_named: bool) -> None:
    """0.5 give or take 1.645 x 0.02 = 0.0329: inside it the file may be right."""
    told = uptakes_to_state(assessed(found_uptake(0.5)), tank(stated))
    assert is_named == bool(told)


def test_an_uptake_that_is_not_stated_is_named_with_its_lower_end() -> None:
    """The 90 % interval's own lower end, and what the figure rests on."""
    told = uptakes_to_state(assessed(found_uptake(0.5)), tank(None))
    assert (
        UptakeToState(
            parameter="alkalinity",
            estimate=0.5,
            half_width=HALF_WIDTH_90 * SD,
            low=0.5 - HALF_WIDTH_90 * SD,
            stated=None,
            tests=10,
            span_days=9.0,
        ),
    ) == told


def test_a_balance_below_nothing_is_stated_as_nothing() -> None:
    """An uptake in a file is 0 or more."""
    (told,) = uptakes_to_state(assessed(found_uptake(-0.1)), tank(0.5))
    assert (0.0, 0.0) == (told.estimate, told.low)


@pytest.mark.parametrize(
    "uptake",
    [
        found_uptake(0.5, enough=False),
        found_uptake(0.5, frozen=True),
        found_uptake(0.5, parameter="lead"),
    ],
    ids=["too little", "frozen", "never dosed"],
)
def test_what_tests_do_not_carry_is_not_named(uptake: UptakeFound) -> None:
    """Neither too wide an interval, nor a dispute, nor what nobody doses."""
    assert () == uptakes_to_state(assessed(uptake), tank(None))


def held(cap: EffectCap, uptake: float) -> tuple[Proposal, Machine]:
    """A proposal for an uptake, meq/L a day, under a cap of alkalinity."""
    made = machine(targets={"alkalinity": 8.0 * DKH})
    reef = made.tanks["reef"]
    narrow = Tank(
        id="reef",
        name="Reef",
        net_ul=reef.net_ul,
        zone="UTC",
        targets=reef.targets,
        caps={**reef.caps, "alkalinity": cap},
        uptake=reef.uptake,
    )
    guard = AlkalinityGuard(
        ceiling=9.5 * DKH,
        floor=6.5 * DKH,
        rise=0.3,
        fall=0.3,
        spread=0.2,
        hysteresis=0.07,
        good_readings=3,
        hold_at_least_s=3600.0,
    )
    found = Machine(
        site="home",
        tanks={"reef": narrow},
        solutions=made.solutions,
        reservoirs=made.reservoirs,
        nodes=made.nodes,
        pumps=made.pumps,
        guards={"reef": guard},
    )
    asked = Asked(
        machine=found,
        tank="reef",
        plan=plan(line("carbonate", 30_000)),
        evidence={"alkalinity": known("alkalinity", uptake, SD)},
        today=TODAY,
    )
    return propose(asked), found


def test_a_cap_that_held_is_named_with_its_arithmetic() -> None:
    """1.3 x uptake + the stated climb: 1.3 x 0.6 + 0.5 dKH; hours from 8.0 to 9.5 dKH.

    Source: own rule, common practice; hours = 1.5 dKH / gross * 24.
    """
    climb = 0.5 * DKH
    cap = EffectCap(
        gross=per_day("alkalinity", 0.4), net_rise=per_day("alkalinity", climb)
    )
    proposal, made = held(cap, 0.6)
    (told,) = caps_to_state(proposal, assessed(found_uptake(0.6)), made)
    gross = 1.3 * 0.6 + climb
    assert Ground.CAPPED in grounds(proposal, "carbonate")
    assert "alkalinity" == told.parameter
    assert pytest.approx(gross) == told.gross
    assert pytest.approx((climb, 0.6, 0.4)) == (told.net_rise, told.uptake, told.stated)
    assert pytest.approx(1.5 * DKH / gross * 24) == told.hours_to_ceiling


def test_a_climb_that_nobody_stated_is_the_common_one() -> None:
    """Half a dKH a day, common practice."""
    cap = EffectCap(gross=per_day("alkalinity", 0.4))
    proposal, made = held(cap, 0.6)
    (told,) = caps_to_state(proposal, assessed(found_uptake(0.6)), made)
    assert isinstance(told, CapToState)
    assert pytest.approx(0.5 * DKH, rel=1e-5) == told.net_rise


def test_nothing_is_named_where_no_cap_held() -> None:
    """A wide cap stays as it is, whatever the uptake."""
    proposal, made = held(EffectCap(gross=per_day("alkalinity", 3.0)), 0.6)
    assert "more" == change(proposal, "carbonate").kind
    assert () == caps_to_state(proposal, assessed(found_uptake(0.6)), made)


def test_a_cap_wider_than_the_tanks_own_use_stays() -> None:
    """What was wanted is more than 1.3 x uptake + climb: the cap is right."""
    proposal, made = held(EffectCap(gross=per_day("alkalinity", 0.4)), 0.6)
    assert () == caps_to_state(proposal, assessed(found_uptake(0.1)), made)


def test_without_an_uptake_no_cap_is_named() -> None:
    """There is no arithmetic without it; the stated one will do."""
    proposal, made = held(EffectCap(gross=per_day("alkalinity", 0.4)), 0.6)
    (told,) = caps_to_state(proposal, assessed(), made)
    bare = Machine(
        site="home",
        tanks={
            "reef": Tank(
                id="reef",
                name="Reef",
                net_ul=made.tanks["reef"].net_ul,
                zone="UTC",
                caps=made.tanks["reef"].caps,
            )
        },
        solutions=made.solutions,
        reservoirs=made.reservoirs,
        nodes=made.nodes,
        pumps=made.pumps,
    )
    assert pytest.approx(2 * DKH) == told.uptake
    assert () == caps_to_state(proposal, assessed(), bare)


def test_what_a_cap_does_not_hold_is_not_named_with_it() -> None:
    """Saltpetre held by its nitrate: the wide cap of potassium stays unnamed."""
    made = machine(("nitre",))
    reef = made.tanks["reef"]
    narrow = EffectCap(gross=per_day("nitrate", 0.2), net_rise=per_day("nitrate", 1.0))
    caps = {**reef.caps, "nitrate": narrow, "potassium": EffectCap(gross=10**15)}
    found = replace(made, tanks={"reef": replace(reef, caps=caps, targets={})})
    asked = Asked(
        machine=found,
        tank="reef",
        plan=plan(line("nitre", 3_000)),
        evidence={"nitrate": known("nitrate", 0.6, 0.01)},
        today=TODAY,
    )
    proposal = propose(asked)
    uptake = found_uptake(0.6, parameter="nitrate")
    told = caps_to_state(proposal, assessed(uptake), found)
    assert ["nitrate"] == [one.parameter for one in told]
    assert None is told[0].hours_to_ceiling


@pytest.mark.parametrize(
    ("shown", "stated", "is_told"),
    [
        (0.34, 1.0, True),
        (0.5, 0.41, True),
        # Within a fifth of what is stated.
        (0.5, 0.42, False),
        # Within the 90 % interval of 1.645 x 0.02 = 0.0329.
        (0.1, 0.13, False),
        (0.1, 0.14, True),
    ],
)
def test_tests_and_file_that_cannot_both_be_right_are_told(
    shown: float, stated: float, *, is_told: bool
) -> None:
    """Whether the tests are enough or not; nothing where nothing is stated."""
    for enough in (True, False):
        one = found_uptake(shown, enough=enough)
        assert is_told == bool(uptakes_apart(assessed(one), tank(stated)))
        assert () == uptakes_apart(assessed(one), tank(None))


def test_a_stated_uptake_is_held_against_that_at_the_target() -> None:
    """Half of it at a low level is no contradiction, and the figure is kept."""
    low = found_uptake(0.5, at_target_per_day=1.0, at_target_sd=SD)
    assert () == uptakes_apart(assessed(low), tank(1.0))
    (told,) = uptakes_apart(assessed(low), tank(2.0))
    assert (0.5, 1.0) == (told.shown, told.at_target)
    assert 2.0 == pytest.approx(told.stated)
    assert HALF_WIDTH_90 * SD == pytest.approx(told.half_width)


def test_what_rises_by_itself_shows_no_uptake() -> None:
    """Nothing below 0 is told."""
    (told,) = uptakes_apart(assessed(found_uptake(-0.1)), tank(1.0))
    assert 0 == told.shown
