"""What is found of machine, paper and water before anybody asks whether to tell it."""

from dataclasses import replace
from datetime import date, timedelta

import pytest

from slackwater.alarms.conditions import ask_of
from slackwater.alarms.holds import held, stopped_by
from slackwater.alarms.machinery import machinery
from slackwater.alarms.paper import paper
from slackwater.alarms.refusals import BY_HAND, PASSING, refused, told_of
from slackwater.alarms.water import Ear, water
from slackwater.facts.events import Calibrated, PlanApproved
from slackwater.facts.messages import Channel
from slackwater.facts.reasons import Code, because
from slackwater.facts.safeguards import TubeSwapped
from slackwater.facts.tank import Machine
from slackwater.facts.waters import MeasurementKept, TaskSet
from slackwater.facts.wear import fold_calibrated, fold_tube_swapped
from slackwater.gate.moment import Ask, LineRule, Moment, rules_for
from tests.alarms.desk import Desk, aimed
from tests.gate.scene import APPROVAL, NOW, beat, dkh, machine, probed, with_probe

BOTH = frozenset({"reef/carbonate", "reef/calcium"})


def ids(found: object) -> list[str]:
    """The names of conditions."""
    return [one.id for one in found]  # type: ignore[attr-defined]  # conditions


def with_lines(found: Moment, **lines: LineRule) -> Moment:
    """The moment with other lines."""
    named = {f"reef/{name}": rule for name, rule in lines.items()}
    return replace(found, rules=replace(found.rules, lines=named))


def measured(desk: Desk, ago: timedelta) -> None:
    """The carbonate pump was calibrated so long ago, with no run since."""
    known = Calibrated(
        **desk.stamp,
        pump="carbonate",
        rate_nl_per_s=1_333_000,
        cal="77aa01cf",
        shots=3,
        spread_percent=1.0,
        proofs=("identity",),
        by="keeper",
    )
    fold_calibrated(desk.moment.state, replace(known, at=NOW - ago))


def test_a_machine_that_is_well_has_none() -> None:
    """From no source at all."""
    desk = Desk()
    found = desk.moment
    assert [] == ids((*held(found), *machinery(found), *paper(found), *refused(found)))
    assert [] == ids(water(found, Ear(since_s=0.0)))


def test_a_head_that_the_node_does_not_show_is_absent() -> None:
    """Only that pump and what doses with it stand still."""
    desk = Desk()
    shown = {"a": Channel(n=1, state="idle", odo_ul=0, odo_ms=0, budget_ul=10**6)}
    desk.moment.sight.nodes["shelf"].beat = replace(beat(), channels=shown)
    (found,) = machinery(desk.moment)
    assert ("node-absent.shelf", "b") == (found.id, found.figures["channels"])


def test_a_node_that_no_line_needs_is_nobodys_trouble() -> None:
    """Without a plan nothing is looked for."""
    desk = Desk()
    desk.moment.sight.nodes.clear()
    idle = replace(desk.moment, rules=rules_for(desk.moment.machine, None))
    assert [] == ids(machinery(idle))


def test_a_channel_that_holds_itself_is_held_at_the_node() -> None:
    """Without the node's flag, which raises a hold of ours."""
    desk = Desk()
    seen = desk.moment.sight.nodes["shelf"]
    channels = dict(seen.beat.channels)
    channels["b"] = replace(channels["b"], state="held")
    seen.beat = replace(seen.beat, channels=channels)
    assert ["node-held.shelf"] == ids(machinery(desk.moment))


@pytest.mark.parametrize(
    ("scope", "lines"),
    [
        ("all", BOTH),
        ("tank/reef", BOTH),
        ("node/shelf", BOTH),
        ("alkalinity/reef", BOTH),
        ("carbonate/reef", BOTH),
        ("corrections/reef", set()),
        ("alkalinity/other", set()),
        ("pump/calcium", BOTH),
        ("pump/no-such", set()),
    ],
)
def test_a_hold_stops_the_lines_of_its_scope_and_their_mates(
    scope: str, lines: set[str]
) -> None:
    """Both lines of the scene are one group."""
    desk = Desk()
    desk.hold(scope)
    (hold,) = desk.moment.state.holds.values()
    assert lines == stopped_by(desk.moment, hold)


