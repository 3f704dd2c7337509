"""What would flow if a layer failed."""

from dataclasses import replace

import pytest

from slackwater.rehearsal.worst_case import LAYERS, stuck, worst_cases
from tests.rehearsal.houses import MEQ_PER_DKH, sample


def test_four_layers_for_each_pump() -> None:
    """Cap 50 mL, one run of 30 s at 30 mL/min, node 80 mL, bottle 2 L."""
    machine, _plan = sample("smallest")
    found = worst_cases(machine, ["carbonate"], {})
    volumes = [(one.layer, one.volume_ul) for one in found]
    assert [
        ("cap", 50_000),
        ("run", 15_000),
        ("node", 80_000),
        ("bottle", 2_000_000),
    ] == volumes
    assert LAYERS == tuple(one.layer for one in found)


def test_one_stuck_pump_in_dkh_up_to_its_nodes_limit() -> None:
    """80 mL of 1.868 meq/mL in 200 L: +2.095 dKH, from 8 to above the ceiling of 9.5.

    Source: 2 x 100 x 0.99 / 105.988 g/mol (IUPAC conventional atomic weights).
    """
    machine, _plan = sample("smallest")
    found = stuck(worst_cases(machine, ["carbonate", "calcium"], {}))
    assert found is not None
    assert found.level is not None
    assert ("carbonate", "node", False) == (found.pump, found.layer, found.tolerable)
    rise = 80 * 1.86814 / 200 / MEQ_PER_DKH
    assert 8 + rise == pytest.approx(found.level / MEQ_PER_DKH, rel=1e-4)


def test_a_measured_level_stands_before_the_target() -> None:
    """From 6.6 dKH the same pump stays below the ceiling."""
    machine, _plan = sample("smallest")
    levels = {"reef": {"alkalinity": 6.6 * MEQ_PER_DKH}}
    found = stuck(worst_cases(machine, ["carbonate"], levels))
    assert found is not None
    assert found.tolerable is True


def test_nothing_flows_that_is_not_in_the_bottle() -> None:
    """A bottle of 10 mL is the last limit."""
    machine, _plan = sample("smallest")
    small = replace(machine.reservoirs["carbonate"], content_ul=10_000)
    tight = replace(machine, reservoirs={**machine.reservoirs, "carbonate": small})
    assert {10_000} == {one.volume_ul for one in worst_cases(tight, ["carbonate"], {})}


def test_a_pump_without_alkalinity_is_judged_by_volume() -> None:
    """Calcium alone: no level, no verdict, and the node's limit all the same."""
    machine, _plan = sample("smallest")
    found = stuck(worst_cases(machine, ["calcium"], {}))
    assert found is not None
    assert (80_000, None, None) == (found.volume_ul, found.level, found.tolerable)
    assert stuck(()) is None
