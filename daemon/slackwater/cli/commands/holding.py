"""`hold` and `release`: stop doses, and let them go on.

Floor 8. One subject: holds by a person on this machine. Laws here: a hold needs no
condition and no clock; a release says what it ended and what still holds; a pump that
changed or gave too much is not released before it was calibrated.
"""

from collections.abc import Iterator, Sequence
from secrets import token_hex

import click

from slackwater.cli.document import Answer, reason_document
from slackwater.cli.opening import local_user, newest_approval, write
from slackwater.cli.shell import Shell, verb
from slackwater.cli.typed import WORD_AT_MOST, kept_text, typed_text
from slackwater.cli.wording import reason_words
from slackwater.errors import Finding, InputError, RefusedError
from slackwater.facts.events import AnyEvent, HoldRaised, HoldReleased
from slackwater.facts.reasons import MEASURED_FIRST, Code, because
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


@verb("release", epilog="Example: slackwater release --all --by keeper")
@click.argument("hold_ids", metavar="[HOLD]...", nargs=-1)
@click.option("--all", "every", is_flag=True, help="End every hold.")
@click.option("--by", metavar="NAME", help="Who says so.  [default: the local user]")
@click.option("--why", default="", metavar="TEXT", help="A reason for the record.")
def release(
    shell: Shell, hold_ids: tuple[str, ...], *, every: bool, by: str | None, why: str
) -> Answer:
    """End holds, on the machine.

    A hold whose cause is still there comes back by itself.
    """
    if every == bool(hold_ids):
        raise InputError(_one_of_both())
    who = typed_text(by or local_user(), "--by", WORD_AT_MOST)
    why = typed_text(why, "--why")
    ended: dict[str, HoldRaised] = {}

    def decide(state: State, stamp: Stamp) -> Sequence[AnyEvent]:
        wanted = tuple(sorted(state.holds)) if every else hold_ids
        found = list(_refusals(state, wanted))
        if found:
            raise RefusedError(found)
        ended.clear()
        ended.update({name: state.holds[name] for name in wanted})
        return [HoldReleased(**stamp, hold_id=name, by=who, why=why) for name in ended]

    state, _events = write(shell.state, decide)
    return Answer(
        fields={
            "released": [_document(raised) for raised in ended.values()],
            "standing": [_document(raised) for raised in state.holds.values()],
        },
        text="\n".join(_told(list(ended.values()), list(state.holds.values()))),
    )


def _told(ended: list[HoldRaised], standing: list[HoldRaised]) -> Iterator[str]:
    yield "Released:" if ended else "Nothing was held."
    yield from (f"  {_words(raised)}" for raised in ended)
    if standing:
        yield "Still held:"
        yield from (f"  {_words(raised)}" for raised in standing)


def _words(raised: HoldRaised) -> str:
    note = f' "{raised.note}"' if raised.note else ""
    return f"{raised.hold_id} ({raised.scope}): {reason_words(raised.reason)}{note}"


def _document(raised: HoldRaised) -> dict[str, object]:
    return {
        "hold": raised.hold_id,
        "scope": raised.scope,
        "latched": raised.latched,
        "note": raised.note,
        "reasons": [reason_document(raised.reason)],
    }


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


def _refusals(state: State, wanted: Sequence[str]) -> Iterator[Finding]:
    for name in wanted:
        raised = state.holds.get(name)
        if raised is None:
            yield Finding(
                what=f'no hold is called "{name}"',
                where="release",
                expected=f"one of {', '.join(sorted(state.holds)) or 'none'}",
                do="Nothing was released. See `slackwater status`.",
            )
        elif raised.reason.code in MEASURED_FIRST:
            yield from _uncalibrated(state, raised)


def _uncalibrated(state: State, raised: HoldRaised) -> Iterator[Finding]:
    """A pump that changed or gave too much is commissioned anew, and it alone."""
    pump = raised.scope.removeprefix("pump/")
    known = state.calibrations.get(pump)
    if known is None or known.proven_ms < raised.proven_ms:
        yield Finding(
            what=f"pump {pump} was not calibrated since it was held",
            where=f"hold {raised.hold_id}",
            expected="a calibration after that, with its outlet in a cylinder",
            do=f"Run `slackwater calibrate {pump}` and approve again.",
        )


def _one_of_both() -> Finding:
    return Finding(
        what="which holds to release is not clear",
        where="release",
        expected="names of holds, or --all, not both",
        do="See `slackwater status` for what is held.",
    )
