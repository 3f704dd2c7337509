"""The first screen in words: 80 columns, 24 lines, and the lines of the document."""

from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from slackwater.cli.reading import read_files
from slackwater.cli.report.made import Wishes, make_report
from slackwater.cli.report.minds import day_of
from slackwater.cli.report.past import Past
from slackwater.cli.report.summary import summary
from slackwater.cli.report.text import COLUMNS, LINES
from slackwater.facts.safeguards import AwayDeclared
from slackwater.rehearsal.faults.cases import CASES
from slackwater.rehearsal.faults.running import run_cases
from tests.cli.report.reports import SAMPLES, document, rehearse
from tests.cli.run_program import CONFIG, SMALLEST, changed
from tests.cli.stage import stage_of

KEYS = (
    "verdict",
    "minds",
    "changes",
    "adds",
    "forecast",
    "times",
    "stuck",
    "bottle",
    "highest",
    "faults",
    "not_covered",
)

# Samples are rehearsed with all their faults: long, where others share the machine.
pytestmark = pytest.mark.timeout(300)


def item(found: dict[str, object], key: str) -> list[str]:
    """The lines of one item of the summary."""
    summary = found["summary"]
    assert isinstance(summary, list)
    return next((list(one["lines"]) for one in summary if one["key"] == key), [])


@pytest.mark.parametrize("name", SAMPLES)
def test_fits_a_screen_of_80_by_24(name: str) -> None:
    """Whatever the plan, with a visit, and once with faults."""
    faults = ["--faults"] if name == "smallest" else []
    out = rehearse(CONFIG / name, "--visit", "2026-05-20", *faults).out
    lines = out.rstrip("\n").split("\n")
    assert len(lines) <= LINES
    assert max(map(len, lines)) <= COLUMNS


def test_a_plan_full_of_faults_fits_as_well(tmp_path: Path) -> None:
    """Refusals give way last and say how many are left out."""
    config = changed(
        tmp_path, CONFIG / "two-tanks", plan=('"20:00-08:00"', '"12:00-12:01"')
    )
    out = rehearse(config, "--days", 3).out
    lines = out.rstrip("\n").split("\n")
    assert len(lines) <= LINES
    assert max(map(len, lines)) <= COLUMNS
    assert "Refused" in out
    assert "--full)" in out


