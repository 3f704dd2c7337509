"""`backup` and `restore`: a ledger kept elsewhere, and put back on a bad day."""

import fcntl
import re
import shlex
import shutil
import tarfile
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from slackwater.cli.opening import read_approval
from slackwater.cli.unknown_time import Told, entries_after
from slackwater.facts.events import (
    DoseMissed,
    HoldRaised,
    LedgerRestored,
    SpanMissed,
)
from slackwater.facts.fold import fold_all
from slackwater.facts.reasons import Code
from slackwater.facts.state import State
from slackwater.planning.timetable import Timetable
from slackwater.pump.outcome import Stamp
from slackwater.service.memory import LIVE_NAME
from slackwater.service.standing import LOCK_NAME
from slackwater.turn.absences import is_spanned
from tests.cli.run_program import run
from tests.cli.stage import Stage, stage_of

AT, DAY = datetime(2026, 6, 2, 12, 7, tzinfo=UTC), timedelta(days=1)
YESTERDAY = AT - DAY
STAMP: Stamp = {"at": AT, "boot_s": 5.0, "proven_ms": 10**8}
TOLD = Told(
    made_at=YESTERDAY,
    entries=2,
    newest_known=0,
    boot_id="boot-2",
    answered=True,
    by="keeper",
)
NOTHING = ("--dosed-nothing", "--by", "keeper")


@pytest.fixture
def stage(tmp_path: Path) -> Stage:
    """A ledger with a plan that is approved and in force."""
    made = stage_of(tmp_path)
    made.approve("--now")
    return made


@pytest.fixture
def backup(stage: Stage, tmp_path: Path) -> Path:
    """A backup of it."""
    assert 0 == stage.run("backup", tmp_path / "reef.tar").code
    return tmp_path / "reef.tar"


def lost(stage: Stage) -> Stage:
    """The disk died: no state directory any more."""
    shutil.rmtree(stage.state)
    return stage


def names(folder: Path) -> list[str]:
    """Everything in a folder, hidden files too."""
    return sorted(path.name for path in folder.iterdir())


def test_a_backup_tells_what_it_holds(stage: Stage, tmp_path: Path) -> None:
    """Entries, head and files; the ledger itself is not changed by it."""
    before = (stage.state / LIVE_NAME).read_bytes()
    told = stage.run("backup", tmp_path / "reef.tar", "--json")
    assert (0, 2, []) == (
        told.code,
        told.document["entries"],
        told.document["left_out"],
    )
    with tarfile.open(tmp_path / "reef.tar") as archive:
        assert [
            "manifest.json",
            "slackwater.ledger",
            "slackwater.toml",
            "plan.toml",
        ] == archive.getnames()
        plan = archive.extractfile("plan.toml")
        assert plan is not None
        assert (stage.config / "plan.toml").read_bytes() == plan.read()
    assert before == (stage.state / LIVE_NAME).read_bytes()


def test_in_a_directory_it_gets_the_time_as_its_name(
    stage: Stage, tmp_path: Path
) -> None:
    """One file and nothing beside it."""
    shelf = tmp_path / "shelf"
    shelf.mkdir()
    told = stage.run("backup", shelf, "--json")
    assert [Path(str(told.document["backup"])).name] == names(shelf)


def test_a_file_that_is_not_as_approved_is_left_out(
    stage: Stage, tmp_path: Path
) -> None:
    """And named, on the page and in the document."""
    other = tmp_path / "config"
    shutil.copytree(stage.config, other)
    with (other / "plan.toml").open("a", encoding="utf-8") as file:
        file.write("# changed\n")
    changed = Stage(other, stage.state)
    told = changed.run("backup", tmp_path / "reef.tar")
    assert "not as approved or not there: plan.toml" in told.out


