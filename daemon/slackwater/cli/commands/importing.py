"""`import`: a laboratory's report becomes measurements.

Floor 8. One subject: taking a report in. Laws here: everything that is wrong with file,
mapping and sample comes out at once; a report is stored whole, in one append, or not at
all; a dry run shows the same and stores nothing; a wrong one is struck whole.
"""

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TypedDict, Unpack

import click

from slackwater.cli.correcting import missing_why
from slackwater.cli.document import Answer
from slackwater.cli.lab_again import refuse_again
from slackwater.cli.lab_filing import (
    Place,
    Wish,
    entries_of,
    place_for,
    refuse_mismatch,
)
from slackwater.cli.lab_striking import STRIKE, Struck, report_to_strike
from slackwater.cli.lab_text import Filed, report_document, report_text
from slackwater.cli.opening import (
    Opened,
    local_user,
    newest_approval,
    opened,
    write,
)
from slackwater.cli.shell import Shell, verb
from slackwater.cli.typed import WORD_AT_MOST, typed_text
from slackwater.cli.typed_levels import settled
from slackwater.errors import Finding, InputError
from slackwater.facts.events import AnyEvent
from slackwater.facts.state import State
from slackwater.facts.tank import Machine
from slackwater.ledger.store import LedgerFile
from slackwater.outside.lab import LabReport, Wishes, read_report
from slackwater.outside.settings import read_machine
from slackwater.pump.outcome import Stamp
from slackwater.service.memory import LIVE_NAME


class Asked(TypedDict):
    """The options of the verb."""

    tank: str
    sample: str
    sampled_at: str
    mapping: Path | None
    skip: tuple[str, ...]
    confirm: tuple[str, ...]
    laboratory: str
    dry_run: bool
    strike: str | None
    why: str
    by: str | None


@verb(
    "import",
    epilog="A mapping is a small TOML file with tables [columns], [elements], [units] "
    "and [limits], and with decimals, skip, below and samples above them; whatever "
    "cannot be read is refused with the line to add. Examples: slackwater import "
    "report.csv --sample S-7 --skip Au --dry-run; slackwater import --strike "
    "5e0d1c2ba9f7 --why 'it was of the other tank'",
)
@click.argument("file", type=click.Path(path_type=Path), required=False)
@click.option(
    "--tank", default="", metavar="ID", help="Which tank, where there are more."
)
@click.option("--sample", default="", metavar="ID", help="The sample it is about.")
@click.option(
    "--sampled-at",
    default="",
    metavar="TIME",
    help='Or when the water was taken, like "2026-05-03 10:00".',
)
@click.option(
    "--mapping",
    type=click.Path(path_type=Path),
    metavar="FILE.toml",
    help="Teaches the layout of a laboratory.",
)
@click.option(
    "--skip",
    multiple=True,
    metavar="NAME",
    help="Leave out a column or an element; may be repeated.",
)
@click.option(
    "--confirm",
    multiple=True,
    metavar="ELEMENT",
    help="Its value is right although it looks implausible; may be repeated.",
)
@click.option("--laboratory", default="", metavar="TEXT", help="Who measured it.")
@click.option(
    "--dry-run", is_flag=True, help="Show what would be stored, store nothing."
)
@click.option(
    STRIKE, metavar="REPORT", help="This report should not be there: all its values."
)
@click.option("--why", default="", metavar="TEXT", help="Why it is struck.")
@click.option("--by", metavar="NAME", help="Who imports.  [default: the local user]")
def import_report(shell: Shell, file: Path | None, **asked: Unpack[Asked]) -> Answer:
    """Take in a laboratory's report, CSV or JSON.

    Matched to its sample, or to the time the water was taken. It is judged by the next
    `slackwater assess`, which raises the alarms.
    """
    settled(_unclear(file, asked))
    by = typed_text(asked["by"] or local_user(), "--by", WORD_AT_MOST)
    if file is None:
        return _strike(
            shell, str(asked["strike"]), typed_text(asked["why"], "--why"), by
        )
    return _import(shell, file, asked, by)


