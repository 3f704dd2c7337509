"""`rehearse`: the plan, run ahead of time through the real gate.

Floor 8. One subject: running a rehearsal and telling it. Laws here: nothing here can
reach a pump; the ledger is read and never written; text, document and page come from
one record; a report made with faults leaves a note that an approval asks for.
"""

import gc
import hashlib
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import TypedDict, Unpack

import click
import rfc8785

from slackwater import __version__
from slackwater.cli.document import REFUSED, Answer, document_text
from slackwater.cli.reading import read_files
from slackwater.cli.receipt import Receipt, note
from slackwater.cli.rehearsal_text import rehearsal_text
from slackwater.cli.report.document import report_document
from slackwater.cli.report.extent import DEFAULT_DAYS, first_day, past_day
from slackwater.cli.report.filing import write_page
from slackwater.cli.report.full import full_text
from slackwater.cli.report.made import Report, Wishes, make_report
from slackwater.cli.report.page import page
from slackwater.cli.report.past import read_past
from slackwater.cli.report.schema import schema_text
from slackwater.cli.report.summary import is_unsound
from slackwater.cli.report.text import summary_text
from slackwater.cli.shell import Shell, verb
from slackwater.cli.spreading import on_all_cores
from slackwater.errors import Finding, InputError
from slackwater.outside.settings.plan_model import NEWEST_DAY, OLDEST_DAY

MOST_DAYS = 3660
# Both clock changes of a zone come within a year.
CLOCK_CHANGES_AHEAD = timedelta(days=366)
_DAY = click.DateTime(["%Y-%m-%d"])


class Asked(TypedDict):
    """What a person may ask for."""

    days: int | None
    first: datetime | None
    visit: datetime | None
    faults: bool
    html: Path | None
    full: bool
    every: bool
    schema: bool


@verb(
    "rehearse",
    epilog="A rehearsal cannot dose: it has no broker, no pump and no clock of its "
    "own. It reads the ledger, where there is one, for what was approved before, and "
    "writes nothing but the page you ask for and, with --faults, a note beside the "
    "ledger, without which `slackwater approve` approves nothing. Exit code 1 when a "
    "check finds something, a dose would be missed, or a fault ends badly. Stock "
    "solutions can burn skin and eyes: wear eye protection, never mix them.",
)
@click.option(
    "--days",
    type=click.IntRange(1, MOST_DAYS),
    metavar="N",
    help="How many local days; the next clock change each way comes on top.  "
    "[default: 30, or as many as dated corrections need]",
)
@click.option(
    "--from",
    "first",
    type=_DAY,
    metavar="DATE",
    help="First local day, like 2026-05-03; none that is over.  [default: the plan's "
    "start, or the day of the ledger's newest entry where that is later]",
)
@click.option(
    "--visit",
    type=_DAY,
    metavar="DATE",
    help="When somebody looks next, a day ahead: do the bottles last until then?  "
    "[default: the return that `slackwater away` was told]",
)
@click.option(
    "--faults",
    is_flag=True,
    help="Also let some sixty things go wrong, one after the other; an approval "
    "needs a report made with them.",
)
@click.option(
    "--html",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE",
    help="Write the report as one page that needs no network.",
)
@click.option("--full", is_flag=True, help="Print every table, not one screen.")
@click.option("--doses", "every", is_flag=True, help="As --full, and each dose too.")
@click.option("--schema", is_flag=True, help="Print the JSON Schema of the document.")
def rehearse(shell: Shell, **asked: Unpack[Asked]) -> Answer:
    """Run the plan ahead of time.

    The same decisions as in the daemon, under a virtual clock, with pump nodes that
    answer when they are asked and a tank that lives on what they give.
    """
    if asked["schema"]:
        return Answer(raw=(schema_text(),))
    files = read_files(shell.config)
    wishes = _wishes(asked)
    past = read_past(shell.state, files.machine)
    first = first_day(files.plan, files.machine, past.at)
    _refuse_far(wishes, first)
    _refuse_past(wishes, first, past_day(files.machine, past.at))
    with _nothing_collected():
        report = make_report(files, past, wishes, on_all_cores)
        document = report_document(report)
    if asked["html"] is not None:
        write_page(asked["html"], page(document))
    answer = Answer(
        fields=document,
        text=_text(report, document, asked),
        findings=report.done.findings,
        is_told=True,
        exit_code=REFUSED if _is_bad(report) else 0,
        encode=_canonical,
    )
    return _noted(shell, report, answer)


