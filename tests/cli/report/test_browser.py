"""The page in a real browser, at the width of a desktop and of a phone."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.cli.report.browser import DESKTOP, PHONE, Browser, Window
from tests.cli.report.reports import SAMPLES, document, page_of

# Samples are rehearsed with all their faults: long, where others share the machine.
pytestmark = pytest.mark.timeout(300)

WIDTHS = {"desktop": DESKTOP, "phone": PHONE}
# Text that runs over text, or out of its box: any two leaves that share an area.
OVERLAPS = """
(() => {
  const leaves = [];
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walker.nextNode()) {
    const node = walker.currentNode;
    const element = node.parentElement;
    if (!node.textContent.trim() || element.closest('script, style, .unseen, .skip'))
      continue;
    if (!element.checkVisibility({ visibilityProperty: true })) continue;
    if (element.closest('thead') && getComputedStyle(element.closest('thead')).clipPath
        !== 'none') continue;
    const range = document.createRange();
    range.selectNodeContents(node);
    for (const rect of range.getClientRects()) {
      if (rect.width > 1 && rect.height > 1)
        leaves.push([rect.left, rect.top, rect.right, rect.bottom,
          node.textContent.trim().slice(0, 40), node]);
    }
  }
  leaves.sort((a, b) => a[1] - b[1]);
  const found = [];
  for (let i = 0; i < leaves.length; i++) {
    for (let j = i + 1; j < leaves.length && leaves[j][1] < leaves[i][3] - 4; j++) {
      const [a, b] = [leaves[i], leaves[j]];
      if (a[5] === b[5]) continue;
      if (Math.min(a[2], b[2]) - Math.max(a[0], b[0]) > 2
          && Math.min(a[3], b[3]) - Math.max(a[1], b[1]) > 4)
        found.push([a[4], b[4]]);
    }
  }
  return found.slice(0, 5);
})
"""
UNFOLD = """() => {
  for (const one of document.querySelectorAll('details')) one.open = true;
}"""
OUTSIDE = """
(() => [...document.querySelectorAll('body *')]
  .filter(one => !one.closest('.unseen, .skip, thead') && one.checkVisibility())
  .filter(one => one.getBoundingClientRect().right > innerWidth + 1)
  .map(one => one.tagName + ' ' + one.className).slice(0, 5))
"""


@pytest.fixture(scope="module")
def browser(chromium: str) -> Iterator[Browser]:
    """One browser for all of them."""
    with Browser(chromium) as started:
        yield started


@pytest.fixture(scope="module")
def windows(browser: Browser) -> dict[str, Window]:
    """A window of each width."""
    return {name: browser.window(*size) for name, size in WIDTHS.items()}


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """The page of each sample on disk."""
    folder = tmp_path_factory.mktemp("pages")
    paths = {name: folder / f"{name}.html" for name in SAMPLES}
    for name, path in paths.items():
        path.write_text(page_of(name), "utf-8")
    return paths


EACH = [(sample, width) for sample in SAMPLES for width in WIDTHS]


@pytest.mark.parametrize(("sample", "width"), EACH)
def test_the_console_stays_silent_and_nothing_is_fetched(
    sample: str, width: str, pages: dict[str, Path], windows: dict[str, Window]
) -> None:
    """No error, no warning, no request but the file itself."""
    window = windows[width]
    window.open(pages[sample])
    assert [] == window.complaints()
    assert [pages[sample].as_uri()] == window.requests()


@pytest.mark.parametrize(("sample", "width"), EACH)
def test_nothing_runs_out_of_the_window(
    sample: str, width: str, pages: dict[str, Path], windows: dict[str, Window]
) -> None:
    """No horizontal scroll and nothing beyond the right edge, with all unfolded."""
    window = windows[width]
    window.open(pages[sample])
    window.ask(UNFOLD)
    assert window.ask(
        "() => document.documentElement.scrollWidth "
        "=== document.documentElement.clientWidth"
    )
    assert [] == window.ask(OUTSIDE)


@pytest.mark.parametrize(("sample", "width"), EACH)
def test_no_text_lies_on_another(
    sample: str, width: str, pages: dict[str, Path], windows: dict[str, Window]
) -> None:
    """Every line of text has its own room, with the decisions unfolded."""
    window = windows[width]
    window.open(pages[sample])
    window.ask(UNFOLD)
    assert [] == window.ask(OVERLAPS)


@pytest.mark.parametrize("sample", SAMPLES)
def test_the_first_screen_holds_its_figures(
    sample: str, pages: dict[str, Path], windows: dict[str, Window]
) -> None:
    """At 1280 by 900 everything before the tables is seen without scrolling."""
    window = windows["desktop"]
    window.open(pages[sample])
    bottom = window.ask(
        "() => document.getElementById('first').getBoundingClientRect().bottom"
    )
    assert isinstance(bottom, int | float)
    assert bottom <= DESKTOP[1]


@pytest.mark.parametrize("width", WIDTHS)
def test_what_the_browser_shows_is_what_the_document_says(
    width: str, pages: dict[str, Path], windows: dict[str, Window]
) -> None:
    """Lines of the summary, bottles, faults and doses, read off the rendered page."""
    window = windows[width]
    window.open(pages["two-tanks"])
    found = document("two-tanks")
    lines = [line for item in found["summary"] for line in item["lines"]]
    shown = window.ask(
        "() => [...document.querySelectorAll('#first li')].map(li => li.textContent)"
    )
    assert lines == shown
    rows = rows_of(window, "bottles")
    assert [one["reservoir"] for one in found["bottles"]] == [row[0] for row in rows]
    assert [one["empty_on"] or "" for one in found["bottles"]] == [
        row[4] for row in rows
    ]
    tried = [one for one in found["faults"] if not one["not_tried"]]
    faults = rows_of(window, "faults")[: len(tried)]
    assert [(one["title"], str(one["given"])) for one in tried] == [
        (row[0], row[1]) for row in faults
    ]
    doses = rows_of(window, "doses")
    assert [f"{one['weekday']} {one['local']}" for one in found["doses"]] == [
        row[0] for row in doses
    ]


def rows_of(window: Window, section: str) -> list[list[str]]:
    """The text of every cell of a section's tables."""
    rows = window.ask(
        "id => [...document.querySelectorAll(`#${id} tbody tr`)]"
        ".map(row => [...row.cells].map(cell => cell.textContent))",
        section,
    )
    assert isinstance(rows, list)
    return rows


