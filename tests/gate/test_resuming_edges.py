"""The way back after a gap to the pico-equivalent, each figure worked by hand.

The tank holds 200 L; 1 dKH of it are 71.330492 meq (1 dKH = 0.35665246 meq/L, 10 mg/L
CaO). The model ends at 3 dKH; a tank without a target stands at 6.5 to 9 dKH, without a
net limit it may rise by 0.5 dKH a day, and without a lower bound it takes up 85 % at
least: common practice, no source.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import timedelta

import pytest

from slackwater.facts.charging import hour_of
from slackwater.facts.plan import Purpose
from slackwater.facts.rolling import Rolling
from slackwater.facts.tank import EffectCap, Uptake
from slackwater.gate.moment import Moment, rules_for
from slackwater.gate.resuming import (
    WHOLE,
    has_recovered,
    must_resume,
    outside_per_day,
    planned_per_day,
    resume_ppm,
)
from tests.gate.scene import NOW, PROVEN_MS, dkh, dkh_peq, machine, moment, plan

# More than any box of here takes up within the hour.
VORACIOUS = dkh_peq(1000.0)
FAR_PLAN = dkh_peq(500.0)
HOUR = timedelta(hours=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """What is said of an invented tank; all in pico-equivalents but for the target."""

    plan: int = 0
    outside: int = 0
    uptake: int | None = None
    low: int | None = None
    net: int | None = None
    target_dkh: float | None = None


def tank(said: Said, *, hours: int = 0) -> Moment:
    """Such a tank, whose stage began so many hours ago; nothing was given since."""
    used = machine()
    caps = {"alkalinity": EffectCap(gross=10**15, net_rise=said.net)}
    targets: Mapping[str, float] = {}
    if said.target_dkh is not None:
        targets = {"alkalinity": dkh(said.target_dkh)}
    uptakes = {}
    if said.uptake is not None:
        low = said.uptake if said.low is None else said.low
        uptakes = {"alkalinity": Uptake(estimate=said.uptake, low=low)}
    reef = replace(used.tanks["reef"], caps=caps, uptake=uptakes, targets=targets)
    at = moment(replace(used, tanks={"reef": reef}))
    rules = replace(
        at.rules,
        alkalinity={"reef": (said.plan, said.plan)},
        outside={"reef": said.outside},
    )
    at.state.stage_since = NOW - hours * HOUR
    return replace(at, rules=rules)


def most(said: Said, *, hours: int = 0, given: int = 0) -> int:
    """The largest plan that fits as a whole, found by halving.

    `given` came in the hour before this one.
    """
    fits, too_much = 1, dkh_peq(1000.0)
    while too_much - fits > 1:
        middle = (fits + too_much) // 2
        at = tank(replace(said, plan=middle), hours=hours)
        at.state.hours["reef"] = {hour_of(NOW) - 1: given}
        if resume_ppm(at, "reef") >= WHOLE:
            fits = middle
        else:
            too_much = middle
    return fits


@pytest.mark.parametrize("outside", [0, dkh_peq(0.3)])
def test_a_tank_of_which_nothing_is_said_takes_back_three_dkh_a_day(
    outside: int,
) -> None:
    """85 % of plan and outside and nine tenths of 0.5 dKH are all of 3.0 dKH.

    p + o = 0.85 (p + o) + 0.45: beyond that less is taken up than comes.
    """
    assert dkh_peq(3.0) - outside == most(Said(outside=outside))


def test_a_stated_net_limit_counts_instead_of_the_usual_one() -> None:
    """Nine tenths of 1.5 dKH and an uptake of 2: 3.35 dKH a day."""
    stated = Said(uptake=dkh_peq(2.0), net=dkh_peq(1.5))
    assert dkh_peq(3.35) == pytest.approx(most(stated), abs=2)


def test_a_tank_without_any_cap_has_the_usual_net_limit() -> None:
    """Nine tenths of 0.5 dKH and an uptake of 2: 2.45 dKH a day."""
    at = tank(Said(plan=dkh_peq(4.9), uptake=dkh_peq(2.0)))
    bare = replace(at.machine.tanks["reef"], caps={})
    at = replace(at, machine=replace(at.machine, tanks={"reef": bare}))
    assert WHOLE // 2 == resume_ppm(at, "reef")


def test_what_comes_by_itself_is_part_of_what_was_found_safe() -> None:
    """Whoever adds it: of 1.5 dKH 0.05 too much, with 0.3 from outside or without."""
    said = Said(plan=dkh_peq(1.5), uptake=dkh_peq(1.8), low=0)
    shares = [
        resume_ppm(tank(replace(said, outside=outside)), "reef")
        for outside in (0, dkh_peq(0.3))
    ]
    assert [1_450_000 * 2 // 3] * 2 == pytest.approx(shares, abs=1)


@pytest.mark.parametrize(
    ("given_dkh", "takes_dkh"),
    [(0.0, 10.8), (0.25, 11.4), (0.5, 12.0), (2.0, 12.0), (9.0, 12.0)],
)
def test_an_hour_without_a_dose_takes_a_tenth_of_an_uptake_of_twelve(
    given_dkh: float, takes_dkh: float
) -> None:
    """0.5 dKH an hour of the 5 between 8 dKH and rest; what was given comes back.

    More than was lost makes no tank take up more than it does at its usual level.
    """
    said = Said(uptake=dkh_peq(12.0), target_dkh=8.0)
    found = most(said, hours=1, given=dkh_peq(given_dkh))
    assert dkh_peq(takes_dkh + 0.45) == pytest.approx(found, abs=9)


def test_a_tank_without_a_target_sinks_as_from_the_lowest_usual_level() -> None:
    """42 dKH a day are 1.75 an hour, half of the 3.5 between 6.5 dKH and rest."""
    found = most(Said(uptake=dkh_peq(42.0)), hours=1)
    assert dkh_peq(21.45) == pytest.approx(found, abs=9)


@pytest.mark.parametrize(("target_dkh", "depth_dkh"), [(2.0, 3.0), (None, 6.0)])
def test_a_tank_at_rest_is_back_where_a_day_may_lift_it_all_the_way(
    target_dkh: float | None, depth_dkh: float
) -> None:
    """From 3 dKH to 6 at least, whatever the target; to 9 where there is none."""
    depth = dkh_peq(depth_dkh)
    said = Said(plan=FAR_PLAN, uptake=VORACIOUS, target_dkh=target_dkh)
    assert has_recovered(tank(replace(said, net=depth), hours=1), "reef")
    assert not has_recovered(tank(replace(said, net=depth - 1), hours=1), "reef")


@pytest.mark.parametrize("more", [-9, 9])
def test_a_tank_is_back_when_a_day_may_lift_what_an_hour_took(more: int) -> None:
    """0.5 dKH of an uptake of 12 a day, to a few of 35 milliards."""
    net = dkh_peq(0.5) + more
    said = Said(plan=FAR_PLAN, uptake=dkh_peq(12.0), net=net, target_dkh=8.0)
    assert (more > 0) == has_recovered(tank(said, hours=1), "reef")


@pytest.mark.parametrize("uptake_dkh", [130.0, 1000.0])
def test_a_tank_at_rest_takes_up_nothing_in_the_very_hour(uptake_dkh: float) -> None:
    """Never less than nothing: nine tenths of the net limit are left of the plan.

    130 dKH a day are 5.4 an hour of the 5 above rest.
    """
    said = Said(plan=dkh_peq(1.0), uptake=dkh_peq(uptake_dkh), target_dkh=8.0)
    assert 450_000 == pytest.approx(resume_ppm(tank(said, hours=1), "reef"), abs=1)


def test_more_from_outside_than_may_rise_leaves_nothing_of_any_plan() -> None:
    """Not even of one of a single pico-equivalent."""
    said = Said(plan=1, outside=dkh_peq(5.0), uptake=dkh_peq(1.0))
    assert 0 == resume_ppm(tank(said), "reef")


@pytest.mark.parametrize(
    ("planned", "believed", "expected"),
    [(500, None, True), (499, None, False), (500, 250, False), (500, 249, True)],
)
def test_a_gap_is_half_a_day_planned_and_half_of_that_missed(
    planned: int, believed: int | None, *, expected: bool
) -> None:
    """Of a plan of 1000 parts of 500 dKH, which no tank takes back at once."""
    part = FAR_PLAN // 1000
    at = tank(Said(plan=1000 * part, uptake=VORACIOUS), hours=1)
    at.state.wanting["reef"] = PROVEN_MS
    for kept, parts in ((at.state.planned, planned), (at.state.believed, believed)):
        if parts is not None:
            kept["reef/alkalinity"] = Rolling()
            kept["reef/alkalinity"].add(PROVEN_MS, parts * part, "")
    assert expected == must_resume(at, "reef")


def test_the_smallest_amount_that_was_missed_is_a_gap() -> None:
    """Nothing was given of one pico-equivalent of a plan of two."""
    at = tank(Said(plan=2, outside=dkh_peq(5.0), uptake=VORACIOUS), hours=1)
    at.state.wanting["reef"] = PROVEN_MS
    at.state.planned["reef/alkalinity"] = Rolling()
    at.state.planned["reef/alkalinity"].add(PROVEN_MS, 2, "")
    assert must_resume(at, "reef")


@pytest.mark.parametrize("purpose", ["maintenance", "correction"])
def test_a_line_of_an_old_doser_is_none_of_ours(purpose: Purpose) -> None:
    """It leaves neither upkeep nor anything else; a correction never was upkeep."""
    lines = [replace(line, purpose=purpose) for line in plan().lines]
    at = moment()
    rules = rules_for(at.machine, replace(plan(), lines=tuple(lines)))
    at = replace(at, rules=rules)
    at.state.left_to_old.append("reef/carbonate")
    assert (0, 0) == planned_per_day(at, "reef")


def test_a_tank_of_which_no_source_is_known_gets_nothing_by_itself() -> None:
    """Not a pico-equivalent."""
    at = moment()
    at = replace(at, rules=replace(at.rules, outside={}))
    assert 0 == outside_per_day(at, "reef")


def test_an_hour_without_a_dose_gives_not_a_pico_equivalent() -> None:
    """In one microlitre of water, which holds 1783 of them between 8 dKH and rest.

    178 an hour leave 1605 of 1783: of an uptake of 4272 a day 3845.5.
    """
    said = Said(plan=10_000, uptake=24 * 178, net=0, target_dkh=8.0)
    at = tank(said, hours=1)
    drop = replace(at.machine.tanks["reef"], net_ul=1)
    at = replace(at, machine=replace(at.machine, tanks={"reef": drop}))
    assert 384_500 == resume_ppm(at, "reef")
