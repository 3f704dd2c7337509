"""Which tanks are rehearsed together, and what becomes of their parts."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta

import pytest

from slackwater.facts.limits import Switch
from slackwater.facts.plan import Plan
from slackwater.facts.tank import Machine, Node
from slackwater.rehearsal.found import Found
from slackwater.rehearsal.parts import Part, parted, tank_sets
from slackwater.rehearsal.rehearsal import (
    rehearse,
    rehearse_by,
    run_part,
    tape_part,
    untaped,
)
from slackwater.rehearsal.trace import trace
from tests.rehearsal.houses import alone_each, sample

DAYS = 6
TWO = (frozenset({"frags"}), frozenset({"reef"}))
ONE = (frozenset({"frags", "reef"}),)


def scarce(machine: Machine, plan: Plan) -> Machine:
    """The machine with nodes that give half of what the plan asks, so doses wait."""
    most_ul = dict.fromkeys(machine.nodes, 0)
    for line in plan.lines:
        node = machine.pumps[line.pump].node
        most_ul[node] = max(most_ul[node], line.per_day_ul)
    nodes = {
        name: replace(node, day_limit_ul=most_ul[name] // 2)
        for name, node in machine.nodes.items()
    }
    return replace(machine, nodes=nodes)


def with_pump_of(machine: Machine, **fields: str) -> Machine:
    """The machine with another place for the carbonate pump of the frag tank."""
    pump = replace(machine.pumps["frags-carbonate"], **fields)  # type: ignore[arg-type]  # names
    return replace(machine, pumps={**machine.pumps, pump.id: pump})


def switched(machine: Machine) -> Machine:
    """The machine with a power sensor of one tank at a pump of the other."""
    switch = Switch(
        id="mains", tank="reef", role="power", normal_on=False, pump="frags-carbonate"
    )
    return replace(machine, switches={"mains": switch})


def grouped(plan: Plan) -> Plan:
    """The plan with a line of each tank in one group."""
    tanks = {line.tank: line.id for line in plan.lines}
    lines = tuple(
        replace(line, group="pair") if tanks[line.tank] == line.id else line
        for line in plan.lines
    )
    return replace(plan, lines=lines)


def test_tanks_that_share_nothing_are_parts() -> None:
    """Each with its own node and bottles; solutions may be the same."""
    assert TWO == tank_sets(*alone_each())


@pytest.mark.parametrize("kind", ["node", "bottle", "switch", "group", "pump"])
def test_whatever_reaches_both_tanks_joins_them(kind: str) -> None:
    """A node, a bottle, a sensor at a pump, a group, a line with the other's pump."""
    machine, plan = alone_each()
    other = replace(plan.lines[0], pump=f"{_other(plan.lines[0].tank)}-carbonate")
    joined = {
        "node": (with_pump_of(machine, node="left"), plan),
        "bottle": (with_pump_of(machine, reservoir="reef-carbonate"), plan),
        "switch": (switched(machine), plan),
        "group": (machine, grouped(plan)),
        "pump": (machine, replace(plan, lines=(other, *plan.lines[1:]))),
    }
    assert ONE == tank_sets(*joined[kind])


def _other(tank: str) -> str:
    return {"reef": "frags", "frags": "reef"}[tank]


def test_tanks_are_joined_through_a_third() -> None:
    """One shares a node with the second, the second a bottle with the third."""
    machine, plan = alone_each()
    third = replace(machine.tanks["frags"], id="third")
    pump = replace(
        machine.pumps["frags-carbonate"],
        id="third-carbonate",
        tank="third",
        node="own",
        reservoir="reef-carbonate",
    )
    more = replace(
        machine,
        tanks={**machine.tanks, "third": third},
        nodes={**machine.nodes, "own": Node(id="own", day_limit_ul=1, cut_limit_ms=1)},
        pumps={**machine.pumps, pump.id: pump},
    )
    assert (frozenset({"frags"}), frozenset({"reef", "third"})) == tank_sets(more, plan)
    bridged = with_pump_of(more, node="left")
    assert (frozenset({"frags", "reef", "third"}),) == tank_sets(bridged, plan)


def test_the_sample_with_shared_bottles_is_one_part() -> None:
    """It is rehearsed as it stands."""
    machine, plan = sample("two-tanks")
    whole = whole_of(machine, plan)
    (only,) = parted(whole)
    assert only is whole


