"""Readings nobody took: of the virtual water, or of a target."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import pairwise

import pytest

from slackwater.facts.tank import Machine, Probe, Uptake
from slackwater.rehearsal.rehearsal import rehearse
from slackwater.rehearsal.virtual_probe import VirtualProbes, watched
from tests.rehearsal.houses import MEQ_PER_DKH, peq, sample

BEGIN = datetime(2026, 5, 3, tzinfo=UTC)


def probe(**fields: object) -> Probe:
    """An alkalinity probe of the reef, once an hour, 0.05 dKH fine."""
    whole = Probe(
        id="kh",
        tank="reef",
        parameter="alkalinity",
        unit="dKH",
        scale=1.0,
        offset=0.0,
        period_s=3600.0,
        resolution=0.05 * MEQ_PER_DKH,
        low=1.0,
        high=5.0,
    )
    return replace(whole, **fields)  # type: ignore[arg-type]  # each of its own type


def machine(*probes: Probe, uptake: bool = True, targets: bool = True) -> Machine:
    """The smallest sample with probes, with or without what is known of its tank."""
    bare, _plan = sample("smallest")
    tank = bare.tanks["reef"]
    tank = replace(
        tank,
        uptake=tank.uptake if uptake else {},
        targets=tank.targets if targets else {},
    )
    return replace(bare, tanks={"reef": tank}, probes={one.id: one for one in probes})


def probes_of(known: Machine) -> VirtualProbes:
    """All probes of a machine from the beginning on."""
    return VirtualProbes(known, watched(known, BEGIN), BEGIN)


@pytest.mark.parametrize(
    ("period_s", "count"), [(3600.0, 25), (14_400.0, 7), (900.0, 49), (10.0, 49)]
)
def test_gives_every_reading_once_and_quick_probes_seldom(
    period_s: float, count: int
) -> None:
    """A day in one look: each period, but never more than one in half an hour."""
    known = probes_of(machine(probe(period_s=period_s)))
    day = BEGIN + timedelta(days=1)
    readings = known.until(day)
    assert count == pytest.approx(len(readings), abs=1)
    assert [] == known.until(day)
    times = [reading.at for reading in readings]
    assert sorted(set(times)) == times
    assert day - times[-1] <= timedelta(seconds=period_s)


def test_no_three_in_a_row_are_equal() -> None:
    """Half a step counts as equal; a run of two is no freeze."""
    readings = probes_of(machine(probe())).until(BEGIN + timedelta(days=2))
    values = [reading.value for reading in readings]
    half = probe().resolution / 2
    equal = [abs(b - a) < half for a, b in pairwise(values)]
    assert not any(one and other for one, other in pairwise(equal))


def test_shows_the_water_that_doses_feed() -> None:
    """Nothing is poured: a day at 1 dKH takes nearly that; a dKH poured lifts it."""
    known = machine(probe())
    waters = watched(known, BEGIN)
    shown = VirtualProbes(known, waters, BEGIN)
    first = shown.until(BEGIN)[0].value
    last = shown.until(BEGIN + timedelta(days=1))[-1].value
    # The newest is one step up or not, 0.05 dKH.
    assert 0.9 == pytest.approx((first - last) / MEQ_PER_DKH, abs=0.11)
    waters["reef"].pour({"alkalinity": peq(1.0)})
    after = shown.until(BEGIN + timedelta(hours=25))[-1].value
    assert after > last + 0.8 * MEQ_PER_DKH


def test_without_an_uptake_a_probe_shows_the_target() -> None:
    """What nobody knows neither stops nor shortens anything."""
    known = machine(probe(), uptake=False)
    assert {} == watched(known, BEGIN)
    (reading,) = probes_of(known).until(BEGIN)
    assert 8.0 == pytest.approx(reading.value / MEQ_PER_DKH, abs=0.06)


def test_without_a_target_it_shows_the_middle_of_its_bounds() -> None:
    """Between floor and ceiling for alkalinity, of the plausible window otherwise."""
    known = machine(
        probe(),
        probe(id="ca", parameter="calcium", low=300.0, high=500.0, resolution=1.0),
        uptake=False,
        targets=False,
    )
    readings = {one.probe: one.value for one in probes_of(known).until(BEGIN)}
    guard = known.guards["reef"]
    middle = (guard.floor + guard.ceiling) / 2
    assert middle == pytest.approx(readings["kh"], abs=0.06 * MEQ_PER_DKH)
    assert 400.0 == pytest.approx(readings["ca"], abs=1.1)


def test_a_plan_that_gives_far_too_much_is_stopped_by_its_probe() -> None:
    """Three times the uptake: the virtual water climbs, and the gate sees it."""
    known, plan = sample("chemistry")
    tank = known.tanks["reef"]
    weak = {
        name: replace(one, estimate=one.estimate // 3, low=one.low // 3)
        for name, one in tank.uptake.items()
    }
    caps = {name: replace(cap, net_rise=None) for name, cap in tank.caps.items()}
    hungry = replace(known, tanks={"reef": replace(tank, uptake=weak, caps=caps)})
    done = rehearse(hungry, plan, plan.starts, 4)
    missed = [each for each in done.doses if each.verdict == "missed"]
    codes = {str(reason.code) for each in missed for reason in each.reasons}
    assert codes & {"alkalinity-ceiling", "alkalinity-climb"}
    assert {"carbonate", "calcium"} >= {each.dose.pump for each in missed}


def test_a_run_that_is_stopped_half_way_counts_in_full() -> None:
    """The dose itself lifts the water above the ceiling, seen when the next is due.

    9.49 dKH and 3 mL of 1.868 meq/mL in 200 L are 9.57; the ceiling is 9.5.
    """
    _machine, plan = sample("smallest")
    quick = machine(probe(period_s=10.0, resolution=0.001 * MEQ_PER_DKH))
    tank = replace(
        quick.tanks["reef"],
        targets={"alkalinity": 9.49 * MEQ_PER_DKH},
        uptake={"alkalinity": Uptake(estimate=peq(0.1), low=0)},
    )
    slow = replace(quick.pumps["carbonate"], rate_nl_per_s=20_000)
    shelf = replace(quick.nodes["shelf"], cut_limit_ms=400_000)
    known = replace(
        quick,
        tanks={"reef": tank},
        pumps={**quick.pumps, "carbonate": slow},
        nodes={"shelf": shelf},
        apart={},
    )
    lines = [
        replace(line, windows=(), times_minute=(minute,), count=1, per_day_ul=3000)
        for line, minute in zip(plan.lines, (720, 721), strict=True)
    ]
    done = rehearse(known, replace(plan, lines=tuple(lines)), plan.starts, 1)
    given = {each.dose.pump: each.volume_ul for each in done.doses}
    assert {"carbonate": 3000, "calcium": 0} == given
