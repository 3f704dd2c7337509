"""`level`: how much a reservoir holds, as somebody read it.

Floor 8. One subject: measured levels. Laws here: a level counts from the moment it was
read, so none is taken of a time since which its pumps ran or it was filled; more than
was ever filled in is a fill that nobody told, and is refused.
"""

from collections.abc import Sequence
from typing import TypedDict, Unpack

import click

from slackwater.cli.below_books import first_reading
from slackwater.cli.commands.filling import is_above, machine_of, named, zone_of
from slackwater.cli.document import Answer
from slackwater.cli.missing import missing_fields, missing_of, missing_words
from slackwater.cli.moments import Wall, typed_moment
from slackwater.cli.opening import local_user, only, write
from slackwater.cli.render import local
from slackwater.cli.shell import Shell, verb
from slackwater.cli.typed import WORD_AT_MOST, typed_text, typed_ul
from slackwater.cli.typed_levels import settled
from slackwater.errors import Finding, InputError
from slackwater.facts.events import AnyEvent
from slackwater.facts.inventory import Stock, stock
from slackwater.facts.safeguards import LevelMeasured
from slackwater.facts.state import State
from slackwater.facts.tank import Machine
from slackwater.gate.drift import Drift, drift_of, stops_beyond
from slackwater.gate.losses import lost_ul
from slackwater.ledger.codec import timestamp
from slackwater.pump.outcome import Stamp
from slackwater.water.show import show_volume

# A mark is read to a hundredth of what a bottle holds; common practice, no source.
WITHIN_PERCENT = 1
# Nobody reads a bottle finer; what is told is rounded outwards to it.
_READ_TO_UL = 100


class Asked(TypedDict):
    """What is said with a level."""

    within: str | None
    at: str | None
    confirm: bool
    note: str
    by: str | None


@verb(
    "level",
    epilog="Read it once a week: that finds a pump that gives more or less than its "
    "calibration says. A scale finds it sooner than a mark on the bottle. Example: "
    "slackwater level carbonate '1.62 L' --within '5 mL'",
)
@click.argument("reservoir", metavar="RESERVOIR|PUMP")
@click.argument("volume", metavar="VOLUME")
@click.option(
    "--within",
    metavar="VOLUME",
    help="How far it may be off.  [default: 1 % of what the reservoir holds when full]",
)
@click.option("--at", metavar="TIME", help="When it was read.  [default: now]")
@click.option(
    "--confirm",
    is_flag=True,
    help="It is right although the books say far more; it never was so full.",
)
@click.option("--note", default="", metavar="TEXT", help="For the record.")
@click.option("--by", metavar="NAME", help="Who says so.  [default: the local user]")
def level(shell: Shell, reservoir: str, volume: str, **asked: Unpack[Asked]) -> Answer:
    """Tell how much a reservoir holds, as you read it.

    A bottle that lost far more than was drawn holds its pumps. Where nobody ever told a
    fill, a first reading far below the books needs --confirm.
    """
    who = typed_text(asked["by"] or local_user(), "--by", WORD_AT_MOST)
    note = typed_text(asked["note"], "--note")
    volume_ul = typed_ul(volume, "VOLUME")
    before: list[Stock] = []
    told: list[Stock] = []

    def decide(state: State, stamp: Stamp) -> Sequence[AnyEvent]:
        machine = machine_of(shell, state)
        name = named(reservoir, machine)
        before[:] = [stock(machine, state, name)]
        told[:] = before if name in state.fills else []
        _refuse_more(machine, state, name, volume_ul)
        if not asked["confirm"]:
            settled(first_reading(machine, state, name, volume_ul))
        measured = LevelMeasured(
            **stamp,
            reservoir=name,
            volume_ul=volume_ul,
            within_ul=_within_ul(asked["within"], machine, name),
            measured_at=typed_moment(
                asked["at"], Wall(zone=zone_of(machine, name), now=stamp["at"])
            ),
            pumps=tuple(
                sorted(p.id for p in machine.pumps.values() if p.reservoir == name)
            ),
            by=who,
            note=note,
        )
        _refuse_run_since(state, measured)
        _refuse_told_since(state, measured, zone_of(machine, name))
        return [measured]

    state, events = write(shell.state, decide)
    measured = only(events, LevelMeasured)
    found, machine = drift_of(state, measured.reservoir), machine_of(shell, state)
    lost = lost_ul(machine, state, measured.reservoir)
    missing = missing_of(machine, measured, told[0] if told else None, lost)
    stops_at = stops_beyond(machine, measured.reservoir)
    return Answer(
        fields={
            "reservoir": measured.reservoir,
            "volume_ul": measured.volume_ul,
            "within_ul": measured.within_ul,
            "measured_at": timestamp(measured.measured_at),
            "by_the_books_ul": before[0].left_ul,
            "by_the_books_low_ul": before[0].low_ul,
            "by_the_books_high_ul": before[0].high_ul,
            "used_over_believed": None if found is None else round(found.ratio, 3),
            "drifts": found is not None and found.is_found,
            **missing_fields(missing),
        },
        text=_text(measured, before[0], (found, stops_at))
        + missing_words(missing, measured),
    )