def test_a_hold_that_has_ended_is_none() -> None:
    """Before anybody wrote down its end."""
    desk = Desk()
    desk.hold("tank/reef", Code.PAUSE)
    (name,) = desk.moment.state.holds
    hold = desk.moment.state.holds[name]
    over = replace(hold, until=NOW - timedelta(seconds=1))
    desk.moment.state.holds[name] = over
    assert [] == ids(held(desk.moment))


def test_a_hold_of_everything_for_an_unknown_reason_is_told_by_it() -> None:
    """It stops every pump of the plan."""
    desk = Desk()
    desk.hold("all", Code.LEAK)
    (found,) = held(desk.moment)
    assert "held.leak" == found.id
    assert BOTH == found.stops


def test_a_pump_that_the_plan_does_not_mean_is_told() -> None:
    """The gate finds another solution than the line's; nobody held anything."""
    desk = Desk()
    rule = desk.moment.rules.lines["reef/carbonate"]
    other = replace(rule, mates=(), line=replace(rule.line, solution="other"))
    found = refused(with_lines(desk.moment, carbonate=other))
    assert ["pump-changed.carbonate"] == ids(found)


def asked(desk: Desk) -> Ask:
    """A dose of carbonate, now."""
    found = ask_of(desk.moment, desk.moment.rules.lines["reef/carbonate"])
    assert found is not None
    return found


def test_a_reason_nothing_else_tells_is_told_by_its_name() -> None:
    """An interlock that comes later wakes somebody without a row of its own."""
    desk = Desk()
    reasons = [
        because(Code.LEAK),
        because(Code.PROBE_STALE, probe="ph-1"),
        because(Code.PROBE_STALE, probe="kh"),
        *(because(code) for code in (*PASSING, *BY_HAND)),
    ]
    found = list(told_of(desk.moment, asked(desk), reasons, share=0.0))
    assert ["held.leak", "held.probe-stale"] == ids(found)
    assert BOTH == found[0].stops


def test_what_only_makes_doses_smaller_stops_nothing() -> None:
    """It tells the share that still comes."""
    desk = Desk()
    reasons = [because(Code.NUTRIENTS_LOW)]
    (found,) = told_of(desk.moment, asked(desk), reasons, share=0.5)
    assert ("held.nutrients-low", frozenset(), 0.5) == (
        found.id,
        found.stops,
        found.share,
    )


def test_a_line_without_its_pump_is_asked_about_nowhere() -> None:
    """It is missed, and told as that."""
    desk = Desk()
    rule = desk.moment.rules.lines["reef/carbonate"]
    gone = replace(rule, line=replace(rule.line, pump="gone"))
    assert None is ask_of(desk.moment, gone)
    assert [] == ids(refused(with_lines(desk.moment, carbonate=gone)))


def test_an_approval_that_another_follows_is_not_ending() -> None:
    """Only one that is later, begins before the end, and lasts longer."""
    desk = Desk()
    ends = NOW + timedelta(days=5)
    current = replace(APPROVAL, expires_at=ends)
    found = replace(desk.moment, approval=current)
    assert ["approval-ending.all"] == ids(paper(found))
    for changes, names in (
        ({"serial": 2}, []),
        ({"serial": 1}, ["approval-ending.all"]),
        ({"takes_over_at": ends + timedelta(hours=1)}, ["approval-ending.all"]),
        ({"expires_at": ends}, ["approval-ending.all"]),
    ):
        later = {"serial": 2, "takes_over_at": ends - timedelta(days=1), **changes}
        following = replace(APPROVAL, **later)  # type: ignore[arg-type]  # its fields
        desk.moment.state.approvals[:] = [
            PlanApproved(
                **desk.stamp, approval=following, machine="", plan="", files={}
            )
        ]
        assert names == ids(paper(found))


