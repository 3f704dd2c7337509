"""Laboratory and home tests of one water."""

from collections.abc import Mapping
from dataclasses import replace

import pytest

from slackwater.assessment.agreement import Agreement, agreements
from slackwater.assessment.assess import assess
from slackwater.assessment.carrying import Consumption
from slackwater.assessment.inflow import Inflow
from slackwater.assessment.series import series_of
from slackwater.facts.history import History
from slackwater.facts.proposal import Ground
from tests.assessment.past import (
    DKH,
    NOW,
    history,
    machine,
    measured,
    report,
    standard,
    with_report,
)

PLAIN = Inflow(parameter="calcium")
DROPS = ("drops", "")


def of(
    past: History,
    parameter: str = "calcium",
    inflow: Inflow = PLAIN,
    use: Consumption | None = None,
) -> Mapping[tuple[str, str], Agreement]:
    """The agreements of a parameter."""
    series = series_of(past, parameter, NOW)
    return agreements(series, past, inflow, use or Consumption())


def test_the_running_difference_is_that_of_the_newest_three_pairs() -> None:
    """Laboratory less home: the oldest of four pairs no longer counts."""
    pairs = [(90, 400, 500), (60, 420, 430), (30, 425, 440), (5, 430, 435)]
    past = with_report(
        history(*(measured("calcium", home, day) for day, home, _ in pairs)),
        *(report(day, {"calcium": lab}) for day, _, lab in pairs),
    )
    found = of(past)[DROPS]
    assert 10 == pytest.approx(found.running)
    assert 4 == len(found.pairs)
    assert not found.disputed


def test_both_are_carried_to_the_later_day() -> None:
    """A home test two days before the sample, 5 mg/L used up a day."""
    past = with_report(
        history(measured("calcium", 430, 7)), report(5, {"calcium": 420})
    )
    found = of(past, use=Consumption(per_day=5.0))
    assert 0 == pytest.approx(found[DROPS].running)


def test_a_home_test_after_the_sample_is_compared_too() -> None:
    """The sample is carried to the day of the test; the sign stays the same."""
    past = with_report(
        history(measured("calcium", 400, 3)), report(5, {"calcium": 420})
    )
    found = of(past, use=Consumption(per_day=5.0))
    assert 10 == pytest.approx(found[DROPS].running)


def test_tests_days_apart_are_not_compared() -> None:
    """Four days lie between them."""
    past = with_report(
        history(measured("calcium", 400, 9)), report(5, {"calcium": 500})
    )
    assert {} == of(past)


def test_days_apart_a_dispute_needs_a_known_uptake() -> None:
    """Eight days lie between them: what is used up meanwhile is not guessed."""
    past = with_report(
        history(measured("alkalinity", 8.2 * DKH, 14)),
        report(6, {"alkalinity": 10.5 * DKH}),
    )
    plain = Inflow(parameter="alkalinity")
    assert {} == of(past, "alkalinity", plain)
    sure = Consumption(per_day=0.01 * DKH, sd=0.005 * DKH)
    found = of(past, "alkalinity", plain, sure)[DROPS]
    assert found.disputed
    # It disputes the kit and tells nothing of its running difference.
    assert ((), 0.0) == (found.pairs, found.running)
    # An uptake that is known badly explains the difference.
    assert {} == of(past, "alkalinity", plain, replace(sure, sd=0.3 * DKH))


def test_a_far_laboratory_alkalinity_leads_to_a_standard_and_no_dose() -> None:
    """10.5 dKH from a laboratory eight days after the last home test of 8.2."""
    homes = (measured("alkalinity", 8.2 * DKH, day) for day in (20, 17, 14))
    past = with_report(history(*homes), report(6, {"alkalinity": 10.5 * DKH}))
    found = assess(past, machine(), "reef", NOW)
    assert "test_a_standard" in {one.remedy for one in found.advice}
    assert [("correction", "alkalinity")] == [
        (one.stops, one.parameter)
        for one in found.blocks
        if one.ground is Ground.DISAGREEMENT
    ]


