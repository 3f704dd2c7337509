"""Tables, times and spans for people.

Floor 8. One subject: layout. Laws here: local time is written here and nowhere else
above the timetable; no colour carries a meaning; a table never cuts a figure off, and
one that its screen has no room for stands row below row.
"""

import io
from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from rich.box import SIMPLE_HEAD
from rich.console import Console
from rich.table import Table
from rich.text import Text

from slackwater.cli.stacking import is_kept, roomy, stacked
from slackwater.cli.width import page_columns

# The page of a report that is kept.
NARROWEST = 80
# Wider than any row: a pipe has no width.
_NO_END = 10_000
_MINUTE_S = 60
_HOUR_S = 3600
_DAY_S = 86_400


def table(heads: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """Rows under heads; ">" before a head sets to the right, "|" keeps on one line.

    Without a terminal a row is as long as it needs to be. On one that is too narrow
    cells are wrapped between their words; where that does not do, each row becomes a
    few lines of its own below its first cell.
    """
    cells = [[str(cell) for cell in row] for row in rows]
    columns = page_columns()
    widths = roomy(heads, cells, columns or _NO_END)
    if columns is not None and widths is None:
        return stacked(heads, cells, columns)
    return _ruled(heads, cells, widths or [None] * len(heads))


def _ruled(
    heads: Sequence[str], cells: Sequence[Sequence[str]], widths: Sequence[int | None]
) -> str:
    # A space behind each cell and one that parts the columns.
    made = Table(box=SIMPLE_HEAD, pad_edge=False, show_edge=False, padding=(0, 1, 0, 0))
    for head, width in zip(heads, widths, strict=True):
        made.add_column(
            Text(head.removeprefix(">").removeprefix("|")),
            justify="right" if head.startswith(">") else "left",
            no_wrap=is_kept(head),
            overflow="fold",
            width=width,
        )
    for row in cells:
        made.add_row(*(Text(cell) for cell in row))
    page = io.StringIO()
    console = Console(file=page, width=_NO_END, color_system=None, highlight=False)
    console.print(made)
    return "\n".join(line.rstrip() for line in page.getvalue().splitlines())


def section(title: str, body: str) -> str:
    """A titled block with an empty line behind it."""
    return f"{title}\n{body}\n"


def local(utc: datetime, zone: str) -> str:
    """A moment on the wall clock of a zone, to the minute, with its zone."""
    return f"{utc.astimezone(ZoneInfo(zone)):%Y-%m-%d %H:%M %Z}"


def local_here(utc: datetime) -> str:
    """A moment on the wall clock of this machine, to the minute, with its zone."""
    return f"{utc.astimezone():%Y-%m-%d %H:%M %Z}"


def local_day(utc: datetime, zone: str) -> str:
    """The date of a moment on the wall clock of a zone."""
    return f"{utc.astimezone(ZoneInfo(zone)):%Y-%m-%d}"


def local_time(utc: datetime, zone: str) -> str:
    """The time of day on the wall clock of a zone."""
    return f"{utc.astimezone(ZoneInfo(zone)):%H:%M}"


def span(length: timedelta) -> str:
    """A length of time with its two largest units, such as "3 d 4 h"."""
    total_s = max(int(length.total_seconds()), 0)
    if total_s < _MINUTE_S:
        return f"{total_s} s"
    if total_s < _HOUR_S:
        return f"{total_s // _MINUTE_S} min"
    if total_s < _DAY_S:
        return f"{total_s // _HOUR_S} h {total_s % _HOUR_S // _MINUTE_S} min"
    return f"{total_s // _DAY_S} d {total_s % _DAY_S // _HOUR_S} h"


def hours(number: float | None) -> str:
    """Hours without a fraction, or that nobody can say."""
    return "unknown" if number is None else f"{number:.0f} h"
