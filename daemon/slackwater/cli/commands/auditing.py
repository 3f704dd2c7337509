"""`audit`: what was done beside what was approved.

Floor 8. One subject: asking for an audit. Laws here: nothing is written but, where
that is asked for, what was found; the audit reads the ledgers and the approved bytes
and asks no daemon; findings end with 1.
"""

import json
import re
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from functools import partial
from typing import TypedDict, Unpack

import click

from slackwater import __version__
from slackwater.audit.audit import Audit
from slackwater.audit.audit import audit as compare
from slackwater.audit.intents import Departure
from slackwater.cli.audit_document import audit_fields, schema
from slackwater.cli.audit_text import WRONGS, audit_text
from slackwater.cli.document import FINE, REFUSED, Answer
from slackwater.cli.moments import Wall, typed_moment
from slackwater.cli.opening import local_user, newest_approval, opened, write
from slackwater.cli.shell import Shell, verb
from slackwater.errors import Finding, InputError
from slackwater.facts.audits import Audited
from slackwater.facts.events import AnyEvent
from slackwater.facts.state import State
from slackwater.ledger.store import LedgerFile
from slackwater.planning.wall import zone_named
from slackwater.pump.outcome import Stamp
from slackwater.service.auditing import books
from slackwater.service.memory import LIVE_NAME
from slackwater.service.promising import promised
from slackwater.service.replaying import Difference, Replay, replayed

A_DAY = timedelta(days=1)
KEPT, KEPT_AT_MOST = timedelta(days=3), timedelta(days=90)
_DATE = re.compile(r"\d{4}-\d{2}-\d{2}")


class Asked(TypedDict):
    """What time is to be audited."""

    day: str | None
    since: str | None
    until: str | None
    keep: bool
    replay: bool
    schema: bool


@verb(
    "audit",
    epilog="Exit code 1 when anything departs from what was approved. A dose that is "
    "missing for a reason on the list is no fault; it is not made up. Examples: "
    "slackwater audit; slackwater audit --day 2026-05-03; slackwater audit --from "
    "2026-05-01 --json. --keep is what the timer in systemd/ asks for each day.",
)
@click.option("--day", metavar="DATE", help="One day of the tank's wall clock.")
@click.option("--from", "since", metavar="TIME", help="From then on, like 2026-05-03.")
@click.option("--until", metavar="TIME", help="Before then.  [default: now]")
@click.option(
    "--keep", is_flag=True, help="Write down what was found, for alarms and summary."
)
@click.option(
    "--replay",
    is_flag=True,
    help="Decide again, by this version, what was decided live from what is stored; "
    "doses of a shadow run are left out.",
)
@click.option("--schema", is_flag=True, help="Print the JSON Schema of the document.")
def audit(shell: Shell, **asked: Unpack[Asked]) -> Answer:
    """Compare what was dosed with what was approved.

    By code that shares nothing with the daemon's decisions and reads only the ledger
    and the approved bytes. Without a time: the last 24 hours. Doses of a shadow run
    are compared as well, and each day with what the rehearsal promises of it. With
    --replay the decisions of live doses are made again by this version from their
    stored inputs, none of a shadow run: try a new one so, before it takes over.
    """
    if asked["schema"]:
        return Answer(raw=(json.dumps(schema(), indent=2) + "\n",))
    with opened(shell.state) as found:
        span = _span(asked, found.state, found.now.utc)
        now = found.now.utc
    read = books(shell.state, span, now)
    result = compare(replace(read, promised=promised(read.rules, span)), *span)
    again = _decided_again(shell, span) if asked["replay"] else None
    if asked["keep"]:
        write(shell.state, partial(_kept, result, again), makes_safer=True)
    differences = () if again is None else again.differences
    return Answer(
        fields=audit_fields(result, again),
        text=audit_text(result, again),
        findings=[
            *(_finding(one) for one in result.departures),
            *(_difference(one) for one in differences),
        ],
        is_told=True,
        exit_code=REFUSED if result.departures or differences else FINE,
    )


def _decided_again(shell: Shell, span: tuple[datetime, datetime]) -> Replay:
    """The decisions of the live ledger in that time, made again by this version."""
    with LedgerFile.open(shell.state / LIVE_NAME, writable=False) as ledger:
        return replayed(ledger, *span)


