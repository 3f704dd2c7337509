"""A whole tank, assessed."""

from dataclasses import replace

import pytest

from slackwater.assessment.assess import assess
from slackwater.errors import InputError
from slackwater.facts.history import History, ProbeDay
from slackwater.water.parameters import PARAMETERS
from tests.assessment.past import (
    DKH,
    NOW,
    ago,
    change,
    deliveries,
    history,
    kept_tank,
    machine,
    measured,
    report,
    standard,
    with_report,
)

TESTED = {
    "salinity": 35.0,
    "temperature": 25.0,
    "ph": 8.2,
    "nitrate": 5.0,
    "phosphate": 0.05,
    "magnesium": 1320.0,
    "potassium": 400.0,
}


def well_kept(*, calcium_dose: float = 1.2 * 7.147) -> History:
    """Alkalinity and calcium tested and dosed for a month, the rest yesterday."""
    past = kept_tank()
    calcium = [
        measured(
            "calcium", 425 + (calcium_dose - 1.2 * 7.147) * (28 - back), back, sd=3.0
        )
        for back in (28, 21, 14, 7, 0)
    ]
    rest = [measured(name, level, 1) for name, level in TESTED.items()]
    return history(
        *past.measurements,
        *calcium,
        *rest,
        deliveries=deliveries({"alkalinity": 1.2 * DKH, "calcium": calcium_dose}, 29),
    )


def natural_levels() -> dict[str, float]:
    """What a laboratory would find in natural sea water."""
    return {
        name: item.natural
        for name, item in PARAMETERS.items()
        if item.natural and item.kind in {"major", "trace", "contaminant"}
    }


def test_a_well_kept_tank_is_left_alone() -> None:
    """Nothing to do, no block, no alarm, and the next test named."""
    found = assess(well_kept(), machine(), "reef", NOW)
    assert ("Nothing needs to be done; test alkalinity by 2026-06-04.",) == found.todo
    assert ((), (), ()) == (found.blocks, found.advice, found.notices)
    assert {"in band"} == {one.word for one in found.standings.values()}
    assert found.uptakes["alkalinity"].enough
    assert 1.2 * 7.147 == pytest.approx(found.uptakes["calcium"].per_day, rel=0.1)
    assert [("calcium-alkalinity", True)] == [
        (check.name, check.holds) for check in found.checks
    ]
    assert found.carbonate is not None
    assert ("reef", NOW) == (found.tank, found.at)


def test_an_unknown_tank_is_asked_for_everything() -> None:
    """No test at all: what to test first, and no figure made up."""
    found = assess(history(), machine(), "reef", NOW)
    assert found.todo[0].startswith("Test alkalinity")
    assert {"unknown"} == {one.word for one in found.standings.values()}
    assert ({}, {}, None) == (found.uptakes, found.traces, found.carbonate)
    assert not found.has_alarm


def test_natural_sea_water_is_no_contamination() -> None:
    """A report of nature turns nothing red and fits itself."""
    past = with_report(well_kept(), report(5, natural_levels()))
    found = assess(past, machine(), "reef", NOW)
    assert (
        {"usual"}
        <= {one.stage for one in found.traces.values()}
        <= {
            "usual",
            "not seen",
        }
    )
    assert () == found.blocks
    assert all(check.holds for check in found.checks)


def test_a_contaminant_is_blocked_and_advised_on() -> None:
    """Copper of 9 ug/L in two samples; a pump that adds copper gets nothing."""
    past = with_report(
        well_kept(), report(40, {"copper": 8.0}), report(5, {"copper": 9.0})
    )
    made = machine(dosed=("alkalinity", "calcium", "copper"))
    found = assess(past, made, "reef", NOW)
    assert found.is_blocked("copper", "dose")
    assert not found.is_blocked("copper", "correction", "change")
    assert not found.is_blocked("calcium", "dose", "correction", "change")
    assert found.has_alarm
    assert found.todo[0].startswith("Copper 9 ug/L, confirmed")
    assert "find_corroding_part" in {one.remedy for one in found.advice}


def test_a_dispute_ends_in_a_standard_and_no_dose() -> None:
    """Laboratory 480, drops 425 good to 3: beyond three errors."""
    past = with_report(well_kept(), report(7, {"calcium": 490.0}))
    found = assess(past, machine(), "reef", NOW)
    assert found.is_blocked("calcium", "correction")
    assert ["test_a_standard"] == [
        one.remedy for one in found.advice if one.parameter == "calcium"
    ]


def test_a_bias_is_taken_off_everywhere() -> None:
    """Drops that read 0.4 dKH high: the level falls by it, the uptake does not."""
    past = well_kept()
    checked = replace(past, standards=(standard("alkalinity", 8 * DKH, 8.4 * DKH, 20),))
    plain, found = (assess(one, machine(), "reef", NOW) for one in (past, checked))
    assert 0.4 * DKH == pytest.approx(
        (plain.standings["alkalinity"].level or 0)
        - (found.standings["alkalinity"].level or 0),
        rel=0.01,
    )
    assert 0.4 * DKH == pytest.approx(found.standings["alkalinity"].bias)
    assert plain.uptakes["alkalinity"].per_day == pytest.approx(
        found.uptakes["alkalinity"].per_day, rel=0.01
    )


