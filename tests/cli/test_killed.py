"""Killed at any opcode while somebody approves, withdraws or changes the stage (D8).

The ledger then holds the old or the new state, never a part of one. The judge is a
process that opens the ledger afterwards, as the next verb or daemon would.
"""

import os
import shutil
import signal
import sys
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import FrameType

import pytest

from slackwater.cli.checked import check_files
from slackwater.cli.commands.staging import enabling_entries
from slackwater.cli.consent import Consent, entries, proposal_for
from slackwater.cli.opening import Decide, approval_at, newest_approval, write
from slackwater.cli.reading import read_files
from slackwater.cli.takeover import swap_for
from slackwater.facts.events import AnyEvent, PlanWithdrawn, PumpsDisabled
from slackwater.facts.state import State
from slackwater.outside.settings import file_digests
from slackwater.pump.outcome import Stamp
from tests.cli.run_program import SMALLEST, changed
from tests.cli.stage import Stage, stage_of
from tests.cli.test_stages import ready

# Of each act so many places are tried in the ordinary run, evenly spread; all of them
# in the long one.
SLICE = 12
# What the child counts in: from the append on, for nothing is written before it.
ROOMS = ("/slackwater/cli/", "/slackwater/ledger/", "/slackwater/facts/")
APPEND = ("append", "/slackwater/ledger/store.py")


@dataclass(frozen=True, slots=True)
class Standing:
    """What of a ledger decides how much may flow."""

    stage: str
    serials: tuple[int, ...]
    withdrawn: tuple[int, ...]
    last_serial: int
    holds: tuple[str, ...]
    halves: tuple[str, ...]

    @classmethod
    def of(cls, state: State) -> "Standing":
        """Read it from a folded ledger."""
        return cls(
            state.stage,
            tuple(one.approval.serial for one in state.approvals),
            tuple(state.withdrawn),
            state.last_serial,
            tuple(sorted(state.holds)),
            tuple(sorted(state.halves)),
        )


class Reaper:
    """Counts opcodes, and kills its own process at one of them."""

    def __init__(self, at: int) -> None:
        """Kill at the so-manieth opcode; 0 for never."""
        self.at = at
        self.count = 0
        self.begun = False

    def __call__(self, frame: FrameType, event: str, _arg: object) -> object:
        """Follow frames of our rooms, opcode by opcode."""
        if event == "call":
            name = frame.f_code.co_filename
            if frame.f_code.co_name == APPEND[0] and name.endswith(APPEND[1]):
                self.begun = True
            if not self.begun or not any(room in name for room in ROOMS):
                return None
            frame.f_trace_opcodes = True
        elif event == "opcode":
            self.count += 1
            if self.count == self.at:
                os.kill(os.getpid(), signal.SIGKILL)
        return self


def lived(state: Path, decide: Decide, at: int) -> int:
    """Let a child write and die at an opcode; how many it got through, or -1."""
    ours, theirs = os.pipe()
    child = os.fork()
    if child == 0:
        reaper = Reaper(at)
        sys.settrace(reaper)  # type: ignore[arg-type]  # an object that is called
        try:
            write(state, decide, makes_safer=True)
        finally:
            sys.settrace(None)
            os.write(theirs, str(reaper.count).encode())
            os._exit(0)
    os.close(theirs)
    with os.fdopen(ours) as end:
        told = end.read()
    os.waitpid(child, 0)
    return int(told) if told else -1


Act = Callable[[Stage], Decide]


def approving(stage: Stage) -> Decide:
    """Clearly more soda, and another channel for calcium: entries of many kinds."""
    text = (stage.config / "slackwater.toml").read_text("utf-8")
    text = text.replace('channel = "b"', 'channel = "c"')
    (stage.config / "slackwater.toml").write_text(text, "utf-8")
    plan = stage.config / "plan.toml"
    plan.write_text(plan.read_text("utf-8").replace('"36 mL"', '"42 mL"'), "utf-8")
    files = read_files(stage.config)
    sha256 = file_digests(stage.config)
    before = newest_approval(stage.folded())
    proposal = proposal_for(files, check_files(files).digest, sha256, before)

    def decide(state: State, stamp: Stamp) -> Sequence[AnyEvent]:
        swap = swap_for(files, approval_at(state, stamp["at"]), stamp["at"], "")
        return entries(Consent(proposal=proposal, by="k", swap=swap), state, stamp)

    return decide


def withdrawing(_stage: Stage) -> Decide:
    """The approval in force."""
    return lambda _state, stamp: [PlanWithdrawn(**stamp, serial=1, by="k")]


def enabling(_stage: Stage) -> Decide:
    """Pumps, with half doses at first."""
    return lambda state, stamp: enabling_entries(
        approval_at(state, stamp["at"]), "k", stamp
    )


def disabling(_stage: Stage) -> Decide:
    """Back to shadow."""
    return lambda _state, stamp: [PumpsDisabled(**stamp, by="k")]


@pytest.fixture(scope="module")
def stages(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Stage]:
    """A ledger ready to be enabled, and one that is."""
    made = {}
    for name in ("shadow", "live"):
        folder = tmp_path_factory.mktemp(name)
        config = changed(
            folder / "config",
            SMALLEST,
            slackwater=("[broker]", '[timing]\nhalf_stage = "1 d"\n\n[broker]'),
        )
        made[name] = stage_of(folder, config)
        ready(made[name])
        if name == "live":
            assert 0 == made[name].run("enable").code
    return made


ACTS = [
    pytest.param("live", approving, id="approve"),
    pytest.param("live", withdrawing, id="withdraw"),
    pytest.param("shadow", enabling, id="enable"),
    pytest.param("live", disabling, id="disable"),
]


def copies(stage: Stage, folder: Path) -> Iterator[Stage]:
    """The same ledger again and again, each in a place of its own."""
    number = 0
    while True:
        number += 1
        state = folder / str(number)
        shutil.copytree(stage.state, state)
        yield Stage(stage.config, state)
        shutil.rmtree(state)


def try_all(stage: Stage, act: Act, folder: Path, tries: int | None) -> set[Standing]:
    """Kill at so many opcodes of an act, or at all; every standing that was found."""
    config = shutil.copytree(stage.config, folder / "config")
    stage = Stage(Path(config), stage.state)
    old = Standing.of(stage.folded())
    decide = act(stage)
    places = copies(stage, folder)
    whole = next(places)
    total = lived(whole.state, decide, 0)
    new = Standing.of(whole.folded())
    assert old != new
    step = 1 if tries is None else max(total // tries, 1)
    found = set()
    for at in range(1, total + 1, step):
        place = next(places)
        assert -1 == lived(place.state, decide, at)
        standing = Standing.of(place.folded())
        assert standing in (old, new), f"killed at opcode {at} of {total}"
        found.add(standing)
    return found


@pytest.mark.parametrize(("of", "act"), ACTS)
def test_d8_killed_anywhere_it_is_the_old_state_or_the_new(
    stages: dict[str, Stage], of: str, act: Act, tmp_path: Path
) -> None:
    """Evenly spread from the append to the end; both states are found."""
    assert 2 == len(try_all(stages[of], act, tmp_path, SLICE))


@pytest.mark.long
@pytest.mark.timeout(3600)
@pytest.mark.parametrize(("of", "act"), ACTS)
def test_d8_killed_at_each_opcode_it_is_the_old_state_or_the_new(
    stages: dict[str, Stage], of: str, act: Act, tmp_path: Path
) -> None:
    """Some places lie before the commit and some behind it."""
    assert 2 == len(try_all(stages[of], act, tmp_path, None))
