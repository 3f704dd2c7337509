"""Knows a laboratory's report that came in before.

Floor 8. One subject: taking a report once. Laws here: the same values are the same
report, whatever file, order or unit they come in; one that shares most of its figures
with another is a part or a new edition of it and would count them twice; what was
struck came in as if it never had.
"""

from collections import defaultdict
from collections.abc import Mapping

from slackwater.cli.lab_striking import DIGITS_SHOWN, STRIKE
from slackwater.errors import Finding, RefusedError
from slackwater.facts.waters import MeasurementKept, ReportImported
from slackwater.ledger.by_time import told
from slackwater.ledger.measured import struck_since
from slackwater.ledger.store import LedgerFile
from slackwater.outside.lab import LabReport

# Figures that must be equal before a report is taken for another edition; limits and
# zeros do not count, a laboratory prints the same ones for every tank.
ALIKE_AT_LEAST = 3

_Figures = frozenset[tuple[str, float]]


def refuse_again(ledger: LedgerFile, report: LabReport, tank: str) -> None:
    """Refuse a report whose values stand in the ledger, all of them or most.

    Raises: RefusedError with the day they came in; ledger errors.
    """
    standing = _standing(ledger)
    for before in told(ledger, ReportImported):
        kept = standing.get(before.report, {}).get(before.tank)
        if kept is None:
            continue
        if before.report == report.digest:
            raise RefusedError(_same(report, before))
        alike = len(_figures(kept) & _own(report))
        fewer = min(len(_figures(kept)), len(_own(report)))
        if before.tank == tank and alike >= ALIKE_AT_LEAST and 2 * alike > fewer:
            raise RefusedError(_alike(report, before, alike))


def _standing(
    ledger: LedgerFile,
) -> Mapping[str, Mapping[str, list[MeasurementKept]]]:
    """What nobody struck or corrected, by report and tank."""
    kept = list(told(ledger, MeasurementKept))
    first = min((one.at for one in kept), default=None)
    struck = struck_since(ledger, first) if first else {}
    gone = struck.keys() | {one.supersedes for one in kept}
    found: dict[str, dict[str, list[MeasurementKept]]] = defaultdict(dict)
    for one in kept:
        if one.report and one.id not in gone:
            found[one.report].setdefault(one.tank, []).append(one)
    return found


def _figures(kept: list[MeasurementKept]) -> _Figures:
    return frozenset(
        (one.parameter, one.value) for one in kept if one.value and not one.censored
    )


def _own(report: LabReport) -> _Figures:
    return frozenset(
        (one.parameter, float(one.level))
        for one in report.values
        if one.level and not one.censored
    )


def _same(report: LabReport, before: ReportImported) -> Finding:
    return Finding(
        what=f"this report came in on {before.at:%Y-%m-%d}, as {before.file} for tank "
        f"{before.tank}",
        where=report.file,
        expected="a report that was not taken yet, in whatever file it comes",
        do=f"Nothing was stored twice. If that one was wrong:  {_strike(before)}",
    )


def _alike(report: LabReport, before: ReportImported, alike: int) -> Finding:
    return Finding(
        what=f"{alike} of its values came in on {before.at:%Y-%m-%d}, as {before.file}",
        where=report.file,
        expected="a report of another sample; the same values twice would count twice",
        do="Leave out with --skip what was stored, or take the first one out:  "
        f"{_strike(before)}",
    )


def _strike(before: ReportImported) -> str:
    name = before.report[:DIGITS_SHOWN]
    return f"slackwater import {STRIKE} {name} --why '...'"
