"""What a check and a rehearsal warn of beyond caps and the alkalinity floor.

Bounds of elements: 360 to 500 mg/L of calcium, 1150 to 1550 of magnesium (common
practice, no source).
"""

from dataclasses import replace
from datetime import UTC, datetime, time, timedelta
from pathlib import Path

import pytest

from slackwater.cli.report.foreseen import elements_beyond, rises_beside_tests
from slackwater.cli.report.past import Interval
from slackwater.facts.tank import Machine
from slackwater.planning.timetable import Timetable
from slackwater.rehearsal.forecast import Band, Forecast
from tests.cli.run_program import SMALLEST, changed, run
from tests.rehearsal.houses import FIRST, MEQ_PER_DKH, sample

BEGIN = datetime.combine(FIRST, time(), UTC)


def falling(parameter: str, *levels: float) -> Forecast:
    """A forecast of one parameter, a level a day."""
    return Forecast(
        tank="reef",
        times=tuple(BEGIN + timedelta(days=day) for day in range(len(levels))),
        bands=(Band(parameter=parameter, less=levels, same=levels, more=levels),),
    )


@pytest.mark.parametrize(
    ("parameter", "levels", "told"),
    [
        ("calcium", (415.0, 361.0, 300.0, 205.0), "below 360 mg/L"),
        ("calcium", (480.0, 501.0), "above 500 mg/L"),
        ("magnesium", (1200.0, 1149.0), "below 1150 mg/L"),
        ("magnesium", (1500.0, 1551.0), "above 1550 mg/L"),
    ],
)
def test_an_element_that_leaves_its_bounds_is_told(
    parameter: str, levels: tuple[float, ...], told: str
) -> None:
    """With the first day beyond, and where it ends."""
    machine, _plan = sample("smallest")
    (text,) = elements_beyond(machine, falling(parameter, *levels))
    assert text.startswith(f"reef {parameter} would be {told} from ")
    assert text.endswith(f"at {levels[-1]:.0f} mg/L in the end")


def test_what_stays_within_is_not_told() -> None:
    """Nor what has no such bounds, nor alkalinity, which has its own words."""
    machine, _plan = sample("smallest")
    for parameter in ("calcium", "alkalinity", "strontium"):
        found = falling(parameter, 415.0, 420.0)
        assert [] == list(elements_beyond(machine, found))


def test_a_check_warns_of_calcium_beside_enough_alkalinity(tmp_path: Path) -> None:
    """Soda as it was and hardly any calcium: only calcium leaves its bounds."""
    plan = (SMALLEST / "plan.toml").read_text("utf-8")
    loose = plan.replace('group = "balanced"\n', "").partition("# Both lines")[0]
    soda, calcium = loose.split('solution = "calcium"')
    less = calcium.replace('"36 mL"', '"2 mL"')
    config = changed(
        tmp_path, SMALLEST, plan=(plan, f'{soda}solution = "calcium"{less}')
    )
    found = run("check", "--config", config, "--json").document["sinking"]
    assert isinstance(found, list)
    (told,) = found
    assert told.startswith("reef calcium would be below 360 mg/L from ")


def shown(low_dkh: float) -> dict[str, dict[str, Interval]]:
    """An alkalinity uptake by tests with this lower bound."""
    low = low_dkh * MEQ_PER_DKH
    one = Interval(low=low, estimate=1.1 * low, high=1.2 * low, source="tests")
    return {"reef": {"alkalinity": one}}


def capped() -> tuple[Machine, Timetable]:
    """The smallest sample: 0.94 dKH a day, net_rise 0.5 dKH."""
    machine, plan = sample("smallest")
    return machine, Timetable(plan, machine)


def test_a_rise_that_only_the_stated_uptake_allows_is_told() -> None:
    """0.94 dKH a day less 0.2 by tests is more than the 0.5 that are allowed."""
    machine, timetable = capped()
    (told,) = rises_beside_tests(machine, timetable, shown(0.2))
    assert told.startswith("reef alkalinity may rise by 0.743 dKH a day, for tests ")
    assert "net_rise allows 0.5 dKH, counted with the 0.8 dKH" in told


def test_a_rise_within_the_cap_by_tests_is_not_told() -> None:
    """0.6 dKH of uptake leave 0.34; more than stated is never the more careful."""
    machine, timetable = capped()
    assert [] == list(rises_beside_tests(machine, timetable, shown(0.6)))
    assert [] == list(rises_beside_tests(machine, timetable, shown(1.5)))
    tank = machine.tanks["reef"]
    without = replace(machine, tanks={"reef": replace(tank, uptake={})})
    assert [] == list(rises_beside_tests(without, timetable, shown(0.2)))
