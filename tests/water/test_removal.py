"""Resins, adsorbents and published criteria."""

from collections.abc import Callable
from math import nan

import pytest
from molmass import Formula

from slackwater.errors import InputError, OutOfRangeError
from slackwater.water.parameters import PARAMETERS
from slackwater.water.removal import (
    ADSORBENT_MG_P_PER_GRAM,
    CRITERIA,
    RESIN_METALS,
    RESIN_MMOL_PER_ML,
    adsorbent_grams,
    resin_ml,
    weekly_steps,
)


@pytest.mark.parametrize("metal", sorted(RESIN_METALS))
def test_resin_is_moles_over_capacity(metal: str) -> None:
    """Oracle: molmass."""
    found = resin_ml(metal, 50.0, 400.0)
    assert pytest.approx(20.0) == found.milligrams
    mass = Formula(PARAMETERS[metal].symbol).mass
    assert pytest.approx(20.0 / mass / 0.1, rel=1e-4) == found.medium


def test_the_careful_end_of_a_capacity_is_the_default() -> None:
    """Twice the capacity wants half the medium."""
    low, high = RESIN_MMOL_PER_ML
    whole = resin_ml("copper", 27.0, 300.0).medium
    assert pytest.approx(whole * low / high) == (
        resin_ml("copper", 27.0, 300.0, high).medium
    )
    low, high = ADSORBENT_MG_P_PER_GRAM
    whole = adsorbent_grams(0.25, 400.0).medium
    assert pytest.approx(whole * low / high) == (
        adsorbent_grams(0.25, 400.0, high).medium
    )


def test_phosphorus_is_a_third_of_phosphate() -> None:
    """Oracle: molmass."""
    found = adsorbent_grams(0.25, 400.0)
    share = Formula("P").mass / Formula("PO4").mass
    assert pytest.approx(100.0 * share, rel=1e-4) == found.milligrams


@pytest.mark.parametrize(
    ("level", "target", "share", "weeks"),
    [
        (0.3, 0.05, 0.3, 6),
        (40.0, 10.0, 0.2, 7),
        (0.05, 0.05, 0.3, 0),
        (0.1, 0.07, 0.3, 1),
    ],
)
def test_a_fall_takes_its_weeks(
    level: float, target: float, share: float, weeks: int
) -> None:
    """Never more than a share of what is there, common practice, no source."""
    assert weeks == weekly_steps(level, target, share)
    assert level * (1 - share) ** weeks <= target * 1.001


@pytest.mark.parametrize("parameter", CRITERIA)
def test_a_criterion_is_far_above_nature_and_names_its_source(parameter: str) -> None:
    """Acute is not below chronic, and nobody looked them up again."""
    found = CRITERIA[parameter]
    natural = PARAMETERS[parameter].natural
    figures = [figure for figure in (found.chronic, found.acute) if figure is not None]
    assert figures == sorted(figures)
    assert natural is not None
    assert figures[0] > 5 * natural
    assert "from memory" in found.source


def test_what_no_resin_binds_is_refused() -> None:
    """Lithium stays, and gold is no parameter."""
    with pytest.raises(OutOfRangeError, match="Change water"):
        resin_ml("lithium", 10.0, 300.0)
    with pytest.raises(InputError, match="unknown"):
        resin_ml("gold", 10.0, 300.0)


@pytest.mark.parametrize(
    "call",
    [
        lambda: resin_ml("copper", 0.0, 300.0),
        lambda: resin_ml("copper", 10.0, 0.0),
        lambda: resin_ml("copper", 10.0, 300.0, 0.0),
        lambda: adsorbent_grams(0.0, 300.0),
        lambda: adsorbent_grams(0.1, nan),
        lambda: adsorbent_grams(0.1, 300.0, -1.0),
        lambda: weekly_steps(0.0, 0.1, 0.3),
        lambda: weekly_steps(0.3, 0.0, 0.3),
        lambda: weekly_steps(0.3, 0.1, 0.0),
        lambda: weekly_steps(0.3, 0.1, 1.0),
    ],
)
def test_what_is_no_fall_is_refused(call: Callable[[], object]) -> None:
    """Nothing, negative, or all at once."""
    with pytest.raises(OutOfRangeError):
        call()
