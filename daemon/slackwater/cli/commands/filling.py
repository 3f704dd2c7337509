"""`refill`: what a reservoir holds now.

Floor 8. One subject: fills. Laws here: from a fill on the daemon counts down and stops
a pump whose bottle is empty; a solution of another strength is another solution, and is
approved first.
"""

from collections.abc import Iterator, Sequence
from datetime import datetime, timedelta
from typing import TypedDict, Unpack

import click

from slackwater.cli.below_books import small_refill
from slackwater.cli.document import Answer
from slackwater.cli.moments import Wall, typed_moment
from slackwater.cli.new_water import moved_lines, moves
from slackwater.cli.opening import local_user, newest_approval, only, write
from slackwater.cli.render import local
from slackwater.cli.shell import Shell, verb
from slackwater.cli.typed import WORD_AT_MOST, typed_name, typed_text, typed_ul
from slackwater.cli.typed_levels import settled, twice, typed_levels
from slackwater.errors import Finding, InputError
from slackwater.facts.events import AnyEvent
from slackwater.facts.inventory import left_ul
from slackwater.facts.safeguards import ReservoirFilled
from slackwater.facts.state import State
from slackwater.facts.tank import Machine
from slackwater.ledger.codec import timestamp
from slackwater.outside.settings import read_machine
from slackwater.pump.outcome import Stamp
from slackwater.water.show import show_volume

NEW = "--new"
# A foam, a tilted bottle or one filled to its brim; common practice, no source.
ABOVE_PERCENT = 5


class Asked(TypedDict):
    """What is said with a fill."""

    content: str | None
    mixed: str | None
    lot: str | None
    new: tuple[str, ...]
    confirm: bool
    note: str
    by: str | None


@verb(
    "refill",
    epilog="Wear eye protection, and never mix two stock solutions. A solution of "
    "another strength goes into the machine file and is approved first. Example: "
    "slackwater refill carbonate --content '2 L'",
)
@click.argument("reservoir", metavar="RESERVOIR|PUMP")
@click.option(
    "--content",
    "--volume",
    "content",
    metavar="VOLUME",
    help="What it holds now.  [default: what the machine file says]",
)
@click.option(
    "--mixed",
    "--opened",
    "mixed",
    metavar="TIME",
    help="When the solution was made, or its container opened.  [default: now]",
)
@click.option("--lot", metavar="NAME", help="The batch it is of.")
@click.option(
    NEW,
    multiple=True,
    metavar="NAME=VALUE",
    help="What a test of new salt water showed; may be repeated. An exchange needs its "
    "salinity.",
)
@click.option(
    "--confirm",
    is_flag=True,
    help="It is right although more was left in it before, by the books.",
)
@click.option("--note", default="", metavar="TEXT", help="For the record.")
@click.option("--by", metavar="NAME", help="Who says so.  [default: the local user]")
def refill(shell: Shell, reservoir: str, **asked: Unpack[Asked]) -> Answer:
    """Tell what a reservoir holds now.

    Far less than was left in it before needs --confirm: that may have run out.
    """
    who = typed_text(asked["by"] or local_user(), "--by", WORD_AT_MOST)
    note = typed_text(asked["note"], "--note")
    lot = typed_name(asked["lot"], "--lot")
    typed = typed_levels(asked["new"], NEW, confirmed=None)
    settled(twice(typed, NEW))
    before: list[int] = []

    def decide(state: State, stamp: Stamp) -> Sequence[AnyEvent]:
        machine = machine_of(shell, state)
        name = named(reservoir, machine)
        content_ul = machine.reservoirs[name].content_ul
        if asked["content"] is not None:
            content_ul = _typed_content(asked["content"], content_ul)
        if not asked["confirm"]:
            settled(small_refill(machine, state, name, content_ul))
        before[:] = [left_ul(machine, state, name)]
        wall = Wall(zone=zone_of(machine, name), now=stamp["at"], option="--mixed")
        return [
            ReservoirFilled(
                **stamp,
                reservoir=name,
                content_ul=content_ul,
                mixed_at=typed_moment(asked["mixed"], wall),
                by=who,
                note=note,
                lot=lot,
                levels={one.parameter: one.level for one in typed},
            )
        ]

    state, events = write(shell.state, decide)
    filled = only(events, ReservoirFilled)
    machine = machine_of(shell, state)
    until, moved = _keeps_until(machine, filled), moves(machine, state, filled)
    return Answer(
        fields={
            "reservoir": filled.reservoir,
            "content_ul": filled.content_ul,
            "before_ul": before[0],
            "mixed_at": timestamp(filled.mixed_at),
            "lot": filled.lot,
            "keeps_until": None if until is None else timestamp(until),
            "is_past": until is not None and until <= filled.at,
            "levels": {name: str(level) for name, level in filled.levels.items()},
            "salinity_after": {tank: str(one.after) for tank, one in moved.items()},
        },
        text="\n".join((*_told(machine, filled, before[0]), *moved_lines(moved))),
    )


