"""How long alkalinity has: an old reading is carried, a correction is no upkeep.

The figures are mass balances by hand: 200 L, 1 dKH is 20 / 56.077 meq/L (10 mg/L CaO).
"""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from functools import cache
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from slackwater.alarms.pace import Pace
from slackwater.cli.reading import Files, read_files
from slackwater.facts.plan import Plan, PlanLine
from slackwater.facts.tank import Uptake
from slackwater.gate.moment import rules_for
from tests.cli.hand_test import by_hand
from tests.cli.run_program import SMALLEST
from tests.cli.stage import Stage, stage_of
from tests.cli.test_status import MEQ_PER_DKH, PEQ_PER_DKH, live

NOW = datetime(2026, 5, 10, 10, 0, tzinfo=UTC)
HOUR = int(NOW.timestamp()) // 3600


@pytest.fixture
def stage(tmp_path: Path) -> Stage:
    """The smallest sample with a fresh ledger."""
    return stage_of(tmp_path)


@cache
def files() -> Files:
    """The smallest sample: carbonate brings 0.943 dKH a day to 200 L."""
    return read_files(SMALLEST)


def pace(
    *more: PlanLine, dkh: float | None = None, hours: dict[int, int] | None = None
) -> Pace:
    """The sample's tank; `dkh` its stated uptake a day, None: none is stated."""
    machine, plan = files().machine, files().plan
    plan = replace(plan, lines=(*plan.lines, *more))
    peq = round((dkh or 0.0) * PEQ_PER_DKH)
    uptake = {} if dkh is None else {"alkalinity": Uptake(estimate=peq, low=peq)}
    return Pace(
        tank=replace(machine.tanks["reef"], uptake=uptake),
        guard=machine.guards["reef"],
        rules=rules_for(machine, plan),
        begins=NOW,
        hours=(hours or {},),
    )


def correction(first: date, last: date) -> PlanLine:
    """As much again as the sample's own line gives, on these days only."""
    return replace(
        carbonate(files().plan),
        id="carbonate-correction",
        purpose="correction",
        first_day=first,
        last_day=last,
    )


def carbonate(plan: Plan) -> PlanLine:
    """The line that brings alkalinity."""
    return next(line for line in plan.lines if line.id == "carbonate")


def in_dkh(level: float | None) -> float:
    """A level in German degrees."""
    assert level is not None
    return level / MEQ_PER_DKH


def test_a_test_three_days_old_is_nine_degrees_lower_by_now() -> None:
    """Of 3 dKH a day; what was dosed since is taken back off the fall."""
    taken = NOW - timedelta(days=3)
    at = 15 * MEQ_PER_DKH
    assert 6.0 == pytest.approx(
        in_dkh(pace(dkh=3.0).level_at(at, taken, NOW)), abs=0.01
    )
    given = {HOUR - 73: PEQ_PER_DKH, HOUR - 30: 2 * PEQ_PER_DKH, HOUR: PEQ_PER_DKH}
    fed = pace(dkh=3.0, hours=given)
    assert 9.0 == pytest.approx(in_dkh(fed.level_at(at, taken, NOW)), abs=0.01)


def test_nothing_is_reckoned_from_a_test_of_long_ago() -> None:
    """Two weeks at most: a tenth off the uptake is over a day of it by then."""
    level = 8 * MEQ_PER_DKH
    old = NOW - timedelta(days=14, seconds=1)
    assert pace(dkh=1.0).level_at(level, old, NOW) is None
    assert 0.0 == pace(dkh=1.0).level_at(level, old + timedelta(seconds=1), NOW)


def test_an_uptake_that_nobody_stated_is_that_of_the_lasting_lines() -> None:
    """A correction of today does not make a tank that takes up twice as much."""
    level = 7.5 * MEQ_PER_DKH
    alone = pace().to_floor(level)
    corrected = pace(correction(NOW.date(), NOW.date())).to_floor(level)
    assert alone is not None
    assert 24 / 0.943 == pytest.approx(alone, rel=1e-3)
    assert alone == corrected


def test_a_correction_counts_toward_the_ceiling_on_its_own_days() -> None:
    """2 dKH of room at 0.943 a day are 50.9 h; half a day of twice as much saves 14 h.

    By the tank's clock it is noon (UTC+2) and the correction ends with the day.
    """
    level = 7.5 * MEQ_PER_DKH
    whole = pace().to_ceiling(level)
    assert whole is not None
    assert 2 / 0.943 * 24 == pytest.approx(whole, rel=1e-3)
    past = correction(NOW.date() - timedelta(days=5), NOW.date() - timedelta(days=5))
    assert whole == pytest.approx(pace(past).to_ceiling(level))
    today = pace(correction(NOW.date(), NOW.date())).to_ceiling(level)
    zone_hour = NOW.astimezone(ZoneInfo(pace().tank.zone)).hour
    assert whole - (24 - zone_hour) == pytest.approx(today)


def test_a_status_says_how_far_it_fell_and_which_test_decides(stage: Stage) -> None:
    """The newest test leads; the higher one of its half hour is what a stop goes by."""
    live(stage)
    for number, (dkh, minutes) in enumerate(((9.9, 2905), (8.2, 2880))):
        by_hand(stage, dkh, timedelta(minutes=minutes), f"m-{number}")
    text = " ".join(stage.run("status").out.split())
    assert "Alkalinity 8.20 dKH, 2 d 0 h old (by hand); about 6." in text
    assert "by now; a stop goes by the 9.90 dKH of the same half hour" in text


def test_the_way_to_the_ceiling_begins_at_the_higher_of_two_tests(
    stage: Stage,
) -> None:
    """9.7 and then 8.0 of one half hour: no time is left, as the alarm says too."""
    live(stage)
    for number, (dkh, minutes) in enumerate(((9.7, 20), (8.0, 5))):
        by_hand(stage, dkh, timedelta(minutes=minutes), f"m-{number}")
    text = " ".join(stage.run("status").out.split())
    assert "Alkalinity 8.00 dKH" in text
    assert "Ceiling 9.50 dKH is passed" in text
    assert "Floor 36 h to 6.50 dKH" in text
