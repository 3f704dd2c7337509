"""Pumps were disabled for days and are enabled again: a gap lies behind, as any other.

To calibrate a pump all are disabled, and a day in shadow lies before the next enabling.
"""

from datetime import datetime, timedelta

import pytest

from slackwater.facts.events import (
    DoseIntended,
    PumpsDisabled,
    PumpsEnabled,
    ResumeBegan,
)
from slackwater.facts.fold import fold
from slackwater.facts.waters import AddedByHand
from slackwater.pump.outcome import Stamp
from tests.gate.box import Reef, level_after
from tests.gate.scene import CARBONATE_PEQ_PER_UL, TODAY, dkh_peq, machine
from tests.turn.test_step import START, Bench

HOUR, DAY = timedelta(hours=1), timedelta(days=1)
# What the scene's machine states.
REEF = Reef(uptake_dkh=1.4)
LIMIT_DKH = 0.5


def stamp(bench: Bench) -> Stamp:
    """The clocks of the bench."""
    now, mark = bench.now(), bench.state.mark
    assert mark is not None
    return {
        "at": now.utc,
        "boot_s": now.boot_s,
        "proven_ms": mark.proven_ms + int((now.boot_s - mark.boot_s) * 1000),
    }


def enable(bench: Bench) -> None:
    """A person lets pumps run, and the daemon begins anew."""
    fold(bench.state, PumpsEnabled(**stamp(bench), by="keeper", serial=1))
    bench.sight.scanned_until = None


def enabled() -> Bench:
    """Out of shadow, for the first time."""
    bench = Bench(machine())
    bench.state.stage = "shadow"
    enable(bench)
    return bench


def disable(bench: Bench, away: timedelta) -> None:
    """A person wants no pump to run; so much later nothing has run."""
    fold(bench.state, PumpsDisabled(**stamp(bench), by="keeper"))
    bench.utc += away


def rise_dkh(bench: Bench, level_dkh: float, since: datetime) -> float:
    """How far a tank comes up in a day of what was given, by its closed form."""
    level = level_dkh
    for hour in range(24):
        begins = since + hour * HOUR
        given_ul = sum(
            intent.command.ul
            for intent in carbonate(bench)
            if begins <= intent.at < begins + HOUR
        )
        level += given_ul * CARBONATE_PEQ_PER_UL / dkh_peq(1.0)
        level = level_after(REEF, level, 1 / 24)
    return level - level_dkh


def carbonate(bench: Bench) -> list[DoseIntended]:
    """What the pump of alkalinity was asked for."""
    return [one for one in bench.intents() if one.dose.pump == "carbonate"]


def ways_back(bench: Bench) -> int:
    """How often a way back began."""
    return sum(isinstance(event, ResumeBegan) for event in bench.events)


def test_a_first_day_has_no_gap_behind_it() -> None:
    """Whoever fed the tank until then fed it; 23 doses were due later than that."""
    bench = enabled()
    bench.run_until(START + DAY)
    assert (0, 46_000) == (
        ways_back(bench),
        sum(one.command.ul for one in carbonate(bench)),
    )


def test_no_day_after_pumps_stood_still_rises_by_more_than_the_limit() -> None:
    """Four days disabled: 8 dKH sank to 4.6, and the whole plan would lift 0.7."""
    bench = enabled()
    bench.run_until(START + 2 * DAY)
    disable(bench, 4 * DAY)
    enable(bench)
    since = bench.utc
    bench.run_until(since + DAY)
    assert 1 == ways_back(bench)
    low_dkh = level_after(REEF, 8.0, 4)
    assert 0.2 < rise_dkh(bench, low_dkh, since) <= LIMIT_DKH


@pytest.mark.parametrize(("days", "times"), [(14, 1), (15, 0)])
def test_a_tank_that_lived_for_two_weeks_was_fed_by_somebody(
    days: int, times: int
) -> None:
    """Longer than that no tank is left without: it stands as it did at first."""
    bench = enabled()
    bench.run_until(START + 2 * DAY)
    disable(bench, days * DAY)
    enable(bench)
    bench.run_until(bench.utc + HOUR)
    assert times == ways_back(bench)


def test_what_was_given_by_hand_meanwhile_leaves_no_gap() -> None:
    """Told each day, as much as the plan gives."""
    bench = enabled()
    bench.run_until(START + 2 * DAY)
    fold(bench.state, PumpsDisabled(**stamp(bench), by="keeper"))
    for number in range(4 * 24):
        bench.utc += HOUR
        told = AddedByHand(
            **stamp(bench),
            id=f"a-{number}",
            tank="reef",
            given_at=bench.utc,
            local_day=TODAY,
            by="keeper",
            effects={"alkalinity": 2000 * CARBONATE_PEQ_PER_UL},
        )
        fold(bench.state, told)
    enable(bench)
    bench.run_until(bench.utc + HOUR)
    assert 0 == ways_back(bench)
