"""`history`: the values of one parameter, with what became of each.

Floor 8. One subject: looking back. Laws here: nothing is left out because it looks
wrong, it is marked; nothing is written.
"""

from collections.abc import Iterator, Sequence
from datetime import timedelta

import click

from slackwater.cli.document import Answer
from slackwater.cli.marks import ProbeRow, TestedRow, probe_rows, tested_rows
from slackwater.cli.measuring import document_of, level_words
from slackwater.cli.opening import opened
from slackwater.cli.render import local, table
from slackwater.cli.shell import Shell, verb
from slackwater.cli.subject import Subject, subject_of
from slackwater.ledger.codec import timestamp
from slackwater.ledger.history import read_history
from slackwater.ledger.measured import all_measured
from slackwater.water.parameters import parameter_named
from slackwater.water.show import show_level

USUAL_DAYS = 28
LONGEST_DAYS = 3660
# A wall time without its zone, which stands above the table.
MINUTES = len("2026-05-03 09:30")


@verb(
    "history",
    epilog="Outliers are marked by comparing each value with its neighbours of the "
    "same method (Hampel 1974); tests by two methods that cannot both be right are "
    "marked as unlike each other. All stay where they are. Example: slackwater history "
    "alkalinity --days 90",
)
@click.argument("parameter", metavar="PARAMETER")
@click.option(
    "--days",
    type=click.IntRange(1, LONGEST_DAYS),
    default=USUAL_DAYS,
    show_default=True,
    metavar="N",
    help="So many days back.",
)
@click.option("--tank", metavar="ID", help="Which tank.  [default: the only one]")
def history(shell: Shell, parameter: str, *, days: int, tank: str | None) -> Answer:
    """List the values of one parameter.

    Tests by hand and of laboratories with time, method and marks; probes by the day.
    What was corrected or struck is shown as well, and says so.
    """
    item = parameter_named(parameter, where="history")
    with opened(shell.state) as found:
        subject = subject_of(shell, found.state, tank)
        until = found.now.utc
        since = until - timedelta(days=days)
        past = read_history(found.ledger, subject.tank, since, until)
        tests = all_measured(found.ledger, subject.tank, since, until)
    tested = tested_rows([one for one in tests if one.kept.parameter == item.id])
    probed = probe_rows([one for one in past.probe_days if one.parameter == item.id])
    cells = [
        *(_test_cells(row, subject.zone) for row in tested),
        *(_probe_cells(row) for row in probed),
    ]
    return Answer(
        fields={
            "tank": subject.tank,
            "parameter": item.id,
            "unit": item.canonical_unit,
            "since": timestamp(since),
            "until": timestamp(until),
            "values": [_test_document(row) for row in tested],
            "probe_days": [_probe_document(row) for row in probed],
        },
        text="\n".join(_page(subject, item.name, days, cells)),
    )


def _page(
    subject: Subject, name: str, days: int, rows: Sequence[tuple[str, ...]]
) -> Iterator[str]:
    if not rows:
        yield f"No value of {name} in {subject.tank} within {days} days."
        yield f'Write one down with `slackwater record {name}="..." --method KIT`.'
        return
    yield f"{name} in {subject.tank}, the last {days} days ({subject.zone}):"
    yield table(("|taken", ">level", "|from", "method", "|id", "marks"), rows)


def _test_cells(row: TestedRow, zone: str) -> tuple[str, ...]:
    kept = row.value.kept
    return (
        local(kept.taken_at, zone)[:MINUTES],
        level_words(kept),
        kept.provenance,
        " ".join(word for word in (kept.method, kept.lot) if word),
        kept.id,
        "; ".join(row.marks),
    )


def _probe_cells(row: ProbeRow) -> tuple[str, ...]:
    day = row.value
    shown, low, high = (
        show_level(day.parameter, level)
        for level in (day.median, day.lowest, day.highest)
    )
    within = f"{day.count} readings, {low} to {high}"
    at = f"{day.at:%Y-%m-%d} UTC"
    return at, shown, "probe", day.probe, "", "; ".join((within, *row.marks))


def _test_document(row: TestedRow) -> dict[str, object]:
    one = row.value
    return {
        **document_of(one.kept),
        "mark": one.mark,
        "marked_by": one.by,
        "why": one.why,
        "marks": list(row.marks),
    }


def _probe_document(row: ProbeRow) -> dict[str, object]:
    day = row.value
    return {
        "probe": day.probe,
        "day": day.at.date().isoformat(),
        "count": day.count,
        "median": str(day.median),
        "lowest": str(day.lowest),
        "highest": str(day.highest),
        "marks": list(row.marks),
    }
