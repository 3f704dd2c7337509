"""`ledger`: what happened, listed, exported and verified.

Floor 8. One subject: reading the record. Laws here: nothing is written; the document
and the CSV hold every field; the page holds one line for each row but for what
decisions rest on, which is asked for by its kind.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TypedDict, Unpack, get_args

import click

from slackwater.cli.document import REFUSED, Answer
from slackwater.cli.gist import doses_of, gist
from slackwater.cli.long_absence import span_document, spans_in, spans_text
from slackwater.cli.render import table
from slackwater.cli.shell import Shell, verb
from slackwater.errors import Finding, InputError, LedgerDamagedError
from slackwater.facts.events import AnyEvent, SpanMissed
from slackwater.ledger.lives import Life, Total, totals
from slackwater.ledger.schema import Role
from slackwater.ledger.store import LedgerFile
from slackwater.ledger.views import (
    Wanted,
    doses,
    entries,
    entries_csv,
    entry_document,
    line_document,
    lines_csv,
)
from slackwater.ports import Entry
from slackwater.service.memory import LIVE_NAME, SHADOW_NAME
from slackwater.water.show import show_volume

KINDS = tuple(
    sorted(
        str(kind.__dataclass_fields__["kind"].default) for kind in get_args(AnyEvent)
    )
)
# What stands beside every decision, for a program to decide it again.
BESIDE = "inputs_kept"
TOLD = tuple(kind for kind in KINDS if kind != BESIDE)
# A screen or two; the document and the CSV hold everything unless told otherwise.
PAGE_ROWS = 40
MOST_ROWS = 10**9


class Asked(TypedDict):
    """What is asked of the record."""

    act: str | None
    rows: str
    kind: tuple[str, ...]
    pump: str
    dose: str
    since: str | None
    until: str | None
    limit: int | None
    as_csv: bool
    shadow: bool


@verb(
    "ledger",
    epilog="Examples: slackwater ledger --rows days; slackwater ledger --kind "
    "hold_raised --since 2026-05-01; slackwater ledger verify",
)
@click.argument("act", required=False, type=click.Choice(["verify"]))
@click.option(
    "--rows",
    type=click.Choice(["entries", "doses", "days"]),
    default="entries",
    show_default=True,
    help="Entries, one row a dose, or totals a day and pump.",
)
@click.option(
    "--kind",
    multiple=True,
    type=click.Choice(KINDS),
    metavar="KIND",
    help="Only entries of this kind; may be repeated.",
)
@click.option("--pump", default="", metavar="ID", help="Only this pump.")
@click.option("--dose", default="", metavar="ID", help="Only this dose.")
@click.option("--since", metavar="TIME", help="From then on, like 2026-05-03 (UTC).")
@click.option("--until", metavar="TIME", help="Before then (UTC).")
@click.option(
    "--limit",
    type=click.IntRange(1, MOST_ROWS),
    metavar="N",
    help=f"The newest so many.  [default: {PAGE_ROWS} on a page, else all]",
)
@click.option("--csv", "as_csv", is_flag=True, help="Print CSV.")
@click.option("--shadow", is_flag=True, help="The imagined doses of the shadow run.")
def ledger(shell: Shell, **asked: Unpack[Asked]) -> Answer:
    """List what happened; verify the record.

    `slackwater ledger verify` reads every entry and checks the chain.
    """
    _refuse_contradictions(shell, asked)
    place = _place(shell, asked)
    if asked["act"] == "verify":
        return _verified(place)
    is_page = not (shell.json or asked["as_csv"])
    limit = asked["limit"] or (PAGE_ROWS if is_page else None)
    # A day is the sum of all its doses: days are left out, never doses of a day.
    wanted = _wanted(asked, None if asked["rows"] == "days" else limit)
    with place.open() as file:
        if asked["rows"] == "entries":
            if is_page and not asked["kind"]:
                wanted = replace(wanted, kinds=TOLD)
            found = list(entries(file, wanted))[::-1]
            return _entries(found, as_csv=asked["as_csv"])
        lives = doses(file, wanted)[::-1]
        spans = spans_in(file, wanted)
    told = (
        _doses(lives, as_csv=asked["as_csv"])
        if asked["rows"] == "doses"
        else _days(totals(lives)[-(limit or 0) :], as_csv=asked["as_csv"])
    )
    return told if asked["as_csv"] else _with_spans(told, spans, asked["rows"])


def _with_spans(told: Answer, spans: Sequence[SpanMissed], rows: str) -> Answer:
    """Say which doses have no row: one entry holds all of a long absence."""
    below = f"They are in no row of these {rows}."
    return replace(
        told,
        fields={**told.fields, "long_absences": [span_document(one) for one in spans]},
        text=f"{told.text}{spans_text(spans, below)}",
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Place:
    """One of the two ledgers of a state directory."""

    path: Path
    role: Role

    def open(self) -> LedgerFile:
        return LedgerFile.open(self.path, self.role, writable=False)


def _place(shell: Shell, asked: Asked) -> _Place:
    if asked["shadow"]:
        return _Place(path=shell.state / SHADOW_NAME, role="shadow")
    return _Place(path=shell.state / LIVE_NAME, role="live")


def _verified(place: _Place) -> Answer:
    """Every fault there is; one that keeps the file from opening is one as well."""
    try:
        with place.open() as file:
            head, findings = file.head, file.verify_all()
    except LedgerDamagedError as error:
        return Answer(findings=error.findings, exit_code=REFUSED)
    return Answer(
        fields={"entries": head.seq, "sha256": head.sha256, "ledger": str(place.path)},
        text="" if findings else f"{head.seq} entries, an unbroken chain.",
        findings=findings,
        exit_code=REFUSED if findings else 0,
    )


def _wanted(asked: Asked, limit: int | None) -> Wanted:
    return Wanted(
        kinds=asked["kind"],
        pump=asked["pump"],
        dose=asked["dose"],
        since=_time("--since", asked["since"]),
        until=_time("--until", asked["until"]),
        limit=limit,
        newest_first=True,
    )


def _time(option: str, text: str | None) -> datetime | None:
    """A moment; one without an offset is UTC, as the record is.

    Raises: InputError.
    """
    if text is None:
        return None
    try:
        at = datetime.fromisoformat(text)
        # A day with an offset may lie beside the calendar.
        return (at.replace(tzinfo=UTC) if at.tzinfo is None else at).astimezone(UTC)
    except (ValueError, OverflowError) as error:
        raise InputError(
            Finding(
                what=f'"{text}" is not a time',
                where=option,
                expected="a date, or a time like 2026-05-03T14:00+02:00",
                do="Without an offset it is UTC, as the record is.",
            )
        ) from error


def _entries(found: list[Entry], *, as_csv: bool) -> Answer:
    if as_csv:
        return Answer(raw=list(entries_csv(found)))
    events = [one.event for one in found]
    names = doses_of(events)
    rows = [
        (str(one.seq), _moment(one.event.at), one.event.kind, gist(one.event, names))
        for one in found
    ]
    heads = (">no.", "|at (UTC)", "|kind", "what")
    return Answer(
        fields={"entries": [entry_document(one) for one in found]},
        text=_page(heads, rows),
    )


def _page(heads: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """A table, and what may be missing in it."""
    if not rows:
        return "Nothing that was asked for is on record."
    more = "\nOlder ones are left out: --limit N shows more."
    return table(heads, rows) + (more if len(rows) == PAGE_ROWS else "")


def _doses(lives: list[Life], *, as_csv: bool) -> Answer:
    if as_csv:
        return Answer(raw=list(lines_csv(lives)))
    rows = [
        (
            one.dose,
            one.word.replace("_", " "),
            show_volume(one.planned_ul),
            show_volume(one.charge_ul),
            show_volume(one.believed_ul),
            ", ".join((one.how, *one.reasons)).strip(", "),
        )
        for one in lives
    ]
    heads = ("|dose", "|now", ">planned", ">charged", ">believed", "how")
    return Answer(
        fields={"doses": [line_document(one) for one in lives]},
        text=_page(heads, rows),
    )


def _days(found: list[Total], *, as_csv: bool) -> Answer:
    if as_csv:
        return Answer(raw=list(lines_csv(found)))
    rows = [
        (
            str(one.local_day),
            one.pump,
            str(one.doses),
            str(one.missed),
            show_volume(one.charge_ul),
            show_volume(one.believed_ul),
        )
        for one in found
    ]
    heads = ("day", "pump", ">doses", ">missed", ">charged", ">believed")
    return Answer(
        fields={"days": [line_document(one) for one in found]},
        text=_page(heads, rows),
    )


def _moment(at: datetime) -> str:
    return f"{at:%Y-%m-%d %H:%M:%S}"


def _refuse_contradictions(shell: Shell, asked: Asked) -> None:
    """Refuse what could not all be answered.

    Raises: InputError.
    """
    narrowing = {**asked, "act": None, "rows": None, "shadow": None}
    if shell.json and asked["as_csv"]:
        raise InputError(_contradiction("--csv and --json are both given", "one form"))
    if asked["kind"] and asked["rows"] != "entries":
        what = f"--kind is given with --rows {asked['rows']}"
        raise InputError(_contradiction(what, "--kind with --rows entries"))
    if asked["act"] and any(narrowing.values()):
        what = "verify is asked for together with a part of the record"
        raise InputError(_contradiction(what, "verify alone: it reads every entry"))


def _contradiction(what: str, expected: str) -> Finding:
    return Finding(what=what, where="ledger", expected=expected, do="Take one out.")
