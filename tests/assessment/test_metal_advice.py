"""What to do about contaminants; never a dose."""

from collections.abc import Sequence

import pytest

from slackwater.assessment.metal_advice import metal_advice
from slackwater.assessment.records import Advice, TraceStanding
from slackwater.facts.waters import SampleTaken
from tests.assessment.past import NOW, ago, change, history
from tests.assessment.pictures import picture, seen


def advised(*traces: TraceStanding, **other: object) -> Sequence[Advice]:
    """The advice for these traces."""
    return list(metal_advice(picture(traces=traces, **other)))  # type: ignore[arg-type]  # as picture takes


def remedies(*traces: TraceStanding) -> list[str]:
    """Its remedies, in order."""
    return [one.remedy for one in advised(*traces)]


def test_usual_traces_need_nothing() -> None:
    """Below watch."""
    assert [] == remedies(seen("copper", 1.0), seen("lead", 0.4))


def test_one_result_is_a_hypothesis() -> None:
    """First the new water and the salt, then another sample; nothing is removed."""
    found = advised(seen("copper", 2.5))
    assert ["test_new_water", "retest"] == [one.remedy for one in found]
    assert "only a hypothesis" in found[0].text
    assert "to confirm or refute copper" in found[1].text
    assert 28 == (found[1].due_on - NOW.date()).days


def test_act_seen_once_is_tested_again_at_once_and_taken_out_meanwhile() -> None:
    """Copper kills while a second sample is in the post: today, and before all else."""
    found = sorted(advised(seen("copper", 22.0)), key=lambda one: one.rank)
    assert [
        *("retest", "test_new_water", "find_corroding_part"),
        *("water_change", "metal_resin"),
    ] == [one.remedy for one in found]
    assert "Send another sample at once to confirm or refute copper." == found[0].text
    assert NOW.date() == found[0].due_on == found[2].due_on
    assert "copper from 22 below 2 ug/L" in found[3].text


def test_a_bottle_that_is_on_its_way_is_waited_for() -> None:
    """Filled after the sample that said so; one from before tells nothing new."""
    for days_ago, ahead in ((2, 7), (30, 0)):
        posted = SampleTaken(
            at=NOW,
            boot_s=0.0,
            proven_ms=0,
            sample="s-1",
            tank="reef",
            taken_at=ago(days_ago),
            by="keeper",
        )
        found = advised(seen("copper", 22.0), past=history(samples=(posted,)))
        (bottle,) = (one for one in found if one.remedy == "retest")
        assert ahead == (bottle.due_on - NOW.date()).days
        assert ("at once" in bottle.text) == (not ahead)


def test_act_of_what_is_dosed_waits_for_the_second_sample() -> None:
    """Its dose ends by a block; where it comes from is known."""
    found = advised(seen("manganese", 99.0), dosed=frozenset({"manganese"}))
    (bottle,) = found
    assert ("retest", 7) == (bottle.remedy, (bottle.due_on - NOW.date()).days)


def test_new_water_that_was_tested_is_not_asked_for_again() -> None:
    """It was looked at: what is left is another sample."""
    past = history(changes=(change(3, 30, {"copper": 0.3}),))
    found = advised(seen("copper", 2.5), seen("tin", 5.0), past=past)
    assert ["test_new_water", "retest"] == [one.remedy for one in found]
    assert "tin 5 ug/L" in found[0].text
    assert "copper" not in found[0].text
    alone = advised(seen("copper", 2.5), past=past)
    assert ["retest"] == [one.remedy for one in alone]


def test_what_a_pump_brings_is_not_looked_for_in_the_salt() -> None:
    """Manganese that is dosed is there because it is dosed; the bottle is the same."""
    found = advised(seen("manganese", 2.0), dosed=frozenset({"manganese"}))
    assert ["retest"] == [one.remedy for one in found]


def test_one_bottle_and_one_change_serve_them_all() -> None:
    """Three metals are five things to do, not fifteen; the longest change counts."""
    found = advised(
        seen("copper", 5.5, confirmed=True),
        seen("tin", 14.0, confirmed=True),
        seen("zinc", 25.0, confirmed=True),
        seen("aluminium", 12.0),
    )
    told = {one.remedy: one for one in found}
    assert [
        "test_new_water",
        "retest",
        "find_corroding_part",
        "water_change",
        "metal_resin",
    ] == [one.remedy for one in found]
    assert {""} == {one.parameter for one in found}
    assert (
        "to confirm or refute aluminium, and to see copper, tin and zinc fall"
        in told["retest"].text
    )
    alone = advised(seen("tin", 14.0, confirmed=True))
    (longest,) = (one for one in alone if one.remedy == "water_change")
    assert longest.figures["changes"] == told["water_change"].figures["changes"]
    assert "copper from 5.5 below 2" in told["water_change"].text
    assert "tin from 14 below 3" in told["water_change"].text
    assert "resin for copper and zinc" in told["metal_resin"].text
    assert "brass" in told["find_corroding_part"].text


