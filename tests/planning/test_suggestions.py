"""Figures for caps that nobody has stated."""

from dataclasses import replace
from fractions import Fraction

import pytest

from slackwater.facts.plan import Plan
from slackwater.facts.tank import EffectCap, Machine, Uptake
from slackwater.planning.ceilings import check
from slackwater.planning.suggestions import (
    Suggestion,
    net_rise_default,
    rounded_up,
    suggestions,
)
from tests.planning.plans import (
    PLENTY,
    line,
    machine,
    plan,
    with_node,
    with_pump,
    with_tank,
)

CARBONATE = "carbonate-reef"


def bare(**uptake: Uptake) -> Machine:
    """A machine in UTC without any cap for carbonate."""
    shut = with_pump(machine("UTC"), CARBONATE, per_dose_ul=0, per_day_ul=0)
    return with_tank(with_node(shut, day_limit_ul=0), caps={}, uptake=uptake)


def suggested(asked: Plan, made: Machine) -> dict[str, tuple[int, str]]:
    """Values and arithmetic by key."""
    return {one.key: (one.value, one.arithmetic) for one in suggestions(asked, made)}


def test_each_missing_cap_gets_a_figure_with_its_arithmetic() -> None:
    """Dose, day, node, gross and net, each from what the plan asks for."""
    found = suggested(plan(line(per_day_ul=24_007)), bare())

    assert {
        "most_per_dose": (1_300, "largest dose 1.001 mL * 1.2, rounded up to 1.3 mL"),
        # 24 007 and one late dose of 1 001.
        "most_per_day": (
            27_600,
            "largest sum of doses 25.008 mL * 1.1, rounded up to 27.6 mL",
        ),
        "day_limit": (
            28_700,
            "largest sum of doses 26.008 mL * 1.1, rounded up to 28.7 mL",
        ),
        "gross": (
            -(-25_008 * 1_887_000 * 11 // 10),
            f"largest sum {25_008 * 1_887_000} * 1.1, rounded up; no uptake is stated",
        ),
        # By hand: 0.5 dKH is 0.178 meq/L, 44.58 meq in 250 L.
        "net_rise": (
            44_581_557_501,
            "common daily climb 44581557501; common practice, no source",
        ),
    } == found


def test_a_plan_passes_with_what_is_suggested() -> None:
    """Pasting every figure makes the plan sound."""
    asked = plan(line(per_day_ul=24_007))
    found = {one.key: one.value for one in suggestions(asked, bare())}

    made = with_pump(
        bare(),
        CARBONATE,
        per_dose_ul=found["most_per_dose"],
        per_day_ul=found["most_per_day"],
    )
    made = with_node(made, day_limit_ul=found["day_limit"])
    made = with_tank(made, caps={"alkalinity": EffectCap(gross=found["gross"])})

    assert check(asked, made) == []


def test_nothing_is_suggested_where_a_cap_stands() -> None:
    """A cap that is too low is the operator's decision, not a gap to be filled."""
    caps = {"alkalinity": EffectCap(gross=1, net_rise=1)}
    low = with_pump(machine(), CARBONATE, per_dose_ul=1, per_day_ul=1, per_hour_ul=1)

    assert (
        suggestions(plan(line()), with_tank(with_node(low, day_limit_ul=1), caps=caps))
        == []
    )


def test_a_net_rise_is_suggested_beside_a_stated_gross_cap() -> None:
    """An open net rise is a gap of its own."""
    assert list(suggested(plan(line()), machine())) == ["net_rise"]


def test_an_hourly_cap_of_nothing_gets_a_figure() -> None:
    """An hourly cap is optional; one of zero shuts the pump."""
    shut = with_pump(machine("UTC"), CARBONATE, per_hour_ul=0)

    assert suggested(plan(line()), shut)["most_per_hour"] == (
        2_200,
        "largest sum of doses 2 mL * 1.1, rounded up to 2.2 mL",
    )


def test_gross_follows_a_known_uptake() -> None:
    """1.3 times the uptake and the common daily climb, whatever the plan asks."""
    used = Uptake(estimate=40 * 10**9, low=30 * 10**9)

    value, words = suggested(plan(line()), bare(alkalinity=used))["gross"]

    assert value == 52 * 10**9 + 44_581_557_501
    assert words == "1.3 * uptake 40000000000 + daily climb 44581557501"


def test_a_plan_above_its_uptake_is_told_that_the_figure_will_not_do() -> None:
    """A suggestion never grows to fit a plan that pours in too much."""
    used = Uptake(estimate=10**9, low=10**9)

    value, words = suggested(plan(line(per_day_ul=240_000)), bare(alkalinity=used))[
        "gross"
    ]

    assert value == 1_300_000_000 + 44_581_557_501
    assert words.endswith(
        f"; the plan asks for {250_000 * 1_887_000} and would still be refused"
    )


@pytest.mark.parametrize(("estimate", "told"), [(250_000, False), (249_999, True)])
def test_a_plan_at_its_figure_is_not_told_off(estimate: int, *, told: bool) -> None:
    """25 doses of 1 mL of 13 pg/µL are 1.3 times 250 000 pg."""
    made = machine("UTC")
    trace = replace(made.solutions["trace"], effects={"manganese": 13})
    odd = replace(made, solutions={**made.solutions, "trace": trace})
    used = with_tank(odd, uptake={"manganese": Uptake(estimate=estimate, low=1)})

    _, words = suggested(plan(line("trace")), used)["gross"]

    assert told == ("would still be refused" in words)


def test_a_day_has_room_for_a_dose() -> None:
    """A dose every few days: its own room is more than a tenth above its sum."""
    rare = plan(line(per_day_ul=1_000, count=1, every_days=3))

    assert suggested(rare, bare())["most_per_day"] == (
        1_200,
        "room for a dose of 1.2 mL, rounded up to 1.2 mL",
    )


def test_a_node_has_room_for_a_dose_an_hour_after_a_power_up() -> None:
    """The larger need decides; one dose a day asks for twenty-four of them."""
    once = plan(line(per_day_ul=1_000, count=1))

    assert suggested(once, bare())["day_limit"] == (
        24_000,
        "largest dose 1 mL * 24, an hour after power-up, rounded up to 24 mL",
    )


def test_the_largest_pump_decides_for_a_shared_node() -> None:
    """One figure for each key of each table."""
    asked = plan(
        line(per_day_ul=24_000), line("trace", 48_000), line("magnesium", 2_400)
    )

    found = [
        one.value
        for one in suggestions(asked, bare())
        if (one.table, one.key) == ("node.shelf-reef", "day_limit")
    ]

    assert found == [57_200]


def test_suggestions_name_unit_and_parameter() -> None:
    """What the figure is in stands beside it."""
    found = suggestions(plan(line("calcium")), with_tank(machine(), caps={}))

    assert [(one.table, one.key, one.unit, one.parameter) for one in found] == [
        ("tank.reef.caps.calcium", "gross", "pg", "calcium"),
        ("tank.reef.caps.calcium", "net_rise", "pg", "calcium"),
    ]
    assert all(isinstance(one, Suggestion) for one in found)


def test_a_parameter_without_common_practice_gets_no_net_rise() -> None:
    """No figure is made up for what nobody has a habit for."""
    made = machine("UTC")
    odd = replace(
        made,
        solutions={
            **made.solutions,
            "trace": replace(made.solutions["trace"], effects={"manganese": 7}),
        },
    )
    used = with_tank(odd, uptake={"manganese": Uptake(estimate=10, low=5)})

    found = suggested(plan(line("trace")), used)

    assert list(found) == ["gross"]
    assert found["gross"][0] == 13


@pytest.mark.parametrize(
    ("parameter", "per_litre_in_250_l"),
    # Common practice, no source: daily climbs of 0.5 dKH, 15, 40, 8, 0.3 mg/L and
    # 3 µg/L; 1 dKH is 10 mg/L of CaO of 56.077 g/mol with two equivalents.
    [
        ("alkalinity", Fraction(1, 2) * 20 / Fraction("56.077") * 10**9),
        ("calcium", 15 * 10**9),
        ("magnesium", 40 * 10**9),
        ("potassium", 8 * 10**9),
        ("strontium", Fraction(3, 10) * 10**9),
        ("iodine", 3 * 10**6),
        ("nitrate", 10**9),
        ("phosphate", Fraction(2, 100) * 10**9),
    ],
)
def test_common_daily_climbs(parameter: str, per_litre_in_250_l: Fraction) -> None:
    """The figures of common practice, for a tank of 250 L, in pico-units."""
    tank = machine().tanks["reef"]

    assert int(per_litre_in_250_l * 250) == net_rise_default(parameter, tank)


@pytest.mark.parametrize(
    ("value", "digits", "expected"),
    [(1201, 2, 1300), (1200, 2, 1200), (99, 2, 99), (7, 2, 7), (1001, 3, 1010)],
)
def test_figures_are_rounded_up(value: int, digits: int, expected: int) -> None:
    """A rounded cap is never below the figure it came from."""
    assert expected == rounded_up(Fraction(value), digits)
    assert rounded_up(Fraction(value) - Fraction(1, 3), digits) == expected


def test_plenty_is_more_than_any_plan_asks() -> None:
    """The caps of the invented machine hide no finding of another kind."""
    asked = plan(line(per_day_ul=24_000), line("calcium", 24_000))

    assert check(asked, machine()) == []
    assert PLENTY > 24_000 * 20_000_000
