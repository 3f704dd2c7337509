"""How alkalinity answers to its pumps: a ratio, and no verdict without its interval.

The tanks are invented: 8 dKH, 0.8 dKH a day taken up, in proportion to what lies above
3 dKH, tests every second day by 0.15 dKH. Nothing of the water here is shared with what
is tried. Limits are common practice, no source, but the drift of 10 %, hazard H28.
"""

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from random import Random

import pytest

from slackwater.assessment.answer_words import answer_notice
from slackwater.assessment.answering import Answer, answer_of
from slackwater.assessment.assess import assess
from slackwater.assessment.cleaning import cleaned
from slackwater.assessment.inflow import inflows
from slackwater.assessment.series import series_of
from slackwater.facts.history import Delivery, Gap, History
from slackwater.facts.tank import Machine
from slackwater.facts.waters import MeasurementKept
from tests.assessment.past import DKH, NOW, ago, history, machine, measured, pico
from tests.assessment.pictures import picture
from tests.assessment.test_blocks import uptake

DAYS, UPTAKE_DKH, LEVEL_DKH, REST_DKH = 46, 0.8, 8.0, 3.0
# Tests lie this long after a full day, so that none falls on an hour of doses.
LATER_DAYS = 0.01
EVERY_DAYS = 2
STEP_DAY = 20


def tank(
    gives: Callable[[float], float],
    takes: Callable[[float], float] = lambda _day: 1.0,
    *,
    seed: int = 0,
    test_sd_dkh: float = 0.15,
) -> History:
    """A tank of which a pump gives, and which takes up, so much of what it did."""
    rng = Random(seed)  # noqa: S311 -- an invented tank, no secret
    level, came, tests = LEVEL_DKH, [], []
    for hour in range(24 * DAYS):
        day = hour / 24
        dose = UPTAKE_DKH / 24
        came.append(
            Delivery(
                at=ago(DAYS - day),
                amounts={"alkalinity": pico("alkalinity", dose * DKH)},
            )
        )
        share = (level - REST_DKH) / (LEVEL_DKH - REST_DKH)
        level += dose * gives(day) - dose * takes(day) * share
        if hour % (24 * EVERY_DAYS) == 0:
            tests.append(_test(level + rng.gauss(0, test_sd_dkh), DAYS - day))
    return history(*tests, deliveries=tuple(came))


def _test(level_dkh: float, days_ago: float) -> MeasurementKept:
    return measured("alkalinity", round(level_dkh * DKH, 5), days_ago - LATER_DAYS)


def answered(past: History, made: Machine | None = None) -> Answer | None:
    """What the tests of a past say."""
    made = made or machine()
    came = inflows(past, made, ["alkalinity"], since=past.since, now=NOW)["alkalinity"]
    (series,) = series_of(past, "alkalinity", NOW)
    return answer_of(cleaned(series, came), came, past, made)


def stepped(share: float) -> Callable[[float], float]:
    """All of it, and from a day on another share."""
    return lambda day: 1.0 if day < STEP_DAY else share


def found_in(share: float, seeds: range) -> int:
    """In how many of the tanks a step of what the pump gives is found."""
    answers = [answered(tank(stepped(share), seed=seed)) for seed in seeds]
    return sum(one is not None and one.is_found for one in answers)


def test_without_noise_the_ratio_is_what_the_pump_gives() -> None:
    """Three quarters from the 20th day on, by tests that err by nothing."""
    found = answered(tank(stepped(0.75), test_sd_dkh=0.0))
    assert found is not None
    assert found.is_found
    assert pytest.approx(0.75, abs=0.02) == found.ratio
    assert ("alkalinity",) == found.pumps
    assert ago(DAYS - STEP_DAY + EVERY_DAYS) <= found.since <= NOW
    assert pytest.approx(UPTAKE_DKH, abs=0.02) == found.uptake_per_day / DKH


def test_where_corals_build_nothing_an_uptake_is_what_it_was() -> None:
    """Learned at 2.9 dKH, where nothing calcifies: it is no matter of the level.

    Later tests climb by 0.2 dKH a day up to 6.9: a quarter more than 0.8 came in.
    """
    came = tank(lambda _day: 1.0).deliveries
    tests = [
        _test(2.9 + max(20 - days_ago, 0) * 0.2, days_ago)
        for days_ago in range(DAYS, -1, -EVERY_DAYS)
    ]
    found = answered(history(*tests, deliveries=came))
    assert found is not None
    assert pytest.approx(UPTAKE_DKH, abs=0.02) == found.uptake_per_day / DKH
    assert pytest.approx(1.25, abs=0.02) == found.ratio


