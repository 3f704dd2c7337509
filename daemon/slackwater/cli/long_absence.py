"""Doses that one entry missed all together, because nobody was there for long.

Floor 8. One subject: such spans for people. Laws here: they are named wherever doses
are listed or counted, since no dose of theirs has a row of its own.
"""

from collections.abc import Iterator, Sequence
from contextlib import closing
from dataclasses import replace
from datetime import date
from pathlib import Path
from zoneinfo import ZoneInfo

from slackwater.facts.events import SpanMissed
from slackwater.facts.reasons import Code
from slackwater.ledger.codec import timestamp
from slackwater.ledger.schema import Role
from slackwater.ledger.store import LedgerFile
from slackwater.ledger.views import Wanted, entries
from slackwater.service.memory import LIVE_NAME, SHADOW_NAME
from slackwater.water.show import show_count, show_volume

KIND = "span_missed"
# What the word absence says by itself.
NOBODY = frozenset({Code.WINDOW_PASSED, Code.NOT_RUNNING})
LEDGERS: tuple[tuple[str, Role], ...] = ((LIVE_NAME, "live"), (SHADOW_NAME, "shadow"))


def spans_in(ledger: LedgerFile, wanted: Wanted) -> tuple[SpanMissed, ...]:
    """The long absences written down in a time; none where one dose is asked for.

    An entry of this kind names a line and no pump, so those of all pumps are given.
    Raises: LedgerDamagedError, LedgerBusyError, LedgerStorageError.
    """
    if wanted.dose:
        return ()
    these = replace(wanted, kinds=(KIND,), pump="", limit=None, newest_first=False)
    return tuple(_only_spans(ledger, these))


def span_of(state_dir: Path, dose: str, zone: str) -> SpanMissed | None:
    """The long absence in which a dose fell due, if its name lies in one.

    `zone` is that of its tank, whose local days the names of doses carry.
    Raises: the ledger errors.
    """
    line, day = line_and_day(dose)
    if day is None:
        return None
    for name, role in LEDGERS:
        path = state_dir / name
        if not path.exists():
            continue
        with closing(LedgerFile.open(path, role, writable=False)) as ledger:
            for span in _only_spans(ledger, Wanted(kinds=(KIND,))):
                if line == f"{span.tank}/{span.line}" and _holds(span, day, zone):
                    return span
    return None


def line_and_day(dose: str) -> tuple[str, date | None]:
    """Line and local day in `tank/line@2026-05-03#07`; no day in anything else."""
    line, _, rest = dose.partition("@")
    try:
        return line, date.fromisoformat(rest.partition("#")[0])
    except ValueError:
        return line, None


def spans_text(spans: Sequence[SpanMissed], where: str) -> str:
    """A sentence for each, to stand below a table; empty when there is none."""
    return "".join(f"\n{span_words(span)} {where}" for span in spans)


def span_words(span: SpanMissed) -> str:
    """What was missed, of which line and when (UTC)."""
    between = f"{span.first_due:%Y-%m-%d %H:%M} to {span.last_due:%Y-%m-%d %H:%M} UTC"
    return (
        f"{span.tank}/{span.line}: {show_count(span.doses, 'dose')}, "
        f"{show_volume(span.volume_ul)}, missed in a long absence from {between}, "
        f"in one entry.{_why(span)}"
    )


def _why(span: SpanMissed) -> str:
    """What kept them back besides; that nobody was there is said already."""
    others = [r.text for r in span.reasons if r.code not in NOBODY]
    return "".join(f" {text}" for text in others)


def span_document(span: SpanMissed) -> dict[str, object]:
    """The same as a document."""
    return {
        "line": f"{span.tank}/{span.line}",
        "first_due": timestamp(span.first_due),
        "last_due": timestamp(span.last_due),
        "doses": span.doses,
        "volume_ul": span.volume_ul,
        "reasons": [reason.code.value for reason in span.reasons],
    }


def _only_spans(ledger: LedgerFile, wanted: Wanted) -> Iterator[SpanMissed]:
    for entry in entries(ledger, wanted):
        if isinstance(entry.event, SpanMissed):
            yield entry.event


def _holds(span: SpanMissed, day: date, zone: str) -> bool:
    place = ZoneInfo(zone)
    first, last = (at.astimezone(place) for at in (span.first_due, span.last_due))
    return first.date() <= day <= last.date()