def test_a_plan_that_begins_within_a_day_is_waited_for() -> None:
    """One that begins later leaves the tank without any."""
    desk = Desk()
    bare = replace(desk.moment, approval=None)
    assert ["no-plan.all"] == ids(paper(bare))
    for hours, names in ((23, []), (25, ["no-plan.all"])):
        begins = replace(APPROVAL, takes_over_at=NOW + timedelta(hours=hours))
        event = PlanApproved(
            **desk.stamp, approval=begins, machine="", plan="", files={}
        )
        desk.moment.state.approvals[:] = [event]
        assert names == ids(paper(bare))


@pytest.mark.parametrize(
    ("days", "told"),
    [
        (74.9, []),
        (75, [("calibration-due.carbonate", "note")]),
        (90, [("calibration-due.carbonate", "soon")]),
    ],
)
def test_h28_a_calibration_is_told_after_75_and_90_days(
    days: float, told: list[tuple[str, str]]
) -> None:
    """A pump drifts as its tube wears; a pump never measured is told elsewhere."""
    desk = Desk()
    measured(desk, timedelta(days=days))
    approval = replace(APPROVAL, calibrations={"carbonate": "77aa01cf"})
    found = paper(replace(desk.moment, approval=approval))
    assert told == [(one.id, one.least) for one in found]


@pytest.mark.parametrize(
    ("ran_h", "told"),
    [
        (124.9, []),
        (125.0, [("calibration-due.carbonate", "note")]),
        (150.0, [("calibration-due.carbonate", "soon")]),
        (
            450.0,
            [("calibration-due.carbonate", "soon"), ("tube-worn.carbonate", "note")],
        ),
        (
            500.0,
            [("calibration-due.carbonate", "soon"), ("tube-worn.carbonate", "soon")],
        ),
    ],
)
def test_h28_what_ran_long_is_measured_and_swapped(
    ran_h: float, told: list[tuple[str, str]]
) -> None:
    """Of 500 hours a quarter, nine tenths and all; common practice, no source."""
    desk = Desk()
    measured(desk, timedelta(days=1))
    desk.moment.state.run_ms["carbonate"] = round(ran_h * 3_600_000)
    approval = replace(APPROVAL, calibrations={"carbonate": "77aa01cf"})
    found = paper(replace(desk.moment, approval=approval))
    assert told == [(one.id, one.least) for one in found]


def test_h28_a_new_tube_is_measured_at_once() -> None:
    """What its rate is nobody knows; its hours are few."""
    desk = Desk()
    measured(desk, timedelta(days=1))
    desk.moment.state.run_ms["carbonate"] = 500 * 3_600_000
    fold_tube_swapped(
        desk.moment.state, TubeSwapped(**desk.stamp, pump="carbonate", by="keeper")
    )
    desk.moment.state.measured_run_ms["carbonate"] = 500 * 3_600_000
    approval = replace(APPROVAL, calibrations={"carbonate": "77aa01cf"})
    found = list(paper(replace(desk.moment, approval=approval)))
    assert [("calibration-due.carbonate", "soon")] == [
        (one.id, one.least) for one in found
    ]
    assert ["measured", "tube_swapped"] == list(found[0].figures)


@pytest.mark.parametrize(
    ("left_ul", "names"),
    [
        (96_000 * 7, []),
        (96_000 * 7 - 1, ["reservoir-low.one"]),
        (2000, ["reservoir-low.one"]),
        (1999, ["reservoir-empty.one"]),
    ],
)
def test_a_bottle_is_low_for_a_week_and_empty_below_a_dose(
    left_ul: int, names: list[str]
) -> None:
    """Both pumps of the scene draw 48 mL a day from it, in doses of 2 mL."""
    base = machine()
    one = replace(base.reservoirs["one"], content_ul=left_ul)
    desk = Desk(replace(base, reservoirs={"one": one}))
    assert names == ids(paper(desk.moment))


