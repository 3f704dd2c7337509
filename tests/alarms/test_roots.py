"""Each root fault in a living house gives the alarm of its row, within a minute.

The loop, the nodes and the wire are those of the stories, the time is virtual. A fault
is struck between two doses; ten minutes later there is still that one alarm.
"""

from pathlib import Path

import pytest

from slackwater.facts.alarms import Cause, Priority
from slackwater.facts.reasons import Code
from tests.alarms.manned import HOUR_MS, MINUTE_MS, Manned
from tests.alarms.strikes import (
    Strike,
    approval_ends,
    approval_is_asked_for_from_afar,
    bottle_emptied,
    calibrated_anew,
    calibration_of,
    climbs_to_9_2,
    clock_adrift,
    clock_behind,
    clock_jumps,
    daemon_dies_again_and_again,
    disk_fills,
    doses_skipped,
    drawn,
    falls_to_6_9,
    files_differ,
    head_breaks,
    held,
    hose_gives_too_much,
    ledger_put_back,
    levels_say,
    link_half_open,
    link_lost,
    node_dies,
    node_exchanged,
    node_held,
    node_without_room,
    paused,
    plan_withdrawn,
    probe_dies,
    probe_freezes,
    probe_shows,
    probe_speaks_nonsense,
    said_of_the_series,
    task_overdue,
    tube_ran,
)
from tests.properties import faults

