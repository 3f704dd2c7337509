"""The trace of the most loaded day."""

from datetime import date, timedelta

from slackwater.rehearsal.rehearsal import rehearse
from slackwater.rehearsal.trace import most_loaded, trace
from tests.rehearsal.houses import FIRST, sample, with_pump


def test_the_first_of_the_fullest_days_is_chosen() -> None:
    """A correction begins on 10 May; trace doses fall on Monday, Wednesday, Friday."""
    machine, plan = sample("two-tanks")
    done = rehearse(machine, plan, plan.starts, 12)
    assert date(2026, 5, 11) == most_loaded(done.doses)
    assert most_loaded(()) is None


def test_each_decision_shows_what_counted_before_it() -> None:
    """Twelve doses of 3 mL: the n-th found n - 1 of them charged that day."""
    machine, plan = sample("smallest")
    found = [
        one
        for one in trace(machine, plan, FIRST + timedelta(days=3))
        if one.pump == "calcium"
    ]
    assert [3000 * n for n in range(12)] == [one.charged_day_ul for one in found]
    # The 24 h before reach into yesterday: always eleven doses beside this one.
    assert {33_000, 36_000} >= {one.charged_24_h_ul for one in found}
    assert all(one.beat_age_s <= 15 for one in found)
    assert all(one.reading_age_s is None for one in found)
    assert {50_000} == {one.cap_day_ul for one in found}


def test_a_probe_shows_its_age() -> None:
    """A reading is never older than its hour."""
    machine, plan = sample("chemistry")
    found = trace(machine, plan, FIRST + timedelta(days=2))
    ages = [one.reading_age_s for one in found if one.pump == "carbonate"]
    assert all(age is not None and age <= 3600 for age in ages)


def test_a_missed_dose_is_in_it_with_its_reasons() -> None:
    """A cap below the dose: nothing is given, and it says why."""
    machine, plan = sample("smallest")
    tight = with_pump(machine, "carbonate", per_dose_ul=1)
    found = [
        one
        for one in trace(tight, plan, FIRST + timedelta(days=1))
        if one.pump == "carbonate"
    ]
    assert {0} == {one.volume_ul for one in found}
    assert all("cap-per-dose" in one.reasons for one in found)