def is_above(volume_ul: int, most_ul: int) -> bool:
    """Whether it is more than a bottle of so much can hold."""
    return volume_ul * 100 > most_ul * (100 + ABOVE_PERCENT)


def _typed_content(text: str, most_ul: int) -> int:
    content_ul = typed_ul(text, "--content")
    if is_above(content_ul, most_ul):
        raise InputError(
            Finding(
                what=f"{show_volume(content_ul)} is more than it holds when full",
                where="--content",
                expected=f"{show_volume(most_ul)} or less",
                do="Nothing was written; look at the decimal point. A larger container "
                "goes into the machine file (`content`) and is approved first.",
            )
        )
    return content_ul


def _keeps_until(machine: Machine, filled: ReservoirFilled) -> datetime | None:
    keeps_s = machine.reservoirs[filled.reservoir].keeps_s
    return filled.mixed_at + timedelta(seconds=keeps_s) if keeps_s else None


def _told(machine: Machine, filled: ReservoirFilled, before_ul: int) -> Iterator[str]:
    """What it holds, how long it keeps, and what its solution wants."""
    until, reservoir = _keeps_until(machine, filled), filled.reservoir
    yield (
        f"{reservoir} holds {show_volume(filled.content_ul)}; by the books "
        f"{show_volume(before_ul)} were left before."
    )
    if until is not None:
        yield _told_of_age(filled, until, zone_of(machine, reservoir))
    given = {p.solution for p in machine.pumps.values() if p.reservoir == reservoir}
    for name in sorted(given):
        yield from (f"Mind: {one}." for one in machine.solutions[name].cautions)


def _told_of_age(filled: ReservoirFilled, until: datetime, zone: str) -> str:
    if until > filled.at:
        return f"It keeps until {local(until, zone)}."
    return (
        f"Mind: this solution is past its time, it kept until {local(until, zone)}. No "
        "correction is given from it until new solution is told."
    )


def machine_of(shell: Shell, state: State) -> Machine:
    """The machine in force, or that of the file where nothing was approved."""
    approved = newest_approval(state)
    return approved.machine if approved else read_machine(shell.config)


def zone_of(machine: Machine, reservoir: str) -> str:
    """The zone of the one tank that a reservoir serves, UTC where there are more."""
    zones = {
        machine.tanks[pump.tank].zone
        for pump in machine.pumps.values()
        if pump.reservoir == reservoir
    }
    return zones.pop() if len(zones) == 1 else "UTC"


def named(name: str, machine: Machine) -> str:
    """The reservoir of this name, or that of the pump of this name.

    Raises: InputError for neither.
    """
    if name in machine.reservoirs:
        return name
    if name in machine.pumps:
        return machine.pumps[name].reservoir
    names = ", ".join(sorted({*machine.reservoirs, *machine.pumps}))
    raise InputError(
        Finding(
            what=f'no reservoir or pump is called "{name[:40]}"',
            where="RESERVOIR|PUMP",
            expected=f"one of {names}",
            do="Name one of these; nothing was written.",
        )
    )
