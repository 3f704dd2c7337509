"""`lots`: which bottles and tanks had which batch, and from when to when.

Floor 8. One subject: where a batch went. Laws here: nothing is written and nothing is
judged; a fill whose batch nobody told is listed as such, for it may be the bad one;
tanks are those of the machine in force.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import cast

import click

from slackwater.cli.commands.filling import machine_of, zone_of
from slackwater.cli.document import REFUSED, Answer
from slackwater.cli.opening import opened
from slackwater.cli.render import local, table
from slackwater.cli.shell import Shell, verb
from slackwater.facts.safeguards import ReservoirFilled
from slackwater.facts.tank import Machine
from slackwater.ledger.codec import timestamp
from slackwater.ledger.views import Wanted, entries
from slackwater.water.show import show_volume

_NONE_TOLD = (
    "No fill was told yet. When you fill a bottle:  "
    "slackwater refill RESERVOIR --lot NAME"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Had:
    """One fill: until the next of the same reservoir, None while it is in use."""

    filled: ReservoirFilled
    until: datetime | None
    tanks: tuple[str, ...]


@verb(
    "lots",
    epilog="Tell the batch with each `slackwater refill --lot NAME`. A bottle that was "
    "topped up still holds some of the batch before. Exit code 1 when no bottle had "
    "the batch asked for. Example: slackwater lots 'spring 2'",
)
@click.argument("lot", metavar="[LOT]", required=False, default="")
def lots(shell: Shell, lot: str) -> Answer:
    """List which bottles and tanks had which batch."""
    with opened(shell.state) as found:
        machine = machine_of(shell, found.state)
        fills = [
            cast("ReservoirFilled", entry.event)
            for entry in entries(found.ledger, Wanted(kinds=("reservoir_filled",)))
        ]
    asked = [one for one in _had(fills, machine) if lot in ("", one.filled.lot)]
    return Answer(
        fields={"lot": lot, "fills": [_document(one) for one in asked]},
        text=_text(lot, asked, machine),
        exit_code=REFUSED if lot and not asked else 0,
    )


def _had(fills: Sequence[ReservoirFilled], machine: Machine) -> Iterator[Had]:
    """Every fill with its end, in order of time."""
    for number, one in enumerate(fills):
        later = fills[number + 1 :]
        ends = (next_.at for next_ in later if next_.reservoir == one.reservoir)
        tanks = {
            pump.tank
            for pump in machine.pumps.values()
            if pump.reservoir == one.reservoir
        }
        yield Had(filled=one, until=next(ends, None), tanks=tuple(sorted(tanks)))


def _document(one: Had) -> dict[str, object]:
    return {
        "lot": one.filled.lot,
        "reservoir": one.filled.reservoir,
        "tanks": list(one.tanks),
        "content_ul": one.filled.content_ul,
        "from": timestamp(one.filled.at),
        "until": None if one.until is None else timestamp(one.until),
        "mixed_at": timestamp(one.filled.mixed_at),
        "by": one.filled.by,
    }


def _text(lot: str, asked: Sequence[Had], machine: Machine) -> str:
    if not asked:
        return f'No bottle was filled with "{lot}".' if lot else _NONE_TOLD
    rows = [_row(one, machine) for one in asked]
    return table(("lot", "bottle", "tanks", ">held", "from", "until"), rows)


def _row(one: Had, machine: Machine) -> tuple[str, ...]:
    filled, zone = one.filled, "UTC"
    if filled.reservoir in machine.reservoirs:
        zone = zone_of(machine, filled.reservoir)
    return (
        filled.lot or "not told",
        filled.reservoir,
        ", ".join(one.tanks),
        show_volume(filled.content_ul),
        local(filled.at, zone),
        "now" if one.until is None else local(one.until, zone),
    )
