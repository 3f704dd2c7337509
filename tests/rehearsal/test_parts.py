"""Parts that share nothing give together what the whole gives."""

from dataclasses import replace

from slackwater.rehearsal.parts import independent_parts, joined
from slackwater.rehearsal.rehearsal import rehearse
from tests.bench.year import house


def test_two_tanks_without_anything_in_common_fall_apart() -> None:
    """Own nodes, own bottles, own lines: two parts, and their doses are the whole's."""
    machine, plan = house()
    apart = {
        name: replace(pump, reservoir=pump.tank) for name, pump in machine.pumps.items()
    }
    bottle = machine.reservoirs["r"]
    machine = replace(machine, pumps=apart, reservoirs={"one": bottle, "two": bottle})
    parts = independent_parts(machine, plan)
    assert [["one"], ["two"]] == [sorted(part.tanks) for part, _ in parts]
    done = [rehearse(part, lines, plan.starts, 3) for part, lines in parts]
    whole = rehearse(machine, plan, plan.starts, 3)
    together = joined(done, machine)
    assert whole.doses == together.doses
    assert sorted(map(repr, whole.nearest)) == sorted(map(repr, together.nearest))
    assert whole.empty_on == together.empty_on


def test_a_shared_bottle_keeps_two_tanks_together() -> None:
    """Pumps on one reservoir: one part."""
    machine, plan = house()
    assert 1 == len(independent_parts(machine, plan))
