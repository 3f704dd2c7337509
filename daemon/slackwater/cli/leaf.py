"""A page of headed tables, as text and as HTML that needs nothing else.

Floor 8. One subject: one page, two forms. Laws here: both forms hold the same cells in
the same order; no text line is wider than the page, what is long goes on below its own
column; the HTML loads nothing and runs nothing.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from html import escape
from textwrap import wrap

# Read on any screen and printed on any paper.
WIDTH = 79
NARROWEST_LAST = 16
MARK = '<meta name="generator" content="slackwater report">'
_STYLE = (
    "body{font:14px/1.4 sans-serif;max-width:52rem;margin:2rem auto;padding:0 1rem;"
    "color:#000;background:#fff}table{border-collapse:collapse;width:100%}"
    "th,td{text-align:left;padding:.15rem .6rem .15rem 0;vertical-align:top;"
    "border-bottom:1px solid #ccc}.r{text-align:right}h2{margin-bottom:.3rem}"
    "@media print{body{margin:0}h1~h1{break-before:page}h2{break-after:avoid}"
    "tr{break-inside:avoid}}"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """A heading, sentences below it, and a table; ">" before a head sets right.

    `nothing` is what is said where there is no row.
    """

    heading: str
    heads: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()
    lines: tuple[str, ...] = ()
    nothing: str = ""

    @property
    def sentences(self) -> tuple[str, ...]:
        """The sentences, with what is said of an empty table."""
        is_bare = not self.rows and not self.lines
        return (self.nothing,) if is_bare and self.nothing else self.lines


@dataclass(frozen=True, slots=True, kw_only=True)
class Leaf:
    """A title, a few lines that lead, and the parts."""

    title: str
    lead: tuple[str, ...] = ()
    parts: tuple[Part, ...] = ()


def leaf_text(leaf: Leaf) -> str:
    """The page as text, parts without anything to say left out."""
    blocks = ["\n".join([leaf.title, *_folded(leaf.lead)])]
    for part in leaf.parts:
        lines = list(_part_lines(part))
        if lines:
            blocks.append("\n".join([part.heading, *lines]))
    return "\n\n".join(blocks)


def _part_lines(part: Part) -> Iterator[str]:
    if part.rows:
        yield from _table(part.heads, part.rows)
    yield from _folded(f"  {sentence}" for sentence in part.sentences)


def _folded(lines: Iterable[str]) -> Iterator[str]:
    for line in lines:
        indent = " " * (len(line) - len(line.lstrip()))
        yield from wrap(
            line.strip(),
            WIDTH,
            initial_indent=indent,
            subsequent_indent=f"{indent}  ",
            break_on_hyphens=False,
        ) or [""]


def _table(heads: Sequence[str], rows: Sequence[Sequence[str]]) -> Iterator[str]:
    """Rows below their heads; the last column goes on below itself."""
    names = [head.removeprefix(">") for head in heads]
    widths = [max(len(row[n]) for row in (names, *rows)) for n in range(len(names) - 1)]
    left = 2 + sum(widths) + 2 * len(widths)
    room = max(WIDTH - left, NARROWEST_LAST)
    for row in (names, *rows):
        cells = [
            cell.rjust(width) if head.startswith(">") else cell.ljust(width)
            for cell, width, head in zip(row, widths, heads, strict=False)
        ]
        first, *more = wrap(row[-1], room, break_on_hyphens=False) or [""]
        last = first.rjust(_last_width(heads, names, rows)) if not more else first
        yield f"  {'  '.join([*cells, last])}".rstrip()
        yield from (f"{' ' * left}{line}" for line in more)


def _last_width(
    heads: Sequence[str], names: Sequence[str], rows: Sequence[Sequence[str]]
) -> int:
    """Figures in the last column stand to the right as well; words do not."""
    if not heads[-1].startswith(">"):
        return 0
    return max(len(row[-1]) for row in (names, *rows))


def leaves_html(leaves: Sequence[Leaf]) -> str:
    """The pages as one HTML document, each on paper of its own.

    Range: one page at least.
    """
    title = escape(leaves[0].title)
    body: list[str] = []
    for leaf in leaves:
        body.append(f"<h1>{escape(leaf.title)}</h1>")
        body += [f"<p>{escape(line)}</p>" for line in leaf.lead]
        for part in leaf.parts:
            body += _part_html(part)
    return "\n".join(
        (
            "<!doctype html>",
            '<html lang="en">',
            f'<head><meta charset="utf-8">{MARK}',
            '<meta name="viewport" content="width=device-width">',
            f"<title>{title}</title><style>{_STYLE}</style></head>",
            "<body>",
            *body,
            "</body></html>",
            "",
        )
    )


def _part_html(part: Part) -> Iterator[str]:
    sentences = [sentence for sentence in part.sentences if sentence]
    if not part.rows and not sentences:
        return
    yield f"<h2>{escape(part.heading)}</h2>"
    if part.rows:
        yield "<table><thead>"
        yield _row_html(
            "th", part.heads, [head.removeprefix(">") for head in part.heads]
        )
        yield "</thead><tbody>"
        yield from (_row_html("td", part.heads, row) for row in part.rows)
        yield "</tbody></table>"
    yield from (f"<p>{escape(sentence)}</p>" for sentence in sentences)


def _row_html(tag: str, heads: Sequence[str], cells: Sequence[str]) -> str:
    made = (
        f"<{tag}{' class=r' if head.startswith('>') else ''}>{escape(cell)}</{tag}>"
        for head, cell in zip(heads, cells, strict=True)
    )
    return f"<tr>{''.join(made)}</tr>"