WITHIN_MS, AFTER_MS = MINUTE_MS, 10 * MINUTE_MS
ROOTS: list[tuple[Cause, str, Priority, Strike]] = [
    (Cause.LINK_DOWN, "all", "soon", link_lost),
    (Cause.LINK_DOWN, "all", "soon", link_half_open),
    (Cause.SECOND_DAEMON, "all", "soon", faults.second_daemon),
    (Cause.TAKEN_OVER, "all", "soon", faults.taken_over),
    (Cause.CLOCK_UNPROVEN, "all", "soon", clock_adrift),
    (Cause.CLOCK_JUMPED, "all", "soon", clock_jumps(1)),
    (Cause.CLOCK_JUMPED, "all", "soon", clock_jumps(24 * 40)),
    (Cause.CLOCK_JUMPED, "all", "soon", clock_jumps(-3)),
    (Cause.CLOCK_BEHIND, "all", "soon", clock_behind),
    (Cause.DISK_FULL, "all", "soon", disk_fills),
    (Cause.LEDGER_DAMAGED, "all", "soon", held(Code.LEDGER_DAMAGED, "all")),
    (Cause.LEDGER_FORGETS, "all", "soon", ledger_put_back),
    (Cause.LEDGER_RESTORED, "all", "soon", held(Code.LEDGER_RESTORED, "all")),
    (Cause.START_STORM, "all", "soon", daemon_dies_again_and_again),
    (Cause.NO_PLAN, "all", "soon", plan_withdrawn),
    (Cause.APPROVAL_EXPIRED, "all", "soon", approval_ends(0)),
    (Cause.APPROVAL_GRACE, "all", "soon", approval_ends(0, grace_days=14)),
    (Cause.APPROVAL_ENDING, "all", "note", approval_ends(13.9)),
    (Cause.APPROVAL_ENDING, "all", "soon", approval_ends(2.9)),
    (Cause.FILES_DIFFER, "all", "note", files_differ),
    (Cause.EVERYTHING_HELD, "all", "soon", held(Code.MANUAL_HOLD, "all")),
    (Cause.NOT_AS_APPROVED, "all", "soon", held(Code.NOT_AS_APPROVED, "all")),
    (Cause.NODE_ABSENT, "shelf", "soon", node_dies),
    (Cause.NODE_IDENTITY, "shelf", "soon", node_exchanged),
    (Cause.NODE_TWICE, "shelf", "soon", held(Code.NODE_TWICE, "node/shelf")),
    (Cause.NODE_IMPOSSIBLE, "shelf", "soon", held(Code.NODE_IMPOSSIBLE, "node/shelf")),
    (Cause.NODE_HELD, "shelf", "soon", node_held),
    (Cause.NODE_FAULT, "shelf", "soon", head_breaks),
    (Cause.NODE_BUDGET, "shelf", "soon", node_without_room),
    (Cause.RETAINED_COMMAND, "shelf", "soon", faults.retained_command),
    (Cause.OVERREACH, "all", "soon", approval_is_asked_for_from_afar),
    (Cause.OVER_DELIVERED, "carbonate", "soon", hose_gives_too_much),
    (
        Cause.SHORT_DELIVERED,
        "carbonate",
        "soon",
        held(Code.SHORT_DELIVERED, "pump/carbonate", times=3),
    ),
    (Cause.PUMP_CHANGED, "calcium", "soon", held(Code.PUMP_CHANGED, "pump/calcium")),
    (Cause.CALIBRATION_CHANGED, "carbonate", "soon", calibrated_anew),
    (Cause.CALIBRATION_DUE, "carbonate", "note", calibration_of(75)),
    (Cause.CALIBRATION_DUE, "carbonate", "soon", calibration_of(90)),
    (Cause.TUBE_WORN, "carbonate", "note", tube_ran(450)),
    (Cause.TUBE_WORN, "carbonate", "soon", tube_ran(500)),
    (Cause.PUMP_DRIFTS, "carbonate", "soon", levels_say(1.1)),
    (Cause.PUMP_DRIFTS, "carbonate", "soon", levels_say(0.9)),
    (Cause.PUMP_FAR_OFF, "carbonate", "soon", levels_say(1.25)),
    (Cause.PUMP_FAR_OFF, "carbonate", "soon", levels_say(0.75)),
    (Cause.BOTTLE_LOST, "carbonate", "urgent", bottle_emptied(1_100_000)),
    (Cause.RESERVOIR_LOW, "carbonate", "note", drawn(20_000_000 - 6 * 36_000)),
    (Cause.RESERVOIR_LOW, "carbonate", "soon", drawn(20_000_000 - 2 * 36_000)),
    (Cause.RESERVOIR_EMPTY, "carbonate", "soon", drawn(20_000_000)),
    (Cause.PROBE_STALE, "kh", "note", probe_dies),
    (Cause.PROBE_FROZEN, "kh", "note", probe_freezes),
    (Cause.PROBE_SPOILED, "kh", "note", probe_speaks_nonsense),
    (Cause.ALKALINITY_CEILING, "reef", "urgent", probe_shows(12.0)),
    (Cause.ALKALINITY_CLIMB, "reef", "urgent", climbs_to_9_2),
    (Cause.ALKALINITY_LOW, "reef", "urgent", probe_shows(6.2)),
    (Cause.ALKALINITY_FALL, "reef", "soon", falls_to_6_9),
    (
        Cause.ALKALINITY_SWING_UP,
        "reef",
        "soon",
        held(Code.ALKALINITY_SWING_UP, "alkalinity/reef"),
    ),
    (
        Cause.ALKALINITY_DOSE_FAULT,
        "reef",
        "soon",
        held(Code.ALKALINITY_DOSE_FAULT, "alkalinity/reef"),
    ),
    (
        Cause.ALKALINITY_DOSE_FAULT,
        "reef",
        "soon",
        said_of_the_series("dose-fault", Code.ALKALINITY_DOSE_FAULT),
    ),
    (
        Cause.ALKALINITY_SWING_DOWN,
        "reef",
        "note",
        said_of_the_series("swing-down", Code.ALKALINITY_SWING_DOWN),
    ),
    (
        Cause.ALKALINITY_PROBE_FAULT,
        "kh",
        "note",
        said_of_the_series("probe-fault", Code.ALKALINITY_PROBE_FAULT),
    ),
    (Cause.MANUAL_HOLD, "reef", "soon", held(Code.MANUAL_HOLD, "pump/carbonate")),
    (Cause.MANUAL_HOLD, "reef", "soon", held(Code.MANUAL_HOLD, "alkalinity/reef")),
    (Cause.PAUSED, "reef", "soon", paused),
    (Cause.HELD, "leak", "soon", held(Code.LEAK, "tank/reef")),
    (Cause.MISSED_DOSES, "reef", "soon", doses_skipped),
    (Cause.TASK_OVERDUE, "reef", "note", task_overdue),
]
# Where else a cause is tried: there is nothing to strike in this house for it.
ELSEWHERE = {
    Cause.AUDIT_OVERDUE: "test_audits: two days without an audit",
    Cause.LEDGER_FAULT: "tests/service: the daemon ends with it",
    Cause.RESUMING: "test_the_way_back_is_told_once_and_not_what_was_missed",
    Cause.PROBE_MISSING: "test_a_probe_that_never_spoke_is_missing",
    Cause.PROBES_CONTRADICT: "test_two_probes_that_contradict_are_one_alarm",
    Cause.INPUT_SPOILED: "test_inputs: a house that has switches",
    Cause.DOSES_UNSEEN: "test_unseen: three doses take half a day",
    Cause.RELAY_CHECK_ENDING: "test_relays: a house whose pumps hang on a relay",
    Cause.UPTAKE_FELL: "test_uptake: an assessment finds it",
    Cause.CONTAMINANT: "test_uptake: an assessment finds it",
    Cause.PUMP_ANSWERS: "test_uptake: an assessment finds it",
}