def _text(
    measured: LevelMeasured, before: Stock, drift: tuple[Drift | None, float]
) -> str:
    found, stops_at = drift
    told = (
        f"{measured.reservoir} holds {show_volume(measured.volume_ul)}; by the books "
        f"it held {show_volume(before.left_ul)}, between "
        f"{show_volume(before.low_ul // _READ_TO_UL * _READ_TO_UL)} and "
        f"{show_volume(-(-before.high_ul // _READ_TO_UL) * _READ_TO_UL)}."
    )
    if found is None:
        return (
            f"{told}\nThe next level tells whether {', '.join(measured.pumps)} "
            "gives what it should."
        )
    gives = f"gave {found.ratio:.2f} times what was believed"
    do = "; measure again: `slackwater calibrate`" if found.is_found else ""
    if found.is_beyond(stops_at):
        do = "; no dose begins until it is measured again: `slackwater calibrate`"
    return f"{told}\n{', '.join(measured.pumps)} {gives}{do}."


def _within_ul(text: str | None, machine: Machine, name: str) -> int:
    if text is None:
        return machine.reservoirs[name].content_ul * WITHIN_PERCENT // 100
    return typed_ul(text, "--within")


def _refuse_more(machine: Machine, state: State, name: str, volume_ul: int) -> None:
    fill = state.fills.get(name)
    most_ul = machine.reservoirs[name].content_ul if fill is None else fill.content_ul
    if is_above(volume_ul, most_ul):
        raise InputError(
            Finding(
                what=f"{show_volume(volume_ul)} is more than was in it at last",
                where="VOLUME",
                expected=f"{show_volume(most_ul)} or less",
                do="Nothing was written. Where somebody filled it, tell that with "
                "`slackwater refill`; else look at the decimal point.",
            )
        )


def _refuse_run_since(state: State, measured: LevelMeasured) -> None:
    """Refuse a level of a time since which anything was drawn."""
    age_ms = int((measured.at - measured.measured_at).total_seconds() * 1000)
    read_ms = measured.proven_ms - age_ms
    ran = [
        pump
        for pump in measured.pumps
        if pump in state.flows and state.flows[pump].end_ms > read_ms
    ]
    if ran:
        raise InputError(
            Finding(
                what=f"{', '.join(ran)} ran since then, or runs now",
                where="--at",
                expected="a level read after the last dose",
                do="Nothing was written; read it again between two doses.",
            )
        )


def _refuse_told_since(state: State, measured: LevelMeasured, zone: str) -> None:
    """Refuse a level of a time since which a fill, or another level, was told.

    What a clock that was wrong dated ahead of now tells nothing here.
    """
    fill = state.fills.get(measured.reservoir)
    since = None if fill is None else fill.since
    if since is not None and measured.measured_at < since <= measured.at:
        raise InputError(
            Finding(
                what=f"{measured.reservoir} was filled or read since then, at "
                f"{local(since, zone)}",
                where="--at",
                expected="a level read after the last fill and the last level",
                do="Nothing was written; read it again, as it is now.",
            )
        )
