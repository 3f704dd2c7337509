"""`away` and `back`: nobody is there to test.

Floor 8. One subject: a declared absence. Laws here: what speaks against going is told
at once; while nobody tests nothing is corrected; coming back catches nothing up and
says what happened meanwhile.
"""

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import TypedDict, Unpack

import click

from slackwater.cli.absence import Check, Trip, checks
from slackwater.cli.document import REFUSED, Answer
from slackwater.cli.moments import Wall, typed_moment
from slackwater.cli.opening import (
    local_user,
    newest_approval,
    only,
    opened,
    write,
)
from slackwater.cli.render import local, span
from slackwater.cli.sheet import Stay, sheet
from slackwater.cli.shell import Shell, verb
from slackwater.cli.spans import typed_end
from slackwater.cli.standing import Standing, standing
from slackwater.cli.typed import WORD_AT_MOST, typed_text
from slackwater.errors import Finding, InputError
from slackwater.facts.events import (
    AnyEvent,
    DoseEnded,
    DoseMissed,
    HoldRaised,
    SpanMissed,
)
from slackwater.facts.inventory import left_ul
from slackwater.facts.safeguards import AwayDeclared, AwayEnded
from slackwater.facts.state import State
from slackwater.facts.tank import Machine
from slackwater.ledger.codec import timestamp
from slackwater.ledger.store import LedgerFile
from slackwater.ledger.views import Wanted, entries
from slackwater.outside.settings import read_machine
from slackwater.pump.outcome import Stamp
from slackwater.water.show import show_volume

# Longer than this nobody should leave a tank to pumps (common practice, no source).
AWAY_AT_MOST = timedelta(days=60)
TOLD_KINDS = ("dose_ended", "dose_missed", "span_missed", "hold_raised")


class Asked(TypedDict):
    """What is said with an absence."""

    begins: str | None
    until: str
    contact: str
    anyway: str | None
    by: str | None


_BY = click.option(
    "--by", metavar="NAME", help="Who says so.  [default: the local user]"
)


@verb(
    "away",
    epilog="Corrections are frozen from then on; upkeep runs in full for 14 days and "
    "at 90 % afterwards, unless a sound alkalinity probe tests all along. It lasts "
    "until `slackwater back`, and an alarm says so a day after its end. Print the "
    "sheet and put it beside the tank. Example: slackwater away --from 2026-07-04 "
    "--until 2026-07-18 --contact 'the neighbour, see the door'",
)
@click.option(
    "--from",
    "begins",
    metavar="TIME",
    help="When it begins.  [default: now]",
)
@click.option(
    "--until",
    required=True,
    metavar="DATE",
    help="The last day, or the time of coming back; at most 60 days ahead.",
)
@click.option("--contact", default="", metavar="TEXT", help="Whom to call; printed.")
@click.option(
    "--anyway",
    metavar="REASON",
    help="Declare it though not everything is as it should be.",
)
@_BY
def away(shell: Shell, **asked: Unpack[Asked]) -> Answer:
    """Say that nobody will be there, and whether that is wise.

    Looks at what runs and was missed, the time to the floor, reservoirs, approval,
    plan, calibrations, relays, tests, holds and contacts, and prints a sheet for
    whoever looks after the tank. It takes the place of one that was declared before.
    """
    who = typed_text(asked["by"] or local_user(), "--by", WORD_AT_MOST)
    contact = typed_text(asked["contact"], "--contact")
    told: list[Check] = []
    before: list[AwayDeclared] = []
    with opened(shell.state) as found:
        stood = standing(found, shell)

    def decide(state: State, stamp: Stamp) -> Sequence[AnyEvent]:
        trip = _trip(shell, stood, (state, stamp["at"]), asked)
        before[:] = [] if state.away is None else [state.away]
        told[:] = checks(trip)
        unmet = tuple(check.found for check in told if not check.is_met)
        if unmet and asked["anyway"] is None:
            return ()
        return [
            AwayDeclared(
                **stamp,
                from_at=trip.begins,
                until=trip.ends,
                by=who,
                contact=contact,
                unmet=unmet,
            )
        ]

    state, events = write(shell.state, decide)
    machine = _machine(shell, state)
    lines = [_line(check) for check in told]
    fields: dict[str, object] = {"checks": [_document(check) for check in told]}
    if not events:
        lines += ["", "Not declared. Mend these, or say --anyway REASON."]
        return Answer(
            fields={**fields, "declared": False},
            text="\n".join(lines),
            exit_code=REFUSED,
        )
    declared = only(events, AwayDeclared)
    page = sheet(
        Stay(
            tanks=[machine.tanks[name] for name in sorted(machine.tanks)],
            begins=declared.from_at,
            ends=declared.until,
            contact=declared.contact,
        )
    )
    fields |= {
        "declared": True,
        "from": timestamp(declared.from_at),
        "until": timestamp(declared.until),
        "sheet": page,
        "replaces": [_span_document(one) for one in before],
    }
    zone = machine.tanks[min(machine.tanks)].zone
    lines += [_replaced(one, zone) for one in before]
    return Answer(fields=fields, text="\n".join([*lines, "", page]))


def _replaced(gone: AwayDeclared, zone: str) -> str:
    begun, until = local(gone.from_at, zone), local(gone.until, zone)
    return (
        f"It takes the place of the absence from {begun} until {until} that {gone.by} "
        "declared."
    )


