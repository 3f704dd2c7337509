"""`ledger`: what happened, listed, exported and verified.

Floor 8. One subject: reading the record. Laws here: nothing is written; the document
and the CSV hold every field; the page holds one line for each row.
"""

from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TypedDict, Unpack, get_args

import click

from slackwater.cli.document import REFUSED, Answer
from slackwater.cli.render import table
from slackwater.cli.shell import Shell, verb
from slackwater.errors import Finding, InputError, LedgerDamagedError
from slackwater.facts.events import AnyEvent
from slackwater.ledger.chain import subject_of
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
# What of an entry is worth a place on the page, where it has it.
_SAID = (
    *("pump", "scope", "hold_id", "id", "task", "sample", "measurement", "parameter"),
    *("typed", "solution", "what", "remedy", "by", "how", "why", "note", "mode"),
)
# A screen or two; the document and the CSV hold everything unless told otherwise.
PAGE_ROWS = 40


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
@click.option("--until", metavar="TIME", help="Before then.")
@click.option(
    "--limit",
    type=click.IntRange(min=1),
    metavar="N",
    help=f"The newest so many.  [default: {PAGE_ROWS} on a page, else all]",
)
@click.option("--csv", "as_csv", is_flag=True, help="Print CSV.")
@click.option("--shadow", is_flag=True, help="The imagined doses of the shadow run.")
def ledger(shell: Shell, **asked: Unpack[Asked]) -> Answer:
    """List what happened; verify the record.

    `slackwater ledger verify` reads every entry and checks the chain.
    """
    if shell.json and asked["as_csv"]:
        raise InputError(_both())
    place = _place(shell, asked)
    if asked["act"] == "verify":
        return _verified(place)
    wanted = _wanted(asked, page=not (shell.json or asked["as_csv"]))
    with place.open() as file:
        if asked["rows"] == "entries":
            found = list(entries(file, wanted))[::-1]
            return _entries(found, as_csv=asked["as_csv"])
        lives = doses(file, wanted)[::-1]
    if asked["rows"] == "doses":
        return _doses(lives, as_csv=asked["as_csv"])
    return _days(totals(lives), as_csv=asked["as_csv"])


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


def _wanted(asked: Asked, *, page: bool) -> Wanted:
    return Wanted(
        kinds=asked["kind"],
        pump=asked["pump"],
        dose=asked["dose"],
        since=_time("--since", asked["since"]),
        until=_time("--until", asked["until"]),
        limit=asked["limit"] or (PAGE_ROWS if page else None),
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
    except ValueError as error:
        raise InputError(
            Finding(
                what=f'"{text}" is not a time',
                where=option,
                expected="a date, or a time like 2026-05-03T14:00+02:00",
                do="Without an offset it is UTC, as the record is.",
            )
        ) from error
    return at.replace(tzinfo=UTC) if at.tzinfo is None else at


def _entries(found: list[Entry], *, as_csv: bool) -> Answer:
    if as_csv:
        return Answer(raw=list(entries_csv(found)))
    rows = [
        (str(one.seq), _moment(one.event.at), one.event.kind, _gist(one.event))
        for one in found
    ]
    heads = (">no.", "at (UTC)", "kind", "what")
    return Answer(
        fields={"entries": [entry_document(one) for one in found]},
        text=table(heads, rows),
    )


def _gist(event: AnyEvent) -> str:
    """What an entry is about, in a few words."""
    words = [str(word) for word in subject_of(event)[:1] if word]
    for name in _SAID:
        value = getattr(event, name, "")
        if value:
            words.append(f"{name} {value}")
    words.extend(reason.text for reason in getattr(event, "reasons", ()))
    return ", ".join(words)


def _doses(lives: list[Life], *, as_csv: bool) -> Answer:
    if as_csv:
        return Answer(raw=list(lines_csv(lives)))
    rows = [
        (
            one.dose,
            one.word,
            show_volume(one.planned_ul),
            show_volume(one.charge_ul),
            show_volume(one.believed_ul),
            ", ".join((one.how, *one.reasons)).strip(", "),
        )
        for one in lives
    ]
    heads = ("dose", "now", ">planned", ">charged", ">believed", "how")
    return Answer(
        fields={"doses": [line_document(one) for one in lives]},
        text=table(heads, rows),
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
        text=table(heads, rows),
    )


def _moment(at: datetime) -> str:
    return f"{at:%Y-%m-%d %H:%M:%S}"


def _both() -> Finding:
    return Finding(
        what="--csv and --json are both given",
        where="ledger",
        expected="one form of output",
        do="Take one out.",
    )
