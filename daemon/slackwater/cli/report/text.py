"""The first screen on a terminal: 80 columns, 24 lines.

Floor 8. One subject: the summary as text. Laws here: it is written from the document's
own lines; what does not fit is left out between two words and says so; refusals give
way last; whoever asks for everything gets everything.
"""

from collections.abc import Mapping, Sequence
from textwrap import wrap

from slackwater.cli.report.made import Report
from slackwater.cli.report.summary import SHORT_DIGEST, Item, summary
from slackwater.cli.width import within

COLUMNS, LINES = 80, 24
CUT_MARK = " … (--full)"
LABEL = 13
# How many lines of an item may stay when room is short, the first to give way first.
GIVE_WAY = (
    ("faults", 1),
    ("adds", 2),
    ("changes", 2),
    ("minds", 4),
    ("forecast", 2),
    ("changes", 1),
    ("times", 1),
    ("forecast", 1),
    ("minds", 2),
    ("tubes", 1),
    ("refusals", 4),
    ("adds", 1),
    ("minds", 1),
    ("refusals", 2),
    ("refusals", 1),
)


# Then the rows of one may be cut as well, to so many.
CUT = (
    ("faults", 2),
    ("old", 1),
    ("minds", 2),
    ("forecast", 2),
    ("times", 1),
    ("forecast", 1),
    ("stuck", 2),
    ("adds", 1),
    ("changes", 1),
    ("refusals", 2),
    ("minds", 1),
    ("stuck", 1),
    ("faults", 1),
    ("bottle", 1),
    ("tubes", 1),
)


def summary_text(report: Report, *, full: bool = False) -> str:
    """The summary as it stands on a terminal.

    Shape: at most 24 lines of 80 columns, whatever the plan; as many as it takes where
    it is asked for in full.
    """
    items = summary(report)
    head = _head(report)
    most: dict[str, int] = {}
    rows: dict[str, int] = {}
    shown = _shown(items, most, rows)
    if full:
        return "\n".join((*head, *shown))
    for limits, steps in ((most, GIVE_WAY), (rows, CUT)):
        for key, count in steps:
            if len(head) + len(shown) <= LINES:
                break
            limits[key] = count
            shown = _shown(items, most, rows)
    return "\n".join((*head, *shown))


def _head(report: Report) -> list[str]:
    digest = report.done.digest[:SHORT_DIGEST] or "none"
    words = f'Rehearsal of "{report.plan.name}", digest {digest}'
    return wrap(words, within(COLUMNS))[:1]


def _shown(
    items: Sequence[Item], most: Mapping[str, int], rows: Mapping[str, int]
) -> list[str]:
    lines: list[str] = []
    for item in items:
        told = _told(item, most.get(item.key, len(item.lines)))
        lines += _set_in(item.title, told, rows.get(item.key))
    return lines


def _told(item: Item, most: int) -> list[str]:
    """Its first lines, the last one saying how many are left out."""
    told = list(item.lines[:most])
    left = len(item.lines) - len(told)
    if left:
        told[-1] = f"{told[-1]} (and {left} more: --full)"
    return told


def _set_in(title: str, told: Sequence[str], most: int | None) -> list[str]:
    """The title before the first row, the rest set in below it."""
    width = within(COLUMNS) - LABEL
    rows = [row for text in told for row in wrap(text, width, break_on_hyphens=False)]
    if most is not None and len(rows) > most:
        last = wrap(rows[most - 1], width - len(CUT_MARK))[0]
        rows = [*rows[: most - 1], f"{last}{CUT_MARK}"]
    labels = [title.ljust(LABEL), *(" " * LABEL for _ in rows)]
    return [f"{label}{row}" for label, row in zip(labels, rows, strict=False)]
