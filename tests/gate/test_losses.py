"""A bottle that lost more than its pumps took: a siphon, a leak, a fall.

The bounds are worked by hand beside each case: levels as limits of an even spread
(JCGM 100:2008, 4.3.7), twice the standard deviation (6.2.1); 5 % of a bottle and a rate
within a tenth are common practice, no source.
"""

from dataclasses import replace
from datetime import timedelta

import pytest

from slackwater.facts.reasons import Code
from slackwater.facts.safeguards import LevelMeasured, ReservoirFilled
from slackwater.gate.losses import least_ul, lost_ul
from tests.gate.watched import LINES, MINUTE, Watched, watched_machine

CONTENT_UL = 2_000_000
# A twentieth of the bottle.
LEAST_UL = 100_000


@pytest.fixture
def water() -> Watched:
    """All pumps on one bottle of two litres, filled this minute."""
    used = watched_machine()
    one = replace(used.reservoirs["one"], content_ul=CONTENT_UL, low_ul=0)
    scene = Watched(replace(used, reservoirs={"one": one}))
    filled(scene)
    return scene


def filled(water: Watched, content_ul: int = CONTENT_UL) -> None:
    """Somebody filled it."""
    water.pass_time(MINUTE)
    water.write(
        ReservoirFilled(
            **water.stamp,
            reservoir="one",
            content_ul=content_ul,
            mixed_at=water.at.now.utc,
            by="keeper",
        )
    )


def read(water: Watched, *volumes_ul: int, within_ul: int = 5_000) -> None:
    """Somebody read it so often, a minute apart."""
    for volume_ul in volumes_ul:
        water.pass_time(MINUTE)
        water.write(
            LevelMeasured(
                **water.stamp,
                reservoir="one",
                volume_ul=volume_ul,
                within_ul=within_ul,
                measured_at=water.at.now.utc,
                pumps=tuple(sorted(LINES)),
                by="keeper",
            )
        )


def drawn(water: Watched, volume_ul: int, runs: int = 50) -> None:
    """One of its pumps took so much, in so many doses."""
    state = water.at.state
    state.drawn_ul["soda"] = state.drawn_ul.get("soda", 0) + volume_ul
    state.runs["soda"] = state.runs.get("soda", 0) + runs


def found(water: Watched) -> int:
    """What went astray."""
    return lost_ul(water.at.machine, water.at.state, "one")


def test_h22_a_bottle_that_empties_while_nothing_runs_stops_its_pumps(
    water: Watched,
) -> None:
    """Half a litre at once: every dose from it is refused, with what is missing."""
    assert set() == water.stopped
    read(water, 1_500_000)
    assert set(LINES) == water.stopped
    (reason,) = water.reasons("soda")
    assert Code.BOTTLE_LOST is reason.code
    assert {"reservoir": "one", "lost_ul": 500_000} == reason.figures
    read(water, 1_000_000, 900_000)
    assert 1_100_000 == found(water)


@pytest.mark.parametrize(("lost", "stops"), [(LEAST_UL, False), (LEAST_UL + 1, True)])
def test_h22_what_is_lost_is_more_than_a_twentieth_of_the_bottle(
    water: Watched, lost: int, *, stops: bool
) -> None:
    """Two levels within 20 and 5 mL are off by 2 x 20.6/sqrt(3) = 24 mL: less."""
    read(water, CONTENT_UL - lost)
    assert (set(LINES) if stops else set()) == water.stopped


def test_a_large_dose_is_no_loss(water: Watched) -> None:
    """What one dose of its largest pump takes may be missing from the books."""
    machine = water.at.machine
    assert LEAST_UL == least_ul(machine, "one")
    strong = replace(machine.pumps["soda"], per_dose_ul=300_000)
    pumps = {**machine.pumps, "soda": strong}
    assert 300_000 == least_ul(replace(machine, pumps=pumps), "one")


def test_h22_coarse_levels_find_less(water: Watched) -> None:
    """By hand: within 20 and 200 mL 2 x 201/sqrt(3) = 232.1 mL may be misread."""
    read(water, CONTENT_UL - 232_000, within_ul=200_000)
    assert 0 == found(water)
    filled(water)
    read(water, CONTENT_UL - 233_000, within_ul=200_000)
    assert 233_000 == found(water)


