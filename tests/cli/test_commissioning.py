"""Getting ready for shots: nothing waits for ever, nothing left over runs.

The first tests need no broker; the last ones run the program on a real one with the
invented reef.
"""

import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from slackwater.cli import commissioning
from slackwater.cli.commissioning import is_clock_vouched
from slackwater.cli.readiness import PROOFS
from slackwater.facts.events import (
    Calibrated,
    DoseIntended,
    DoseMissed,
    HoldRaised,
    ShotRequested,
)
from slackwater.facts.now import Now
from slackwater.facts.reasons import Code, because
from slackwater.facts.state import State
from slackwater.pump.outcome import Stamp
from slackwater.service.standing import only_one, only_one_measures
from tests.cli.run_program import SMALLEST, Outcome, changed
from tests.cli.shots import calibrated, measured
from tests.cli.stage import Stage, stage_of
from tests.gate.scene import machine
from tests.outside.peers import free_port
from tests.service.household import (
    MACHINE,
    TOP,
    Household,
    environment,
    household,
    until,
)

NOW = Now(
    utc=datetime(2026, 5, 3, tzinfo=UTC), boot_s=1.0, boot_id="this", synchronised=False
)


@pytest.fixture
def stage(tmp_path: Path) -> Stage:
    """The smallest sample at a port nobody listens on, its clock confirmed."""
    port = f'host = "127.0.0.1"\nport = {free_port()}'
    config = changed(
        tmp_path / "config", SMALLEST, slackwater=('host = "localhost"', port)
    )
    made = stage_of(tmp_path, config)
    assert 0 == made.run("clock", "confirm", "--yes").code
    return made


def refused(outcome: Outcome) -> str:
    """What one refusal says was found."""
    (error,) = outcome.errors
    return error["what"]


def test_beside_a_daemon_nothing_is_asked_and_nothing_runs(stage: Stage) -> None:
    """Two who command would push each other off the broker."""
    with only_one(stage.state):
        told = stage.run("calibrate", "carbonate", "--json", typed="yes\n")
    assert (1, "a daemon runs on this ledger") == (told.code, refused(told))
    assert "cylinder" not in told.err
    assert "started" not in [event.kind for event in stage.events()]


def test_beside_another_calibration_nothing_is_asked(stage: Stage) -> None:
    """Two under one name push each other off the broker and latch a hold."""
    with only_one_measures(stage.state):
        told = stage.run("calibrate", "carbonate", "--json", typed="yes\n")
    assert (1, "another `slackwater calibrate` runs on this ledger") == (
        told.code,
        refused(told),
    )
    assert "Finish the other one" in told.errors[0]["do"]
    assert "cylinder" not in told.err
    assert "started" not in [event.kind for event in stage.events()]
    after = stage.run("calibrate", "carbonate", "--json", typed="no\n")
    assert "the outlet is not in a cylinder" == refused(after)


def held(stage: Stage, code: Code, minutes: int | None = None) -> HoldRaised:
    """A hold on everything, for so many minutes or until a person ends it."""
    stamp = stage.stamp()
    until = None if minutes is None else stamp["at"] + timedelta(minutes=minutes)
    return HoldRaised(
        **stamp,
        hold_id=f"{code}/all",
        scope="all",
        reason=because(code),
        latched=until is None,
        until=until,
        by="keeper",
    )


@pytest.mark.parametrize(
    ("code", "minutes"),
    [(Code.MANUAL_HOLD, None), (Code.TAKEN_OVER, None), (Code.PAUSE, 30)],
)
def test_a_hold_is_said_before_anything_is_asked(
    stage: Stage, code: Code, minutes: int | None
) -> None:
    """A shot would wait for its end in vain: its name and what releases it come first.

    One on another pump is none of its business.
    """
    hold = held(stage, code, minutes)
    other = replace(hold, hold_id="other", scope="pump/calcium")
    stage.append(hold, other)
    told = stage.run("calibrate", "carbonate", "--json", typed="yes\n")
    assert 1 == told.code
    assert refused(told) == f"carbonate is held: {because(code).text}"
    assert f"`slackwater release {code}/all`" in told.errors[0]["do"]
    assert ("ends by itself" in told.errors[0]["do"]) == (minutes is not None)
    assert "cylinder" not in told.err


