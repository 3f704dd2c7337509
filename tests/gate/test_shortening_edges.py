"""Shares to the millionth, each figure worked by hand.

The base replaces four fifths of an uptake, or its lower bound; nine tenths remain after
two weeks without evidence: design law, common practice.
"""

from collections.abc import Mapping
from dataclasses import replace
from datetime import timedelta

import pytest

from slackwater.facts.reasons import Code
from slackwater.facts.rolling import DAY_MS
from slackwater.facts.stages import HalfBegan
from slackwater.facts.strengths import Strength
from slackwater.facts.tank import Machine, Outside, Uptake
from slackwater.gate.moment import EffectRule, Moment, rules_for
from slackwater.gate.resuming import WHOLE
from slackwater.gate.shortening import base_ppm, line_base_ppm, share_of, thin
from tests.facts.safeguards import away
from tests.gate.scene import (
    CALCIUM_PG_PER_UL,
    CARBONATE_PEQ_PER_UL,
    NOW,
    PROVEN_MS,
    ask,
    dkh_peq,
    machine,
    moment,
    plan,
)
from tests.gate.test_edges import the
from tests.gate.test_resuming_edges import Said, tank
from tests.gate.watched import DAY, HOUR, Watched, watched_machine

FOUR_FIFTHS = 800_000


@pytest.mark.parametrize(("part", "percent"), [(499_995, 49), (500_005, 50)])
def test_a_way_back_is_told_in_percent_rounded_down(part: int, percent: int) -> None:
    """So many millionths of the plan are surely used, and nothing may rise."""
    at = tank(Said(plan=1_000_000, uptake=part, net=0))
    at.state.resuming["reef"] = 0
    reason = the(Code.RESUMING, share_of(at, ask(at)).reasons)
    assert {"share_percent": percent} == dict(reason.figures)


def test_the_longest_silence_decides_of_two() -> None:
    """Salinity was heard now and refused, temperature two weeks ago and a second."""
    water = Watched(watched_machine("warm", "salt"))
    base_for_s = water.at.machine.timing.base_for_s
    # Without a plan there is no other beginning than the last reading.
    at = replace(water.at, approval=None)
    at.sight.flawed["salt"] = "unit changed"
    shares = []
    for late_s in (0.0, 1.0):
        old = [
            replace(one, at=at.now.utc - timedelta(seconds=base_for_s + late_s))
            for one in at.sight.readings["warm"][-1:]
        ]
        at.sight.readings["warm"] = old
        shares.append(share_of(at, water.asked("iodine")).ppm)
    assert [FOUR_FIFTHS, 720_000] == shares


def test_while_nobody_is_there_corrections_are_nothing_and_all_else_nine_tenths() -> (
    None
):
    """After two weeks: to the millionth."""
    water = Watched(watched_machine())
    water.write(away(water.stamp, 30))
    water.pass_time(14 * DAY + HOUR)
    shares = [share_of(water.at, water.asked(line)).ppm for line in ("raise", "soda")]
    assert [0, 900_000] == shares