def test_a_restored_ledger_holds_everything(stage: Stage, backup: Path) -> None:
    """The latch is an entry; the plan is still there; the caps are charged."""
    told = lost(stage).run("restore", backup, *NOTHING, "--json")
    assert (0, 2, "ledger-restored") == (
        told.code,
        told.document["entries"],
        told.document["hold"],
    )
    events = stage.events()
    assert [LedgerRestored, HoldRaised] == [type(one) for one in events[2:4]]
    hold = stage.folded().holds[Code.LEDGER_RESTORED]
    assert (True, "all") == (hold.latched, hold.scope)
    assert 1 == len(stage.folded().approvals)
    assert 0 == stage.run("ledger", "verify").code
    left = {LIVE_NAME, f"{LIVE_NAME}.witness", LOCK_NAME}
    assert left == set(names(stage.state))


def test_a_restored_ledger_may_be_read_by_whom_a_made_one_may(
    stage: Stage, backup: Path
) -> None:
    """It lies down with the mode of the ledger that `init` made, and its witness."""
    files = (LIVE_NAME, f"{LIVE_NAME}.witness")
    before = [(stage.state / name).stat().st_mode for name in files]
    assert 0 == lost(stage).run("restore", backup, *NOTHING).code
    assert before == [(stage.state / name).stat().st_mode for name in files]


def test_the_steps_after_a_restore_can_be_typed_as_they_stand(
    tmp_path: Path,
) -> None:
    """They name the directories of whoever named them, a blank in a name as well."""
    folder = tmp_path / "my reef"
    folder.mkdir()
    stage = stage_of(folder)
    assert 0 == stage.run("backup", tmp_path / "reef.tar").code
    told = lost(stage).run("restore", tmp_path / "reef.tar", *NOTHING)
    commands = [shlex.split(one) for one in re.findall("`(.+?)`", told.out)]
    assert ["approvals", "status", "release"] == [words[5] for words in commands]
    assert [0, 0, 0] == [run(*words[1:]).code for words in commands]
    held = stage.run("hold", "--by", "keeper")
    ((_, *words),) = map(shlex.split, re.findall("`(.+?)`", held.out))
    assert 0 == run(*words).code


def test_a_person_ends_the_hold(stage: Stage, backup: Path) -> None:
    """By its name, as any other."""
    lost(stage).run("restore", backup, *NOTHING)
    assert 0 == stage.run("release", "ledger-restored", "--by", "keeper").code
    assert {} == stage.folded().holds


def test_an_answer_is_charged(stage: Stage, backup: Path) -> None:
    """As `init` charges it; without one the caps stay used up for a day."""
    words = ("--dosed", "carbonate=12 mL", "--dosed", "calcium=0 mL", "--by", "keeper")
    assert 0 == lost(stage).run("restore", backup, *words).code
    assert 12_000 == stage.folded().charges["pump/carbonate"].since(0)
    assert stage.folded().unanswered_ms is None
    told = lost(stage).run("restore", backup, "--unanswered", "--by", "keeper")
    assert "the daily caps stay used up for 24 hours" in told.out
    assert stage.folded().unanswered_ms is not None


def test_it_asks_where_no_option_answers(stage: Stage, backup: Path) -> None:
    """As soon as one pump is unknown, nobody knows."""
    assert 0 == lost(stage).run("restore", backup, typed="unknown\n").code
    assert stage.folded().unanswered_ms is not None


def test_what_the_lost_ledger_was_known_to_hold_is_told(
    stage: Stage, backup: Path
) -> None:
    """The witness beside it remembers how far it had come."""
    for note in ("one", "two", "three"):
        stage.run("event", "harvest", "--note", note)
    (stage.state / LIVE_NAME).unlink()
    told = stage.run("restore", backup, *NOTHING, "--json")
    assert (0, 3) == (told.code, told.document["lost_entries"])
    assert 0 == stage.run("status").code


def live_since(stage: Stage, begins: datetime) -> State:
    """Pumps are enabled, a daemon looked last a day ago, the plan began then."""
    state = stage.folded()
    (event,) = state.approvals
    approval = replace(event.approval, takes_over_at=begins)
    state.approvals = [replace(event, approval=approval)]
    state.stage, state.decided_at = "live", YESTERDAY
    return state