def test_what_the_tank_would_have_to_take_up_is_said() -> None:
    """A pump of three quarters looks like an uptake that is larger by what it lacks."""
    found = answered(tank(stepped(0.75), test_sd_dkh=0.0))
    assert found is not None
    more_dkh = (found.instead_per_day - found.uptake_per_day) / DKH
    assert pytest.approx(0.25 * UPTAKE_DKH, abs=0.02) == more_dkh


def test_an_uptake_that_grew_looks_the_same() -> None:
    """Nobody can tell them apart by the water, so it is found as well."""
    found = answered(tank(lambda _day: 1.0, stepped(1.3), test_sd_dkh=0.0))
    assert found is not None
    assert found.is_found
    assert found.ratio < 1


@pytest.mark.parametrize(("share", "least"), [(0.75, 18), (1.25, 18)])
def test_a_quarter_is_found_within_26_days(share: float, least: int) -> None:
    """In 18 of 20 tanks at the least, tested every second day to 0.15 dKH."""
    assert found_in(share, range(20)) >= least


def test_a_steady_tank_is_left_alone() -> None:
    """In no more than one of 30."""
    assert found_in(1.0, range(30)) <= 1


def test_a_loss_within_the_slack_is_left_alone() -> None:
    """4 % is what a calibration, a test and an uptake may be off together."""
    found = answered(tank(stepped(0.96), test_sd_dkh=0.0))
    assert found is None or not found.is_found


def test_a_calibration_or_a_new_tube_begins_anew() -> None:
    """What was seen before it tells nothing of the pump as it is now."""
    past = tank(stepped(0.75), test_sd_dkh=0.0)
    measured_late = replace(past, renewed={"alkalinity": ago(DAYS - STEP_DAY)})
    found = answered(measured_late)
    assert found is None or not found.is_found
    assert answered(replace(past, renewed={"alkalinity": ago(9)})) is None
    assert answered(replace(past, renewed={"calcium": ago(9)})) is not None


def test_a_stretch_of_which_nobody_knows_begins_anew() -> None:
    """What pumps did without the daemon is unknown."""
    past = tank(stepped(0.75), test_sd_dkh=0.0)
    assert answered(replace(past, gaps=(Gap(begins=ago(10), ends=ago(9)),))) is None


def test_a_tank_without_a_pump_for_it_is_asked_nothing() -> None:
    """Calcium alone is dosed."""
    past = tank(stepped(0.75), test_sd_dkh=0.0)
    assert answered(past, machine(dosed=("calcium",))) is None


def test_an_assessment_points_and_moves_nothing() -> None:
    """One warning; no block, no other uptake, no other standing for it."""
    past = tank(stepped(0.75), test_sd_dkh=0.05)
    made = assess(past, machine(), "reef", NOW)
    (told,) = [one for one in made.notices if one.code == "pump-answers"]
    assert ("warning", "alkalinity") == (told.weight, told.parameter)
    assert any("measure the pump" in text for text in made.todo)
    # Without a pump to answer for it the same tests make the same of everything else.
    assert not [block for block in made.blocks if "pump" in block.text]


def answer(ratio: float, *, is_found: bool = True) -> Answer:
    """An answer since the 3rd of May, ±0.04."""
    return Answer(
        pumps=("carbonate",),
        since=datetime(2026, 5, 3, tzinfo=NOW.tzinfo),
        ratio=ratio,
        sd=0.04,
        uptake_per_day=0.8 * DKH,
        instead_per_day=(0.8 + 0.8 * (1 - ratio)) * DKH,
        is_found=is_found,
    )


def test_the_words_name_all_that_would_look_the_same() -> None:
    """Pump, bottle and uptake; and what would tell them apart."""
    (told,) = answer_notice(picture(answer=answer(0.75)))
    assert (
        "since 2026-05-03 alkalinity answers as if carbonate gave 0.75 of what is "
        "believed (90 %: 0.68 to 0.82): the pump gives less, its bottle is weaker, or "
        "the tank takes up more, 1.00 dKH a day for 0.80 dKH, which would look the "
        "same; read its bottle (`slackwater level`), then measure the pump "
        "(`slackwater calibrate`)"
    ) == told.text
    assert 0.75 == told.figures["seen_over_believed"]


def test_an_uptake_that_fell_is_said_once() -> None:
    """As trouble of the animals, which comes first; a pump that gives less is told."""
    fell = replace(uptake(frozen=False), fell=True)
    both = {"alkalinity": fell}
    assert [] == list(answer_notice(picture(answer=answer(1.3), uptakes=both)))
    assert [] != list(answer_notice(picture(answer=answer(0.7), uptakes=both)))
    assert [] != list(answer_notice(picture(answer=answer(1.3))))
    assert [] == list(answer_notice(picture(answer=answer(0.7, is_found=False))))
    assert [] == list(answer_notice(picture()))
