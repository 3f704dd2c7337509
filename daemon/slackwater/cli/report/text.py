"""The first screen on a terminal: 80 columns, 24 lines.

Floor 8. One subject: the summary as text. Laws here: it is written from the document's
own lines; what does not fit is counted and never cut in the middle; refusals give way
last.
"""

from collections.abc import Sequence
from textwrap import wrap

from slackwater.cli.report.made import Report
from slackwater.cli.report.summary import SHORT_DIGEST, Item, summary
from slackwater.cli.width import within

COLUMNS, LINES = 80, 24
LABEL = 13
# How many lines of an item may stay when room is short, the first to give way first.
GIVE_WAY = (
    ("adds", 2),
    ("changes", 2),
    ("minds", 4),
    ("forecast", 2),
    ("adds", 1),
    ("changes", 1),
    ("times", 1),
    ("forecast", 1),
    ("minds", 2),
    ("refusals", 4),
    ("minds", 1),
    ("refusals", 2),
    ("refusals", 1),
)


def summary_text(report: Report) -> str:
    """The summary as it stands on a terminal.

    Shape: at most 24 lines of 80 columns, whatever the plan.
    """
    items = summary(report)
    head = _head(report)
    most: dict[str, int] = {}
    shown = _shown(items, most)
    for key, count in GIVE_WAY:
        if len(head) + len(shown) <= LINES:
            break
        most[key] = count
        shown = _shown(items, most)
    return "\n".join((*head, *shown))


def _head(report: Report) -> list[str]:
    digest = report.done.digest[:SHORT_DIGEST] or "none"
    words = f'Rehearsal of "{report.plan.name}", digest {digest}'
    return wrap(words, within(COLUMNS))[:1]


def _shown(items: Sequence[Item], most: dict[str, int]) -> list[str]:
    lines: list[str] = []
    for item in items:
        lines += _item(item, most.get(item.key, len(item.lines)))
    return lines


def _item(item: Item, most: int) -> list[str]:
    """An item with its title before the first line, the rest set in below it."""
    told = list(item.lines[:most])
    left = len(item.lines) - len(told)
    if left:
        told[-1] = f"{told[-1]} (and {left} more: --full)"
    lines: list[str] = []
    for text in told:
        lines += wrap(text, within(COLUMNS) - LABEL)
    title = item.title.ljust(LABEL)
    return [
        f"{title if number == 0 else ' ' * LABEL}{text}"
        for number, text in enumerate(lines)
    ]
