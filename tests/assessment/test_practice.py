"""What practice expects: bands as factors of nature, errors, shelf lives."""

import pytest

from slackwater.assessment.practice import (
    CONSERVATIVE,
    DANGERS,
    band_of,
    floor_sd,
    home_sd,
    laboratory_sd,
    shelf_days,
    stop_above,
)
from tests.assessment.past import DKH, machine

TANK = machine().tanks["reef"]


@pytest.mark.parametrize(
    ("parameter", "low", "high"),
    [
        ("calcium", 400.6, 451.2),
        ("magnesium", 1248.0, 1405.7),
        ("potassium", 379.8, 420.7),
        ("strontium", 6.91, 10.17),
        ("iodine", 49.1, 70.6),
    ],
)
def test_bands_are_factors_of_nature(parameter: str, low: float, high: float) -> None:
    """Of Millero et al. 2008 and Quinby-Hunt 1983; factors are common practice."""
    band = band_of(parameter, TANK)
    assert band is not None
    assert band.factors is not None
    assert (low, high) == pytest.approx((band.low, band.high), rel=1e-3)


@pytest.mark.parametrize(
    ("target", "low", "high"), [(8.5, 7.5, 9.0), (10.0, 9.5, 10.5), (None, 7.5, 9.0)]
)
def test_alkalinity_is_a_managed_value(
    target: float | None, low: float, high: float
) -> None:
    """A target outside the usual band has one of its own."""
    targets = {} if target is None else {"alkalinity": target * DKH}
    band = band_of("alkalinity", machine(targets=targets).tanks["reef"])
    assert band is not None
    assert None is band.factors
    assert (low, high) == pytest.approx((band.low / DKH, band.high / DKH), rel=1e-3)


def test_some_things_nobody_has_an_opinion_on() -> None:
    """Rubidium has neither a factor nor a band."""
    assert None is band_of("rubidium", TANK)
    assert None is stop_above("rubidium", TANK)


@pytest.mark.parametrize(("target", "stop"), [(8.0, 9.5), (11.0, 12.0), (None, 9.7)])
def test_dosing_of_alkalinity_ends_above_its_target(
    target: float | None, stop: float
) -> None:
    """A degree and a half above it, and 12 at most; common practice."""
    targets = {} if target is None else {"alkalinity": target * DKH}
    found = stop_above("alkalinity", machine(targets=targets).tanks["reef"])
    assert found is not None
    assert stop == pytest.approx(found / DKH, rel=1e-4)


def test_dosing_of_elements_ends_where_the_table_says() -> None:
    """Calcium 500 mg/L, common practice."""
    assert 500 == stop_above("calcium", TANK)


@pytest.mark.parametrize(
    ("parameter", "days"),
    [
        ("alkalinity", 3),
        ("nitrate", 7),
        ("phosphate", 7),
        ("calcium", 14),
        ("magnesium", 30),
        ("iodine", 30),
        ("potassium", 45),
        ("strontium", 45),
        ("boron", 45),
        ("copper", 45),
        ("salinity", 14),
        ("ph", 2),
    ],
)
def test_shelf_lives_count_from_sampling(parameter: str, days: float) -> None:
    """Common practice, no source."""
    assert days == shelf_days(parameter)


@pytest.mark.parametrize(
    ("parameter", "value", "sd"),
    [
        ("alkalinity", 8 * DKH, 0.15 * DKH),
        ("nitrate", 2.0, 0.5),
        ("nitrate", 50.0, 5.0),
        ("copper", 5.0, 0.5),
        ("boron", 0.0, 0.005 * 4.592),
    ],
)
def test_a_test_at_home_has_a_usual_error(
    parameter: str, value: float, sd: float
) -> None:
    """Of the reading, a share of it, and never below the floor."""
    assert sd == pytest.approx(home_sd(parameter, value), rel=1e-4)


@pytest.mark.parametrize(
    ("parameter", "value", "limit", "sd"),
    [
        ("calcium", 400.0, None, 12.0),
        ("strontium", 8.0, None, 0.4),
        ("copper", 2.0, None, 0.2),
        ("copper", 0.2, 0.9, 0.3),
        ("salinity", 35.0, None, 0.5),
    ],
)
def test_a_laboratory_has_its_error(
    parameter: str, value: float, limit: float | None, sd: float
) -> None:
    """A share of the result; near the limit a third of that."""
    assert sd == pytest.approx(laboratory_sd(parameter, value, limit))


def test_no_test_is_believed_beyond_its_floor() -> None:
    """0.05 dKH, and half a percent of nature."""
    assert 0.05 * DKH == pytest.approx(floor_sd("alkalinity"), rel=1e-4)
    assert 0.005 * 421.7 == pytest.approx(floor_sd("calcium"))
    assert 0.0 == floor_sd("temperature")


def test_every_danger_leaves_its_band_room() -> None:
    """A level in its band is never a danger."""
    for parameter, danger in DANGERS.items():
        band = band_of(parameter, TANK)
        assert band is not None
        assert danger.below is None or danger.below < band.low
        assert danger.above is None or danger.above > band.high


def test_what_keeps_its_proportion_is_listed() -> None:
    """The ions of sea salt do, nutrients and metals do not."""
    assert {"calcium", "boron", "lithium"} <= CONSERVATIVE
    assert not {"alkalinity", "nitrate", "copper"} & CONSERVATIVE
