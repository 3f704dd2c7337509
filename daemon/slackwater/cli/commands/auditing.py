"""`audit`: what was done beside what was approved.

Floor 8. One subject: asking for an audit. Laws here: nothing is written; the audit
reads the ledgers and the approved bytes and asks no daemon; findings end with 1.
"""

import json
import re
from datetime import UTC, datetime, timedelta
from typing import TypedDict, Unpack

import click

from slackwater.audit.intents import Departure
from slackwater.cli.audit_document import audit_fields, schema
from slackwater.cli.audit_text import WRONGS, audit_text
from slackwater.cli.document import FINE, REFUSED, Answer
from slackwater.cli.moments import Wall, typed_moment
from slackwater.cli.opening import newest_approval, opened
from slackwater.cli.shell import Shell, verb
from slackwater.errors import Finding, InputError
from slackwater.facts.state import State
from slackwater.planning.wall import zone_named
from slackwater.service.auditing import audited

A_DAY = timedelta(days=1)
_DATE = re.compile(r"\d{4}-\d{2}-\d{2}")


class Asked(TypedDict):
    """What time is to be audited."""

    day: str | None
    since: str | None
    until: str | None
    schema: bool


@verb(
    "audit",
    epilog="Exit code 1 when anything departs from what was approved. A dose that is "
    "missing for a reason on the list is no fault; it is not made up. Examples: "
    "slackwater audit; slackwater audit --day 2026-05-03; slackwater audit --from "
    "2026-05-01 --json",
)
@click.option("--day", metavar="DATE", help="One day of the tank's wall clock.")
@click.option("--from", "since", metavar="TIME", help="From then on, like 2026-05-03.")
@click.option("--until", metavar="TIME", help="Before then.  [default: now]")
@click.option("--schema", is_flag=True, help="Print the JSON Schema of the document.")
def audit(shell: Shell, **asked: Unpack[Asked]) -> Answer:
    """Compare what was dosed with what was approved.

    By code that shares nothing with the daemon's decisions and reads only the ledger
    and the approved bytes. Without a time: the last 24 hours. Doses of a shadow run
    are compared as well.
    """
    if asked["schema"]:
        return Answer(raw=(json.dumps(schema(), indent=2) + "\n",))
    with opened(shell.state) as found:
        span = _span(asked, found.state, found.now.utc)
        now = found.now.utc
    result = audited(shell.state, span, now)
    return Answer(
        fields=audit_fields(result),
        text=audit_text(result),
        findings=[_finding(one) for one in result.departures],
        is_told=True,
        exit_code=REFUSED if result.departures else FINE,
    )


def _finding(one: Departure) -> Finding:
    return Finding(
        what=f"{one.wrong}: {one.what}",
        where=one.dose,
        expected=f"no dose {WRONGS[one.wrong]}",
        do="Hold everything with `slackwater hold`, look at the tank, and report this "
        "with the ledger: it is a fault of the program or of its ledger.",
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
    if asked["until"]:
        until = _moment(asked["until"], Wall(zone=zone, now=now, option="--until"))
    if asked["since"]:
        since = _moment(asked["since"], Wall(zone=zone, now=now, option="--from"))
    since = since or until - A_DAY
    if since >= until:
        raise InputError(_wrong("it ends before it begins", "--from before --until"))
    return since, until


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