def test_nothing_is_cut_off_where_everything_is_asked_for(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Two tanks and eight pumps: more than a screen, and --full gives every line."""
    monkeypatch.setenv("COLUMNS", "80")
    words = (CONFIG / "two-tanks", "--days", 2)
    short, full = rehearse(*words).out, rehearse(*words, "--full").out
    assert "--full)" in short
    assert "--full)" not in full
    told = " ".join(full.split())
    found = rehearse(*words, "--json").document["summary"]
    assert isinstance(found, list)
    lines = [line for one in found for line in one["lines"]]
    assert [line for line in lines if " ".join(line.split()) not in told] == []


@pytest.mark.parametrize("name", SAMPLES)
def test_says_everything_that_must_be_read(name: str) -> None:
    """Each item is there, and none is empty."""
    found = document(name)
    assert [key for key in KEYS if not item(found, key)] == []


def test_a_day_stands_beside_its_uptake() -> None:
    """36 mL of each; 36 x 1.868 meq in 200 L are 0.943 dKH; uptake as stated."""
    lines = item(document("smallest"), "adds")
    assert "reef: carbonate 36 mL, calcium 36 mL" in lines
    assert (
        "reef alkalinity: +0.943 dKH a day, uptake 1 dKH (at least 0.8 dKH, stated)"
        in lines
    )


def test_alkalinity_stands_beside_its_uptake_on_a_screen_with_faults(
    tmp_path: Path,
) -> None:
    """What faults could not be tried gives way first: 24 lines hold both figures."""
    stage = stage_of(tmp_path)
    stage.commission("carbonate", "calcium")
    assert 0 == stage.approve().code
    out = rehearse(SMALLEST, "--faults", state=stage.state).out
    told = " ".join(out.split())
    assert len(out.rstrip("\n").split("\n")) <= LINES
    assert "+0.943 dKH a day, uptake 1 dKH (at least 0.8 dKH, stated)" in told
    assert "nothing was carried over (and 1 more: --full)" in told


def test_the_two_times_are_those_of_the_balance() -> None:
    """8 to 6.5 at 1 dKH a day: 36 h; 8 to 9.5 at 0.943: 38.2 h."""
    (line,) = item(document("smallest"), "times")
    assert line == (
        "reef: from the target 8.00 dKH: floor 6.50 dKH in 36 h to 42.8 h if dosing "
        "stopped; "
        "ceiling 9.50 dKH in 38.2 h if uptake stopped"
    )


def test_the_stuck_pump_is_told_in_dkh_and_judged() -> None:
    """80 mL of 1.868 meq/mL in 200 L: 2.1 dKH."""
    (line,) = item(document("smallest"), "stuck")
    assert line == (
        "carbonate up to its node's limit gives 80 mL in 24 h: +2.1 dKH, to 10.10 dKH, "
        "above the ceiling of 9.50 dKH"
    )


def test_a_level_that_reads_like_its_ceiling_is_just_below_it(tmp_path: Path) -> None:
    """57.2 mL of 1.868 meq/mL in 200 L are 1.498 dKH: 9.498, which reads 9.50."""
    limit = ('day_limit = "80 mL"', 'day_limit = "57.2 mL"')
    config = changed(tmp_path, SMALLEST, slackwater=limit)
    (line,) = item(rehearse(config, "--days", 1, "--json").document, "stuck")
    assert "to 9.50 dKH, just below the ceiling of 9.50 dKH" in line


def test_faults_say_that_nothing_was_carried_over() -> None:
    """The sentence, and the figures behind it."""
    lines = item(document("smallest"), "faults")
    assert lines[0].endswith("; nothing was carried over")
    assert lines[0].startswith(
        "44 tried, 20 could not be tried; most in any 24 h: 39 mL of 50 mL (carbonate)"
    )
    (left,) = lines[1:]
    assert left == (
        "not tried: 8 as reef has no alkalinity probe; 3 as reef has no pH probe; "
        "9 for other reasons (the page and --full list them)"
    )


def test_a_fault_that_ended_badly_leads_whatever_room_there_is() -> None:
    """Its name stands before the figures, in the line that gives way last."""
    made = make_report(read_files(SMALLEST), Past(), Wishes(days=1))
    plan, machine = made.plan, made.machine
    run = run_cases(machine, plan, plan.starts, CASES[:1])
    (tried,) = run.tried
    bad = replace(run, tried=(replace(tried, carried=("reef/carbonate#1",)),))
    (found,) = (
        one for one in summary(replace(made, faults=bad)) if one.key == "faults"
    )
    assert found.grave
    assert found.lines[0].startswith(f"NOT SOUND: {tried.case}; 1 tried, ")


def test_without_faults_the_summary_says_so() -> None:
    """No green tick without a figure."""
    found = rehearse(SMALLEST, "--days", 1, "--json").document
    assert ["not tried; --faults tries them, and an approval needs that"] == item(
        found, "faults"
    )


@pytest.mark.parametrize(
    ("visit", "told"),
    [
        ("2026-06-20", "until the visit on Sat 2026-06-20 all last"),
        ("2026-07-20", "until the visit on Mon 2026-07-20 not enough: calcium, carbon"),
    ],
)
def test_bottles_are_held_against_the_next_visit(visit: str, told: str) -> None:
    """55 days are enough until June and not until July."""
    found = rehearse(SMALLEST, "--visit", visit, "--json").document
    assert told in item(found, "bottle")[0]


def test_a_declared_absence_is_the_visit_that_nobody_named(tmp_path: Path) -> None:
    """Back in forty days: 2 L last 55 days at 36 mL, and the return is named."""
    stage = stage_of(tmp_path)
    now = stage.stamp()["at"]
    back = now + timedelta(days=40)
    away = AwayDeclared(**stage.stamp(), from_at=now, until=back, by="k", contact="")
    stage.append(away)
    # At the tank it may be the next day already.
    local_day = back.astimezone(ZoneInfo("Europe/Berlin")).date()
    found = rehearse(SMALLEST, "--json", state=stage.state).document
    assert (str(local_day), "return") == (found["visit"], found["visit_is"])
    assert (
        f"until the return on {day_of(local_day)} all last" in item(found, "bottle")[0]
    )
    named = ("--visit", "2099-07-20", "--json")
    found = rehearse(SMALLEST, *named, state=stage.state).document
    assert ("2099-07-20", "visit") == (found["visit"], found["visit_is"])


def test_what_is_never_given_is_told_once_for_each_line_and_reason(
    tmp_path: Path,
) -> None:
    """Eleven doses of a day have no time left: one line with their number."""
    config = changed(tmp_path, SMALLEST, plan=('"20:00-08:00"', '"20:00-20:01"'))
    found = rehearse(config, "--days", 2, "--json").document
    told = [line for line in item(found, "minds") if line.startswith("never given")]
    assert len(told) <= 2
    assert "reef/carbonate 88 times, the first reef/carbonate@2026-05-03#" in told[0]


def test_pumps_that_were_never_measured_stand_on_one_line(tmp_path: Path) -> None:
    """With their names, once there is a ledger that could know."""
    stage = stage_of(tmp_path)
    found = rehearse(SMALLEST, "--days", 1, "--json", state=stage.state).document
    assert (
        "never calibrated, so that the rate is the file's: calcium, carbonate"
        in item(found, "minds")
    )


def test_a_plan_that_cannot_be_approved_says_so_in_its_verdict(tmp_path: Path) -> None:
    """And the verdict is marked as grave."""
    config = changed(tmp_path, SMALLEST, plan=("doses = 12", "doses = 200"))
    found = rehearse(config, "--days", 1, "--json").document
    verdict = next(one for one in found["summary"] if one["key"] == "verdict")  # type: ignore[attr-defined]  # a list of items
    assert verdict["grave"]
    assert verdict["lines"][0].endswith("refused 2 times, so it cannot be approved.")


def test_a_level_that_would_sink_is_warned_of_in_the_verdict(tmp_path: Path) -> None:
    """A twelfth of the dose: the tank falls below its floor; the sample does not."""
    sinks = changed(tmp_path, SMALLEST, plan=('"36 mL"', '"3 mL"'))
    (told,), (well,) = (
        item(rehearse(config, "--days", 10, "--json").document, "verdict")
        for config in (sinks, SMALLEST)
    )

    assert "Warning: reef would fall below its floor from " in told
    assert "Warning" not in well


def test_a_level_that_would_rise_too_far_is_warned_of_in_the_verdict(
    tmp_path: Path,
) -> None:
    """A third more than the tank is said to use: above its ceiling in a month."""
    config = changed(tmp_path, SMALLEST, plan=('"36 mL"', '"48 mL"'))
    told = item(rehearse(config, "--days", 30, "--json").document, "verdict")
    assert "Warning: reef would rise above its ceiling from " in told[0]


def test_nothing_changes_against_the_very_plan_that_was_approved(
    tmp_path: Path,
) -> None:
    """The same files again."""
    stage = stage_of(tmp_path)
    assert 0 == stage.approve().code
    found = rehearse(SMALLEST, "--days", 2, "--json", state=stage.state).document
    assert ["nothing: no pump and no parameter differs from approval 1"] == item(
        found, "changes"
    )
    assert [] == found["changes"]


def test_the_biggest_change_stands_first(tmp_path: Path) -> None:
    """A third more of both, and calcium of a stronger stock: calcium leads."""
    stage = stage_of(tmp_path)
    assert 0 == stage.approve().code
    config = changed(
        tmp_path / "new",
        SMALLEST,
        plan=('"36 mL"', '"48 mL"'),
        slackwater=('strength = "139 g/L"', 'strength = "160 g/L"'),
    )
    found = rehearse(config, "--days", 2, "--json", state=stage.state).document
    lines = item(found, "changes")
    assert lines[0] == "reef calcium: 6.75 mg/L to 10.4 mg/L a day (x 1.53)"
    assert {"carbonate: 36 mL to 48 mL a day (x 1.33)"} < set(lines[1:])
    assert 4 == len(lines)
    assert (
        "pump calcium is not the one approved before: its solution changed by more "
        "than 5 %" in item(found, "minds")
    )


def test_a_pump_that_moved_is_told(tmp_path: Path) -> None:
    """Another channel than the approved one."""
    stage = stage_of(tmp_path)
    assert 0 == stage.approve().code
    config = changed(
        tmp_path / "new", SMALLEST, slackwater=('channel = "a"', 'channel = "c"')
    )
    found = rehearse(config, "--days", 2, "--json", state=stage.state).document
    assert (
        "pump carbonate is not the one approved before: it hangs on another node or "
        "channel" in item(found, "minds")
    )


def test_a_bottle_counts_what_the_ledger_drew(tmp_path: Path) -> None:
    """Without entries it is full, and the ledger is named among the assumptions."""
    stage = stage_of(tmp_path)
    found = rehearse(SMALLEST, "--days", 2, "--json", state=stage.state).document
    parts = {one["part"]: one["is"] for one in found["void_if_changed"]}  # type: ignore[attr-defined]  # a list of rows
    assert parts["ledger"]
    assert "none was read" != parts["ledger"]
    assert 2_000_000 == found["bottles"][0]["content_ul"]  # type: ignore[index]  # a list of rows


def test_an_empty_plan_is_told_and_breaks_nothing(tmp_path: Path) -> None:
    """All lines at fault: nothing would be dosed, and the faults stand first."""
    config = changed(tmp_path, SMALLEST, plan=("doses = 12", "doses = 200"))
    told = rehearse(config, "--faults", "--full")
    assert 1 == told.code
    assert "would dose 0 times" in told.out
    assert "36 mL in 200 doses" in told.out
    assert "none could be tried: the plan doses nothing" in told.out