def whole_of(machine: Machine, plan: Plan) -> Part:
    """The whole as `rehearse` would part it."""
    seen: list[Part] = []

    def spread(parts: Sequence[Part]) -> list[Found]:
        seen.extend(parts)
        return [run_part(part) for part in parts]

    rehearse_by(spread, machine, plan, plan.starts, 1)
    return replace(seen[0], machine=machine, plan=plan)


def test_a_part_holds_what_is_its_own_and_nothing_else() -> None:
    """Both together hold every line, pump, node, bottle and probe once."""
    machine, plan = alone_each()
    parts = parted(whole_of(machine, plan))
    lines = [line for part in parts for line in part.plan.lines]
    assert sorted(plan.names) == sorted(f"{one.tank}/{one.id}" for one in lines)
    for name in ("tanks", "pumps", "nodes", "reservoirs", "probes", "guards"):
        found = [key for part in parts for key in getattr(part.machine, name)]
        assert sorted(getattr(machine, name)) == sorted(found), name
    sources = [one for part in parts for one in part.machine.outside]
    assert machine.outside == tuple(sources)


def test_a_part_comes_to_the_same_as_in_one_run_with_the_other() -> None:
    """The same doses, moments, amounts and approaches as all tanks in one run."""
    machine, plan = alone_each()
    (whole,) = joined(machine, plan)
    done = rehearse(machine, plan, plan.starts, DAYS)
    assert whole.doses == done.doses
    assert {repr(near) for near in whole.nearest} == {repr(n) for n in done.nearest}
    shares = [near.share for near in done.nearest]
    assert sorted(shares, reverse=True) == shares


def test_a_dose_that_waits_is_looked_at_at_moments_of_its_own_tank() -> None:
    """It comes to the same, within the half minute after which one looks again."""
    machine, plan = alone_each()
    tight = scarce(machine, plan)
    (whole,) = joined(tight, plan)
    done = rehearse(tight, plan, plan.starts, DAYS)
    assert len(done.doses) == len(whole.doses)
    late = 0
    for one, other in zip(whole.doses, done.doses, strict=True):
        assert one == replace(other, begun_at=one.begun_at)
        if one.begun_at is not None and other.begun_at is not None:
            late += other.begun_at - other.dose.due_at > timedelta(seconds=30)
            assert abs(one.begun_at - other.begun_at) <= timedelta(seconds=30)
    assert late > 0


def joined(machine: Machine, plan: Plan) -> list[Found]:
    """What all tanks come to in one run."""
    found: list[Found] = []

    def spread(parts: Sequence[Part]) -> list[Found]:
        whole = replace(parts[0], machine=machine, plan=plan)
        found.append(run_part(whole))
        return found

    rehearse_by(spread, machine, plan, plan.starts, DAYS)
    return found


def test_the_order_in_which_parts_are_done_changes_nothing() -> None:
    """The last one first."""
    machine, plan = alone_each()

    def backwards(parts: Sequence[Part]) -> list[Found]:
        return [run_part(part) for part in parts[::-1]][::-1]

    done = rehearse_by(backwards, machine, plan, plan.starts, DAYS)
    assert rehearse(machine, plan, plan.starts, DAYS) == done


def test_a_tape_reads_as_the_part_itself() -> None:
    """Doses given on time and late, halved and shortened ones, and missed ones."""
    machine, plan = alone_each()
    timing = replace(machine.timing, half_stage_s=86_400.0)
    few = scarce(machine, plan)
    seen = set()
    for tried in (few, replace(few, timing=timing)):
        for part in parted(whole_of(tried, plan)):
            found = run_part(part)
            assert found == untaped(part, tape_part(part))
            seen |= {(each.verdict, bool(each.reasons)) for each in found.doses}
    assert {("granted", False), ("shortened", True), ("missed", True)} == seen


def test_a_trace_of_parts_is_in_order_of_time() -> None:
    """Decisions of both tanks, none left out."""
    machine, plan = alone_each()
    day = plan.starts + timedelta(days=1)
    found = trace(machine, plan, day)
    assert {"reef", "frags"} == {machine.pumps[one.pump].tank for one in found}
    assert sorted(one.at for one in found) == [one.at for one in found]
    done = rehearse(machine, plan, day - timedelta(days=1), 2)
    asked = [each.dose.id for each in done.doses if each.dose.local_day == day]
    assert sorted(asked) == sorted(one.dose for one in found)
