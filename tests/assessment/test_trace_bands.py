"""Bands of what should hardly be there."""

import csv
from pathlib import Path

import pytest

from slackwater.assessment.trace_bands import (
    CORRODING,
    OPERATOR,
    is_trace,
    likely_sources,
    trace_band,
)
from slackwater.facts.tank import TraceLimits
from slackwater.water.parameters import PARAMETERS

NATURE = Path(__file__).parents[1] / "water" / "natural_seawater.csv"


@pytest.mark.parametrize(
    ("parameter", "watch", "act"),
    [
        ("copper", 2, 4),
        ("zinc", 8, 20),
        ("nickel", 4, 8),
        ("aluminium", 10, 30),
        ("tin", 3, 10),
        ("lead", 2, 5),
        ("barium", 60, 120),
    ],
)
def test_stated_bands_are_those_of_practice(
    parameter: str, watch: float, act: float
) -> None:
    """Common practice, no source; no limit changes them."""
    band = trace_band(parameter, 99.0)
    assert (watch, act) == (band.watch, band.act)
    assert "no source" in band.source


@pytest.mark.parametrize(
    ("parameter", "limit", "watch"),
    [("vanadium", 0.1, 15.6), ("vanadium", 9.0, 27.0), ("manganese", 0.2, 0.6)],
)
def test_others_follow_nature_or_what_can_be_seen(
    parameter: str, limit: float, watch: float
) -> None:
    """The larger of ten times nature and three limits; act 2.5 times that."""
    band = trace_band(parameter, limit)
    assert (watch, 2.5 * watch) == pytest.approx((band.watch, band.act))


def test_an_unstated_limit_is_assumed_and_said() -> None:
    """Otherwise a result of 0.5 ug/L manganese would be red."""
    band = trace_band("manganese", None)
    assert 3.0 == band.watch
    assert "limit assumed" in band.source


@pytest.mark.parametrize("parameter", ["copper", "manganese"])
def test_what_the_operator_wrote_replaces_practice(parameter: str) -> None:
    """Stated or computed, with any limit; and the source says whose it is."""
    own = TraceLimits(watch=1.5, act=2.5)
    band = trace_band(parameter, 9.0, own)
    assert (1.5, 2.5, OPERATOR) == (band.watch, band.act, band.source)


def test_nature_itself_is_never_watched() -> None:
    """Every natural level of the published table lies below its band."""
    text = NATURE.read_text(encoding="utf-8")
    rows = {row["symbol"]: row for row in csv.DictReader(text.splitlines())}
    for parameter, item in PARAMETERS.items():
        if is_trace(parameter):
            natural = float(rows[item.symbol]["value"])
            assert natural < trace_band(parameter, 0.1).watch, parameter


def test_salts_and_nutrients_are_no_traces() -> None:
    """They have bands of their own."""
    assert is_trace("copper")
    assert is_trace("lead")
    assert not is_trace("calcium")
    assert not is_trace("nitrate")


def test_every_trace_has_a_place_to_look() -> None:
    """A named one, or the usual suspects."""
    assert "brass" in likely_sources("copper")
    assert "salt batches" in likely_sources("gallium")
    assert all(is_trace(metal) for metal in CORRODING)