@pytest.mark.parametrize("begins", [AT - timedelta(hours=5), AT, AT + DAY])
def test_a_dose_due_before_the_plan_took_over_is_not_missed(
    stage: Stage, begins: datetime
) -> None:
    """It was never to be given, so nothing says that it was missed."""
    state = live_since(stage, begins)
    approved = read_approval(state.approvals[0])
    due = list(Timetable(approved.plan, approved.machine).between(YESTERDAY, AT))
    events = entries_after(state, TOLD, STAMP)
    named = [one.dose for one in events if isinstance(one, DoseMissed)]
    assert all(begins <= dose.due_at for dose in named)
    wanted = [dose.id for dose in due if dose.due_at >= begins]
    assert sorted(wanted) == sorted(dose.id for dose in named)
    assert bool(wanted) == (begins < AT)


def test_a_dose_due_before_is_never_given_again(stage: Stage) -> None:
    """Live, every dose due since the backup may have been given already."""
    state = live_since(stage, YESTERDAY - DAY)
    approved = read_approval(state.approvals[0])
    due = list(Timetable(approved.plan, approved.machine).between(YESTERDAY, AT))
    state.used = {due[0].id: due[0].local_day}
    events = entries_after(state, TOLD, STAMP)
    fold_all(state, events)
    assert all(dose.id in state.used or is_spanned(state, dose) for dose in due)
    named = [one.dose for one in events if isinstance(one, DoseMissed)]
    assert {"carbonate", "calcium"} == {dose.line for dose in named}
    # Those within the lateness before the last sign of life are looked at as well.
    assert len(due) - 1 <= len(named)
    # Whatever a clock says later, and under whatever name.
    assert all(dose.id in state.used and is_spanned(state, dose) for dose in named)
    later = Timetable(approved.plan, approved.machine).between(AT, AT + DAY)
    assert not any(is_spanned(state, dose) for dose in later)


def test_of_a_long_time_since_the_backup_the_last_days_are_named(stage: Stage) -> None:
    """What lies before them is one entry for each line, and no dose is in both."""
    state = live_since(stage, YESTERDAY - 30 * DAY)
    state.decided_at = AT - 10 * DAY
    approved = read_approval(state.approvals[0])
    events = entries_after(state, TOLD, STAMP)
    fold_all(state, events)
    named = [one.dose for one in events if isinstance(one, DoseMissed)]
    spans = [one for one in events if isinstance(one, SpanMissed)]
    assert all(AT - dose.due_at <= 2 * DAY for dose in named)
    assert all(AT - span.last_due > 2 * DAY for span in spans)
    table = Timetable(approved.plan, approved.machine)
    due = table.between(AT - 10 * DAY, AT)
    assert all(is_spanned(state, dose) for dose in due)
    told = len(named) + sum(span.doses for span in spans)
    assert len(due) <= told <= len(due) + 2


def test_in_shadow_no_dose_is_left_out(stage: Stage) -> None:
    """None was given, so none is given twice."""
    state = stage.folded()
    kinds = [type(event) for event in entries_after(state, TOLD, STAMP)]
    assert [LedgerRestored, HoldRaised] == kinds


def test_a_ledger_that_stands_there_is_never_touched(
    stage: Stage, backup: Path
) -> None:
    """Refused before anything is asked or read."""
    before = (stage.state / LIVE_NAME).read_bytes()
    told = stage.run("restore", backup, *NOTHING)
    assert 1 == told.code
    assert "a ledger stands here already" in told.err
    assert before == (stage.state / LIVE_NAME).read_bytes()