def _span_document(gone: AwayDeclared) -> dict[str, str]:
    begun, until = timestamp(gone.from_at), timestamp(gone.until)
    return {"from": begun, "until": until, "by": gone.by}


@verb("back", epilog="Example: slackwater back --note 'all animals open'")
@click.option("--note", default="", metavar="TEXT", help="For the record.")
@_BY
def back(shell: Shell, note: str, by: str | None) -> Answer:
    """Say that somebody is there again, and hear what happened.

    Corrections run again; nothing is caught up. Test before you change anything.
    """
    who = typed_text(by or local_user(), "--by", WORD_AT_MOST)
    word = typed_text(note, "--note")
    gone: list[AwayDeclared] = []

    def decide(state: State, stamp: Stamp) -> Sequence[AnyEvent]:
        gone[:] = [] if state.away is None else [state.away]
        return [AwayEnded(**stamp, by=who, note=word)] if gone else ()

    state, _events = write(shell.state, decide)
    if not gone:
        text = "No absence was declared."
        return Answer(fields={"changed": False}, text=text)
    with opened(shell.state) as found:
        happened = _happened(found.ledger, gone[0].from_at)
        utc = found.now.utc
    machine = _machine(shell, state)
    report = list(_report(state, machine, happened, (gone[0], utc)))
    return Answer(
        fields={
            "changed": True,
            "away_s": max(int((utc - gone[0].from_at).total_seconds()), 0),
            "doses": dict(sorted(happened.ended.items())),
            "missed": dict(sorted(happened.missed.items())),
            "holds": dict(sorted(happened.holds.items())),
            "left_ul": {
                name: left_ul(machine, state, name)
                for name in sorted(machine.reservoirs)
            },
        },
        text="\n".join(report),
    )


@dataclass(slots=True)
class _Happened:
    """Counts of what the ledger tells of an absence."""

    ended: Counter[str] = field(default_factory=Counter)
    missed: Counter[str] = field(default_factory=Counter)
    holds: Counter[str] = field(default_factory=Counter)


def _happened(ledger: LedgerFile, since: datetime) -> _Happened:
    found = _Happened()
    for entry in entries(ledger, Wanted(kinds=TOLD_KINDS, since=since)):
        event = entry.event
        if isinstance(event, DoseEnded):
            found.ended[event.how] += 1
        elif isinstance(event, DoseMissed):
            code = event.reasons[-1].code if event.reasons else "unknown"
            found.missed[str(code)] += 1
        elif isinstance(event, SpanMissed):
            found.missed[str(event.reasons[-1].code)] += event.doses
        elif isinstance(event, HoldRaised):
            found.holds[str(event.reason.code)] += 1
    return found


def _report(
    state: State,
    machine: Machine,
    happened: _Happened,
    when: tuple[AwayDeclared, datetime],
) -> Iterator[str]:
    gone, utc = when
    yield f"Welcome back after {span(max(utc - gone.from_at, timedelta()))}."
    yield f"Doses    {_counts(happened.ended) or 'none ended'}"
    yield f"Missed   {_counts(happened.missed) or 'none'}; none is made up"
    yield f"Held     {_counts(happened.holds) or 'never'}"
    if state.holds:
        yield f"Standing {', '.join(sorted(state.holds))}: `slackwater release`"
    for name in sorted(machine.reservoirs):
        yield f"Bottle   {name}: {show_volume(left_ul(machine, state, name))} left"
    yield "Test alkalinity and look at the animals before you change anything;"
    yield "corrections of the plan run again from now on."


def _counts(counted: Counter[str]) -> str:
    return ", ".join(f"{count} {word}" for word, count in sorted(counted.items()))


def _trip(
    shell: Shell, stood: Standing, at: tuple[State, datetime], asked: Asked
) -> Trip:
    state, now = at
    machine = _machine(shell, state)
    zone = machine.tanks[min(machine.tanks)].zone
    begin = Wall(zone=zone, now=now, option="--from", ahead=AWAY_AT_MOST)
    end = Wall(zone=zone, now=now, option="--until", ahead=AWAY_AT_MOST)
    begins = typed_moment(_midnight(asked["begins"]), begin)
    ends = typed_end(asked["until"], end)
    if not begins < ends:
        raise InputError(_reversed(begins, ends, zone))
    return Trip(
        state=state,
        stood=stood,
        now=now,
        begins=begins,
        ends=ends,
        config=shell.config,
    )


def _midnight(text: str | None) -> str | None:
    """A day alone begins at its midnight."""
    is_day = text is not None and len(text.strip()) == len("2026-05-03")
    return f"{text} 00:00" if is_day else text


def _machine(shell: Shell, state: State) -> Machine:
    approved = newest_approval(state)
    return approved.machine if approved else read_machine(shell.config)


def _line(check: Check) -> str:
    if check.is_met:
        return f"go     {check.found}"
    return f"no-go  {check.found}: {check.advice}"


def _document(check: Check) -> dict[str, object]:
    return {
        "check": check.name,
        "met": check.is_met,
        "found": check.found,
        "do": "" if check.is_met else check.advice,
    }


def _reversed(begins: datetime, ends: datetime, zone: str) -> Finding:
    return Finding(
        what=f"it would end on {local(ends, zone)} and begin on {local(begins, zone)}",
        where="--from",
        expected="a beginning before the end",
        do="Nothing was written; give both again.",
    )
