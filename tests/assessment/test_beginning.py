"""Tests from before anybody recorded what was dosed."""

from dataclasses import replace

import pytest

from slackwater.assessment.assess import assess
from slackwater.assessment.beginning import CODE
from slackwater.assessment.records import Assessment
from slackwater.facts.history import Delivery, History
from tests.assessment.past import DKH, NOW, ago, machine, measured, pico

# Invented: held at 8 dKH for a fortnight by a doser nobody told of.
ERRORS = (0.04, -0.05, 0.03, -0.02, 0.05, -0.04, 0.01, -0.03, 0.02, -0.01, 0.03, 0.0)


def steady(known_days: float | None, **more: object) -> History:
    """One test a day at 8 dKH, and since when what came in is on record."""
    tests = [
        measured("alkalinity", (8 + error) * DKH, back)
        for back, error in enumerate(ERRORS)
    ]
    made = History(
        tank="reef",
        since=ago(100),
        until=NOW,
        measurements=tuple(sorted(tests, key=lambda one: one.taken_at)),
        known_since=None if known_days is None else ago(known_days),
    )
    return replace(made, **more)  # type: ignore[arg-type]  # fields by their names


def found(history: History, outside_dkh: float | None = None) -> Assessment:
    """The assessment, with or without a declared old doser."""
    outside = None if outside_dkh is None else {"alkalinity": outside_dkh * DKH}
    return assess(history, machine(outside=outside), "reef", NOW)


def before(made: Assessment) -> list[str]:
    """What is said of tests from before."""
    return [one.text for one in made.notices if one.code == CODE]


def test_nobody_takes_an_unknown_dose_for_none() -> None:
    """A ledger of one day finds no uptake from twelve tests, and says why."""
    made = found(steady(1.0))

    (text,) = before(made)
    assert "alkalinity" not in {
        name for name, one in made.uptakes.items() if one.enough
    }
    assert "10 tests tell no uptake (10 of alkalinity)" in text
    assert any("tell no uptake" in sentence for sentence in made.todo)


def test_what_is_known_from_ever_tells_an_uptake() -> None:
    """The same tests where nothing was dosed: the uptake is near 0."""
    made = found(steady(None))

    assert made.uptakes["alkalinity"].enough
    assert made.uptakes["alkalinity"].per_day == pytest.approx(0.0, abs=0.05 * DKH)
    assert [] == before(made)


def test_a_declared_old_doser_tells_of_every_day() -> None:
    """What it gives a day is what is used up."""
    made = found(steady(1.0), outside_dkh=1.2)

    assert made.uptakes["alkalinity"].per_day == pytest.approx(1.2 * DKH, rel=0.1)
    assert [] == before(made)


def test_additions_told_later_count_from_the_first_on() -> None:
    """By hand for nine days: tests since the first of them are evidence."""
    spoon = {"alkalinity": pico("alkalinity", 1.2 * DKH)}
    told = tuple(Delivery(at=ago(9.5 - day), amounts=spoon) for day in range(10))
    made = found(steady(1.0, deliveries=told))

    (text,) = before(made)
    assert made.uptakes["alkalinity"].per_day == pytest.approx(1.2 * DKH, rel=0.15)
    assert "2 tests" in text


def test_one_early_addition_tells_of_nothing_after_it() -> None:
    """A spoon eleven days ago leaves ten days of which nobody told."""
    spoon = {"alkalinity": pico("alkalinity", 1.2 * DKH)}
    alone = (Delivery(at=ago(11.5), amounts=spoon),)
    made = found(steady(1.0, deliveries=alone))

    (text,) = before(made)
    assert "10 tests tell no uptake" in text


def test_additions_tell_as_far_back_as_they_follow_each_other() -> None:
    """Daily for five days, and one six days before those: the five count alone."""
    spoon = {"alkalinity": pico("alkalinity", 1.2 * DKH)}
    days = (11.5, 5.5, 4.5, 3.5, 2.5, 1.5, 0.5)
    told = tuple(Delivery(at=ago(day), amounts=spoon) for day in days)
    made = found(steady(1.0, deliveries=told))

    (text,) = before(made)
    assert "6 tests tell no uptake" in text