def test_a_standard_tried_with_another_lot_settles_nothing() -> None:
    """The kit in hand is of lot B, and lot A was tried."""
    past = with_report(
        history(
            measured("calcium", 400, 5, lot="B"),
            standards=(standard("calcium", 400, 400, 2, lot="A"),),
        ),
        report(5, {"calcium": 480}),
    )
    assert of(past)["drops", "B"].disputed


def test_more_than_three_errors_are_a_dispute() -> None:
    """Calcium 480 from the laboratory, 400 at home on the same day."""
    past = with_report(
        history(measured("calcium", 400, 5)), report(5, {"calcium": 480})
    )
    assert of(past)[DROPS].disputed


def test_a_standard_tried_since_settles_the_kit() -> None:
    """The kit reads the standard right: the dispute is not about the kit any more."""
    past = with_report(
        history(
            measured("calcium", 400, 5),
            standards=(
                standard("calcium", 400, 401, 2),
                standard("magnesium", 1300, 1300, 1),
            ),
        ),
        report(5, {"calcium": 480}),
    )
    assert not of(past)[DROPS].disputed


def test_an_older_standard_settles_nothing() -> None:
    """It was tried before the two disagreed."""
    past = with_report(
        history(
            measured("calcium", 400, 5), standards=(standard("calcium", 400, 400, 50),)
        ),
        report(5, {"calcium": 480}),
    )
    assert of(past)[DROPS].disputed


@pytest.mark.parametrize("parameter", ["nitrate", "phosphate", "ph"])
def test_what_changes_in_the_post_is_not_compared(parameter: str) -> None:
    """A difference would prove nothing."""
    past = with_report(
        history(measured(parameter, 7.9, 5)), report(5, {parameter: 9.0})
    )
    assert {} == of(past, parameter, Inflow(parameter=parameter))


def test_what_was_not_seen_is_not_compared() -> None:
    """On either side."""
    past = with_report(
        history(measured("iodine", 20, 5, censored=True)), report(5, {"iodine": 60})
    )
    assert {} == of(past, "iodine", Inflow(parameter="iodine"))
    unseen = with_report(
        history(measured("iodine", 20, 5)),
        report(5, {"iodine": 60}, unseen=["iodine"]),
    )
    assert {} == of(unseen, "iodine", Inflow(parameter="iodine"))


def told_of(past: History, **machine_parts: object) -> list[str]:
    """What is said of laboratory and home tests that cannot be compared."""
    found = assess(past, machine(**machine_parts), "reef", NOW)  # type: ignore[arg-type]  # as machine takes
    return [one.text for one in found.notices if one.code == "not-compared"]


def test_one_home_test_days_from_the_sample_is_said_to_be_no_comparison() -> None:
    """Five days and no uptake: why it cannot be told, and what would help."""
    past = with_report(
        history(measured("calcium", 430, 1)), report(6, {"calcium": 420})
    )
    (text,) = told_of(past)
    assert "calcium cannot be compared: 5 days lie between them and its uptake" in text
    assert "test calcium on the day the next sample is taken" in text


def test_near_tests_and_known_uptakes_are_no_such_case() -> None:
    """Two days, or five with a stated uptake; beyond fourteen that does not help."""
    near = with_report(
        history(measured("calcium", 430, 4)), report(6, {"calcium": 420})
    )
    far = with_report(history(measured("calcium", 430, 1)), report(6, {"calcium": 420}))
    farther = with_report(
        history(measured("calcium", 430, 1)), report(20, {"calcium": 420})
    )
    stated = {"calcium": (5.0, 4.0)}
    assert [] == told_of(near)
    assert [] == told_of(far, uptake=stated)
    (text,) = told_of(farther, uptake=stated)
    assert "19 days lie between them; test" in text


def test_an_old_sample_and_what_changes_in_the_post_are_not_told() -> None:
    """Sixty days ago is another season; phosphate is never compared."""
    old = with_report(
        history(measured("calcium", 430, 1)), report(61, {"calcium": 4e2})
    )
    posted = with_report(
        history(measured("phosphate", 0.05, 1)), report(6, {"phosphate": 0.04})
    )
    assert [] == told_of(old)
    assert [] == told_of(posted)
