"""A laboratory's report that should not be there.

Floor 8. One subject: striking a report whole. Laws here: every value of it that still
stands is struck in one append, with one reason; the report stays readable and may come
in again; a report is named by the digits that were printed when it was stored.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from slackwater.errors import Finding, InputError, RefusedError
from slackwater.facts.waters import MeasurementKept, MeasurementStruck, ReportImported
from slackwater.ledger.by_time import BEGINNING, told
from slackwater.ledger.measured import struck_since
from slackwater.ledger.store import LedgerFile
from slackwater.pump.outcome import Stamp

STRIKE = "--strike"
DIGITS_SHOWN = 12
# Fewer digits could mean another report.
DIGITS_AT_LEAST = 6


@dataclass(frozen=True, slots=True, kw_only=True)
class Struck:
    """A report with the ids of those of its values that still stood."""

    report: ReportImported
    values: tuple[str, ...]

    def entries(self, stamp: Stamp, by: str, why: str) -> Sequence[MeasurementStruck]:
        """One entry for each value."""
        return [
            MeasurementStruck(**stamp, measurement=value, by=by, why=why)
            for value in self.values
        ]

    @property
    def words(self) -> str:
        """What was done, for people."""
        return (
            f"Struck: {value_words(len(self.values))} of report "
            f"{self.report.report[:DIGITS_SHOWN]}, {self.report.file} for tank "
            f"{self.report.tank}.\nThey stay readable and no longer count; the report "
            "may come in again."
        )


def value_words(count: int) -> str:
    """So many values, of which there may be one."""
    return f"{count} value" if count == 1 else f"{count} values"


def report_to_strike(ledger: LedgerFile, wanted: str) -> Struck:
    """The report that begins with these digits, with what still stands of it.

    Raises: InputError when none or several begin so, RefusedError when nothing of it
    stands any more; ledger errors.
    """
    digits = wanted.strip().lower()
    reports = {one.report: one for one in told(ledger, ReportImported)}
    found = [
        one
        for digest, one in reports.items()
        if len(digits) >= DIGITS_AT_LEAST and digest.startswith(digits)
    ]
    if len(found) != 1:
        raise InputError(_unknown(wanted, list(reports.values())))
    gone = struck_since(ledger, BEGINNING)
    kept = list(told(ledger, MeasurementKept))
    replaced = {one.supersedes for one in kept}
    values = tuple(
        one.id
        for one in kept
        if one.report == found[0].report and one.id not in gone.keys() | replaced
    )
    if not values:
        raise RefusedError(_gone(found[0]))
    return Struck(report=found[0], values=values)


def _unknown(wanted: str, reports: Sequence[ReportImported]) -> Finding:
    known = ", ".join(
        f"{one.report[:DIGITS_SHOWN]} ({one.file}, {one.at:%Y-%m-%d})"
        for one in reports[-DIGITS_SHOWN:]
    )
    return Finding(
        what=f'no report is called "{wanted}"',
        where=STRIKE,
        expected=f"the digits of one that came in: {known or 'none did'}",
        do="Name it as it was printed when it was stored; nothing was written.",
    )


def _gone(report: ReportImported) -> Finding:
    return Finding(
        what=f"nothing of {report.file} stands any more",
        where=STRIKE,
        expected="a report of which a value still counts",
        do="Nothing is left to strike; nothing was written.",
    )
