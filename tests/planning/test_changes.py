"""What a person is shown before approving another plan."""

from dataclasses import replace
from datetime import UTC, datetime
from fractions import Fraction

import pytest

from slackwater.facts.plan import PlanLine
from slackwater.facts.tank import Machine, Outside
from slackwater.planning.changes import (
    Change,
    Laid,
    changes,
    growths,
    largest_ratio,
    touched_pumps,
)
from tests.planning.plans import line, machine, plan, with_pump, with_tank

MACHINE = machine("UTC")
SAME = (plan(line(per_day_ul=24_000)), MACHINE)


def stronger(percent: int) -> Machine:
    """The machine with a carbonate so many percent of what it was."""
    solution = MACHINE.solutions["carbonate"]
    effects = {"alkalinity": 1_887_000 * percent // 100}
    mixed = replace(solution, effects=effects)
    return replace(MACHINE, solutions={**MACHINE.solutions, "carbonate": mixed})


def also_calcium() -> Machine:
    """The machine with a carbonate that adds a trace of calcium as well."""
    solution = MACHINE.solutions["carbonate"]
    mixed = replace(solution, effects={**solution.effects, "calcium": 1})
    return replace(MACHINE, solutions={**MACHINE.solutions, "carbonate": mixed})


def test_nothing_changes_between_equal_plans() -> None:
    """Equal plans have no change and grow by the factor one."""
    assert () == changes(SAME, SAME)
    assert Fraction(1) == largest_ratio(changes(SAME, SAME))


def test_more_volume_shows_for_pump_and_parameter() -> None:
    """Three times as much a day is a ratio of three, in volume and in effect."""
    found = changes(SAME, (plan(line(per_day_ul=72_000)), MACHINE))
    assert {("carbonate-reef", ""), ("", "alkalinity")} == {
        (change.pump, change.parameter) for change in found
    }
    assert Fraction(3) == largest_ratio(found)
    volume = next(change for change in found if change.pump)
    assert (24_000, 72_000) == (volume.before, volume.after)


def test_a_renamed_line_does_not_hide_its_growth() -> None:
    """What counts is the pump, not how the line is called."""
    renamed = plan(line(per_day_ul=240_000, id="other"))
    assert Fraction(10) == largest_ratio(changes(SAME, (renamed, MACHINE)))


def test_a_stronger_solution_shows_in_the_effect() -> None:
    """The same millilitres of twice the strength double what is added."""
    found = changes(SAME, (SAME[0], stronger(200)))
    assert ["alkalinity"] == [change.parameter for change in found]
    assert Fraction(2) == largest_ratio(found)


def test_a_source_outside_is_part_of_both() -> None:
    """What is added anyway softens the ratio of an effect, not of a volume."""
    outside = Outside(
        id="limewater", tank="reef", parameter="alkalinity", per_day=24_000 * 1_887_000
    )
    with_source = replace(MACHINE, outside=(outside,))
    more = plan(line(per_day_ul=48_000))
    found = changes((SAME[0], with_source), (more, with_source))
    ratios = {change.parameter: change.ratio for change in found}
    assert {"": Fraction(2), "alkalinity": Fraction(3, 2)} == ratios


def test_new_and_gone_come_first_without_a_ratio() -> None:
    """A pump nobody approved before has no ratio; one that is gone falls to nothing."""
    found = changes(SAME, (plan(line("calcium")), MACHINE))
    by_pump = {change.pump: change for change in found if change.pump}
    assert by_pump["calcium-reef"].ratio is None
    assert Fraction(0) == by_pump["carbonate-reef"].ratio
    assert Fraction(1) == largest_ratio(found)


def test_the_largest_change_stands_first() -> None:
    """A fall to a tenth is larger than a doubling."""
    before = plan(line(), line("calcium"))
    after = plan(line(per_day_ul=2_400), line("calcium", per_day_ul=48_000))
    found = changes((before, MACHINE), (after, MACHINE))
    assert "carbonate-reef" == next(change.pump for change in found if change.pump)


def laid(*lines: PlanLine) -> Laid:
    """A plan of these lines that once counted."""
    return Laid(
        plan=plan(*lines), machine=MACHINE, until=datetime(2026, 1, 4, tzinfo=UTC)
    )


def test_growth_is_measured_from_the_smallest_of_the_first_tier_that_gives_any() -> (
    None
):
    """Steps that follow each other count as the one step they are together."""
    small, large = laid(line(per_day_ul=6_000)), laid(line(per_day_ul=12_000))
    older = laid(line(per_day_ul=3_000), line("calcium", per_day_ul=8_000))
    after = plan(
        line(per_day_ul=24_000), line("calcium", per_day_ul=16_000), line("magnesium")
    )

    found = growths(((), (large, small), (older,)), (after, MACHINE))

    # Carbonate is in the second tier, calcium only in the third; magnesium is new.
    assert [small, small, older, older] == [one.since for one in found]
    assert [4, 4, 2, 2] == [one.change.size for one in found]
    assert {"carbonate-reef", "calcium-reef"} == {one.change.pump for one in found} - {
        ""
    }
    assert {"alkalinity", "calcium"} == {one.change.parameter for one in found} - {""}


def test_what_does_not_grow_is_no_growth() -> None:
    """As much as before, less than before, and what is gone."""
    before = laid(line(), line("calcium"), line("magnesium"))
    after = plan(line(), line("calcium", per_day_ul=3_000))
    assert () == growths(((before,),), (after, MACHINE))


def test_size_of_a_change_is_the_same_both_ways() -> None:
    """Twice and half are equally far."""
    up = Change(tank="reef", pump="a", before=1, after=2)
    down = Change(tank="reef", pump="a", before=2, after=1)
    assert up.size == down.size


@pytest.mark.parametrize(
    ("after", "expected"),
    [
        (MACHINE, {}),
        (stronger(105), {}),
        (stronger(106), {"carbonate-reef": "its solution changed by more than 5 %"}),
        (stronger(94), {"carbonate-reef": "its solution changed by more than 5 %"}),
        # As strong as before, and something else beside it.
        (
            also_calcium(),
            {"carbonate-reef": "its solution changed by more than 5 %"},
        ),
        (
            with_pump(MACHINE, "carbonate-reef", channel="z"),
            {"carbonate-reef": "it hangs on another node or channel"},
        ),
        (
            with_tank(MACHINE, zone="Europe/Berlin"),
            {"carbonate-reef": "the zone of its tank changed"},
        ),
        (
            with_pump(MACHINE, "carbonate-reef", solution="lye"),
            {"carbonate-reef": "it gives another solution"},
        ),
        (
            with_pump(MACHINE, "carbonate-reef", tank="lagoon"),
            {"carbonate-reef": "it doses into another tank"},
        ),
        # Nothing that calls for a look at the pump itself.
        (with_pump(MACHINE, "carbonate-reef", per_day_ul=1), {}),
        (with_pump(MACHINE, "calcium-reef", channel="z"), {}),
    ],
)
def test_touched_pumps_are_named_with_why(
    after: Machine, expected: dict[str, str]
) -> None:
    """A pump of the plan that is another one than approved, and no other."""
    found = touched_pumps(MACHINE, after, SAME[0])
    assert expected == {name: ", ".join(why) for name, why in found.items()}


def test_a_pump_nobody_knew_is_new() -> None:
    """A pump that joins is touched as well."""
    pumps = {k: v for k, v in MACHINE.pumps.items() if k != "carbonate-reef"}
    found = touched_pumps(replace(MACHINE, pumps=pumps), MACHINE, SAME[0])
    assert {"carbonate-reef": ("the pump is new",)} == found
