"""Tests to make: missing, too old, due soon, again, on a standard."""

from collections.abc import Mapping
from dataclasses import replace

from slackwater.assessment.agreement import Agreement, Pair
from slackwater.assessment.records import Missing, Point, Series
from slackwater.assessment.testing import advice_to_test, missing_tests
from tests.assessment.past import NOW, ago, machine
from tests.assessment.pictures import drops, picture, stands

TODAY = NOW.date()


def missing(
    levels: Mapping[str, float | None] | None = None, **other: object
) -> list[Missing]:
    """The missing tests that are wanted today."""
    found = missing_tests(picture(levels, **other))  # type: ignore[arg-type]  # as picture takes
    return [one for one in found if one.due_on <= TODAY]


def test_a_tank_with_young_tests_misses_nothing() -> None:
    """All of yesterday; what falls due within three days is named for then."""
    found = missing_tests(picture())
    assert {"alkalinity", "temperature", "ph"} == {one.parameter for one in found}
    assert [2, 1, 1] == [
        (one.due_on - TODAY).days
        for one in sorted(found, key=lambda one: one.parameter)
    ]
    assert [] == missing()
    assert [] == list(advice_to_test(picture()))


def test_what_was_never_tested_is_asked_for_today() -> None:
    """Alkalinity and salinity before the elements."""
    found = missing(dict.fromkeys(("calcium", "salinity", "alkalinity"), None))
    assert ["alkalinity", "salinity", "calcium"] == [one.parameter for one in found]
    assert "Test alkalinity: no result is known." == found[0].text
    assert None is found[0].age_days


def test_what_only_a_laboratory_saw_is_not_called_unknown() -> None:
    """Its nitrate is there and does not count: the tank's own test is missing."""
    seen_by_lab = Series(
        parameter="nitrate",
        provenance="lab",
        method="",
        points=(Point(at=ago(5), value=4.6, sd=0.4, raw=4.6),),
    )
    found = missing({"nitrate": None}, series={"nitrate": (seen_by_lab,)})
    assert ["Test nitrate: no test at the tank is known."] == [
        one.text for one in found if one.parameter == "nitrate"
    ]


def test_what_is_too_old_is_asked_for_with_its_age() -> None:
    """Calcium of 20 days ago."""
    old = stands("calcium", 420.0, word="too old", sampled_at=ago(20), age_days=20.0)
    (found,) = missing(standings=[old])
    assert "Test calcium: the newest result is 20 days old." == found.text
    assert 20 == found.age_days


def test_a_test_that_stands_apart_is_not_called_old() -> None:
    """Six days since calcium was tested, of which one that fits is 20 days old."""
    point = Point(at=ago(6), value=300.0, sd=4.0, raw=300.0, use="held")
    old = stands(
        "calcium",
        420.0,
        word="too old",
        sampled_at=ago(20),
        age_days=20.0,
        waiting=point,
    )
    (found,) = missing(standings=[old])
    assert (
        "Test calcium again: the result of 2026-05-26 stands apart, and the newest "
        "that fits is 20 days old." == found.text
    )


def test_what_is_dosed_is_asked_for_too() -> None:
    """Traces by a sample, carbon by nobody; a mere target later."""
    found = missing(
        dosed=frozenset({"iodine", "carbon"}), made=machine(targets={"boron": 4.5})
    )
    assert ["iodine", "boron"] == [one.parameter for one in found]
    assert found[0].text.startswith("Send a sample for iodine")
    assert found[0].rank < found[1].rank


def test_missing_core_tests_become_advice() -> None:
    """Not those that can wait."""
    found = list(
        advice_to_test(picture({"calcium": None}, made=machine(targets={"boron": 4.5})))
    )
    assert [("retest", "calcium")] == [(one.remedy, one.parameter) for one in found]


def test_a_held_test_is_asked_for_again() -> None:
    """Tomorrow, with its date."""
    shown = picture(series={"calcium": (drops("calcium", 420, 480, last="held"),)})
    (found,) = advice_to_test(shown)
    assert ("retest", "calcium", 480) == (
        found.remedy,
        found.parameter,
        found.figures["held"],
    )
    assert "does not fit what went before" in found.text
    assert 1 == (found.due_on - TODAY).days


def test_only_the_newest_test_of_all_methods_is_held() -> None:
    """A later titration has settled the matter."""
    odd = drops("calcium", 420, 480, last="held")
    later = drops("calcium", 421)
    early = drops("calcium", 420, 480, 421)
    assert None is picture(series={"calcium": (early, later)}).held("calcium")
    assert None is not picture(series={"calcium": (odd,)}).held("calcium")
    assert None is picture().held("calcium")
    # Tested by hand and by nothing that gives a level: there is nothing to be unlike.
    bare = picture(series={"calcium": (later,)}, standings=(stands("calcium", None),))
    assert None is bare.held("calcium")
    assert None is replace(bare, standings={}).held("calcium")


def test_a_dispute_asks_for_a_standard() -> None:
    """With the difference and its error."""
    pair = Pair(at=ago(3), difference=50.0, sd=10.0)
    agreed = Agreement(running=50.0, sd=10.0, pairs=(pair,), newest=pair, disputed=True)
    shown = picture(
        series={"calcium": (drops("calcium", 420, 425),)},
        agreements={"calcium": {("drops", ""): agreed}},
    )
    (found,) = advice_to_test(shown)
    assert ("test_a_standard", "calcium") == (found.remedy, found.parameter)
    assert {"difference": 50.0, "sd": 10.0} == found.figures
