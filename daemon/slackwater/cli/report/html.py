"""Small pieces of a page: text, tables, sections.

Floor 8. One subject: marking up. Laws here: whatever comes from a file is escaped; a
table has a caption and its heads say what they are heads of; nothing here knows a
rehearsal.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from html import escape


@dataclass(frozen=True, slots=True)
class Marked:
    """Text that is marked up already."""

    text: str


Cell = str | Marked


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """A head; `number` sets to the right, `extra` may go where room is short."""

    head: str
    number: bool = False
    extra: bool = False


def columns(*heads: str) -> tuple[Column, ...]:
    """Columns from heads: ">" before one sets to the right, "~" lets it go."""
    return tuple(
        Column(
            head=head.lstrip(">~"),
            number=">" in head[:2],
            extra="~" in head[:2],
        )
        for head in heads
    )


def marked(cell: Cell) -> str:
    """A cell or text, ready for the page."""
    return cell.text if isinstance(cell, Marked) else escape(cell)


def table(
    caption: str,
    heads: Sequence[Column],
    rows: Iterable[Sequence[Cell]],
    kind: str = "stacked",
) -> str:
    """A table whose first column names its rows.

    `kind` "stacked" sets the cells of a row below each other on a phone; "long" drops
    the columns that may go, and saves what a long table need not say in each cell.
    """
    if kind == "long":
        return _long(caption, heads, rows)
    head = "".join(
        f'<th scope="col"{_class(column)}>{escape(column.head)}</th>'
        for column in heads
    )
    body = "\n".join(_row(heads, row, labelled=kind == "stacked") for row in rows)
    return (
        f'<table class="{kind}">\n<caption>{escape(caption)}</caption>\n'
        f"<thead><tr>{head}</tr></thead>\n<tbody>\n{body}\n</tbody>\n</table>"
    )


def _long(caption: str, heads: Sequence[Column], rows: Iterable[Sequence[Cell]]) -> str:
    """The same without classes and optional end tags in every cell."""
    named = [
        f"{mark}{place}"
        for place, column in enumerate(heads, 1)
        for mark, has in (("n", column.number), ("x", column.extra))
        if has
    ]
    head = "".join(f'<th scope="col">{escape(column.head)}' for column in heads)
    body = "\n".join(
        "<tr><th scope=row>" + "<td>".join(marked(cell) for cell in row) for row in rows
    )
    return (
        f'<table class="{" ".join(("long", *named))}">\n'
        f"<caption>{escape(caption)}</caption>\n"
        f"<thead><tr>{head}</thead>\n<tbody>\n{body}\n</tbody>\n</table>"
    )


def _row(heads: Sequence[Column], row: Sequence[Cell], *, labelled: bool) -> str:
    cells = []
    for place, (column, cell) in enumerate(zip(heads, row, strict=True)):
        label = f' data-label="{escape(column.head)}"' if labelled and place else ""
        name = 'th scope="row"' if place == 0 else "td"
        end = name.partition(" ")[0]
        cells.append(f"<{name}{_class(column)}{label}>{marked(cell)}</{end}>")
    return f"<tr>{''.join(cells)}</tr>"


def _class(column: Column) -> str:
    names = [
        name
        for name, has in (("number", column.number), ("extra", column.extra))
        if has
    ]
    return f' class="{" ".join(names)}"' if names else ""


def section(identity: str, title: str, *parts: str) -> str:
    """A section with its heading; empty parts are left out."""
    inside = "\n".join(part for part in parts if part)
    return (
        f'<section id="{identity}" aria-labelledby="{identity}-title">\n'
        f'<h2 id="{identity}-title">{escape(title)}</h2>\n{inside}\n</section>'
    )


def paragraph(text: str) -> str:
    """One paragraph."""
    return f"<p>{escape(text)}</p>"


def items(texts: Iterable[str]) -> str:
    """A list, empty where there is nothing to list."""
    rows = "".join(f"<li>{escape(text)}</li>" for text in texts)
    return f"<ul>{rows}</ul>" if rows else ""


def share(amount: float, ceiling: float) -> Marked:
    """A share of a ceiling: the figure, with a bar beside it for those who see it."""
    percent = amount * 100 / ceiling if ceiling else 0.0
    figure = f"{percent:.1f} %"
    width = min(max(percent, 0.0), 100.0)
    return Marked(
        f'<span class="share"><span aria-hidden="true" class="bar">'
        f'<span style="width:{width:.1f}%"></span></span>'
        f'<span class="figure">{figure}</span></span>'
    )
