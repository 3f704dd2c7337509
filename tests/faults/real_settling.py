"""What the real settle code concludes from one message about one open intent.

Each situation is tried once and remembered: a search meets few that differ.
"""

from collections.abc import Iterable
from dataclasses import replace
from functools import cache
from typing import NamedTuple

from slackwater.facts.events import AnyEvent, DoseRefusedByNode, DoseTaken
from slackwater.facts.fold import fold
from slackwater.facts.messages import Beat, Channel, LastRun, Phase, Result
from slackwater.facts.state import State
from slackwater.pump.outcome import settle_by_beat, settle_by_result
from tests.pump.test_outcome import LATER, intent

UNMADE, OPEN, ENDED, VOIDED, SEALED = "unmade", "open", "ended", "voided", "sealed"
_WORDS = {"dose_ended": ENDED, "dose_voided": VOIDED, "dose_sealed": SEALED}
IDLE = -1
TICK_MS = 1000
ASKED_UL = 2000


class Command(NamedTuple):
    """One `run`, with what the odometer said when it was meant: `runs` of one size."""

    dose: int
    boot: int
    n: int
    until: int
    runs: int


class Known(NamedTuple):
    """An open intent as the ledger has it."""

    command: Command
    taken: bool = False
    refused: bool = False


class Shown(NamedTuple):
    """What a beat shows of the one pump head; `running` and `last` are doses, or -1."""

    boot: int
    n: int
    up: int
    running: int
    last: int
    runs: int


class Said(NamedTuple):
    """A node's word about one command, by the boot it says it in."""

    dose: int
    phase: Phase
    boot: int


class Concluded(NamedTuple):
    """The word for the dose, whether it is known as taken, whether the node is held."""

    word: str
    taken: bool
    held: bool


@cache
def by_beat(known: Known, shown: Shown) -> Concluded:
    """What a beat proves about an open intent."""
    last = _last(shown.last)
    channel = Channel(
        n=shown.n,
        state="idle" if shown.running == IDLE else "running",
        odo_ul=shown.runs * ASKED_UL,
        odo_ms=0,
        budget_ul=100_000,
        last=last,
    )
    beat = Beat(
        node="shelf",
        boot=_boot(shown.boot),
        up=shown.up * TICK_MS,
        seq=1,
        hold=False,
        fence=3,
        hw="virtual-1",
        cfg="0badcafe",
        channels={"a": channel},
        heard_boot_s=LATER["boot_s"],
    )
    return _concluded(known, settle_by_beat(_state(known), beat, LATER))


@cache
def by_result(known: Known, said: Said) -> Concluded:
    """What a node's word about it proves."""
    result = Result(
        node="shelf",
        id=_id(said.dose),
        boot=_boot(said.boot),
        channel="a",
        n=known.command.n,
        phase=said.phase,
        ran_ms=1200,
        ul=ASKED_UL if said.phase == "ended" else 0,
        reason="complete" if said.phase == "ended" else "late",
        cal="77aa01cf",
        up=0,
    )
    return _concluded(known, settle_by_result(_state(known), result, LATER))


def _state(known: Known) -> State:
    """A state with this one open intent, folded from its entries."""
    command, made = known.command, intent()
    state = State(stage="live")
    run = replace(
        made.command,
        attempt=_id(command.dose),
        boot=_boot(command.boot),
        n=command.n,
        until_up=command.until * TICK_MS,
    )
    fold(state, replace(made, command=run, odo_ul=command.runs * ASKED_UL))
    if known.taken:
        fold(state, DoseTaken(**LATER, attempt=run.attempt))
    if known.refused:
        refused = DoseRefusedByNode(**LATER, attempt=run.attempt, word="late")
        fold(state, refused)
    return state


def _concluded(known: Known, events: Iterable[AnyEvent]) -> Concluded:
    kinds = [event.kind for event in events]
    word = next((_WORDS[kind] for kind in kinds if kind in _WORDS), OPEN)
    return Concluded(
        word=word,
        taken=known.taken or "dose_taken" in kinds,
        held="hold_raised" in kinds,
    )


def _last(dose: int) -> LastRun | None:
    if dose == IDLE:
        return None
    return LastRun(
        id=_id(dose), ul=ASKED_UL, ran_ms=1200, reason="complete", cal="77aa01cf"
    )


def _id(dose: int) -> str:
    return f"{dose:032x}"


def _boot(number: int) -> str:
    return f"{number:016x}"
