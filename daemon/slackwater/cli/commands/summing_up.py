"""`report`: a month of a tank on paper.

Floor 8. One subject: the monthly report. Laws here: text, HTML and document come from
the same past; nothing is written but the page that was asked for.
"""

from datetime import datetime, timedelta
from pathlib import Path
from typing import TypedDict, Unpack

import click

from slackwater.cli.amounts import effect_decimal
from slackwater.cli.chronicle import Stretch, chronicle
from slackwater.cli.described import described, tanks_of, zone_of
from slackwater.cli.document import Answer
from slackwater.cli.leaf import MARK, Leaf, leaf_text, leaves_html
from slackwater.cli.month import Past, added, apart, month_leaf, month_of, values_of
from slackwater.cli.opening import Opened, opened
from slackwater.cli.past_parts import act_documents, pumped_document, test_document
from slackwater.cli.report.filing import write_page
from slackwater.cli.shell import Shell, verb
from slackwater.errors import Finding, InputError
from slackwater.facts.tank import Machine
from slackwater.ledger.codec import timestamp
from slackwater.ledger.history import read_history
from slackwater.water.parameters import parameter_named


class Asked(TypedDict):
    """What is asked of a report."""

    tank: str | None
    html: Path | None


@verb(
    "report",
    epilog="Examples: slackwater report; slackwater report 2026-05 --tank reef; "
    "slackwater report 2026-05 --html may.html",
)
@click.argument("month", required=False, metavar="[MONTH]")
@click.option("--tank", metavar="ID", help="Only this tank.  [default: all]")
@click.option(
    "--html",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE",
    help="Write it as a page for a browser or a printer as well.",
)
def report(shell: Shell, month: str | None, **asked: Unpack[Asked]) -> Answer:
    """Print a month of each tank.

    Values, doses, changes and by whom, with a line to sign. The month it is now unless
    one is named. It fits a page of 80 columns: `slackwater report 2026-05 | lp`.
    """
    with opened(shell.state) as found:
        machine = described(shell, found.state)
        tanks = tanks_of(found.state, machine, asked["tank"])
        pasts = [_past(found, shell, machine, (tank, month)) for tank in tanks]
    if not pasts:
        raise InputError(_nothing())
    leaves = [month_leaf(past) for past in pasts]
    written = _write(asked["html"], leaves)
    return Answer(
        fields={
            "month": pasts[0].month.text,
            "tanks": [_document(past) for past in pasts],
            "html": None if asked["html"] is None else str(asked["html"]),
        },
        text="\n\n\n".join([*map(leaf_text, leaves), *written]),
    )


def _past(
    found: Opened, shell: Shell, machine: Machine | None, about: tuple[str, str | None]
) -> Past:
    tank, named = about
    zone, now = zone_of(machine, [tank]), found.now.utc
    month = month_of(named, zone, now)
    until = _until(month.ends, now)
    stretch = Stretch(since=month.begins, until=until, tanks=(tank,))
    return Past(
        tank=tank,
        zone=zone,
        month=month,
        now=now,
        found=chronicle(found.ledger, shell.state, stretch, machine),
        probe_days=read_history(found.ledger, tank, month.begins, until).probe_days,
        machine=machine,
    )


def _until(ends: datetime, now: datetime) -> datetime:
    """The end of what has passed, with the entry of this very moment in it."""
    return min(ends, now + timedelta(seconds=1))


def _write(path: Path | None, leaves: list[Leaf]) -> list[str]:
    if path is None:
        return []
    write_page(path, leaves_html(leaves), MARK)
    return [f"Written to {path}."]


def _document(past: Past) -> dict[str, object]:
    tank = past.described
    people, guards = apart(past.found.acts)
    return {
        "tank": past.tank,
        "zone": past.zone,
        "begins": timestamp(past.month.begins),
        "ends": timestamp(past.month.ends),
        "values": [
            {
                "parameter": one.parameter,
                "unit": parameter_named(one.parameter, where="").canonical_unit,
                "from": one.source,
                "count": one.count,
                "first": str(one.first),
                "last": str(one.last),
                "median": str(one.middle),
                "lowest": str(one.lowest),
                "highest": str(one.highest),
                "below": list(one.below),
            }
            for one in values_of(past)
        ],
        "doses": [pumped_document(one) for one in past.found.pumped],
        "added": {}
        if tank is None
        else {
            name: effect_decimal(name, amount, tank)
            for name, amount in added(past).items()
        },
        "tests": [test_document(one) for one in past.found.tests],
        "changes": act_documents(people, past.found),
        "guards": act_documents(guards, past.found),
    }


def _nothing() -> Finding:
    return Finding(
        what="no tank is known",
        where="report",
        expected="an approved plan, the files, or a test on record",
        do="Name the directory of the files with --config.",
    )
