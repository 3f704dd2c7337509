"""`swap-tube` and `move-bottle`: hands on a pump that must not start meanwhile.

Floor 8. One subject: work at hose and bottle. Laws here: the pump stands still until
the work is done, and no longer than was said; what fills the hose afterwards is held
to the same small ceiling as priming; a new tube has no measured rate.
"""

from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import TypedDict, Unpack

import click

from slackwater.cli.by_request import filling, good_until, wished
from slackwater.cli.commands.dosing import outlet_out, said_by
from slackwater.cli.commands.filling import machine_of
from slackwater.cli.document import Answer
from slackwater.cli.opening import local_user, write
from slackwater.cli.render import local
from slackwater.cli.shell import Shell, verb
from slackwater.cli.typed import WORD_AT_MOST, typed_text
from slackwater.cli.typed_levels import settled
from slackwater.errors import Finding, InputError
from slackwater.facts.events import (
    AnyEvent,
    HoldRaised,
    HoldReleased,
    ShotRequested,
)
from slackwater.facts.reasons import Code, because
from slackwater.facts.safeguards import BottleMoved, TubeSwapped
from slackwater.facts.state import State
from slackwater.facts.tank import Machine
from slackwater.ledger.codec import timestamp
from slackwater.pump.outcome import Stamp
from slackwater.water.show import show_volume

SWAP, MOVE = "swap-tube", "move-bottle"
# Longer than this a pump is held by hand, which needs a release.
MINUTES_AT_MOST = 120
MINUTES = 30


class Asked(TypedDict):
    """What is said of the work; `minutes` None unless it was typed."""

    volume: str | None
    done: bool
    outlet_out: bool
    minutes: int | None
    note: str
    by: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Work:
    """One piece of work: the pumps that stand still, and what is said when done."""

    verb: str
    name: str
    pumps: tuple[str, ...]
    note: str
    by: str

    @property
    def what(self) -> str:
        """In a few words."""
        if self.verb == SWAP:
            return f"the tube of {self.name} is being swapped"
        return f"the bottle {self.name} is being moved"

    def written(self, stamp: Stamp) -> AnyEvent:
        """The entry that says that it is done."""
        if self.verb == SWAP:
            return TubeSwapped(**stamp, pump=self.name, by=self.by, note=self.note)
        return BottleMoved(
            **stamp, reservoir=self.name, pumps=self.pumps, by=self.by, note=self.note
        )


_volume = click.argument("volume", metavar="[VOLUME]", required=False)
_done = click.option("--done", is_flag=True, help="It is done; the hose is full.")
_minutes = click.option(
    "--minutes",
    type=click.IntRange(1, MINUTES_AT_MOST),
    metavar="NUMBER",
    help=f"How long the pump stands still at most, up to {MINUTES_AT_MOST}.  "
    f"[default: {MINUTES}]",
)
_note = click.option("--note", default="", metavar="TEXT", help="For the record.")


@verb(
    SWAP,
    epilog="The tube holds solution: wear eye protection and gloves. VOLUME moves "
    "liquid, into the tank unless --outlet-out is given. Examples: slackwater "
    "swap-tube carbonate; then slackwater swap-tube carbonate '3 mL' --outlet-out",
)
@click.argument("pump")
@_volume
@_done
@outlet_out
@_minutes
@_note
@said_by
def swap_tube(shell: Shell, pump: str, **asked: Unpack[Asked]) -> Answer:
    """Let a pump stand still while its tube is swapped, then fill it.

    First without a volume: the pump stands still. Then with what the new tube takes, or
    with --done. Its hours begin anew, and corrections wait until it is calibrated.
    """

    def work(machine: Machine) -> Work:
        _refuse_unknown("PUMP", pump, machine.pumps)
        return _work(SWAP, (pump, (pump,)), asked)

    return _worked(shell, work, asked)


@verb(
    MOVE,
    epilog="Keep stock solutions upright and apart: wear eye protection. VOLUME moves "
    "liquid, into the tank unless --outlet-out is given. Examples: slackwater "
    "move-bottle carbonate; then slackwater move-bottle carbonate '2 mL' --outlet-out",
)
@click.argument("reservoir")
@_volume
@_done
@outlet_out
@_minutes
@_note
@said_by
def move_bottle(shell: Shell, reservoir: str, **asked: Unpack[Asked]) -> Answer:
    """Let pumps stand still while their bottle is moved, then fill them.

    First without a volume: every pump that draws from it stands still. Then with what
    the hose of each takes, or with --done.
    """

    def work(machine: Machine) -> Work:
        used = {pump.reservoir for pump in machine.pumps.values()}
        _refuse_unknown("RESERVOIR", reservoir, used)
        pumps = [p.id for p in machine.pumps.values() if p.reservoir == reservoir]
        return _work(MOVE, (reservoir, tuple(sorted(pumps))), asked)

    return _worked(shell, work, asked)


def _work(verb_name: str, about: tuple[str, tuple[str, ...]], asked: Asked) -> Work:
    return Work(
        verb=verb_name,
        name=about[0],
        pumps=about[1],
        note=typed_text(asked["note"], "--note"),
        by=typed_text(asked["by"] or local_user(), "--by", WORD_AT_MOST),
    )