def test_the_way_out_that_is_named_leads_from_an_older_backup_to_a_newer(
    stage: Stage, backup: Path, tmp_path: Path
) -> None:
    """The older one was put back first: moved aside, it makes room for the newer."""
    assert 0 == stage.run("event", "nothing_dosed", "--by", "keeper").code
    newer = tmp_path / "newer.tar"
    assert 0 == stage.run("backup", newer).code
    assert 0 == lost(stage).run("restore", backup, *NOTHING).code
    path = stage.state / LIVE_NAME
    (told,) = stage.run("restore", newer, *NOTHING, "--json").errors
    assert f"stop the daemon, move {path} out of this directory" in told["do"]
    path.rename(tmp_path / "aside.ledger")
    again = stage.run("restore", newer, *NOTHING, "--json")
    assert (0, 3) == (again.code, again.document["entries"])
    assert Code.LEDGER_RESTORED in stage.folded().holds


def test_a_lost_ledger_is_put_back_before_one_is_made_afresh(stage: Stage) -> None:
    """A tired person reads the first verb that is named."""
    (stage.state / LIVE_NAME).unlink()
    (told,) = stage.run("status", "--json").errors
    do = told["do"]
    assert do.index("`slackwater restore FILE`") < do.index("`slackwater init`")
    assert "has forgotten approvals, holds, calibrations and tests" in do


def test_beside_a_running_daemon_it_is_refused(stage: Stage, backup: Path) -> None:
    """Whoever holds the directory is asked to stop first."""
    (stage.state / LIVE_NAME).unlink()
    with (stage.state / LOCK_NAME).open("a") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        told = stage.run("restore", backup, *NOTHING)
    assert 1 == told.code
    assert "another daemon runs on this ledger" in told.err
    assert not (stage.state / LIVE_NAME).exists()


@pytest.mark.parametrize("length", [0, 700, 20_000])
def test_a_damaged_backup_is_one_clear_error(
    stage: Stage, backup: Path, length: int
) -> None:
    """Exit code 2, and not even a directory is left behind."""
    backup.write_bytes(backup.read_bytes()[:length])
    told = lost(stage).run("restore", backup, *NOTHING)
    assert 2 == told.code
    assert 1 == told.err.count("error: ")
    assert str(backup) in told.err
    assert not stage.state.exists()


def test_a_foreign_file_is_one_clear_error(stage: Stage, tmp_path: Path) -> None:
    """A ledger by itself is no backup either; the lost one's witness stays."""
    shutil.copyfile(stage.state / LIVE_NAME, tmp_path / "ledger")
    (stage.state / LIVE_NAME).unlink()
    witness = (stage.state / f"{LIVE_NAME}.witness").read_bytes()
    told = stage.run("restore", tmp_path / "ledger", *NOTHING)
    assert 2 == told.code
    assert "this is not a backup of Slackwater" in told.err
    assert not (stage.state / LIVE_NAME).exists()
    assert witness == (stage.state / f"{LIVE_NAME}.witness").read_bytes()


def test_a_wrong_answer_leaves_nothing(stage: Stage, backup: Path) -> None:
    """Nor does one that names an unknown pump."""
    told = lost(stage).run("restore", backup, "--dosed", "other=1 mL")
    assert 2 == told.code
    assert not stage.state.exists()


def test_a_backup_where_a_file_stands_is_refused(stage: Stage, backup: Path) -> None:
    """Never written over."""
    before = backup.read_bytes()
    told = stage.run("backup", backup)
    assert 1 == told.code
    assert "a file stands here already" in told.err
    assert before == backup.read_bytes()


def test_a_mistyped_directory_makes_no_file_of_its_name(
    stage: Stage, tmp_path: Path
) -> None:
    """No directory stands there and no file is called so: nothing is written."""
    told = stage.run("backup", tmp_path / "stik")
    assert 2 == told.code
    assert "no directory stands here" in told.err
    assert "stik" not in names(tmp_path)


def test_a_backup_into_nowhere_is_said(stage: Stage, tmp_path: Path) -> None:
    """With the place, and nothing left."""
    told = stage.run("backup", tmp_path / "none" / "reef.tar")
    assert 2 == told.code
    assert "the backup cannot be written" in told.err