def _import(shell: Shell, file: Path, asked: Asked, by: str) -> Answer:
    wish = Wish(
        tank=asked["tank"],
        sample=asked["sample"],
        sampled_at=asked["sampled_at"],
        laboratory=typed_text(asked["laboratory"], "--laboratory"),
    )
    with opened(shell.state) as found:
        machine = _machine(shell, found.state)
        report, place = _understood(found, machine, file, asked, wish)
        refuse_mismatch(report, place, machine.tanks[place.tank].zone)
        refuse_again(found.ledger, report, place.tank)
    laboratory = wish.laboratory or report.laboratory
    if not asked["dry_run"]:
        _store(shell, report, place, laboratory, by)
    filed = Filed(
        report=report,
        place=place,
        laboratory=laboratory,
        zone=machine.tanks[place.tank].zone,
        stored=not asked["dry_run"],
        program=shell.program,
        bands=machine.tanks[place.tank].bands,
    )
    return Answer(fields=report_document(filed), text=report_text(filed))


def _strike(shell: Shell, wanted: str, why: str, by: str) -> Answer:
    """Take a report out whole."""
    found = list[Struck]()

    def decide(_state: State, stamp: Stamp) -> Sequence[AnyEvent]:
        with LedgerFile.open(shell.state / LIVE_NAME, writable=False) as ledger:
            found[:] = [report_to_strike(ledger, wanted)]
        return found[0].entries(stamp, by, why)

    write(shell.state, decide)
    struck = found[0]
    return Answer(
        fields={
            "struck": {
                "report": struck.report.report,
                "tank": struck.report.tank,
                "values": list(struck.values),
                "why": why,
                "by": by,
            }
        },
        text=struck.words,
    )


def _unclear(file: Path | None, asked: Asked) -> Iterator[Finding]:
    """Findings when it is not clear whether a report comes in or goes out."""
    if (file is None) == (asked["strike"] is None):
        yield Finding(
            what="no file is named"
            if file is None
            else f"{STRIKE} and a file are given",
            where="import",
            expected=f"either a report's file, or {STRIKE} with a report that came in",
            do="As in `slackwater import report.csv --sample S-7`; see --help.",
        )
    elif asked["strike"] is not None:
        yield from missing_why(STRIKE, asked["why"])
    elif asked["why"]:
        yield Finding(
            what="--why has no meaning here",
            where="import",
            expected=f"--why beside {STRIKE}",
            do="Take it out.",
        )


def _understood(
    found: Opened, machine: Machine, file: Path, asked: Asked, wish: Wish
) -> tuple[LabReport, Place]:
    """The report and the water it is about.

    Raises: InputError with everything that is wrong with either.
    """
    findings: list[Finding] = []
    report: LabReport | None = None
    place: Place | None = None
    wishes = Wishes(
        mapping=asked["mapping"],
        skip=asked["skip"],
        confirm=asked["confirm"],
        sample=wish.sample,
    )
    try:
        report = read_report(file, wishes)
    except InputError as error:
        findings.extend(error.findings)
    label = report.label if report else ""
    try:
        place = place_for(found.ledger, machine, wish, found.now.utc, label)
    except InputError as error:
        findings.extend(error.findings)
    if report is None or place is None:
        raise InputError(findings)
    return report, place


def _store(
    shell: Shell, report: LabReport, place: Place, laboratory: str, by: str
) -> None:
    """Append the report whole.

    Raises: RefusedError when it came in meanwhile; the ledger errors.
    """

    def decide(_state: State, stamp: Stamp) -> Sequence[AnyEvent]:
        # Looked for again: what comes in between makes the append decide anew.
        with LedgerFile.open(shell.state / LIVE_NAME, writable=False) as ledger:
            refuse_again(ledger, report, place.tank)
        return entries_of(report, place, laboratory, stamp, by)

    write(shell.state, decide)


def _machine(shell: Shell, state: State) -> Machine:
    """The machine that was approved last, else the one of the files."""
    approved = newest_approval(state)
    return approved.machine if approved else read_machine(shell.config)
