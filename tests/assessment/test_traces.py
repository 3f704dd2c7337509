"""Traces in three columns: nature, what can be seen, practice."""

from collections.abc import Mapping

import pytest

from slackwater.assessment.inflow import inflows
from slackwater.assessment.records import TraceStanding
from slackwater.assessment.series import series_of
from slackwater.assessment.trace_bands import OPERATOR
from slackwater.assessment.traces import Seen, trace_standing
from slackwater.facts.history import History
from slackwater.facts.tank import TraceLimits
from tests.assessment.past import (
    NOW,
    ago,
    change,
    deliveries,
    history,
    machine,
    measured,
    report,
    with_report,
)


def judged(
    past: History,
    parameter: str = "copper",
    proven: Mapping[str, float] | None = None,
    bands: Mapping[str, TraceLimits] | None = None,
) -> TraceStanding | None:
    """The standing of a trace in a past."""
    names = (parameter, "salinity")
    return trace_standing(
        parameter,
        Seen(
            history=past,
            series={name: series_of(past, name, NOW) for name in names},
            inflows=inflows(past, machine(), names, since=ago(200), now=NOW),
            proven=proven or {},
            now=NOW,
            bands=bands or {},
        ),
    )


def surely(found: TraceStanding | None) -> TraceStanding:
    """A standing that must be there."""
    assert found is not None
    return found


def lab(*results: tuple[float, float], **other: object) -> History:
    """Copper in reports so many days ago."""
    return with_report(
        history(**other),
        *(
            report(day, {"copper": value}, limits={"copper": 0.5})
            for day, value in results
        ),
    )


@pytest.mark.parametrize(
    ("value", "stage"),
    [(0.3, "not seen"), (1.9, "usual"), (2.0, "watch"), (3.9, "watch"), (4.0, "act")],
)
def test_the_stage_follows_limit_watch_and_act(value: float, stage: str) -> None:
    """Copper: limit 0.5, watch 2, act 4 ug/L."""
    found = surely(judged(lab((10, value))))
    assert stage == found.stage
    assert (0.26, 0.5, 2, 4) == (found.natural, found.limit, found.watch, found.act)
    assert 10 == pytest.approx(found.age_days)


def test_a_censored_result_is_at_most_its_limit() -> None:
    """Nothing was seen below 0.5."""
    past = with_report(history(), report(10, {"copper": 0.5}, unseen=["copper"]))
    found = surely(judged(past))
    assert ("not seen", 0.5, True) == (found.stage, found.value, found.censored)


def test_home_tests_of_copper_do_not_speak() -> None:
    """A kit cannot see it; nobody looked."""
    assert None is judged(history(measured("copper", 5.0, 1)))


def test_two_samples_confirm() -> None:
    """The one before said the same."""
    assert surely(judged(lab((40, 2.5), (10, 5.0)))).confirmed


@pytest.mark.parametrize(
    "results",
    [
        ((10, 5.0),),
        ((40, 1.0), (10, 5.0)),
        ((10.4, 5.0), (10, 5.0)),
        ((40, 5), (10, 1)),
    ],
    ids=["one", "the first was low", "one day, two bottles", "gone again"],
)
def test_one_sample_is_a_hypothesis(results: tuple[tuple[float, float], ...]) -> None:
    """Nothing else confirms it."""
    assert not surely(judged(lab(*results))).confirmed


def test_a_censored_sample_before_confirms_nothing() -> None:
    """Its limit was above the watch level, and that says nothing."""
    past = with_report(
        history(),
        report(40, {"copper": 9.0}, unseen=["copper"]),
        report(10, {"copper": 5.0}),
    )
    assert not surely(judged(past)).confirmed


def test_what_was_dosed_since_counts_in_full() -> None:
    """1.5 ug/L ten days ago and 0.1 a day since: 2.5 at most."""
    doses = deliveries({"copper": 0.1}, 10)
    found = surely(judged(lab((10, 1.5), deliveries=doses)))
    assert 2.5 == pytest.approx(found.at_most, rel=0.01)
    assert "watch" == found.stage


def test_only_proven_uptake_is_taken_off() -> None:
    """Its lower bound is 0.06 a day."""
    doses = deliveries({"copper": 0.1}, 10)
    found = surely(judged(lab((10, 1.5), deliveries=doses), proven={"copper": 0.06}))
    assert 1.9 == pytest.approx(found.at_most, rel=0.01)
    assert "usual" == found.stage


def test_water_changes_do_not_lower_the_result_itself() -> None:
    """Until another sample says so."""
    past = lab((10, 5.0), changes=(change(5, 150, {"copper": 0.0}),))
    found = surely(judged(past))
    assert ("act", 5.0) == (found.stage, found.value)
    assert 2.5 == pytest.approx(found.at_most)


def test_salinity_alone_does_not_make_a_contaminant() -> None:
    """Lithium of 620 at a salinity of 37 is 586 at 35; copper is judged as it is."""
    past = with_report(
        history(measured("salinity", 35, 90), measured("salinity", 37, 11)),
        report(10, {"lithium": 620, "copper": 2.05}),
    )
    found = surely(judged(past, "lithium"))
    assert ("usual", True) == (found.stage, found.by_salinity)
    assert "watch" == surely(judged(past)).stage


def test_without_a_salinity_it_is_judged_as_it_is() -> None:
    """Nothing to bring it to 35 with."""
    past = with_report(history(), report(10, {"lithium": 620}))
    found = surely(judged(past, "lithium"))
    assert ("watch", False) == (found.stage, found.by_salinity)


def test_own_bands_are_the_ones_that_judge() -> None:
    """1.5 ug/L copper is usual by practice; the operator wants a look from 1 on."""
    past = lab((5, 1.5))
    own = {"copper": TraceLimits(watch=1.0, act=3.0)}
    found = surely(judged(past, bands=own))
    other = surely(judged(past, bands={"zinc": own["copper"]}))

    assert "usual" == surely(judged(past)).stage == other.stage
    assert ("watch", 1.0, 3.0) == (found.stage, found.watch, found.act)
    assert OPERATOR == found.bands_source
