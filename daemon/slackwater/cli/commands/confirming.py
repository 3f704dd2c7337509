"""`confirm`: what was entered from afar becomes a test, or is refused.

Floor 8. One subject: settling what somebody typed into a dashboard. Laws here: only a
person on the machine makes a test of it, and is named with it; it is dated when it
arrived, so that confirming makes nothing fresher than it is; one that is far from its
neighbour in time is asked about as any test is.
"""

from collections.abc import Iterator, Sequence
from typing import TypedDict, Unpack

import click

from slackwater.cli.correcting import missing_why
from slackwater.cli.document import Answer
from slackwater.cli.entered_text import (
    entered_document,
    entered_documents,
    entered_table,
    waiting_entries,
)
from slackwater.cli.measuring import (
    About,
    Tests,
    document_of,
    entries_of,
    level_words,
    near_tests,
    refuse_jumps,
)
from slackwater.cli.opening import (
    local_user,
    newest_approval,
    only,
    opened,
    write,
)
from slackwater.cli.shell import Shell, verb
from slackwater.cli.subject import refuse_no_tank, subject_of
from slackwater.cli.typed import WORD_AT_MOST, typed_text
from slackwater.cli.typed_levels import Typed, settled
from slackwater.errors import Finding, InputError
from slackwater.facts.entered import EntrySettled, LevelEntered
from slackwater.facts.events import AnyEvent
from slackwater.facts.state import State
from slackwater.facts.waters import MeasurementKept
from slackwater.pump.outcome import Stamp

REFUSE = "--refuse"


class Asked(TypedDict):
    """What is said with an entry."""

    tank: str | None
    refuse: bool
    why: str
    method: str
    lot: str
    confirm: bool
    by: str | None


@verb(
    "confirm",
    epilog="Examples: slackwater confirm; slackwater confirm u-1f0c9a3e --by keeper; "
    "slackwater confirm u-1f0c9a3e --refuse --why 'nobody tested then'",
)
@click.argument("entry", required=False, metavar="[ID]")
@click.option("--tank", metavar="ID", help="List only those of this tank.")
@click.option("--refuse", is_flag=True, help="It was no test, or a wrong one.")
@click.option("--why", default="", metavar="TEXT", help="Why it is refused.")
@click.option("--method", default="", metavar="NAME", help="Which kit or method.")
@click.option("--lot", default="", metavar="TEXT", help="Lot of the kit's reagent.")
@click.option("--confirm", is_flag=True, help="It is right though it is unusual.")
@click.option("--by", metavar="NAME", help="Who says so.  [default: the local user]")
def confirm(shell: Shell, entry: str | None, **asked: Unpack[Asked]) -> Answer:
    """Confirm or refuse tests entered from afar.

    Without an id it lists them. A test typed into a dashboard may stop doses while it
    waits here; it renews nothing, raises nothing and releases nothing until a person
    confirms it on this machine. What nobody settles is forgotten after a week.
    """
    settled(_unclear(entry, asked))
    if entry is None:
        return _list(shell, asked["tank"])
    return (
        _refuse(shell, entry, asked) if asked["refuse"] else _keep(shell, entry, asked)
    )


def _list(shell: Shell, tank: str | None) -> Answer:
    with opened(shell.state) as found:
        state, now = found.state, found.now.utc
    approved = newest_approval(state)
    told = (one.told.tank for one in state.entered.values())
    refuse_no_tank(tank, None if approved is None else approved.machine, *told)
    return Answer(
        fields={"unconfirmed": entered_documents(state, tank)},
        text=entered_table(waiting_entries(state, tank), now),
    )


def _refuse(shell: Shell, entry: str, asked: Asked) -> Answer:
    who, why = _who(asked), typed_text(asked["why"], "--why")
    told: list[LevelEntered] = []

    def decide(state: State, stamp: Stamp) -> Sequence[AnyEvent]:
        told[:] = [_named(state, entry)]
        return [EntrySettled(**stamp, entry=entry, how="refused", by=who, why=why)]

    write(shell.state, decide)
    words = f"{told[0].parameter} {told[0].typed}"
    return Answer(
        fields={"refused": {**entered_document(told[0]), "by": who, "why": why}},
        text=f"Refused {entry}, {words}: {why}. It no longer holds anything.",
    )


def _keep(shell: Shell, entry: str, asked: Asked) -> Answer:
    """Write the test and what it came from, or nothing of both."""
    about = About(
        by=_who(asked),
        method=asked["method"],
        lot=asked["lot"],
        note=f"entered from afar as {entry}",
        confirmed=asked["confirm"],
    ).checked()
    with opened(shell.state) as found:
        told = _named(found.state, entry)
        near = near_tests(found.ledger, told.tank, told.taken_at)

    def decide(state: State, stamp: Stamp) -> Sequence[AnyEvent]:
        told = _named(state, entry)
        tests = _tests(shell, state, told, about)
        refuse_jumps(near, tests)
        (kept,) = entries_of(tests, stamp)
        settling = EntrySettled(
            **stamp, entry=entry, how="confirmed", by=about.by, measurement=kept.id
        )
        return [kept, settling]

    _state, written = write(shell.state, decide)
    kept = only(written, MeasurementKept)
    return Answer(
        fields={"confirmed": {"entry": entry, **document_of(kept)}},
        text=f"Confirmed {entry} by {kept.by}: {kept.parameter} {level_words(kept)}, "
        f"recorded as {kept.id}.",
    )


def _tests(shell: Shell, state: State, told: LevelEntered, about: About) -> Tests:
    return Tests(
        subject=subject_of(shell, state, told.tank),
        about=about,
        taken_at=told.taken_at,
        typed=[Typed(parameter=told.parameter, level=told.value, text=told.typed)],
    )


def _who(asked: Asked) -> str:
    return typed_text(asked["by"] or local_user(), "--by", WORD_AT_MOST)


def _named(state: State, entry: str) -> LevelEntered:
    found = state.entered.get(entry)
    if found is not None:
        return found.told
    names = ", ".join(one.id for one in waiting_entries(state))
    raise InputError(
        Finding(
            what=f'nothing that waits is called "{entry}"',
            where="confirm",
            expected=f"one of: {names}" if names else "an entry; none waits",
            do="See `slackwater confirm`; nothing was written.",
        )
    )


def _unclear(entry: str | None, asked: Asked) -> Iterator[Finding]:
    if asked["refuse"]:
        yield from missing_why(REFUSE, asked["why"])
    elif asked["why"]:
        yield _loose("--why", f"beside {REFUSE}")
    if entry is None and (asked["refuse"] or asked["confirm"]):
        yield _loose(REFUSE if asked["refuse"] else "--confirm", "beside an id")
    if entry is not None and asked["tank"] is not None:
        yield _loose("--tank", "without an id")


def _loose(option: str, expected: str) -> Finding:
    return Finding(
        what=f"{option} has no meaning here",
        where="confirm",
        expected=f"{option} {expected}",
        do="See `slackwater confirm --help`; nothing was written.",
    )