@pytest.mark.parametrize(
    ("cause", "about", "priority", "strike"),
    ROOTS,
    ids=[f"{row[0]}-{number}" for number, row in enumerate(ROOTS)],
)
def test_h63_a_root_fault_gives_its_one_alarm_within_a_minute(
    cause: Cause, about: str, priority: Priority, strike: Strike, tmp_path: Path
) -> None:
    """Its name and priority; nothing that only follows from it is told beside it."""
    house = Manned(tmp_path)
    house.settle()
    assert [] == house.raised()
    strike(house)
    struck_ms = house.times.t_ms
    house.pass_ms(AFTER_MS)
    told = house.alarms()
    assert [f"{cause}.{about}"] == [one.event.alarm for one in told]
    assert struck_ms + WITHIN_MS >= told[0].t_ms
    assert priority == getattr(told[0].event, "priority", "")


def test_every_cause_is_struck_here_or_tried_elsewhere() -> None:
    """No row of the table is without a fault that reaches it."""
    struck = {row[0] for row in ROOTS}
    assert set(Cause) == struck | ELSEWHERE.keys()
    assert set() == struck & ELSEWHERE.keys()


def test_a_probe_that_never_spoke_is_missing(tmp_path: Path) -> None:
    """It is told when it has had the time of two readings, half an hour, to speak."""
    house = Manned(tmp_path)
    house.swim.silent = True
    house.pass_ms(30 * MINUTE_MS)
    assert [] == house.raised()
    house.pass_ms(WITHIN_MS)
    assert ["probe-missing.kh"] == house.raised()


TWO_PROBES = {
    "probe": {
        "kh-two": {
            "tank": "reef",
            "parameter": "alkalinity",
            "unit": "dKH",
            "period": "15 min",
            "resolution": "0.01 dKH",
        }
    }
}


def test_two_probes_that_contradict_are_one_alarm(tmp_path: Path) -> None:
    """One says 8.0 and the other 7.0: a hand test must tell; the fall is explained."""
    house = Manned(tmp_path, TWO_PROBES)
    house.settle()
    assert [] == house.raised()
    struck_ms = house.times.t_ms
    reading = house.reading("kh-two", 7.0, struck_ms)
    house.bus.surely(reading, struck_ms + 5)
    house.pass_ms(3 * MINUTE_MS)
    assert ["probes-contradict.reef"] == house.raised()
    assert struck_ms + WITHIN_MS >= house.alarms()[0].t_ms


def test_the_way_back_is_told_once_and_not_what_was_missed(tmp_path: Path) -> None:
    """Off for four days: the missed doses are why it comes back slowly."""
    modest = {"reef": {"uptake_dkh_per_day": 0.3}}
    house = Manned(tmp_path, water=modest)
    house.settle()
    house.kill(96 * HOUR_MS)
    house.pass_ms(96 * HOUR_MS)
    house.pass_until(lambda: bool(house.daemon), HOUR_MS)
    back_ms = house.times.t_ms
    house.pass_ms(AFTER_MS)
    assert ["resuming.reef"] == house.raised()
    assert back_ms + WITHIN_MS >= house.alarms()[0].t_ms
