"""The report as one page that needs no network.

Floor 8. One subject: the page around its sections. Laws here: it is written from the
document alone, so every figure on it is the document's; the first screen stands before
everything else; a rule in the page itself forbids it to fetch anything.
"""

from collections.abc import Mapping, Sequence
from html import escape
from importlib.resources import files

from slackwater.cli.report.charts import chart_figures
from slackwater.cli.report.details import details
from slackwater.cli.report.html import marked
from slackwater.cli.report.stress import stressed

# Stands in every page of ours: only such a page is written over.
MARK = '<meta name="generator" content="slackwater rehearsal">'
_ASSETS = files("slackwater.cli.report") / "assets"
_RULE = (
    "default-src 'none'; style-src 'unsafe-inline'; script-src 'unsafe-inline'; "
    "img-src data:; base-uri 'none'; form-action 'none'"
)
SHORT_DIGEST = 8
# More lines of one kind are unfolded by whoever wants them: the rest must be seen too.
MOST_LINES = 10
Document = Mapping[str, object]


def page(document: Document) -> str:
    """The whole page.

    Shape: at most a megabyte; equal documents give equal bytes.
    """
    title = f'Rehearsal of "{document["plan"]}"'
    return "\n".join(
        (
            "<!doctype html>",
            '<html lang="en">',
            "<head>",
            '<meta charset="utf-8">',
            f'<meta http-equiv="Content-Security-Policy" content="{_RULE}">',
            '<meta name="viewport" content="width=device-width, initial-scale=1">',
            MARK,
            f"<title>{escape(title)}</title>",
            f"<style>\n{_asset('uplot.min.css')}\n{_asset('report.css')}</style>",
            "</head>",
            "<body>",
            '<a class="skip" href="#details">Skip to tables and charts</a>',
            _header(document, title),
            "<main>",
            _first(document),
            '<div id="details" tabindex="-1">',
            details(document),
            "</div>",
            "</main>",
            _footer(),
            _scripts(document),
            "</body>",
            "</html>\n",
        )
    )


def _asset(name: str) -> str:
    return (_ASSETS / name).read_text("utf-8")


def _header(document: Document, title: str) -> str:
    digest = str(document["digest"])[:SHORT_DIGEST] or "none"
    return (
        f"<header>\n<h1>{escape(title)}</h1>\n"
        f'<p class="span"><span id="span">{document["from"]} to {document["until"]}'
        f'</span>, digest <code id="digest-short">{digest}</code></p>\n</header>'
    )


def _first(document: Document) -> str:
    """What a person must have read; the gravest in front and over the whole width."""
    found = document["summary"]
    cards = [_card(item) for item in found] if isinstance(found, list) else []
    return (
        '<section id="first" aria-labelledby="first-title">\n'
        '<h2 id="first-title" class="unseen">In short</h2>\n'
        f"{''.join(cards)}\n</section>"
    )


def _card(item: Mapping[str, object]) -> str:
    lines = item["lines"]
    texts: Sequence[str] = lines if isinstance(lines, list) else []
    grave = " grave" if item["grave"] else ""
    inside = _listed(texts[:MOST_LINES])
    rest = texts[MOST_LINES:]
    if rest:
        more = f"<summary>and {len(rest)} more</summary>"
        inside = f"{inside}<details>{more}{_listed(rest)}</details>"
    key = escape(str(item["key"]))
    return (
        f'<section class="card{grave}" id="first-{key}" '
        f'aria-labelledby="first-{key}-title">'
        f'<h3 id="first-{key}-title">{escape(str(item["title"]))}</h3>'
        f"{inside}</section>\n"
    )


def _listed(texts: Sequence[str]) -> str:
    rows = "".join(f"<li>{marked(stressed(text))}</li>" for text in texts)
    return f"<ul>{rows}</ul>"


def _footer() -> str:
    return (
        "<footer><p>Stock solutions can burn skin and eyes: wear eye protection, and "
        "never mix them. Let cables hang in drip loops, and have residual-current "
        "protection fitted by a licensed electrician under your local code. Keep "
        "children away. The program advises and counts; a person decides.</p>"
        "<p>Charts are drawn by uPlot 1.6.32, copyright 2022 Leon Sorokin, MIT "
        "licence.</p></footer>"
    )


def _scripts(document: Document) -> str:
    """Figures of the charts, the chart library, and the few lines of our own."""
    return (
        f'<script type="application/json" id="figures">{chart_figures(document)}'
        f"</script>\n<script>\n{_asset('uplot.min.js')}\n</script>\n"
        f"<script>\n{_asset('report.js')}</script>"
    )
