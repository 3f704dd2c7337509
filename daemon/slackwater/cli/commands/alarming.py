"""`alarms` and `ack`: what a person must know, and that he knows it.

Floor 8. One subject: alarms at the command line. Laws here: the most pressing comes
first; an acknowledgement ends no cause and releases no hold; a silence has an end.
"""

from collections.abc import Iterator, Sequence
from datetime import timedelta
from typing import TypedDict, Unpack

import click

from slackwater.alarms.words import (
    action,
    amounts,
    by_pressure,
    document,
    figures_words,
    first_aid,
    sentence,
)
from slackwater.cli.alarms_now import as_of_now, tanks_undosed
from slackwater.cli.document import FINE, REFUSED, Answer
from slackwater.cli.opening import (
    Opened,
    daemon_is_here,
    local_user,
    newest_approval,
    opened,
    write,
)
from slackwater.cli.render import local, span
from slackwater.cli.shell import Shell, verb
from slackwater.cli.tasks import UTC_ZONE
from slackwater.cli.typed import WORD_AT_MOST, typed_text
from slackwater.errors import Finding, InputError
from slackwater.facts.alarms import (
    SUPPRESSED_AT_MOST,
    AlarmChanged,
    AlarmWord,
    StandingAlarm,
)
from slackwater.facts.events import AnyEvent
from slackwater.facts.now import Now
from slackwater.facts.state import State
from slackwater.outside.glimpse import read_glimpse
from slackwater.pump.outcome import Stamp

HOURS_AT_MOST = int(SUPPRESSED_AT_MOST / timedelta(hours=1))


class Asked(TypedDict):
    """What is said of alarms."""

    every: bool
    silence: int | None
    note: str
    by: str | None


@verb(
    "alarms",
    epilog="Exit code 1 while a cause is still there, or pumps are enabled and no "
    "daemon runs. An alarm that is over stays on the list until somebody acknowledged "
    "it. Example: slackwater alarms --all",
)
@click.option("--all", "every", is_flag=True, help="Also what is over and was seen.")
def alarms(shell: Shell, *, every: bool) -> Answer:
    """List what is wrong, and what to do.

    One alarm for one root cause, the most pressing first: since when, how much, how
    long there is by now, and one thing to do. That no daemon runs leads them all.
    """
    with opened(shell.state) as found:
        state, now = found.state, found.now
    here = daemon_is_here(shell.state)
    is_here = state.running if here is None else here
    known = as_of_now(found, state.alarms.values(), is_here=is_here)
    shown = [
        one for one in by_pressure(known) if every or one.is_standing or one.wants_eyes
    ]
    # What is over presses nobody, however urgent it was.
    shown.sort(key=lambda one: not one.is_standing)
    stands = any(one.is_standing for one in shown)
    zones = _zones(state)
    lines = [] if is_here else [*_stopped(found, shell), ""]
    lines += [line for one in shown for line in (*_block(one, now, zones), "")]
    if not shown:
        lines.append("No alarm stands.")
    ails = stands or (not is_here and state.stage == "live")
    return Answer(
        fields={
            "daemon_is_here": is_here,
            "alarms": [document(one) for one in shown],
        },
        text="\n".join(lines).rstrip("\n"),
        exit_code=REFUSED if ails else FINE,
    )


@verb(
    "ack",
    epilog="It says that you know; it ends no cause and no hold, and it is said again "
    "when it grows worse. Examples: slackwater ack node-absent.shelf; slackwater ack "
    "--all; slackwater ack files-differ.all --silence 12",
)
@click.argument("names", metavar="[ALARM]...", nargs=-1)
@click.option("--all", "every", is_flag=True, help="Every alarm on the list.")
@click.option(
    "--silence",
    type=click.IntRange(1, HOURS_AT_MOST),
    metavar="HOURS",
    help=f"Send nothing of it for so long, {HOURS_AT_MOST} at most; then it is active "
    "again.",
)
@click.option("--note", default="", metavar="TEXT", help="What you do about it.")
@click.option("--by", metavar="NAME", help="Who says so.  [default: the local user]")
def ack(shell: Shell, names: tuple[str, ...], **asked: Unpack[Asked]) -> Answer:
    """Say that you know of an alarm.

    See `slackwater alarms` for their names.
    """
    if asked["every"] == bool(names):
        raise InputError(_one_of_both())
    who = typed_text(asked["by"] or local_user(), "--by", WORD_AT_MOST)
    note, silence = typed_text(asked["note"], "--note"), asked["silence"]
    to: AlarmWord = "acknowledged" if silence is None else "suppressed"

    def decide(state: State, stamp: Stamp) -> Sequence[AnyEvent]:
        wanted = _wanted(state, names, is_silence=silence is not None)
        until = None if silence is None else stamp["at"] + timedelta(hours=silence)
        return [
            AlarmChanged(**stamp, alarm=name, to=to, by=who, note=note, until=until)
            for name in wanted
        ]

    # It changes no dose, so a clock that is wrong keeps nobody from saying it.
    _state, written = write(shell.state, decide, makes_safer=True)
    told = [one.alarm for one in written if isinstance(one, AlarmChanged)]
    done = "Acknowledged" if silence is None else f"Silent for {silence} h"
    return Answer(
        fields={"to": to, "alarms": told},
        text=f"{done}: {', '.join(told)}." if told else "There was nothing to say.",
    )