def _canonical(document: Mapping[str, object]) -> str:
    """The document as RFC 8785 has it: equal reports are equal bytes."""
    return rfc8785.dumps(dict(document)).decode()  # type: ignore[arg-type]  # JSON by its schema


def _noted(shell: Shell, report: Report, answer: Answer) -> Answer:
    """Leave the note for an approval; where that fails a person must know."""
    receipt = _receipt(report, answer)
    if receipt is None or note(shell.state, receipt):
        return answer
    text = f"Not noted in {shell.state}: this user may not write there."
    again = "Rehearse as the user who approves."
    return replace(answer, text=f"{answer.text}\n{text} {again}")


def _receipt(report: Report, answer: Answer) -> Receipt | None:
    """The note of a report; None without faults, a ledger or a digest to stand for."""
    run, digest, ledger = report.faults, report.done.digest, report.past.ledger_id
    if run is None or not (digest and ledger):
        return None
    text = document_text("rehearse", answer).encode()
    return Receipt(
        digest=digest,
        ledger=ledger,
        software=__version__,
        report=hashlib.sha256(text).hexdigest(),
        tried=len(run.tried),
        missed=len(report.done.missed),
        first=report.done.record.first,
        until=report.done.record.until,
        unsound=tuple(one.case for one in run.tried if not one.is_sound),
    )


def _wishes(asked: Asked) -> Wishes:
    first, visit = asked["first"], asked["visit"]
    return Wishes(
        days=asked["days"],
        first=None if first is None else first.date(),
        visit=None if visit is None else visit.date(),
        faults=asked["faults"],
    )


def _refuse_far(wishes: Wishes, starts: date) -> None:
    """Refuse days that no plan can have.

    Raises: InputError.
    """
    days = wishes.days or DEFAULT_DAYS
    ahead = timedelta(days=days) + CLOCK_CHANGES_AHEAD
    for option, day in (("--from", wishes.first or starts), ("--visit", wishes.visit)):
        if day is not None and not OLDEST_DAY <= day <= NEWEST_DAY - ahead:
            raise InputError(
                Finding(
                    what=f"{days} days and {day} cannot be rehearsed together",
                    where=option,
                    expected=f"days between {OLDEST_DAY} and {NEWEST_DAY}",
                    do="Name a day near the plan's start, or fewer days.",
                )
            )


def _refuse_past(wishes: Wishes, starts: date, today: date | None) -> None:
    """Refuse days that are over: levels and bottles are those of the newest entry.

    Without a ledger nobody knows which day it is, and nothing can be approved.
    Raises: InputError.
    """
    first = wishes.first or starts
    for option, day, from_day in (
        ("--from", wishes.first, today),
        ("--visit", wishes.visit, min(today or first, first)),
    ):
        if day is not None and from_day is not None and day < from_day:
            is_of = "the ledger's newest entry" if today else "the first rehearsed day"
            raise InputError(
                Finding(
                    what=f"{day} is past: {is_of} is of {from_day}"
                    if today
                    else f"{day} lies before {is_of}, {from_day}",
                    where=option,
                    expected=f"a day from {from_day} on",
                    do=f"Name a later day, or leave out {option}.",
                )
            )


def _text(report: Report, document: Mapping[str, object], asked: Asked) -> str:
    full = asked["full"] or asked["every"]
    parts = [summary_text(report, full=full)]
    if full:
        parts += ["", rehearsal_text(report.done, every=asked["every"])]
        parts.append(full_text(report, document))
    if asked["html"] is not None:
        parts.append(f"Written: {asked['html']}. Open it in a browser, and read it.")
    return "\n".join(parts)


def _is_bad(report: Report) -> bool:
    """Whether anything was refused, missed, passed, or ended badly."""
    unsound = is_unsound(report.faults)
    passed = any(near.share > 1 for near in report.done.record.nearest)
    return bool(report.done.findings or report.done.missed or unsound or passed)


@contextmanager
def _nothing_collected() -> Iterator[None]:
    """Spare the search for rings: a rehearsal makes hardly any, and many records."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()