@pytest.mark.parametrize("code", [Code.OVER_DELIVERED, Code.PUMP_CHANGED])
def test_a_pump_that_must_be_measured_first_is_measured(
    stage: Stage, code: Code
) -> None:
    """Its hold is released after that and not before: each would wait for the other."""
    hold = replace(held(stage, code), scope="pump/carbonate")
    stage.append(hold)
    before = stage.run("release", hold.hold_id, "--json")
    assert "not calibrated since" in refused(before)
    told = stage.run("calibrate", "carbonate", "--json", typed="no\n")
    assert "the outlet is not in a cylinder" == refused(told)


def test_pumps_stay_enabled_while_one_is_measured_again(stage: Stage) -> None:
    """What was never measured as it is goes through shadow first."""
    stage.commission("carbonate", "calcium")
    assert 0 == stage.approve("--now").code
    stage.shadow()
    assert 0 == stage.run("enable").code
    told = stage.run("calibrate", "carbonate", "--json", typed="no\n")
    assert "the outlet is not in a cylinder" == refused(told)
    hold = replace(held(stage, Code.PUMP_CHANGED), scope="pump/carbonate")
    stage.append(hold)
    told = stage.run("calibrate", "carbonate", "--json", typed="no\n")
    assert refused(told).startswith("carbonate was never measured as it is")
    assert "slackwater disable" in told.errors[0]["do"]


def test_a_new_calibration_without_its_proofs_is_not_approved_while_live(
    stage: Stage,
) -> None:
    """Enabling would refuse it; who saw nothing must not be taken to have seen it."""
    stage.commission("carbonate", "calcium")
    assert 0 == stage.approve("--now").code
    stage.shadow()
    assert 0 == stage.run("enable").code
    measured_anew = replace(
        stage.folded().calibrations["carbonate"],
        **stage.stamp(),
        cal="77aa01cf",
        proofs=("identity",),
    )
    stage.append(measured_anew)
    told = stage.approve("--now")
    assert 1 == told.code
    assert "its calibration does not prove cut-off, lost-link" == refused(told)
    stage.append(replace(measured_anew, **stage.stamp(), proofs=tuple(PROOFS)))
    assert 0 == stage.approve("--now").code


def test_a_pause_that_is_over_keeps_nobody(stage: Stage) -> None:
    """It stands in the ledger until a daemon ends it, and holds nothing."""
    stage.append(held(stage, Code.PAUSE, minutes=-1))
    told = stage.run("calibrate", "carbonate", "--json", typed="no\n")
    assert "the outlet is not in a cylinder" == refused(told)


def test_a_silent_broker_is_said(stage: Stage, monkeypatch: pytest.MonkeyPatch) -> None:
    """It does not wait for half an hour without a word; no shot is left waiting."""
    monkeypatch.setattr(commissioning, "LISTEN_S", 0.5)
    told = stage.run("calibrate", "carbonate", "--json", typed="yes\n")
    assert 1 == told.code
    assert refused(told).startswith("the broker did not answer within")
    assert {} == stage.folded().requests


def test_without_a_ledger_nothing_is_asked(tmp_path: Path) -> None:
    """The ledger comes first: without one no shot could be counted."""
    told = Stage(SMALLEST, tmp_path).run("calibrate", "carbonate", typed="yes\n")
    assert 2 == told.code
    assert "there is no ledger" in told.err
    assert "cylinder" not in told.err