def test_h22_what_pumps_took_is_not_lost(water: Watched) -> None:
    """By hand: of 1 L a rate within a tenth is off by 2 x 0.1/sqrt(3) = 115.5 mL.

    With runs of 5 % (2 x 0.05/sqrt(3)/sqrt(50) = 8.2 mL) and levels (23.8) 118.2 mL.
    """
    drawn(water, 1_000_000)
    read(water, 1_000_000 - 118_000)
    assert 0 == found(water)
    filled(water)
    drawn(water, 1_000_000)
    read(water, 1_000_000 - 119_000)
    assert 119_000 == found(water)


def test_h22_a_slow_leak_adds_up(water: Watched) -> None:
    """By 60 mL from level to level: none is enough, both together are."""
    read(water, CONTENT_UL - 60_000)
    assert set() == water.stopped
    read(water, CONTENT_UL - 120_000)
    assert 120_000 == found(water)


def test_h22_only_a_fill_that_is_told_ends_it(water: Watched) -> None:
    """A level that reads well again proves nothing: somebody may have topped it up."""
    read(water, 1_400_000, 1_900_000)
    assert set(LINES) == water.stopped
    water.pass_time(timedelta(days=30))
    assert set(LINES) == water.stopped
    filled(water, 1_400_000)
    assert set() == water.stopped
    read(water, 1_400_000)
    assert set() == water.stopped


def test_more_than_was_believed_is_no_loss(water: Watched) -> None:
    """A fill that nobody told, or doses that never came."""
    filled(water, 500_000)
    drawn(water, 200_000)
    read(water, 500_000, 1_500_000)
    assert 0 == found(water)


def test_a_bottle_of_which_nothing_was_told_lost_nothing(water: Watched) -> None:
    """Nor does a first level, with nothing before it."""
    machine = water.at.machine
    fresh = Watched(machine)
    assert 0 == lost_ul(machine, fresh.at.state, "one")
    read(fresh, 100_000)
    assert set() == fresh.stopped


def test_h22_of_one_large_run_less_is_known(water: Watched) -> None:
    """By hand: of 1 L in one run 2 x hypot(64.5, 11.9) = 131.3 mL may be misread.

    A rate within a tenth and a run within 5 % are 1 L x hypot(0.1, 0.05)/sqrt(3).
    """
    drawn(water, 1_000_000, runs=1)
    read(water, 1_000_000 - 131_000)
    assert 0 == found(water)
    filled(water)
    drawn(water, 1_000_000, runs=1)
    read(water, 1_000_000 - 132_000)
    assert 132_000 == found(water)


def test_h22_many_runs_between_several_levels_are_known_well(water: Watched) -> None:
    """By hand: 1 L in 100 runs between three levels, 2 x hypot(57.8, 11.9) = 118.1 mL.

    Neither level alone is enough: 62.5 mL are less than a twentieth of the bottle.
    """
    drawn(water, 500_000)
    read(water, 1_500_000 - 62_500)
    drawn(water, 500_000)
    assert 0 == found(water)
    read(water, 1_000_000 - 125_000)
    assert 125_000 == found(water)


def test_h22_what_is_lost_after_a_level_that_was_too_high_is_seen(
    water: Watched,
) -> None:
    """100 mL more than was told, then 150 less: since the fill only 50 are missing."""
    read(water, CONTENT_UL + 100_000, CONTENT_UL - 50_000)
    assert 150_000 == found(water)


def test_h22_a_coarse_level_between_two_good_ones_cancels_out(water: Watched) -> None:
    """By hand: 120 mL from fill to level, known within 2 x 20.6/sqrt(3) = 23.8 mL."""
    read(water, CONTENT_UL - 60_000, within_ul=200_000)
    assert 0 == found(water)
    read(water, CONTENT_UL - 120_000)
    assert 120_000 == found(water)


def test_a_bottle_nobody_draws_from_has_a_least_of_its_own(water: Watched) -> None:
    """A twentieth of what it holds; one that holds nothing has none."""
    machine = water.at.machine
    spare = replace(machine.reservoirs["one"], id="spare")
    used = {"spare": spare, "none": replace(spare, id="none", content_ul=0)}
    machine = replace(machine, reservoirs={**machine.reservoirs, **used})
    assert LEAST_UL == least_ul(machine, "spare")
    assert 0 == least_ul(machine, "none")
