"""The forecast runs on the uptake that stands beside the day."""

import pytest

from slackwater.cli.reading import read_files
from slackwater.cli.report.living import as_lived, uptakes_of
from slackwater.cli.report.made import Wishes, make_report
from slackwater.cli.report.past import Interval, Past
from slackwater.cli.report.summary import summary
from slackwater.rehearsal.forecast import hours_to_floor
from slackwater.rehearsal.virtual_tank import canonical, living_of
from tests.cli.run_program import SMALLEST
from tests.rehearsal.houses import MEQ_PER_DKH, machine_with, reef

STATED = machine_with(reef(uptake_dkh=1.5))
SHOWN = Past(
    levels={"reef": {"alkalinity": 7.5 * MEQ_PER_DKH}},
    uptakes={
        "reef": {
            "alkalinity": Interval(
                low=2.5 * MEQ_PER_DKH,
                estimate=3.0 * MEQ_PER_DKH,
                high=3.5 * MEQ_PER_DKH,
                source="tests",
            )
        }
    },
)


def test_a_tank_lives_on_what_tests_show_of_it() -> None:
    """3 dKH a day at 7.5 dKH, stated 1.5: the floor of 6.5 comes in 8 h, not in 16."""
    lived = as_lived(STATED, SHOWN)
    levels = SHOWN.levels["reef"]
    said = uptakes_of(STATED, SHOWN)["reef"]["alkalinity"]
    living = living_of(lived, "reef")

    assert living.uptake["alkalinity"] == pytest.approx(said.estimate)
    assert 7.5 == pytest.approx(living.usual / MEQ_PER_DKH)
    low = canonical(
        lived.tanks["reef"], "alkalinity", lived.tanks["reef"].uptake["alkalinity"].low
    )
    assert 2.5 == pytest.approx(low / MEQ_PER_DKH)
    assert [8.0, 16.0] == [
        pytest.approx(hours_to_floor(one, "reef", levels).steady)
        for one in (lived, STATED)
    ]


def test_without_tests_a_tank_lives_as_stated() -> None:
    """Its target too, whatever was measured."""
    assert as_lived(STATED, Past(levels=SHOWN.levels)) == STATED


def test_the_forecast_names_where_its_uptake_comes_from() -> None:
    """The sample states it."""
    made = make_report(read_files(SMALLEST), Past(), Wishes(days=1))
    (item,) = (one for one in summary(made) if one.key == "forecast")
    assert item.lines[0].endswith("; from its target, uptake as stated")


def test_a_report_forecasts_by_what_tests_show() -> None:
    """The smallest sample states 1 dKH a day: 8 h to the floor, not 24."""
    made = make_report(read_files(SMALLEST), SHOWN, Wishes(days=1))
    (ahead,) = made.forecasts
    (alkalinity,) = (one for one in ahead.bands if one.parameter == "alkalinity")

    assert 8.0 == pytest.approx(made.hours["reef"].steady)
    assert alkalinity.same[-1] < 7.0 * MEQ_PER_DKH