def test_who_may_not_write_the_ledger_is_not_asked(
    stage: Stage, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What was measured could not be kept."""
    monkeypatch.setattr(os, "access", lambda _path, mode: not mode & os.W_OK)
    told = stage.run("calibrate", "carbonate", typed="yes\n")
    assert 2 == told.code
    assert "this user may not read or write it" in told.err
    assert "cylinder" not in told.err


def test_a_pump_that_is_only_in_the_file_wants_an_approval(stage: Stage) -> None:
    """The approved machine counts: a shot of another pump would wait for ever."""
    approved = stage.approve("--now")
    assert 0 == approved.code, approved.out
    path = stage.config / "slackwater.toml"
    text = path.read_text("utf-8").replace("[pump.calcium]", "[pump.other]")
    path.write_text(text, "utf-8")
    told = stage.run("calibrate", "other", "--json", typed="yes\n")
    assert (2, 'there is no pump "other"') == (told.code, refused(told))
    assert "approve" in told.errors[0]["do"]


def test_a_clock_nobody_vouches_for_is_none() -> None:
    """A time service, a person in this boot, or the machine file."""
    bare = replace(machine(), clock_confirmed=False)
    by_file = replace(bare, clock_confirmed=True)
    asked = State(clock_confirmed_boot="this")
    earlier = State(clock_confirmed_boot="before")
    assert not is_clock_vouched(State(), NOW, bare)
    assert not is_clock_vouched(earlier, NOW, bare)
    assert not is_clock_vouched(asked, replace(NOW, boot_id=""), bare)
    assert is_clock_vouched(asked, NOW, bare)
    assert is_clock_vouched(State(), NOW, by_file)
    assert is_clock_vouched(State(), replace(NOW, synchronised=True), bare)


def test_a_clock_that_jumped_is_not_vouched_for(stage: Stage) -> None:
    """A person must look at it first, even where a time service keeps it."""
    jumped = HoldRaised(
        **stage.stamp(),
        hold_id="clock",
        scope="all",
        reason=because(Code.CLOCK_JUMPED),
        latched=True,
        by="daemon",
    )
    state = State(holds={"clock": jumped}, clock_confirmed_boot="this")
    assert not is_clock_vouched(state, NOW, machine())
    stage.append(jumped)
    told = stage.run("calibrate", "carbonate", "--json", typed="yes\n")
    assert (1, "nobody vouches for the clock of this machine") == (
        told.code,
        refused(told),
    )
    assert "`slackwater clock confirm`" in told.errors[0]["do"]


def test_what_will_be_asked_is_told_first_on_any_screen(
    stage: Stage, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whoever knows the questions can watch for what they ask."""
    monkeypatch.setenv("COLUMNS", "60")
    told = stage.run("calibrate", "carbonate", typed="no\n")
    assert 1 == told.code
    lines = told.err.splitlines()
    assert max(map(len, lines)) <= 60
    ahead = " ".join(told.err.partition("[yes/no]")[0].split())
    assert all(question in ahead for question in PROOFS.values())
    assert "begins 60 s after the node was heard" in ahead


@pytest.mark.parametrize("volume", ["0 mL", "0 uL"])
def test_nothing_cannot_be_measured(stage: Stage, volume: str) -> None:
    """A volume of nothing is a slip of its own, not too much."""
    told = stage.run("calibrate", "carbonate", "--volume", volume, "--json")
    assert (2, f'"{volume}" is nothing to measure') == (told.code, refused(told))


@pytest.mark.parametrize("volumes", [("2 mL",), ("2 mL", "3 mL"), ("2 mL", "2000 uL")])
def test_runs_of_one_length_are_refused_before_they_run(
    stage: Stage, volumes: tuple[str, ...]
) -> None:
    """They cannot tell the rate from what start and stop take away."""
    words = [word for volume in volumes for word in ("--volume", volume)]
    told = stage.run("calibrate", "carbonate", *words, "--json")
    assert 2 == told.code
    assert refused(told).startswith("all shots ask about the same, 2 mL")


def test_more_than_the_cap_is_refused_before_it_runs(stage: Stage) -> None:
    """The sum of the runs, short and long in turn, is held against the pump's cap."""
    few = ("--runs", "3", "--shots", "1")
    words = (*few, "--volume", "20 mL", "--volume", "40 mL")
    told = stage.run("calibrate", "carbonate", *words, "--json")
    assert (1, "3 runs are 80 mL together") == (told.code, refused(told))


@pytest.fixture
def home(tmp_path: Path) -> Iterator[Household]:
    """A household that ends with the test."""
    with household(tmp_path) as made:
        yield made


@pytest.mark.mosquitto
@pytest.mark.timeout(120)
def test_a_shot_left_over_never_runs(home: Household) -> None:
    """One asked for by a session that was killed is on record as not run."""

    def asked(_state: State, stamp: Stamp) -> ShotRequested:
        return ShotRequested(
            **stamp,
            request="shot-left",
            pump="carbonate",
            volume_ul=3000,
            until=stamp["at"] + timedelta(minutes=30),
            by="keeper",
        )

    home.append(asked)
    found = measured(home)
    assert found["ok"], found
    events = home.events()
    ran = [event.dose.volume_ul for event in events if isinstance(event, DoseIntended)]
    gone = [event.dose.id for event in events if isinstance(event, DoseMissed)]
    assert ([500, 1000, 500], ["shot-left"]) == (ran, gone)


@pytest.mark.mosquitto
@pytest.mark.timeout(120)
def test_answers_that_end_leave_no_rate_and_no_shot(home: Household) -> None:
    """After the first run nobody answers: what ran is on record, nothing waits."""
    done = calibrated(home, "yes", "yes")
    assert 2 == done.returncode
    assert '"calibrating carbonate was broken off"' in done.stdout
    assert [] == [event for event in home.events() if isinstance(event, Calibrated)]
    assert "dose_ended" in [event.kind for event in home.events()]


@pytest.mark.mosquitto
@pytest.mark.timeout(120)
@pytest.mark.parametrize("ending", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_a_session_told_to_end_takes_its_shot_back(
    tmp_path: Path, ending: signal.Signals
) -> None:
    """While the first shot waits: one clear error, and the shot will not run."""
    patient = MACHINE.replace('start_hold_off = "1 s"', 'start_hold_off = "60 s"')
    with household(tmp_path, patient) as home:
        places = ("--config", str(home.config), "--state", str(home.state))
        session = subprocess.Popen(
            [sys.executable, "-m", "slackwater", "calibrate", "carbonate", *places],
            stdin=subprocess.PIPE,
            stderr=subprocess.PIPE,
            env=environment(),
            cwd=TOP,
            text=True,
        )
        assert session.stdin is not None
        session.stdin.write("yes\nyes\n")
        session.stdin.flush()
        until(
            lambda: any(isinstance(e, ShotRequested) for e in home.events()),
            "a shot that waits",
        )
        session.send_signal(ending)
        _, told = session.communicate(timeout=30)
        events = home.events()
    assert 2 == session.returncode
    assert 1 == told.count("error: ")
    assert "was broken off" in told
    assert "Traceback" not in told
    assert 1 == sum(isinstance(event, DoseMissed) for event in events)
    assert not any(isinstance(event, DoseIntended) for event in events)
    assert "stopped" == events[-1].kind


@pytest.mark.mosquitto
@pytest.mark.timeout(120)
def test_a_node_that_is_away_is_named(
    home: Household, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The broker answers, the node does not."""
    home.reef.terminate()
    home.reef.wait(timeout=30)
    monkeypatch.setattr(commissioning, "LISTEN_S", 2.0)
    away = Stage(home.config, home.state)
    told = away.run("calibrate", "carbonate", "--json", typed="yes\n")
    assert (1, "node shelf was not heard within 2 s") == (told.code, refused(told))
    assert "node.shelf" in told.errors[0]["where"]
