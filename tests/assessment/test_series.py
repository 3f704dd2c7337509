"""Tests become series: replicates, kit bias, methods and lots kept apart."""

from dataclasses import replace

import pytest

from slackwater.assessment.practice import home_sd
from slackwater.assessment.series import (
    far_replicates,
    kit_biases,
    quantification_limit,
    series_of,
)
from slackwater.facts.history import ProbeDay
from tests.assessment.past import (
    DKH,
    NOW,
    ago,
    history,
    measured,
    report,
    standard,
    with_report,
)

MINUTE = 1 / 1440


def test_replicates_within_half_an_hour_are_one_test() -> None:
    """Three drops tests in 20 minutes: their mean, with a smaller error."""
    past = history(
        *(measured("calcium", 420 + n, 2 - 10 * n * MINUTE) for n in range(3))
    )
    (series,) = series_of(past, "calcium", NOW)
    (point,) = series.points
    assert 421 == pytest.approx(point.value)
    assert 10 / 3**0.5 == pytest.approx(point.sd)
    assert 3 == len(point.entries)


def test_tests_further_apart_stay_single() -> None:
    """Forty minutes between them: two tests."""
    past = history(
        measured("calcium", 420, 1), measured("calcium", 430, 1 - 40 * MINUTE)
    )
    (series,) = series_of(past, "calcium", NOW)
    assert [420, 430] == [point.value for point in series.points]


def test_an_entry_that_holds_replicates_has_a_smaller_error() -> None:
    """Four replicates averaged by the keeper halve the error."""
    past = history(measured("calcium", 420, 1, replicates=4))
    assert 5 == pytest.approx(series_of(past, "calcium", NOW)[0].points[0].sd)


def test_a_stated_error_is_taken() -> None:
    """As it stands, where there is one above 0."""
    past = history(
        measured("calcium", 420, 2, sd=4.0), measured("calcium", 420, 1, sd=0.0)
    )
    (series,) = series_of(past, "calcium", NOW)
    assert [4, 10] == [pytest.approx(point.sd) for point in series.points]


def test_the_bias_of_a_lot_is_taken_off_and_shown() -> None:
    """Two checks on a standard, 0.4 dKH high on average."""
    past = history(
        measured("alkalinity", 8.4 * DKH, 1, lot="a"),
        standards=(
            standard("alkalinity", 8 * DKH, 8.3 * DKH, 20, lot="a"),
            standard("alkalinity", 8 * DKH, 8.5 * DKH, 10, lot="a"),
            standard("calcium", 400, 440, 10, lot="a"),
        ),
    )
    (series,) = series_of(past, "alkalinity", NOW)
    (point,) = series.points
    assert (8.0, 8.4, 0.4) == pytest.approx(
        (point.value / DKH, point.raw / DKH, point.bias / DKH)
    )


def test_the_error_of_a_bias_shrinks_with_the_checks() -> None:
    """Each check is as good as one test."""
    past = history(
        standards=tuple(standard("calcium", 400, 410, day) for day in (4, 3, 2, 1))
    )
    bias = kit_biases(past, "calcium")["drops", ""]
    assert (10, 5, 4) == pytest.approx((bias.value, bias.sd, bias.checks))


def test_methods_are_never_in_one_series() -> None:
    """Drops and titration stand apart."""
    past = history(
        measured("calcium", 420, 2), measured("calcium", 421, 1, method="titration")
    )
    assert ["drops", "titration"] == [
        one.method for one in series_of(past, "calcium", NOW)
    ]


def test_lots_nobody_tried_on_a_standard_stand_apart() -> None:
    """A new lot may step: two series until both are known."""
    tests = (measured("calcium", 420, 2, lot="a"), measured("calcium", 440, 1, lot="b"))
    apart = series_of(history(*tests), "calcium", NOW)
    known = tuple(standard("calcium", 400, 400, 5, lot=lot) for lot in "ab")
    joined = series_of(history(*tests, standards=known), "calcium", NOW)
    assert ["a", "b"] == [one.lot for one in apart]
    assert [""] == [one.lot for one in joined]
    assert 2 == len(joined[0].points)


def test_what_was_superseded_or_lies_ahead_is_left_out() -> None:
    """A correction counts instead of what it corrects; nothing from after now."""
    past = history(
        measured("calcium", 240, 2, id="slip"),
        measured("calcium", 420, 2, id="right", supersedes="slip"),
        measured("calcium", 425, -1),
    )
    (series,) = series_of(past, "calcium", NOW)
    assert [420] == [point.value for point in series.points]


def test_a_censored_test_is_half_its_limit() -> None:
    """Anything from 0 to the limit: limit / sqrt(12) is the deviation of that."""
    past = history(measured("nitrate", 2.0, 1, censored=True))
    (point,) = series_of(past, "nitrate", NOW)[0].points
    assert (1.0, 2 / 12**0.5) == pytest.approx((point.value, point.sd))
    assert point.censored


def test_a_laboratory_has_its_own_series_by_name() -> None:
    """Named by the report; without a report it is just the laboratory."""
    past = with_report(
        history(measured("copper", 1.0, 9, "lab", report="lost")),
        report(5, {"copper": 2.0}, limits={"copper": 0.9}),
    )
    found = series_of(past, "copper", NOW)
    assert ["Invented laboratory", "laboratory"] == [one.method for one in found]
    assert 0.3 == pytest.approx(found[0].points[0].sd)


def test_the_newest_stated_limit_counts() -> None:
    """Reports that say nothing of an element are passed over."""
    past = with_report(
        history(),
        report(50, {"copper": 2.0}, limits={"copper": 0.9}),
        report(20, {"copper": 2.0}, limits={"copper": 0.5}),
        report(5, {"zinc": 2.0}),
    )
    assert 0.5 == quantification_limit(past, "copper")
    assert None is quantification_limit(past, "zinc")


def test_a_probe_gives_the_median_of_each_day() -> None:
    """One series a probe, in the middle of its day and never ahead of now."""
    day = ProbeDay(
        probe="kh",
        parameter="alkalinity",
        at=ago(3),
        count=24,
        median=8 * DKH,
        lowest=7.8 * DKH,
        highest=8.2 * DKH,
        centre=ago(2.5),
    )
    late = replace(day, at=ago(0.2), centre=ago(-0.3))
    days = (day, late, replace(day, parameter="ph"))
    (series,) = series_of(history(probe_days=days), "alkalinity", NOW)
    assert ("probe", "kh") == (series.provenance, series.method)
    assert [ago(2.5), NOW] == [point.at for point in series.points]


def test_replicates_that_lie_too_far_apart_are_named() -> None:
    """More than three standard deviations of one test."""
    sd = home_sd("alkalinity", 8 * DKH)
    past = history(
        measured("alkalinity", 8 * DKH, 2, replicates=2, spread=3.1 * sd, id="wide"),
        measured("alkalinity", 8 * DKH, 1, replicates=2, spread=2.9 * sd),
    )
    assert ["wide"] == [one.id for one in far_replicates(past, "alkalinity", NOW)]