def _stopped(found: Opened, shell: Shell) -> Iterator[str]:
    """That nobody doses and nobody judges, since when, and how long each tank has."""
    seen = read_glimpse(shell.state)
    yield "STOPPED No daemon runs on this ledger: nothing is dosed."
    if seen is not None:
        yield f"        It was last seen {span(found.now.utc - seen.at)} ago."
    yield "        What follows is how it was left; nobody looks for more."
    yield from (f"        {line}" for line in tanks_undosed(found))
    yield "        Do: start it. What was missed is not made up: `slackwater why`."


def _wanted(state: State, names: Sequence[str], *, is_silence: bool) -> list[str]:
    """The alarms that are meant.

    Raises: InputError with every name that is none.
    """
    listed = {
        name: one
        for name, one in sorted(state.alarms.items())
        if (one.is_standing if is_silence else one.is_standing or one.wants_eyes)
    }
    if not names:
        return [name for name, one in listed.items() if is_silence or one.wants_eyes]
    unknown = [_unknown(name, sorted(listed)) for name in names if name not in listed]
    if unknown:
        raise InputError(unknown)
    return list(dict.fromkeys(names))


def _zones(state: State) -> dict[str, str]:
    approved = newest_approval(state)
    tanks = {} if approved is None else approved.machine.tanks
    return {tank.id: tank.zone for tank in tanks.values()}


def _block(one: StandingAlarm, now: Now, zones: dict[str, str]) -> Iterator[str]:
    """One alarm: a line that names it, and what there is to know."""
    raised = one.raised
    zone = zones.get(next(iter(raised.tanks), ""), UTC_ZONE)
    since = f"{local(one.first.at, zone)} ({span(now.utc - one.first.at)})"
    stands = raised.priority.upper() if one.is_standing else "OVER"
    yield f"{stands:6}  {raised.alarm}  {_word(one, zone)}"
    figures = figures_words(raised)
    yield f"        {sentence(raised)}{f' ({figures})' if figures else ''}"
    if not one.is_standing:
        yield f"        It began {since}."
    else:
        yield f"        Since {since}. {amounts(raised, raised.hours_left)}".rstrip()
        yield f"        Do: {action(raised)}"
        aid = first_aid(raised)
        if aid:
            yield f"        First aid: {aid}"


def _word(one: StandingAlarm, zone: str) -> str:
    words = {
        "active": "nobody has acknowledged it",
        "acknowledged": f"acknowledged by {one.by}",
        "suppressed": "silent",
    }
    until = "" if one.until is None else f" until {local(one.until, zone)}"
    note = f' "{one.note}"' if one.note else ""
    over = words["acknowledged" if one.is_seen else "active"]
    if one.word == "active" and one.by:
        over = f"told again since {one.by} acknowledged it"
        return f"{over}{note}"
    return f"{words.get(one.word, over)}{until}{note}"


def _unknown(name: str, listed: Sequence[str]) -> Finding:
    return Finding(
        what=f'no alarm is called "{name}"',
        where="ack",
        expected=f"one of {', '.join(listed) or 'none, for there is none'}",
        do="Nothing was written. See `slackwater alarms`.",
    )


def _one_of_both() -> Finding:
    return Finding(
        what="which alarms you mean is not clear",
        where="ack",
        expected="names of alarms, or --all, not both",
        do="See `slackwater alarms`.",
    )
