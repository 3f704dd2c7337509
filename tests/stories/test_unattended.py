"""Ten days without anybody: expiries, dead probes, nights without network, holidays.

In each of them alkalinity stays between 6 and 10 dKH at an uptake of 0.5, 1.5 and 3 dKH
a day, and no law is broken. Nobody looks, releases, tests or fills in these ten days.
"""

import logging
from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path
from statistics import median

import pytest
import structlog

from slackwater.facts.events import HoldRaised
from slackwater.facts.judgements import SeriesJudged
from slackwater.facts.reasons import Code
from tests.properties.oracle import findings
from tests.stories.absence import SCENARIOS, Absent
from tests.stories.judge import wrong

UPTAKES = (0.5, 1.5, 3.0)
# Each scenario is played at one uptake in turn; all the others with `--long`.
RUNS = [
    pytest.param(
        name,
        uptake,
        marks=[] if at == number % len(UPTAKES) else [pytest.mark.long],
        id=f"{name} at {uptake} dKH a day",
    )
    for number, name in enumerate(SCENARIOS)
    for at, uptake in enumerate(reversed(UPTAKES))
]


@pytest.fixture(autouse=True)
def quiet() -> Iterator[None]:
    """No word of the daemon's log: the ledger tells the story."""
    before = structlog.get_config()
    silent = structlog.make_filtering_bound_logger(logging.CRITICAL)
    structlog.configure(wrapper_class=silent)
    yield
    structlog.configure(**before)


@pytest.mark.timeout(300)
@pytest.mark.parametrize(("name", "uptake"), RUNS)
def test_h59_ten_days_alone_stay_between_6_and_10_dkh(
    name: str, uptake: float, tmp_path: Path
) -> None:
    """The true water, all the time; and every law of the project."""
    house = Absent(uptake, uptake, tmp_path)
    for day, what in SCENARIOS[name]:
        house.at(day, what)
    house.play()
    assert [] == wrong(house)


# A rise of hourly medians in a day that stops (common practice, no source).
MOST_A_DAY_DKH = 0.8
# What the machine of these houses allows from one time of day to the same of the next.
NET_RISE_DKH = 0.5
# Three tenths more than stated, and a base instead of the plan: no scenario goes lower.
LEAST_DKH = 5.5
# At these true uptakes, as parts of the stated one, and so many doses a day.
FIRST_DAYS = {
    "nobody comes": ((1.3, 12), (1.3, 24)),
    "the probe speaks now and then": ((1.1, 24), (1.2, 12), (1.3, 24)),
    "a night without the node": (
        (1.0, 12),
        (1.0, 24),
        (0.8, 12),
        (0.9, 24),
        (1.1, 12),
        (1.2, 24),
        (1.3, 12),
    ),
    "a night without network": ((1.0, 12), (1.1, 12), (1.3, 24)),
    "an hour without network each night": ((1.1, 12), (1.3, 12)),
    "a night without the daemon": ((1.0, 24), (1.2, 24), (1.3, 12)),
}
# So many scenarios are played, once each; all of them with `--long`.
FEWEST = 3
THIN_RUNS = [
    pytest.param(
        *(name, part, doses),
        marks=[pytest.mark.long] if number or place > FEWEST else [],
        id=f"{name} at {part} of the uptake, {doses} doses",
    )
    for place, (name, ways) in enumerate(FIRST_DAYS.items(), start=1)
    for number, (part, doses) in enumerate(ways)
]


@pytest.mark.timeout(300)
@pytest.mark.parametrize(("name", "part", "doses"), THIN_RUNS)
def test_h51_doses_left_out_and_thin_readings_are_no_swing_upward(
    name: str, part: float, doses: int, tmp_path: Path
) -> None:
    """On the first days of a probe, when hardly anything is known of the tank.

    A swing upward would latch, and the water of nobody's house would sink to 3 dKH.
    """
    uptake = max(UPTAKES)
    house = Absent(uptake, uptake * part, tmp_path, doses)
    for day, what in SCENARIOS[name]:
        house.at(day, what)
    house.play()
    judged = [e for e in house.book.events() if isinstance(e, SeriesJudged)]
    assert [] == [(e.at, e.verdict) for e in judged if e.excess]
    assert [] == [e for e in house.book.events() if isinstance(e, HoldRaised)]
    assert [] == findings(house, honest=True)
    assert min(level for _, level in house.course) > LEAST_DKH


# What leaves doses out lets the water sink first; coming back it may climb too fast for
# an uptake so far below its stated bound, and then a person must look (H51).
WITHOUT_GAPS = [
    name for name in SCENARIOS if "night" not in name and "all of it" not in name
]


@pytest.mark.long
@pytest.mark.timeout(300)
@pytest.mark.parametrize("uptake", UPTAKES)
@pytest.mark.parametrize("name", WITHOUT_GAPS)
def test_h59_an_uptake_three_tenths_below_the_stated_is_survived(
    name: str, uptake: float, tmp_path: Path
) -> None:
    """The plan gives more than the corals take; the ceiling stops it and lets it go."""
    house = Absent(uptake, uptake * 0.7, tmp_path)
    for day, what in SCENARIOS[name]:
        house.at(day, what)
    house.play()
    assert [] == wrong(house)


@pytest.mark.long
@pytest.mark.timeout(300)
def test_h51_an_uptake_three_tenths_below_the_stated_truly_climbs(
    tmp_path: Path,
) -> None:
    """Doses that come back after a night lift the water itself too fast; that latches.

    What is true of the water is looked at here, by the hour as a keeper would.
    """
    uptake = max(UPTAKES)
    house = Absent(uptake, uptake * 0.7, tmp_path)
    for day, what in SCENARIOS["a night without network"]:
        house.at(day, what)
    house.play()
    (hold,) = [e for e in house.book.events() if isinstance(e, HoldRaised)]
    assert Code.ALKALINITY_CLIMB == hold.reason.code
    hours = [_of_an_hour(house, hold.at - timedelta(hours=h)) for h in range(25)]
    assert hours[0] - min(hours) > MOST_A_DAY_DKH
    assert hours[0] - hours[24] > NET_RISE_DKH


def _of_an_hour(house: Absent, ends: datetime) -> float:
    begins = ends - timedelta(hours=1)
    return median(level for at, level in house.course if begins <= at <= ends)
