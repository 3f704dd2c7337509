"""`rehearse`: the plan, run ahead of time through the real gate.

Floor 8. One subject: running a rehearsal and telling it. Laws here: nothing here can
reach a pump; the text and the document come from one record.
"""

import gc
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date, datetime, timedelta

import click

from slackwater.cli.commands.checking import check_files
from slackwater.cli.document import REFUSED, Answer
from slackwater.cli.reading import digest_of, read_files
from slackwater.cli.rehearsal_document import Rehearsed, rehearsal_document
from slackwater.cli.rehearsal_text import rehearsal_text
from slackwater.cli.shell import Shell, verb
from slackwater.errors import Finding, InputError
from slackwater.outside.settings.plan_model import NEWEST_DAY, OLDEST_DAY
from slackwater.rehearsal.rehearsal import rehearse as run_ahead

MOST_DAYS = 3660
DEFAULT_DAYS = 30


@verb(
    "rehearse",
    epilog="A rehearsal cannot dose: it has no broker, no clock and no ledger. "
    "Exit code 1 when a check finds something or a dose would be missed.",
)
@click.option(
    "--days",
    type=click.IntRange(1, MOST_DAYS),
    default=DEFAULT_DAYS,
    show_default=True,
    metavar="N",
    help="How many local days.",
)
@click.option(
    "--from",
    "first",
    type=click.DateTime(["%Y-%m-%d"]),
    metavar="DATE",
    help="First local day, like 2026-05-03.  [default: the plan's start]",
)
@click.option("--doses", "every", is_flag=True, help="List every dose in the text too.")
def rehearse(shell: Shell, days: int, first: datetime | None, *, every: bool) -> Answer:
    """Run the plan ahead of time.

    The same decisions as in the daemon, under a virtual clock, with pump nodes that
    answer when they are asked.
    """
    files = read_files(shell.config)
    begin = first.date() if first else files.plan.starts
    _refuse_far(begin, days)
    with _nothing_collected():
        record = run_ahead(files.machine, files.plan, begin, days)
    done = Rehearsed(
        files=files,
        digest=digest_of(files),
        record=record,
        findings=check_files(files).findings,
    )
    return Answer(
        fields=rehearsal_document(done),
        text=rehearsal_text(done, every=every),
        findings=done.findings,
        is_told=True,
        exit_code=REFUSED if done.findings or done.missed else 0,
    )


def _refuse_far(begin: date, days: int) -> None:
    """Refuse days that no plan can have.

    Raises: InputError.
    """
    if OLDEST_DAY <= begin <= NEWEST_DAY - timedelta(days=days):
        return
    raise InputError(
        Finding(
            what=f"{days} days from {begin} on cannot be rehearsed",
            where="--from",
            expected=f"days between {OLDEST_DAY} and {NEWEST_DAY}",
            do="Name a day near the plan's start, or fewer days.",
        )
    )


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
