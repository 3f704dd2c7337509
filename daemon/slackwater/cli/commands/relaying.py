"""`check-relay`: a person tried a timed relay out.

Floor 8. One subject: commissioning a relay. Laws here: each thing to try is asked for
by itself, and one that was not tried writes nothing; the check is of the relay as the
file describes it now, and has an end.
"""

from collections.abc import Iterator, Sequence
from datetime import timedelta
from typing import TypedDict, Unpack

import click

from slackwater.cli.commissioning import say
from slackwater.cli.document import Answer
from slackwater.cli.opening import local_user, only, write
from slackwater.cli.shell import Shell, verb
from slackwater.cli.typed import WORD_AT_MOST, typed_text
from slackwater.errors import Finding, InputError, RefusedError
from slackwater.facts.events import AnyEvent
from slackwater.facts.relays import CHECK_DAYS_AT_MOST, RelayChecked
from slackwater.facts.state import State
from slackwater.facts.tank import Machine
from slackwater.ledger.codec import timestamp
from slackwater.outside.settings import read_machine
from slackwater.pump.outcome import Stamp

_DAYS = 90
# Long enough to pull a plug meanwhile.
TRIAL_MS = 10_000
# What a person does, and what must come of it.
TRIALS = (
    "Power the relay up: it is off, also where it was on when the power went.",
    "Start a pulse and send a second one while it is on: the first is not made longer.",
    "Start a pulse and take the network away: it still ends in time.",
    "Start a pulse and take the power away and back: it is off and stays off.",
    "Start a pulse and send what switches it off: it goes off at once.",
    "Watch the topic of its state: it tells on and off, and does so every ten seconds.",
)


class Tried(TypedDict):
    """What is said with a check."""

    days: int
    all_tried: bool
    by: str | None


@verb(
    "check-relay",
    epilog="A relay has neither a memory nor a budget, so what hangs on it is dosed "
    "with reduced assurance: its caps count for two executions. Water in the bottle, "
    "the outlet in a cup, no tank. Mains voltage beside salt water is for a licensed "
    "electrician under your local code. Example: slackwater check-relay plug",
)
@click.argument("relay", metavar="NODE")
@click.option(
    "--days",
    type=click.IntRange(1, CHECK_DAYS_AT_MOST),
    default=_DAYS,
    show_default=True,
    help="How long the check counts.",
)
@click.option("--all-tried", is_flag=True, help="Do not ask: all of it was tried.")
@click.option("--by", metavar="NAME", help="Who tried it.  [default: the local user]")
def check_relay(shell: Shell, relay: str, **tried: Unpack[Tried]) -> Answer:
    """Say that a timed relay was tried out.

    Asks for each thing to try; without a check nothing behind a relay is dosed.
    """
    who = typed_text(tried["by"] or local_user(), "--by", WORD_AT_MOST)
    machine = read_machine(shell.config)
    digest = _digest(relay, machine)
    if not tried["all_tried"]:
        say("\n".join(_messages(machine, relay)))
    for trial in () if tried["all_tried"] else TRIALS:
        if not click.confirm(f"{trial} Is it so?", err=True):
            raise RefusedError(_failed(relay, trial))

    def decide(_state: State, stamp: Stamp) -> Sequence[AnyEvent]:
        until = stamp["at"] + timedelta(days=tried["days"])
        return [RelayChecked(**stamp, node=relay, relay=digest, until=until, by=who)]

    _state, events = write(shell.state, decide)
    checked = only(events, RelayChecked)
    return Answer(
        fields={
            "node": relay,
            "relay": digest,
            "until": timestamp(checked.until),
        },
        text=f"{relay} counts as tried out until {checked.until:%Y-%m-%d}.",
    )


def _messages(machine: Machine, name: str) -> Iterator[str]:
    """What to publish for a trial, and where to look; nothing of it is sent here."""
    node = machine.nodes[name]
    known = node.relay
    if known is None:
        return
    ms = known.always_ms or min(node.cut_limit_ms, TRIAL_MS)
    yield f"{name} hears these messages; send them with any MQTT program:"
    yield f"  a pulse of {ms / 1000:g} s  {known.on_topic}  {known.pulse(ms).decode()}"
    yield f"  off             {known.off_topic}  {known.off_payload}"
    yield f"  it tells its state on {known.state_topic}."


def _digest(name: str, machine: Machine) -> str:
    """The relay as the file describes it.

    Raises: InputError when there is no such relay.
    """
    relays = {node.id: node.relay for node in machine.nodes.values() if node.relay}
    if name not in relays:
        raise InputError(
            Finding(
                what=f'no relay is called "{name[:40]}"',
                where="check-relay, NODE",
                expected=f"one of {', '.join(sorted(relays)) or 'none: there is none'}",
                do="Name a node that has a table [relay.NODE]; nothing was written.",
            )
        )
    return relays[name].digest


def _failed(relay: str, trial: str) -> Finding:
    return Finding(
        what="one thing was not tried, or did not come out so",
        where=f"check-relay {relay}",
        expected=trial,
        do="Nothing was written. Set the relay up so, or use another one.",
    )
