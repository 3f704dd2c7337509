"""What was entered from afar stands beside an assessment, marked, and in no figure."""

from dataclasses import replace

import pytest

from slackwater.assessment.assess import assess
from slackwater.assessment.blocks import blocks
from slackwater.assessment.records import Assessment
from slackwater.facts.entered import LevelEntered
from slackwater.facts.history import History
from tests.assessment.past import DKH, NOW, ago, history, machine, measured
from tests.assessment.pictures import picture


def told(parameter: str, value: float, days: float = 0.1) -> LevelEntered:
    """An entry of some hours ago."""
    return LevelEntered(
        at=ago(days),
        boot_s=0.0,
        proven_ms=0,
        id="u-1",
        tank="reef",
        parameter=parameter,
        value=value,
        typed=f"{value}",
        taken_at=ago(days),
        request="r-1",
    )


def of_past() -> History:
    """Nine tests of alkalinity, one every other day."""
    return history(
        *(measured("alkalinity", 8.0 * DKH, 2.0 * day + 1) for day in range(9))
    )


def assessed(past: History) -> Assessment:
    """The assessment of that past."""
    return assess(past, machine(targets={"alkalinity": 8.2 * DKH}), "reef", NOW)


def test_it_is_shown_and_marked() -> None:
    """With its id, its level and that nobody confirmed it."""
    past = replace(of_past(), entered=(told("alkalinity", 8.6 * DKH),))
    (shown,) = assessed(past).unconfirmed
    assert ("u-1", "alkalinity") == (shown.entry, shown.parameter)
    assert "8.60 dKH was entered from afar (u-1) and is not confirmed." == shown.text


@pytest.mark.parametrize("value", [1.0, 8.0, 8.6, 14.0])
def test_i6_no_figure_of_the_assessment_knows_of_it(value: float) -> None:
    """Standings, uptakes, missing tests and tasks are those without it (freshness)."""
    past = of_past()
    plain = assessed(past)
    found = assessed(replace(past, entered=(told("alkalinity", value * DKH),)))
    without = replace(found, unconfirmed=(), blocks=plain.blocks)
    assert plain == without
    assert set(plain.blocks) <= set(found.blocks)


def test_i6_a_parameter_nobody_tested_stays_unknown() -> None:
    """An entry satisfies no demand for a test."""
    past = of_past()
    found = assessed(replace(past, entered=(told("calcium", 420.0),)))
    assert "unknown" == found.standings["calcium"].word
    assert assessed(past).missing == found.missing


@pytest.mark.parametrize(
    ("level_dkh", "is_blocked"), [(None, True), (7.5, True), (8.2, True), (8.9, False)]
)
def test_i6_it_ends_what_would_raise_and_never_what_leads_down(
    level_dkh: float | None, *, is_blocked: bool
) -> None:
    """A tank above its target is led down whatever is entered from afar."""
    level = None if level_dkh is None else level_dkh * DKH
    seen = picture({"alkalinity": level}, dosed=frozenset({"alkalinity"}))
    aimed = replace(seen.machine.tanks["reef"], targets={"alkalinity": 8.2 * DKH})
    entered = (told("alkalinity", 8.0 * DKH),)
    seen = replace(
        seen,
        machine=replace(seen.machine, tanks={"reef": aimed}),
        history=replace(seen.history, entered=entered),
    )
    texts = [one.text for one in blocks(seen) if "u-1" in one.text]
    assert is_blocked == bool(texts)


def test_what_belongs_to_another_tank_or_to_later_is_left_out() -> None:
    """As all of a history is."""
    others = (
        replace(told("alkalinity", 3.0), tank="lagoon"),
        told("alkalinity", 3.0, days=-1.0),
    )
    assert () == assessed(replace(of_past(), entered=others)).unconfirmed
