"""`hold`: stop doses.

Floor 8. One subject: holds by a person on this machine. Laws here: a hold needs no
condition and no clock, and loads nothing that judges.
"""

from collections.abc import Sequence
from secrets import token_hex

import click

from slackwater.cli.document import Answer
from slackwater.cli.opening import local_user, newest_approval, write
from slackwater.cli.shell import Shell, verb
from slackwater.cli.typed import WORD_AT_MOST, kept_text
from slackwater.errors import Finding, InputError
from slackwater.facts.events import AnyEvent, HoldRaised
from slackwater.facts.reasons import Code, because
from slackwater.facts.state import State
from slackwater.facts.tank import Machine
from slackwater.outside.settings import read_machine
from slackwater.pump.outcome import Stamp

EVERYTHING = "all"


@verb(
    "hold",
    epilog="A running dose of the scope is stopped by the daemon within a second. "
    "Example: slackwater hold --scope pump/carbonate --note 'tube leaks'",
)
@click.option(
    "--scope",
    default=EVERYTHING,
    show_default=True,
    metavar="SCOPE",
    help="all, tank/ID, pump/ID, node/ID or alkalinity/TANK.",
)
@click.option("--note", default="", metavar="TEXT", help="Why, for the record.")
@click.option("--by", metavar="NAME", help="Who says so.  [default: the local user]")
def hold(shell: Shell, scope: str, note: str, by: str | None) -> Answer:
    """Stop doses until a person releases them."""
    # A word that cannot be kept as it is must not keep anybody from holding.
    who, note = kept_text(by or local_user(), WORD_AT_MOST), kept_text(note)
    hold_id = f"hold/{token_hex(3)}"

    def decide(state: State, stamp: Stamp) -> Sequence[AnyEvent]:
        if scope != EVERYTHING:
            _refuse_unknown(scope, _machine(shell, state))
        return (
            HoldRaised(
                **stamp,
                hold_id=hold_id,
                scope=scope,
                reason=because(Code.MANUAL_HOLD),
                latched=True,
                by=who,
                note=note,
            ),
        )

    write(shell.state, decide, makes_safer=True)
    return Answer(
        fields={"hold": hold_id, "scope": scope},
        text=f"Held: {scope}. End it with `{shell.program} release {hold_id}`.",
    )


def _machine(shell: Shell, state: State) -> Machine:
    """The machine that was approved last, else the one of the files."""
    approved = newest_approval(state)
    return approved.machine if approved else read_machine(shell.config)


def _refuse_unknown(scope: str, machine: Machine) -> None:
    known = [
        *(f"tank/{name}" for name in machine.tanks),
        *(f"pump/{name}" for name in machine.pumps),
        *(f"node/{name}" for name in machine.nodes),
        *(f"alkalinity/{name}" for name in machine.tanks),
    ]
    if scope not in known:
        raise InputError(
            Finding(
                what=f'there is nothing called "{scope}"',
                where="--scope",
                expected=f"{EVERYTHING}, or one of {', '.join(known)}",
                do="Nothing is held by this; name one of these.",
            )
        )
