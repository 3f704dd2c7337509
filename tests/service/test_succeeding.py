"""The first start of another version: the last day is decided again, or all is held."""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from queue import SimpleQueue
from typing import cast

import pytest

from slackwater import __version__
from slackwater.facts.events import AnyEvent, DoseIntended, HoldRaised, LedgerMade
from slackwater.facts.reasons import Code
from slackwater.ledger.store import LedgerFile
from slackwater.ports import Clock
from slackwater.service.memory import LIVE_NAME, Memory
from slackwater.service.succeeding import hold_if_otherwise, version_before
from slackwater.service.tally import Tally
from slackwater.service.wiring import Rig
from tests.audit.simulated import Simulated, draw

OLDER = "0.0.1"


class JustThen:
    """The parts of a rig that are asked, at the end of two simulated days."""

    def __init__(
        self, folder: Path, stage: Simulated, events: Sequence[AnyEvent]
    ) -> None:
        """Write the entries into a ledger and open it."""
        made = events[0]
        assert isinstance(made, LedgerMade)
        with LedgerFile.create(folder / LIVE_NAME, made) as ledger:
            ledger.append(events[1:])
        self.clock: Clock = stage.times
        self.memory = Memory(folder, "live")
        self.memory.open()
        self.chores = SimpleQueue[str]()
        self.tally = Tally()

    def held(self, before: str) -> list[HoldRaised]:
        """The holds that stand after a start behind that version."""
        hold_if_otherwise(cast("Rig", self), before)
        return list(self.memory.state.holds.values())


@pytest.fixture(scope="module")
def stage() -> Simulated:
    """Two days of a generated plan."""
    made = Simulated(*draw(0))
    made.live_through()
    return made


@pytest.fixture
def altered(stage: Simulated) -> list[AnyEvent]:
    """The entries with a microlitre more in the last dose."""
    events = stage.book.events()
    place = max(i for i, e in enumerate(events) if isinstance(e, DoseIntended))
    intent = events[place]
    assert isinstance(intent, DoseIntended)
    more = replace(intent.command, ul=intent.command.ul + 1)
    events[place] = replace(intent, command=more)
    return events


def test_a_version_that_decides_the_same_takes_over(
    tmp_path: Path, stage: Simulated
) -> None:
    """Nothing is held."""
    then = JustThen(tmp_path, stage, stage.book.events())
    assert [] == then.held(OLDER)
    then.memory.close()


def test_d7_a_version_that_decides_otherwise_holds_everything(
    tmp_path: Path, stage: Simulated, altered: list[AnyEvent]
) -> None:
    """Latched, with both versions and a dose; a second start adds no second hold."""
    then = JustThen(tmp_path, stage, altered)
    (hold,) = then.held(OLDER)
    assert (Code.VERSION_DIFFERS, "all", True) == (
        hold.reason.code,
        hold.scope,
        hold.latched,
    )
    figures = hold.reason.figures
    assert (OLDER, __version__, 1) == (
        figures["before"],
        figures["now"],
        figures["differing"],
    )
    assert [hold] == then.held(OLDER)
    then.memory.close()


@pytest.mark.parametrize("before", ["", __version__])
def test_the_same_version_is_not_tried(
    tmp_path: Path, stage: Simulated, altered: list[AnyEvent], before: str
) -> None:
    """A plain restart looks at nothing."""
    then = JustThen(tmp_path, stage, altered)
    assert [] == then.held(before)
    then.memory.close()


def test_the_ledger_says_who_was_in_charge(tmp_path: Path, stage: Simulated) -> None:
    """The newest start's version, and none where nobody ever was."""
    then = JustThen(tmp_path, stage, stage.book.events())
    assert __version__ == version_before(then.memory.ledger)
    then.memory.close()
    other = tmp_path / "other"
    other.mkdir()
    alone = JustThen(other, stage, stage.book.events()[:1])
    assert version_before(alone.memory.ledger) == ""
    alone.memory.close()
