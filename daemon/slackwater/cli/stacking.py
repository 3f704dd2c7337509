"""How a table finds room on a screen, and what becomes of one that does not.

Floor 8. One subject: the widths of columns. Laws here: a figure, a name and a word
stay whole; a cell is wrapped over a few lines at most, else its row stands alone, with
each head before its cell; nothing is left out but empty cells.
"""

from collections.abc import Iterator, Sequence
from textwrap import wrap

# A space behind each cell and one that parts the columns.
GAP = 2
# A cell on more lines than this cannot be read across.
MOST_LINES = 3
# Below its row a text longer than this has a line of its own.
LONG = 36
_INDENT, _HANG = "  ", "    "
# Keeps "24 mL" together while lines are broken.
_TIE = "\N{NO-BREAK SPACE}"


def is_kept(head: str) -> bool:
    """Whether the cells below a head stay on one line."""
    return head.startswith((">", "|"))


def roomy(
    heads: Sequence[str], cells: Sequence[Sequence[str]], columns: int
) -> list[int] | None:
    """The width of each column; None where the page has no room for them all."""
    longest = [max(map(len, column)) for column in _columns(heads, cells)]
    room = columns - GAP * len(heads) + 1
    if sum(longest) <= room:
        return longest
    least = [_least(head, column) for head, column in _folding(heads, cells)]
    if sum(least) > room:
        return None
    widths = _shared(least, longest, room)
    tallest = max(
        len(wrap(cell, width, break_on_hyphens=False))
        for width, column in zip(widths, _columns(heads, cells), strict=True)
        for cell in column
    )
    return widths if tallest <= MOST_LINES else None


def _columns(
    heads: Sequence[str], cells: Sequence[Sequence[str]]
) -> Iterator[tuple[str, ...]]:
    """Each head with the cells below it."""
    plain = [head.lstrip(">|") for head in heads]
    return zip(plain, *cells, strict=True)


def _folding(
    heads: Sequence[str], cells: Sequence[Sequence[str]]
) -> Iterator[tuple[str, tuple[str, ...]]]:
    return zip(heads, _columns(heads, cells), strict=True)


def _least(head: str, column: Sequence[str]) -> int:
    """The width below which a word would be broken, or a figure that is kept."""
    if is_kept(head):
        return max(map(len, column))
    return max(len(word) for cell in column for word in cell.split() or [""])


def _shared(least: Sequence[int], longest: Sequence[int], room: int) -> list[int]:
    """The room beyond the least, shared by what each column could still use."""
    wanted = [most - few for few, most in zip(least, longest, strict=True)]
    left, total = room - sum(least), sum(wanted)
    return [
        few + min(want, left * want // total)
        for few, want in zip(least, wanted, strict=True)
    ]


def stacked(heads: Sequence[str], cells: Sequence[Sequence[str]], columns: int) -> str:
    """Each row as its first cell, and the others below it with their heads."""
    plain = [head.lstrip(">|") for head in heads]
    rows = []
    for row in cells:
        # A number says nothing without what it counts.
        title = f"{plain[0]} {row[0]}" if heads[0].startswith(">") else row[0]
        rows += [*_wrapped(title, columns, ""), *_below(plain[1:], row[1:], columns)]
    return "\n".join(rows)


def _below(heads: Sequence[str], row: Sequence[str], columns: int) -> Iterator[str]:
    """Short cells side by side, a long one alone."""
    short: list[str] = []
    for head, cell in zip(heads, row, strict=True):
        if not cell:
            continue
        told = f"{head}: {cell}"
        if len(cell) <= LONG:
            short.append(told.replace(" ", _TIE))
            continue
        yield from _wrapped("; ".join(short), columns, _INDENT)
        short = []
        yield from _wrapped(told, columns, _INDENT)
    yield from _wrapped("; ".join(short), columns, _INDENT)


def _wrapped(text: str, columns: int, indent: str) -> Iterator[str]:
    hang = _HANG if indent else _INDENT
    for line in wrap(
        text,
        columns,
        initial_indent=indent,
        subsequent_indent=hang,
        break_on_hyphens=False,
    ):
        yield line.replace(_TIE, " ")