def _worked(shell: Shell, work: Callable[[Machine], Work], asked: Asked) -> Answer:
    settled(_unclear(asked))
    is_done = asked["done"] or asked["volume"] is not None
    found: list[Work] = []

    def decide(state: State, stamp: Stamp) -> Sequence[AnyEvent]:
        found[:] = [work(machine_of(shell, state))]
        if is_done:
            return tuple(_ended(shell, state, stamp, found[0], asked))
        return tuple(_begun(stamp, found[0], asked["minutes"] or MINUTES))

    state, events = write(shell.state, decide, makes_safer=not is_done)
    if is_done:
        return _told(state, events, found[0])
    return _paused(shell, state, events, found[0])


def _begun(stamp: Stamp, work: Work, minutes: int) -> Iterator[AnyEvent]:
    for pump in work.pumps:
        yield HoldRaised(
            **stamp,
            hold_id=_hold_id(work, pump),
            scope=f"pump/{pump}",
            reason=because(Code.PAUSE),
            latched=False,
            until=stamp["at"] + timedelta(minutes=minutes),
            by=work.by,
            note=work.note or work.what,
        )


def _ended(
    shell: Shell, state: State, stamp: Stamp, work: Work, asked: Asked
) -> Iterator[AnyEvent]:
    """The pause ends, the work is on record, and each hose is filled if asked for."""
    for pump in work.pumps:
        hold_id = _hold_id(work, pump)
        if hold_id in state.holds:
            yield HoldReleased(
                **stamp, hold_id=hold_id, by=work.by, why=f"{work.verb}: done"
            )
    yield work.written(stamp)
    for pump in () if asked["volume"] is None else work.pumps:
        words = (work.verb, pump, asked["volume"] or "")
        wish = filling(words, work.by, outlet_out=asked["outlet_out"])
        yield wished(shell, state, stamp, wish)


def _hold_id(work: Work, pump: str) -> str:
    """Each work has a hold of its own: hands at a tube outlast a bottle's move."""
    return f"{work.verb}/{pump}"


def _paused(
    shell: Shell, state: State, events: Sequence[AnyEvent], work: Work
) -> Answer:
    until = next(one.until for one in events if isinstance(one, HoldRaised))
    machine = machine_of(shell, state)
    zone = machine.tanks[machine.pumps[work.pumps[0]].tank].zone
    names, at = ", ".join(work.pumps), "" if until is None else local(until, zone)
    return Answer(
        fields={
            **_fields(work, done=False),
            "until": None if until is None else timestamp(until),
        },
        text=f"Standing still until {at}, or until you say that it is done: {names}.\n"
        f"Then: slackwater {work.verb} {work.name} VOLUME --outlet-out fills the hose "
        "over a cup, --done in the place of both where it is full already.",
    )


def _told(state: State, events: Sequence[AnyEvent], work: Work) -> Answer:
    asked = [one for one in events if isinstance(one, ShotRequested)]
    lines = [f"Written down: {work.what.replace('is being', 'was')}."]
    if work.verb == SWAP:
        lines.append(
            "Its hours begin anew, and its corrections wait until it is measured: "
            f"`slackwater calibrate {work.name}`."
        )
    lines += [
        f"Asked for {show_volume(one.volume_ul)} of {one.pump}, "
        f"{'into' if one.purpose == 'manual' else 'out of'} the water, until "
        f"{good_until(state, one)} or never: `slackwater why {one.request}`."
        for one in asked
    ]
    return Answer(
        fields={
            **_fields(work, done=True),
            "requests": [
                {
                    "request": one.request,
                    "pump": one.pump,
                    "volume_ul": one.volume_ul,
                    "in_water": one.purpose == "manual",
                    "until": timestamp(one.until),
                }
                for one in asked
            ],
        },
        text="\n".join(lines),
    )


def _fields(work: Work, *, done: bool) -> dict[str, object]:
    about = "pump" if work.verb == SWAP else "reservoir"
    return {about: work.name, "pumps": list(work.pumps), "done": done}


def _unclear(asked: Asked) -> Iterator[Finding]:
    filled = asked["volume"] is not None
    if filled and asked["done"]:
        yield _both("a volume and --done are both given", "one of the two")
    if asked["outlet_out"] and not filled:
        yield _both("--outlet-out is given without a volume", "a volume beside it")
    if asked["minutes"] is not None and (filled or asked["done"]):
        yield _both("--minutes has no meaning when it is done", "--minutes alone")


def _both(what: str, expected: str) -> Finding:
    return Finding(
        what=what, where="command line", expected=expected, do="Nothing was written."
    )


def _refuse_unknown(where: str, name: str, known: Collection[str]) -> None:
    if name not in known:
        raise InputError(
            Finding(
                what=f'nothing is called "{name[:40]}"',
                where=where,
                expected=f"one of {', '.join(sorted(known))}",
                do="Name one of these; nothing was written.",
            )
        )