@pytest.mark.parametrize(("left_s", "share"), [(0.5, WHOLE // 2), (0.0, WHOLE)])
def test_a_half_lasts_to_its_last_moment(left_s: float, share: int) -> None:
    """A day from its beginning, by proven time."""
    at = moment()
    begun_ms = PROVEN_MS - DAY_MS + round(1000 * left_s)
    at.state.halves["all"] = HalfBegan(
        at=NOW - DAY,
        boot_s=0.0,
        proven_ms=begun_ms,
        scope="all",
        from_at=NOW - DAY,
        lasts_s=DAY.total_seconds(),
        why="test",
        by="keeper",
    )
    assert share == share_of(at, ask(at)).ppm


def strong(at: Moment, pump: str, days: float) -> None:
    """A pump gives what it gives since so many days."""
    at.state.strengths[pump] = Strength(
        per_ul=dict(at.rules.pumps[pump].adds),
        since=at.now.utc - days * DAY,
        since_ms=at.proven_ms - round(days * DAY_MS),
    )


def used_up(base: Machine, **uptakes: int) -> Machine:
    """The machine with stated uptakes a day, as sure as they are estimated."""
    known = {name: Uptake(estimate=low, low=low) for name, low in uptakes.items()}
    return replace(base, tanks={"reef": replace(base.tanks["reef"], uptake=known)})


def test_h58_of_a_group_the_least_sure_strength_decides() -> None:
    """Calcium for two days and carbonate for an hour: half of either.

    Half of the carbonate alone, were it not for its partner, whose base is less.
    """
    at = moment(used_up(machine(), alkalinity=dkh_peq(1.2)))
    strong(at, "carbonate", 1 / 24)
    strong(at, "calcium", 2)
    assert [WHOLE // 2] * 2 == [
        share_of(at, ask(at, pump)).ppm for pump in ("carbonate", "calcium")
    ]


def test_h58_of_a_group_the_smallest_base_is_given() -> None:
    """Half of the calcium is surely used; nothing is known of iodine: four fifths."""
    used = watched_machine()
    planned_pg = 48_000 * CALCIUM_PG_PER_UL
    uptake = {"calcium": Uptake(estimate=planned_pg, low=planned_pg // 2)}
    reef = replace(used.tanks["reef"], uptake=uptake)
    water = Watched(replace(used, tanks={"reef": reef}), ("calcium", "iodine"))
    strong(water.at, "iodine", 2)
    assert WHOLE // 2 == share_of(water.at, water.asked("iodine")).ppm


def test_a_solution_without_effects_has_no_strength() -> None:
    """Whatever another pump gives since an hour."""
    water = Watched(watched_machine())
    strong(water.at, "soda", 1 / 24)
    assert WHOLE == share_of(water.at, water.asked("plain")).ppm
    assert WHOLE // 2 == share_of(water.at, water.asked("soda")).ppm


def planned(maintenance: int, low: int, outside: int = 0) -> Moment:
    """A tank of which so much is planned and surely used, in pico-equivalents."""
    at = moment(used_up(machine(), alkalinity=low))
    rules = replace(
        at.rules,
        alkalinity={"reef": (maintenance, maintenance)},
        outside={"reef": outside},
    )
    return replace(at, rules=rules)


@pytest.mark.parametrize(
    ("maintenance", "low", "outside", "share"),
    [
        # Without upkeep there is nothing to take a part of.
        (0, 1000, 0, FOUR_FIFTHS),
        # Four fifths of 10 are more than 1; and all of it comes by itself.
        (1, 10, 0, WHOLE),
        (1, 10, 8, 0),
        (1, 10, 100, 0),
        (10, 10, 7, 100_000),
    ],
)
def test_the_base_is_what_is_used_and_does_not_come_by_itself(
    maintenance: int, low: int, outside: int, share: int
) -> None:
    """Never less than nothing, never more than the plan."""
    at = planned(maintenance, low, outside)
    assert share == base_ppm(at, "reef", at.rules.lines["reef/carbonate"])


def calcium_base(upkeep: Mapping[str, int], outside: int = 0, low: int = 10) -> int:
    """The base of a line of calcium that follows nothing else, by what is planned."""
    lime = Outside(id="x", tank="reef", parameter="calcium", per_day=outside)
    at = moment(replace(used_up(machine(), calcium=low), outside=(lime,)))
    at = replace(at, rules=replace(at.rules, upkeep=upkeep))
    line = replace(at.rules.lines["reef/calcium"], follows_alkalinity=False)
    return line_base_ppm(at, at.rules.pumps["calcium"], line)


def test_a_base_goes_by_what_is_planned_of_the_parameter() -> None:
    """Four fifths where nothing is; never less than nothing, nor more than the plan."""
    assert FOUR_FIFTHS == calcium_base({})
    assert WHOLE == calcium_base({"reef/calcium": 1})
    assert 100_000 == calcium_base({"reef/calcium": 10}, outside=7)
    assert 0 == calcium_base({"reef/calcium": 1}, outside=9)


def test_of_two_parameters_the_smaller_base_is_given() -> None:
    """A tenth of the one and half of the other are surely used."""
    at = moment(used_up(machine(), calcium=10, magnesium=50))
    keys = ("calcium", "magnesium")
    upkeep = dict.fromkeys((f"reef/{name}" for name in keys), 80)
    at = replace(at, rules=replace(at.rules, upkeep=upkeep))
    pump = at.rules.pumps["calcium"]
    rules = tuple(named(pump.effects[0], name) for name in keys)
    line = replace(at.rules.lines["reef/calcium"], follows_alkalinity=False)
    found = line_base_ppm(at, replace(pump, effects=rules), line)
    assert WHOLE // 10 == found


def named(rule: EffectRule, parameter: str) -> EffectRule:
    """The same for another parameter."""
    return replace(rule, parameter=parameter)


def test_a_dose_of_the_smallest_volume_takes_turns() -> None:
    """Half of 300 µL: the whole 300 every second time."""
    assert [0, 300, 0, 300] == [thin(300, 500_000, n, 300) for n in range(1, 5)]


def test_a_line_of_the_plan_counts_with_all_it_adds() -> None:
    """48 mL a day of calcium, to the picogram; a line without a pump hides none."""
    at = moment()
    assert {
        "reef/alkalinity": 48_000 * CARBONATE_PEQ_PER_UL,
        "reef/calcium": 48_000 * CALCIUM_PG_PER_UL,
    } == dict(at.rules.upkeep)
    bare = replace(machine(), pumps={"calcium": machine().pumps["calcium"]})
    from_plan = rules_for(bare, plan())
    assert {"reef/calcium": 48_000 * CALCIUM_PG_PER_UL} == dict(from_plan.upkeep)
