"""A stage that changes at the moment of a start is not overlooked."""

from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import pytest

from slackwater.cli.commissioning import set_aside
from slackwater.errors import RefusedError
from slackwater.facts.events import PumpsEnabled
from slackwater.outside.clock import SystemClock
from slackwater.service import systemd
from slackwater.service.calibrating import Session, Wait
from slackwater.service.memory import Memory, Mode
from slackwater.service.run import Stop, _passes, take_charge
from slackwater.service.wiring import Places, Rig, build
from tests.cli.stage import Stage, stage_of
from tests.service.household import stamp_of


@pytest.fixture
def stage(tmp_path: Path) -> Stage:
    """A ledger with an approved plan, in shadow."""
    made = stage_of(tmp_path)
    assert 0 == made.approve("--now").code
    return made


@contextmanager
def rig_of(stage: Stage, mode: Mode) -> Iterator[Rig]:
    """A rig as a start builds it, connected to nothing."""
    memory = Memory(stage.state, mode)
    memory.open()
    places = Places(config=stage.config, state=stage.state)
    with closing(build(places, SystemClock(), memory, mode)) as rig:
        yield rig


def enable(stage: Stage) -> None:
    """Somebody enables pumps, from another process."""
    with closing(Memory(stage.state, "live")) as theirs:
        theirs.open()
        stamp = stamp_of(theirs.state)
        theirs.append([PumpsEnabled(**stamp, by="keeper", serial=1)])


def goes_on(_status: str) -> None:
    """A whole pass without looking at the stage."""
    pytest.fail("the daemon went on in a stage that is over")


def test_a_start_that_reads_the_news_itself_takes_up_the_new_stage(
    stage: Stage, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Enabled between reading the ledger and taking charge: it does not stay idle."""
    monkeypatch.setattr(systemd, "alive", goes_on)
    with rig_of(stage, "shadow") as rig:
        enable(stage)
        take_charge(rig)
        rig.mailbox.wake()
        _passes(rig, Stop())
        assert rig.closing


def test_a_mode_that_is_none_of_the_ledgers_is_left(
    stage: Stage, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Enabled between choosing it and reading the ledger: nothing is news then."""
    monkeypatch.setattr(systemd, "alive", goes_on)
    enable(stage)
    with rig_of(stage, "shadow") as rig:
        take_charge(rig)
        rig.mailbox.wake()
        _passes(rig, Stop())
        assert not rig.closing


def test_a_shot_that_waits_is_given_up_when_pumps_are_enabled(stage: Stage) -> None:
    """Nobody stands beside a cylinder for ever: the daemon commands from now on."""
    places = Places(config=stage.config, state=stage.state)
    with Session(places, SystemClock(lambda: True), "keeper") as session:

        def someone_enables(_waits: tuple[Wait, ...]) -> None:
            enable(stage)
            session.rig.mailbox.wake()

        session.rig.mailbox.wake()
        with pytest.raises(RefusedError, match="enabled or disabled meanwhile"):
            session.shoot("carbonate", 1000, someone_enables)


def test_a_shot_that_never_ran_names_the_verb_and_the_hold(stage: Stage) -> None:
    """It waits under a hold and is given up: what to do stands there, and not less."""
    assert 0 == stage.run("hold", "--scope", "all", "--by", "keeper").code
    (name,) = stage.folded().holds
    places = Places(config=stage.config, state=stage.state)
    heard: set[str] = set()
    with Session(places, SystemClock(lambda: True), "keeper") as session:

        def someone_waits(waits: tuple[Wait, ...]) -> None:
            heard.update(wait.hold for wait in waits)
            set_aside(session.rig)

        session.rig.mailbox.wake()
        with pytest.raises(RefusedError) as caught:
            session.shoot("carbonate", 1000, someone_waits)
    (finding,) = caught.value.findings
    assert name in heard
    assert finding.where.startswith("pump carbonate, shot-")
    assert f"`slackwater release {name}`" in finding.do
    assert "`slackwater calibrate carbonate` again" in finding.do
