"""`release`: let doses go on.

Floor 8. One subject: the end of holds. Laws here: a release says what it ended, what
still holds, and what keeps doses back though no hold does; a pump that changed or gave
too much is not released before it was calibrated.
"""

from collections.abc import Iterator, Sequence

import click

from slackwater.cli.document import Answer, reason_document
from slackwater.cli.grounds import grounds
from slackwater.cli.kept_back import Kept, kept_back, kept_documents, kept_lines
from slackwater.cli.opening import local_user, opened, write
from slackwater.cli.shell import Shell, verb
from slackwater.cli.typed import WORD_AT_MOST, typed_text
from slackwater.cli.wording import reason_words
from slackwater.errors import Finding, InputError, RefusedError
from slackwater.facts.events import AnyEvent, HoldRaised, HoldReleased
from slackwater.facts.reasons import MEASURED_FIRST
from slackwater.facts.state import State
from slackwater.pump.outcome import Stamp


@verb("release", epilog="Example: slackwater release --all --by keeper")
@click.argument("hold_ids", metavar="[HOLD]...", nargs=-1)
@click.option("--all", "every", is_flag=True, help="End every hold.")
@click.option("--by", metavar="NAME", help="Who says so.  [default: the local user]")
@click.option("--why", default="", metavar="TEXT", help="A reason for the record.")
def release(
    shell: Shell, hold_ids: tuple[str, ...], *, every: bool, by: str | None, why: str
) -> Answer:
    """End holds, on the machine.

    A hold whose cause is still there comes back by itself. What keeps doses back
    without a hold, such as caps that are used up, is told.
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
    with opened(shell.state) as found:
        kept = [one for one in kept_back(grounds(found, shell.state)) if one.of_gate]
    return Answer(
        fields={
            "released": [_document(raised) for raised in ended.values()],
            "standing": [_document(raised) for raised in state.holds.values()],
            "kept_back": kept_documents(kept),
        },
        text="\n".join(_told(list(ended.values()), list(state.holds.values()), kept)),
    )


def _told(
    ended: list[HoldRaised], standing: list[HoldRaised], kept: Sequence[Kept]
) -> Iterator[str]:
    none = "No hold stands." if kept else "Nothing was held."
    yield "Released:" if ended else none
    yield from (f"  {_words(raised)}" for raised in ended)
    if standing:
        yield "Still held:"
        yield from (f"  {_words(raised)}" for raised in standing)
    if kept:
        yield "Still kept back:"
        yield from (f"  {line}" for line in kept_lines(kept))
        yield "No release ends that; `slackwater why` says what does."


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