def test_a_probe_counts_as_a_method_of_its_own() -> None:
    """Thirty days of a probe beside a single drops test."""
    days = tuple(
        ProbeDay(
            probe="kh",
            parameter="alkalinity",
            at=ago(back + 0.9),
            count=24,
            median=8.2 * DKH,
            lowest=8.1 * DKH,
            highest=8.3 * DKH,
            centre=ago(back + 0.4),
        )
        for back in range(30, -1, -1)
    )
    past = history(
        measured("alkalinity", 8.0 * DKH, 0.2),
        deliveries=deliveries({"alkalinity": 1.2 * DKH}, 31),
        probe_days=days,
    )
    found = assess(past, machine(), "reef", NOW)
    assert "probe" == found.uptakes["alkalinity"].provenance
    assert 1.2 * DKH == pytest.approx(found.uptakes["alkalinity"].per_day, rel=0.05)
    assert {"probe", "hand"} == {one.provenance for one in found.series}


def test_what_hands_added_counts_as_dosed() -> None:
    """Iodine that no pump adds: a sample of it is asked for."""
    past = history(deliveries=deliveries({"iodine": 1.0}, 10))
    found = assess(past, machine(), "reef", NOW)
    assert "iodine" in {one.parameter for one in found.missing}
    old = history(
        deliveries=tuple(
            replace(one, at=ago(100)) for one in deliveries({"iodine": 1.0}, 1)
        )
    )
    assert "iodine" not in {
        one.parameter for one in assess(old, machine(), "reef", NOW).missing
    }


def test_pumps_of_another_tank_do_not_count() -> None:
    """Their solutions go elsewhere."""
    made = machine(dosed=("alkalinity", "iodine"))
    other = replace(made.pumps["iodine"], tank="lagoon")
    made = replace(made, pumps={**made.pumps, "iodine": other})
    found = assess(history(), made, "reef", NOW)
    assert "iodine" not in found.standings


def test_nothing_from_ahead_or_from_long_ago_counts() -> None:
    """Tests of tomorrow, an announced change, a report of last year."""
    past = well_kept()
    more = with_report(
        history(
            *past.measurements,
            measured("alkalinity", 9.9 * DKH, -1),
            measured("alkalinity", 3.0 * DKH, 380),
            deliveries=past.deliveries,
            changes=(change(-1, 90, {"alkalinity": 1.0}),),
        ),
        report(380, {"copper": 9.0}),
    )
    assert assess(past, machine(), "reef", NOW) == assess(more, machine(), "reef", NOW)


def test_one_remedy_stands_once_for_a_parameter() -> None:
    """A held test that is also too old is one retest."""
    tests = [measured("nitrate", 5.0, day) for day in range(16, 9, -1)]
    past = history(*tests, measured("nitrate", 60.0, 9))
    found = assess(past, machine(), "reef", NOW)
    assert 1 == sum(
        (one.remedy, one.parameter) == ("retest", "nitrate") for one in found.advice
    )


@pytest.mark.parametrize(("tank", "of"), [("lagoon", "reef"), ("reef", "lagoon")])
def test_another_tanks_history_is_refused(tank: str, of: str) -> None:
    """One clear error."""
    with pytest.raises(InputError, match="one of reef with its own history"):
        assess(history(tank=of), machine(), tank, NOW)


def test_equal_inputs_give_equal_assessments() -> None:
    """Whatever order they come in."""
    past = with_report(well_kept(), report(5, natural_levels()))
    turned = replace(past, measurements=tuple(reversed(past.measurements)))
    one, other = (assess(each, machine(), "reef", NOW) for each in (past, turned))
    assert one.todo == other.todo
    assert one.standings == other.standings
    assert one.uptakes == other.uptakes


def test_five_years_are_assessed() -> None:
    """Daily tests, hourly doses, a report a month; `tests.bench.history` times it."""
    days = 5 * 365
    levels = {"alkalinity": 8.2 * DKH, "calcium": 425.0, **TESTED}
    tests = [
        measured(name, level, back)
        for back in range(days, -1, -1)
        for name, level in levels.items()
    ]
    reports = [report(back, natural_levels()) for back in range(days - 5, 0, -30)]
    past = with_report(
        history(
            *tests,
            deliveries=deliveries(
                {"alkalinity": 1.2 * DKH, "calcium": 8.6, "magnesium": 0.7}, days
            ),
        ),
        *reports,
    )
    found = assess(past, machine(), "reef", NOW)
    assert found.uptakes["alkalinity"].enough


@pytest.mark.parametrize(("dkh", "fits"), [(7.65, True), (12.0, False), (5.4, False)])
@pytest.mark.parametrize("method", ["", "photometer"])
def test_a_newer_test_by_another_method_is_never_passed_over(
    method: str, dkh: float, *, fits: bool
) -> None:
    """Six by drops near 7.6 dKH; one of another kit fits, or is tested again."""
    drops = [
        measured("alkalinity", (7.55 + 0.05 * days_ago) * DKH, days_ago, method="drops")
        for days_ago in range(6, 0, -1)
    ]
    other = measured("alkalinity", dkh * DKH, 0.1, method=method)
    found = assess(history(*drops, other), machine(), "reef", NOW)
    again = [text for text in found.todo if "Test alkalinity again" in text]

    assert fits != found.is_blocked("alkalinity", "correction")
    assert fits != bool(again)
