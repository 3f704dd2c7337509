"""What binds every proposal."""

from collections.abc import Mapping

import pytest

from slackwater.assessment.agreement import Agreement, Pair
from slackwater.assessment.blocks import blocks
from slackwater.assessment.records import Check, UptakeFound
from slackwater.facts.proposal import Ground
from tests.assessment.past import DKH, ago
from tests.assessment.pictures import drops, picture, seen, stands

EVERYTHING = frozenset({"alkalinity", "calcium", "iodine", "nitrate", "carbon"})


def held(
    levels: Mapping[str, float | None] | None = None, **other: object
) -> list[tuple[str, str, Ground]]:
    """Parameter, what is stopped, and the ground."""
    found = blocks(picture(levels, **{"dosed": EVERYTHING, **other}))  # type: ignore[arg-type]  # as picture takes
    return [(one.parameter, one.stops, one.ground) for one in found]


def uptake(*, frozen: bool) -> UptakeFound:
    """An uptake whose two estimates agree or not."""
    return UptakeFound(
        parameter="alkalinity",
        per_day=DKH,
        sd_per_day=0.05 * DKH,
        level=8 * DKH,
        level_sd=0.05 * DKH,
        at=ago(1),
        tests=9,
        span_days=20.0,
        provenance="hand",
        method="drops",
        enough=not frozen,
        frozen=frozen,
    )


def test_a_tank_that_is_well_is_free() -> None:
    """No block at all, and none of what is unknown."""
    assert [] == held()
    assert [] == held(dict.fromkeys(("salinity", "temperature", "nitrate"), None))


@pytest.mark.parametrize("salinity", [33.9, 36.1])
def test_salinity_off_by_one_ends_corrections_of_elements(salinity: float) -> None:
    """What scales with it, and traces; alkalinity and nitrate do not."""
    assert [
        ("calcium", "correction", Ground.SALINITY),
        ("iodine", "correction", Ground.SALINITY),
    ] == held({"salinity": salinity})


def test_salinity_off_by_three_ends_all() -> None:
    """Everything that is dosed."""
    found = held({"salinity": 31.5})
    assert {("dose", Ground.SALINITY)} == {(stops, why) for _, stops, why in found}
    assert EVERYTHING == {parameter for parameter, _, _ in found}


@pytest.mark.parametrize(
    ("celsius", "stops"), [(29.6, "correction"), (20.9, "correction"), (32.5, "dose")]
)
def test_heat_and_cold_end_corrections_then_all(celsius: float, stops: str) -> None:
    """Above 29.5 or below 21; above 32 or below 18; common practice."""
    found = held({"temperature": celsius}, dosed=frozenset({"alkalinity"}))
    assert [("alkalinity", stops, Ground.BLOCKED)] == found


def test_carbon_needs_food_and_cool_water() -> None:
    """Nitrate 1, phosphate 0.02 mg/L, at most 29 degC."""
    carbon = ("carbon", "dose", Ground.BLOCKED)
    assert [carbon] == held({"nitrate": 0.9})
    assert [carbon] == held({"phosphate": 0.01})
    assert [carbon] == held({"temperature": 29.2})
    assert [] == held({"nitrate": 0.9}, dosed=frozenset({"alkalinity"}))


def test_elements_above_their_limit_are_not_dosed() -> None:
    """Calcium above 500, as salinity 35 has it."""
    assert [("calcium", "dose", Ground.BLOCKED)] == held({"calcium": 505.0})
    normal = stands("calcium", 505.0, level_35=490.0)
    assert [] == held(standings=[normal])
    high = stands("calcium", 495.0, level_35=505.0)
    assert [("calcium", "dose", Ground.BLOCKED)] == held(standings=[high])


def test_high_alkalinity_is_led_down_not_cut_off() -> None:
    """A tank that uses three degrees a day would be empty before the next test."""
    assert [] == held({"alkalinity": 11.9 * DKH})


def test_an_old_value_blocks_nothing() -> None:
    """It says nothing about today."""
    assert [] == held(standings=[stands("calcium", 600.0, word="too old")])


def test_contaminants_are_never_dosed() -> None:
    """At act nothing of it, at watch no more of it."""
    found = held(traces=[seen("copper", 9.0), seen("zinc", 9.0), seen("tin", 0.6)])
    assert [
        ("copper", "dose", Ground.BLOCKED),
        ("zinc", "correction", Ground.BLOCKED),
    ] == found


@pytest.mark.parametrize("disputed", [True, False])
def test_a_dispute_is_answered_by_a_standard(disputed: bool) -> None:
    """Not by a dose."""
    pair = Pair(at=ago(3), difference=50.0, sd=10.0)
    agreed = Agreement(
        running=50.0, sd=10.0, pairs=(pair,), newest=pair, disputed=disputed
    )
    found = held(agreements={"calcium": {("drops", ""): agreed}})
    assert ([("calcium", "correction", Ground.DISAGREEMENT)] if disputed else []) == (
        found
    )


@pytest.mark.parametrize("frozen", [True, False])
def test_a_frozen_dose_stays(frozen: bool) -> None:
    """Two ways of estimating disagree."""
    found = held(uptakes={"alkalinity": uptake(frozen=frozen)})
    assert ([("alkalinity", "change", Ground.LITTLE_EVIDENCE)] if frozen else []) == (
        found
    )


def test_a_held_test_waits_for_its_retest() -> None:
    """Nothing is corrected from it."""
    found = held(series={"calcium": (drops("calcium", 420, 480, last="held"),)})
    assert [("calcium", "correction", Ground.LITTLE_EVIDENCE)] == found


@pytest.mark.parametrize("holds", [True, False, None])
def test_calcium_is_not_mended_where_it_does_not_fit(holds: bool | None) -> None:
    """Only a check that fails blocks, and only that one."""
    checks = (
        Check(name="calcium-alkalinity", holds=holds, text=""),
        Check(name="charge-balance", holds=False, text=""),
    )
    expected = [("calcium", "correction", Ground.BLOCKED)] if holds is False else []
    assert expected == held(checks=checks)