def test_a_confirmed_metal_has_a_source_in_the_water() -> None:
    """A part that corrodes."""
    found = advised(seen("copper", 2.5, confirmed=True))
    assert ["retest", "find_corroding_part", "water_change", "metal_resin"] == [
        one.remedy for one in found
    ]
    assert "brass" in found[1].text
    assert "to see copper fall" in found[0].text
    assert "confirm or refute" not in found[0].text


@pytest.mark.parametrize("parameter", ["arsenic", "aluminium"])
def test_what_no_part_gives_off_and_no_resin_takes(parameter: str) -> None:
    """Only water changes are left."""
    assert ["retest", "water_change"] == remedies(seen(parameter, 99.0, confirmed=True))


def test_the_worked_example_of_the_resin_is_met() -> None:
    """30 to 3 ug/L of copper in 300 L is 8.1 mg or 0.127 mmol: 0.42 mL at 0.3 mmol/mL.

    Here down to the watch level of 2, so 28/27 of it; capacities from memory.
    """
    (resin,) = (
        one
        for one in advised(seen("copper", 30.0, confirmed=True))
        if one.remedy == "metal_resin"
    )
    least, most = (float(str(resin.figures[key])) for key in ("least_ml", "most_ml"))
    assert 0.4248890567 * 28 / 27 == pytest.approx(least, rel=5e-4)
    assert 3 * least == pytest.approx(most)
    assert "do not count on it" in resin.text


def test_a_metal_that_stands_at_its_watch_level_is_no_error() -> None:
    """2.0 ug/L of copper in two samples: nothing to hold, and the rest is told."""
    at = seen("copper", 2.0, confirmed=True)
    assert ["retest", "find_corroding_part", "water_change"] == remedies(at)
    (resin,) = (
        one
        for one in advised(at, seen("zinc", 25.0, confirmed=True))
        if one.remedy == "metal_resin"
    )
    assert "resin for zinc:" in resin.text


def test_what_thin_water_hides_is_brought_below_nothing() -> None:
    """590 ug/L of lithium at 34 is 607 at 35: watched, and no change of 600 away."""
    thin = seen("lithium", 590.0, stage="watch", confirmed=True)
    assert ["retest"] == remedies(thin)


def test_much_resin_is_told_without_an_exponent() -> None:
    """Ten thousand times as much copper takes ten thousand times as much of it."""
    found = advised(seen("copper", 300_000.0, confirmed=True))
    (resin,) = (one for one in found if one.remedy == "metal_resin")
    assert "copper: 4700 to 14000 mL would hold it" in resin.text


def test_what_may_be_there_by_dosing_counts() -> None:
    """1.5 found, 5 at most: the changes are sized for 5."""
    found = advised(seen("copper", 1.5, at_most=5.0, stage="act", confirmed=True))
    (change_of,) = (one for one in found if one.remedy == "water_change")
    assert "from 5 below 2 ug/L" in change_of.text


def test_new_water_that_carries_it_is_said() -> None:
    """No number of changes helps."""
    past = history(changes=(change(3, 30, {"copper": 6.0}),))
    found = advised(
        seen("copper", 9.0, confirmed=True),
        seen("tin", 14.0, confirmed=True),
        past=past,
    )
    falls, carried = (one for one in found if one.remedy == "water_change")
    assert "tin from 14" in falls.text
    assert "copper" not in falls.text
    assert None is carried.figures["changes"]
    assert "copper" == carried.parameter
    assert "do not get there" in carried.text
    alone = advised(seen("copper", 9.0, confirmed=True), past=past)
    (only,) = (one for one in alone if one.remedy == "water_change")
    assert carried.text == only.text


def test_act_comes_before_watch() -> None:
    """By rank."""
    act, watch = advised(seen("copper", 9.0)), advised(seen("zinc", 9.0))
    assert max(one.rank for one in act) < min(one.rank for one in watch)


def test_levels_above_a_thousand_are_written_out() -> None:
    """1310 ug/L and never 1.31e+03, in the hypothesis and in the change of water."""
    hypothesis, *_others = advised(seen("rubidium", 1310.0))
    assert "(rubidium 1310 ug/L)" in hypothesis.text
    told = {one.remedy: one for one in advised(seen("lithium", 1310.0, confirmed=True))}
    assert "lithium from 1310 below 600 ug/L" in told["water_change"].text
