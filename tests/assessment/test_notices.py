"""What a person should know, from alarm to note."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import pytest

from slackwater.assessment.notices import notices
from slackwater.assessment.records import Assessment, Check, Notice
from tests.assessment.past import DKH, NOW, history, measured, standard
from tests.assessment.pictures import drops, picture, seen
from tests.assessment.test_blocks import uptake


def told(
    levels: Mapping[str, float | None] | None = None, **other: object
) -> Sequence[Notice]:
    """The notices of a picture."""
    return notices(picture(levels, **other))  # type: ignore[arg-type]  # as picture takes


def short(found: Sequence[Notice]) -> list[tuple[str, str, str]]:
    """Code, weight and parameter."""
    return [(one.code, one.weight, one.parameter) for one in found]


def test_a_tank_that_is_well_has_none() -> None:
    """Nor one nobody tested."""
    assert () == told()
    assert () == told(dict.fromkeys(("alkalinity", "salinity", "ph"), None))


@pytest.mark.parametrize(
    ("parameter", "level", "weight"),
    [
        ("alkalinity", 5.9 * DKH, "warning"),
        ("calcium", 350.0, "warning"),
        ("magnesium", 1100.0, "warning"),
        ("potassium", 340.0, "warning"),
        ("salinity", 31.9, "alarm"),
        ("temperature", 20.0, "alarm"),
        ("ph", 7.4, "alarm"),
    ],
)
def test_what_is_dangerously_low(parameter: str, level: float, weight: str) -> None:
    """What dosing mends is no alarm: an alarm would forbid it."""
    assert [("level-too-low", weight, parameter)] == short(told({parameter: level}))


@pytest.mark.parametrize(
    ("parameter", "level", "weight"),
    [
        ("alkalinity", 12.1 * DKH, "warning"),
        ("calcium", 501.0, "warning"),
        ("strontium", 15.1, "warning"),
        ("salinity", 37.6, "alarm"),
        ("temperature", 29.6, "alarm"),
        ("ph", 8.7, "alarm"),
    ],
)
def test_what_is_dangerously_high(parameter: str, level: float, weight: str) -> None:
    """What dosing less mends is no alarm either."""
    assert [("level-too-high", weight, parameter)] == short(told({parameter: level}))


def test_an_uptake_that_fell_is_its_own_finding() -> None:
    """The earliest sign of trouble in the animals, with its share."""
    fell = replace(uptake(frozen=False), fell=True, before_per_day=1.5 * DKH)
    (found,) = told(uptakes={"alkalinity": fell})
    assert ("uptake-fell", "warning") == (found.code, found.weight)
    assert "33 % less alkalinity" in found.text
    assert () == told(uptakes={"alkalinity": uptake(frozen=False)})


def test_estimates_that_disagree_are_an_alarm() -> None:
    """The dose stays."""
    (found,) = told(uptakes={"alkalinity": uptake(frozen=True)})
    assert ("estimates-disagree", "alarm") == (found.code, found.weight)


def test_contaminants_are_told_with_their_sources() -> None:
    """At act it is an alarm, seen once too; a single result at watch is a note."""
    found = told(
        dosed=frozenset({"manganese"}),
        traces=[
            seen("manganese", 99.0),
            seen("copper", 9.0, confirmed=True),
            seen("zinc", 30.0),
            seen("nickel", 5.0, confirmed=True),
            seen("tin", 0.6),
            seen("aluminium", 12.0),
        ],
    )
    assert [
        ("trace-act", "alarm", "copper"),
        ("trace-act", "alarm", "zinc"),
        ("trace-act", "warning", "manganese"),
        ("trace-watch", "warning", "nickel"),
        ("trace-watch", "note", "aluminium"),
    ] == short(found)
    assert "confirmed; likely from brass" in found[0].text
    assert "seen once" in found[1].text


def test_checks_that_fail_are_told() -> None:
    """Calcium beside alkalinity is an alarm, a doubtful report a warning."""
    checks = (
        Check(name="calcium-alkalinity", holds=False, text="One."),
        Check(name="charge-balance", holds=False, text="Two."),
        Check(name="salinity-sodium", holds=True, text="Three."),
        Check(name="salinity-chloride", holds=None, text="Four."),
    )
    assert [
        ("calcium-alkalinity", "alarm", "calcium"),
        ("charge-balance", "warning", ""),
    ] == short(told(checks=checks))


def test_outliers_and_far_replicates_are_noted() -> None:
    """They stay readable."""
    series = drops("calcium", 420, 500, 421)
    points = (
        series.points[0],
        replace(series.points[1], use="outlier"),
        series.points[2],
    )
    past = history(measured("calcium", 420, 1, replicates=2, spread=60.0))
    found = told(series={"calcium": (replace(series, points=points),)}, past=past)
    assert [
        ("outliers", "note", "calcium"),
        ("replicates-apart", "note", "calcium"),
    ] == short(found)
    assert () == told(series={"calcium": (series,)})


def test_an_alarm_is_one_of_the_assessment() -> None:
    """Warnings are not."""
    both = told({"salinity": 31.0, "calcium": 350.0})
    warned = tuple(one for one in both if one.weight == "warning")
    assert Assessment(tank="reef", at=NOW, notices=tuple(both)).has_alarm
    assert not Assessment(tank="reef", at=NOW, notices=warned).has_alarm


def test_one_sample_of_a_contaminant_calls_and_stops_no_correction() -> None:
    """Alkalinity goes on being corrected while the second bottle is in the post."""
    for confirmed in (False, True):
        trace = seen("copper", 22.0, confirmed=confirmed)
        made = Assessment(
            tank="reef",
            at=NOW,
            traces={"copper": trace},
            notices=tuple(told(traces=[trace])),
        )
        assert made.has_alarm
        assert confirmed == bool(made.stopping)


@pytest.mark.parametrize(
    ("method", "lot", "told"),
    [
        ("drops", "B", "another lot, drops, lot A"),
        ("photometer", "", "another method, drops, lot A"),
    ],
)
def test_a_bias_of_another_kit_is_said_to_be_left_off(
    method: str, lot: str, told: str
) -> None:
    """One line with the kit that was tried; none where the bias applies."""
    tried = (standard("calcium", 400, 410, 9, lot="A"),)
    own = measured("calcium", 420, 5, method="drops", lot="A")
    other = measured("calcium", 430, 2, method=method, lot=lot)
    series = {"calcium": (drops("calcium", 420, 430),)}
    (found,) = notices(
        picture(past=history(own, other, standards=tried), series=series)
    )
    assert ("bias-not-applied", "note") == (found.code, found.weight)
    assert told in found.text
    assert () == notices(picture(past=history(own, standards=tried), series=series))


def test_a_trace_above_a_thousand_is_written_out() -> None:
    """Rubidium and lithium reach four digits: 1310, never 1.31e+03."""
    (notice,) = told(traces=[seen("rubidium", 1310.0)])
    assert notice.text.startswith("rubidium 1310 ug/L, seen once")