def _kept(
    result: Audit, again: Replay | None, _state: State, stamp: Stamp
) -> Sequence[AnyEvent]:
    """The entry of an audit."""
    days = result.days.values()
    words = [f"{one.dose}: {one.what}" for one in result.departures]
    differences = () if again is None else again.differences
    words += [f"{one.dose}: now {one.now}, then {one.then}" for one in differences]
    return (
        Audited(
            **stamp,
            since=result.since,
            until=result.until,
            doses=sum(day.doses for day in days),
            given=sum(day.given for day in days),
            missing=len(result.missing),
            extra=result.count("extra"),
            altered=result.count("altered"),
            duplicate=result.count("duplicate"),
            unexplained=result.count("unexplained"),
            beyond=result.count("beyond"),
            replayed=0 if again is None else again.decisions,
            differing=len(differences),
            first=words[0] if words else "",
            version=__version__,
            by=local_user(),
        ),
    )


def _finding(one: Departure) -> Finding:
    return Finding(
        what=f"{one.wrong}: {one.what}",
        where=one.dose,
        expected=f"no dose {WRONGS[one.wrong]}",
        do="Hold everything with `slackwater hold`, look at the tank, and report this "
        "with the ledger: it is a fault of the program or of its ledger.",
    )


def _difference(one: Difference) -> Finding:
    return Finding(
        what=f"decided otherwise by version {__version__}: {one.now}",
        where=one.dose,
        expected=f"as it was decided then: {one.then}",
        do="Do not let this version take over before you know why; approve the plan "
        "again if the new way is right.",
    )


def _span(asked: Asked, state: State, now: datetime) -> tuple[datetime, datetime]:
    """From when to when, in UTC.

    Raises: InputError for times that contradict each other or are none.
    """
    if asked["day"] and (asked["since"] or asked["until"]):
        raise InputError(
            _wrong("--day is given with --from or --until", "a day, or two ends")
        )
    zone = _zone(state)
    if asked["day"]:
        return _day(asked["day"], Wall(zone=zone, now=now, option="--day"))
    until, since = now, None
    if asked["keep"] and not (asked["since"] or asked["until"]):
        return _kept_span(state, now)
    if asked["until"]:
        until = _moment(asked["until"], Wall(zone=zone, now=now, option="--until"))
    if asked["since"]:
        since = _moment(asked["since"], Wall(zone=zone, now=now, option="--from"))
    since = since or until - A_DAY
    if since >= until:
        raise InputError(_wrong("it ends before it begins", "--from before --until"))
    return since, until


def _kept_span(state: State, now: datetime) -> tuple[datetime, datetime]:
    """Three days, and whatever lies between the newest kept audit and them.

    A dose may begin a day after it is first due; so each is looked at when it is over.
    """
    since = now - KEPT
    if state.audited is not None:
        since = min(since, max(state.audited.until - KEPT, now - KEPT_AT_MOST))
    return since, now


def _day(text: str, wall: Wall) -> tuple[datetime, datetime]:
    """A day of the tank's wall clock, as far as it has passed."""
    if not _DATE.fullmatch(text.strip()):
        raise InputError(_wrong(f'"{text}" is no day', "one like 2026-05-03"))
    since = _moment(text, wall)
    # Arithmetic inside one zone is wall arithmetic: the next midnight.
    following = since.astimezone(zone_named(wall.zone)) + A_DAY
    return since, min(following.astimezone(UTC), wall.now)


def _moment(text: str, wall: Wall) -> datetime:
    """A time, or a date that stands for its first moment."""
    is_date = _DATE.fullmatch(text.strip())
    return typed_moment(f"{text.strip()} 00:00" if is_date else text, wall)


def _zone(state: State) -> str:
    """The wall clock times are read by: that of the first tank of the newest plan."""
    approved = newest_approval(state)
    tanks = [] if approved is None else sorted(approved.machine.tanks.items())
    return tanks[0][1].zone if tanks else "UTC"


def _wrong(what: str, expected: str) -> Finding:
    return Finding(
        what=what,
        where="audit",
        expected=expected,
        do="Nothing was compared; give the time again.",
    )