@pytest.mark.parametrize(("sample", "width"), EACH)
def test_every_chart_is_drawn_within_its_place(
    sample: str, width: str, pages: dict[str, Path], windows: dict[str, Window]
) -> None:
    """A canvas with ink on it, no wider than the window."""
    window = windows[width]
    window.open(pages[sample])
    charts = window.ask(
        """() => [...document.querySelectorAll('.canvas')].map(place => {
          const canvas = place.querySelector('canvas');
          if (!canvas) return [place.id, 0, 0];
          const pixels = canvas.getContext('2d')
            .getImageData(0, 0, canvas.width, canvas.height).data;
          let ink = 0;
          for (let i = 3; i < pixels.length; i += 4) if (pixels[i]) ink += 1;
          return [place.id, ink, canvas.getBoundingClientRect().width];
        })"""
    )
    assert isinstance(charts, list)
    assert len(charts) >= 4
    for name, ink, wide in charts:
        assert ink > 500, name
        assert 0 < wide <= WIDTHS[width][0], name


def test_the_search_finds_doses_and_says_how_many(
    pages: dict[str, Path], windows: dict[str, Window]
) -> None:
    """Words of one row, in any order; an empty field shows all again."""
    window = windows["desktop"]
    window.open(pages["smallest"])
    typed = """text => { const field = document.getElementById('search');
      field.value = text; field.dispatchEvent(new Event('input'));
      return [[...document.querySelectorAll('#doses tbody tr')]
        .filter(row => !row.hidden).length,
        document.getElementById('found').textContent]; }"""
    assert [12, "12 of 720 doses"] == window.ask(typed, "carbonate 2026-05-17")
    assert [0, "0 of 720 doses"] == window.ask(typed, "missed")
    assert [720, ""] == window.ask(typed, "")


def test_without_scripts_every_figure_is_there(
    pages: dict[str, Path], browser: Browser
) -> None:
    """The search stays away, the list does not; charts say where their figures are."""
    window = browser.window(*DESKTOP)
    window.call("Emulation.setScriptExecutionDisabled", value=True)
    window.open(pages["smallest"])
    shown: dict[str, Any] = window.call("DOM.getDocument", depth=-1)
    text = str(shown)
    assert "Charts need a script; all their figures stand in the tables." in text
    found = window.call("Page.captureScreenshot")
    assert len(found["data"]) > 10_000


def test_the_keyboard_reaches_everything_in_order(
    pages: dict[str, Path], windows: dict[str, Window]
) -> None:
    """First the way past the first screen, then contents, then what unfolds."""
    window = windows["desktop"]
    window.open(pages["smallest"])
    reached = []
    for _ in range(30):
        for kind in ("keyDown", "keyUp"):
            window.call("Input.dispatchKeyEvent", type=kind, key="Tab", code="Tab")
        reached.append(
            window.ask(
                "() => document.activeElement.className || "
                "document.activeElement.tagName + ' ' + document.activeElement.id"
            )
        )
    assert "skip" == reached[0]
    assert "SUMMARY " in reached
    assert "INPUT search" in reached


def test_prints_on_paper_with_its_charts_in_width(
    pages: dict[str, Path], windows: dict[str, Window]
) -> None:
    """A few sheets, and no chart wider than the sheet."""
    window = windows["desktop"]
    window.open(pages["smallest"])
    printed = window.call("Page.printToPDF", preferCSSPageSize=True)
    assert len(printed["data"]) > 50_000
    window.call("Emulation.setEmulatedMedia", media="print")
    window.ask("() => { dispatchEvent(new Event('beforeprint')); }")
    widest = window.ask(
        "() => Math.max(...[...document.querySelectorAll('canvas')]"
        ".map(one => one.getBoundingClientRect().width))"
    )
    hidden = window.ask("() => getComputedStyle(document.querySelector('nav')).display")
    folded = "() => document.querySelectorAll('details:not([open])').length"
    on_paper = window.ask(folded)
    window.ask("() => { dispatchEvent(new Event('afterprint')); }")
    on_screen = window.ask(folded)
    window.call("Emulation.setEmulatedMedia", media="")
    assert isinstance(widest, int | float)
    # A4 less two margins of 12 mm is 186 mm, 703 CSS pixels (96 to the inch).
    assert widest <= 703
    assert "none" == hidden
    # Paper cannot be unfolded; on the screen it is as it was before.
    assert (0, 1) == (on_paper, on_screen)
