"""Forecast bands, time left, salt left behind."""

from dataclasses import replace
from datetime import timedelta
from fractions import Fraction
from math import log

import pytest

from slackwater.rehearsal.forecast import (
    Forecast,
    forecast,
    hours_to_floor,
    salt_left,
)
from slackwater.rehearsal.rehearsal import rehearse
from slackwater.water.solutions import saturated_limewater
from tests.rehearsal.houses import (
    FIRST,
    LITRES,
    MEQ_PER_DKH,
    machine_with,
    peq,
    reef,
    sample,
)

DAYS = 30
UNTIL = FIRST + timedelta(days=DAYS - 1)


def smallest() -> Forecast:
    """The forecast of the smallest sample."""
    machine, plan = sample("smallest")
    done = rehearse(machine, plan, FIRST, DAYS)
    return forecast(machine, "reef", done.doses, (FIRST, UNTIL), {})


def test_more_uptake_ends_lower_and_less_ends_higher() -> None:
    """The three runs never cross after the first hours, for either parameter."""
    for band in smallest().bands:
        last = (band.more[-1], band.same[-1], band.less[-1])
        assert sorted(last) == list(last)
        assert len(band.same) == len(smallest().times) == DAYS * 4 + 1


def test_a_matched_plan_ends_where_uptake_meets_the_dose() -> None:
    """0.943 dKH a day against 1.0 at 8 dKH: rest at 3 + 5 x 0.943 dKH, 0.3 off by day.

    Source: U = U0 (A - 3) / (A0 - 3); 36 mL of 100 g/L soda (99 %) in 200 L.
    """
    (alkalinity,) = (b for b in smallest().bands if b.parameter == "alkalinity")
    rest = 3 + 5 * 36 * 1.86814 / LITRES / MEQ_PER_DKH
    mean = sum(alkalinity.same[-4:]) / 4 / MEQ_PER_DKH
    assert rest == pytest.approx(mean, abs=0.3)


def test_tells_when_a_bound_is_passed_first() -> None:
    """Only the bands leave the bounds: the floor with more uptake, not as believed."""
    crossings = {(one.bound, one.uptake) for one in smallest().crossings}
    assert {("ceiling", "less"), ("floor", "more")} == crossings


def test_no_uptake_no_forecast() -> None:
    """A guess is none: where nothing is stated nothing is forecast."""
    tank = replace(reef(), uptake={})
    machine = machine_with(tank)
    assert Forecast(tank="reef") == forecast(machine, "reef", (), (FIRST, UNTIL), {})


def test_time_to_the_floor_by_both_models() -> None:
    """8 to 6.5 dKH at 1.5 a day: 24 h if uptake stays, 24 x ln(5/3.5)/0.3 h if not."""
    found = hours_to_floor(machine_with(reef()), "reef", {})
    assert 24.0 == pytest.approx(found.steady)
    assert 24 * log(5 / 3.5) / 0.3 == pytest.approx(found.falling)


def test_an_outside_source_gives_more_time() -> None:
    """1.5 dKH taken and 0.5 brought: a dKH a day is lost at first."""
    found = hours_to_floor(machine_with(reef(), outside_dkh=0.5), "reef", {})
    assert 36.0 == pytest.approx(found.steady)
    assert found.falling is not None
    assert found.falling > 36.0


@pytest.mark.parametrize(
    ("level_dkh", "outside_dkh", "steady", "falling"),
    [(6.0, 0.0, 0.0, 0.0), (8.0, 1.6, None, None), (8.0, 1.2, 120.0, None)],
)
def test_a_floor_that_is_passed_or_never_comes(
    level_dkh: float, outside_dkh: float, steady: float | None, falling: float | None
) -> None:
    """Already below: no time. Outside sources hold the level above: never."""
    machine = machine_with(reef(), outside_dkh)
    found = hours_to_floor(machine, "reef", {"alkalinity": level_dkh * MEQ_PER_DKH})
    expected = steady if steady is None else pytest.approx(steady)
    assert expected == found.steady
    assert falling == found.falling


def test_a_matched_pair_leaves_a_mole_of_salt_an_equivalent() -> None:
    """20.84 mg/L of sodium chloride for each dKH, 58.44 g/mol (IUPAC weights).

    The sample's pair is matched to a thousandth and 99 % pure on both sides.
    """
    machine, plan = sample("smallest")
    done = rehearse(machine, plan, FIRST, 10)
    found = salt_left(machine, machine.tanks["reef"], done.doses)
    dkh = 36 * 1.86814 / LITRES / MEQ_PER_DKH * 10
    assert 20.843 * dkh == pytest.approx(found.mg_per_l, rel=2e-3)
    assert found.known
    assert found.salinity == pytest.approx(found.mg_per_l / 1023.34, rel=1e-6)


def test_what_a_label_leaves_out_is_told_as_not_known() -> None:
    """Calcium by its label: at least what finds its carbonate."""
    machine, plan = sample("two-tanks")
    done = rehearse(machine, plan, FIRST, 3)
    found = salt_left(machine, machine.tanks["reef"], done.doses)
    assert not found.known
    assert found.mg_per_l > 0


def test_limewater_leaves_no_salt() -> None:
    """Ca(OH)2 is all that it holds: its calcium and its base end in skeletons."""
    machine, plan = sample("smallest")
    done = rehearse(machine, plan, FIRST, 3)
    lime = saturated_limewater(Fraction(25))
    solutions = {
        name: replace(
            one,
            effects=lime.effects,
            counter_ions=lime.counter_ions,
            ions=lime.ions,
        )
        for name, one in machine.solutions.items()
    }
    limed = replace(machine, solutions=solutions)
    found = salt_left(limed, limed.tanks["reef"], done.doses)
    assert (0.0, 0.0, True) == (found.mg_per_l, found.salinity, found.known)


def test_measured_levels_begin_the_forecast() -> None:
    """A test of yesterday stands before the target."""
    machine, plan = sample("smallest")
    done = rehearse(machine, plan, FIRST, 1)
    measured = {"alkalinity": peq(7.0) / LITRES / 10**9}
    found = forecast(machine, "reef", done.doses, (FIRST, FIRST), measured)
    (alkalinity,) = (b for b in found.bands if b.parameter == "alkalinity")
    assert 7.0 == pytest.approx(alkalinity.same[0] / MEQ_PER_DKH)


def test_a_tank_without_bounds_crosses_none_and_other_tanks_do_not_count() -> None:
    """The doses of a reef named otherwise, and missed ones, change no level."""
    machine, plan = sample("smallest")
    done = rehearse(machine, plan, FIRST, 2)
    until = FIRST + timedelta(days=1)
    bare = replace(machine, guards={})
    found = forecast(bare, "reef", done.doses, (FIRST, until), {})
    assert () == found.crossings
    strange = [
        *(replace(each, dose=replace(each.dose, tank="other")) for each in done.doses),
        *(replace(each, volume_ul=0) for each in done.doses),
    ]
    nothing = forecast(bare, "reef", (), (FIRST, until), {})
    assert nothing.bands == forecast(bare, "reef", strange, (FIRST, until), {}).bands