def test_overdue_tasks_of_a_tank_are_one_condition() -> None:
    """By the tank's own date; one of a tank that is gone is nobody's."""
    desk = Desk()
    for number, (tank, due_on) in enumerate(
        (
            ("reef", date(2026, 5, 2)),
            ("reef", date(2026, 5, 1)),
            ("reef", date(2026, 5, 3)),
            ("sold", date(2026, 4, 1)),
        )
    ):
        desk.fold(
            TaskSet(
                **desk.stamp,
                task=f"t-{number}",
                tank=tank,
                remedy="retest",
                parameter=f"p-{number}",
                text="Test it.",
                due_on=due_on,
                by="keeper",
            )
        )
    (found,) = paper(desk.moment)
    assert ("task-overdue.reef", 2, "t-0") == (
        found.id,
        found.figures["tasks"],
        found.figures["first"],
    )


def two_probes() -> Machine:
    """The scene's machine with a second probe."""
    base = probed()
    second = replace(base.probes["kh"], id="kh-two")
    return replace(base, probes={**base.probes, "kh-two": second})


def test_one_sound_probe_speaks_for_the_water() -> None:
    """The silent one is told, and nothing is shortened for it."""
    desk = Desk(two_probes())
    (found,) = water(desk.moment, Ear(since_s=0.0))
    assert ("probe-missing.kh-two", 1.0) == (found.id, found.share)
    desk.moment.sight.readings.clear()
    both = list(water(desk.moment, Ear(since_s=0.0)))
    assert ["probe-missing.kh", "probe-missing.kh-two"] == ids(both)
    assert all(one.share < 1.0 for one in both)


def test_a_probe_is_not_blamed_for_what_could_not_be_heard() -> None:
    """Two of its periods after the ear opened it has had its time."""
    desk = Desk()
    desk.moment.sight.readings.clear()
    now_s = desk.moment.now.boot_s
    assert [] == ids(water(desk.moment, Ear(since_s=now_s - 1799.0)))
    assert ["probe-missing.kh"] == ids(water(desk.moment, Ear(since_s=now_s - 1800.0)))


def test_a_tank_without_a_guard_has_no_levels_to_pass() -> None:
    """Nobody said where its floor is."""
    desk = Desk(replace(aimed(probed()), guards={}))
    with_probe(desk.moment, [1.0])
    assert [] == ids(water(desk.moment, Ear(since_s=0.0)))


def test_a_level_must_leave_its_floor_by_a_margin() -> None:
    """6.4 is below 6.5 dKH; 6.6 is above it and still within the hysteresis of 0.2."""
    desk = Desk(reads=6.4)
    desk.look_on(10)
    assert desk.moment.state.alarms["alkalinity-low.reef"].is_standing
    for level, there in ((6.6, True), (6.75, False)):
        with_probe(desk.moment, [level] * 3)
        found = ids(water(desk.moment, Ear(since_s=0.0)))
        assert there == ("alkalinity-low.reef" in found), level


def test_a_hand_test_passes_floor_and_ceiling_as_a_probe_does() -> None:
    """A tank without a probe is not left alone."""
    for level, name in ((6.0, "low"), (8.0, ""), (10.0, "ceiling")):
        desk = Desk(machine())
        desk.fold(
            MeasurementKept(
                **desk.stamp,
                id="m-1",
                tank="reef",
                parameter="alkalinity",
                value=dkh(level),
                typed=f"{level} dKH",
                taken_at=NOW,
                provenance="hand",
                by="keeper",
            )
        )
        found = ids(water(desk.moment, Ear(since_s=0.0)))
        assert [f"alkalinity-{name}.reef"] * bool(name) == found
