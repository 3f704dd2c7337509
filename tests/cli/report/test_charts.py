"""What the charts of a page show: marks, scales, and bars that stand in line."""

import json
import re
from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from tests.cli.report.browser import DESKTOP, Browser, Window
from tests.cli.report.reports import SAMPLES, document, page_of

# Samples are rehearsed with all their faults: long, where others share the machine.
pytestmark = pytest.mark.timeout(300)

# Natural values at practical salinity 35 (Millero et al. 2008, Table 4): 1.2817 g/kg of
# magnesium, 0.4114 of calcium, times 1.0233 kg/L.
NATURAL_MG_PER_L = {"magnesium": 1311.6, "calcium": 421.0}
# Rows and pixels of a colour on a chart, within some units of each channel.
INK = """
((name, colour) => {
  const canvas = document.querySelector(`#chart-${name} canvas`);
  const { width, height } = canvas;
  const pixels = canvas.getContext('2d').getImageData(0, 0, width, height).data;
  const rows = new Set();
  let count = 0;
  for (let i = 0; i < pixels.length; i += 4) {
    if (!colour.every((channel, n) => Math.abs(pixels[i + n] - channel) < 8)) continue;
    if (pixels[i + 3] < 200) continue;
    rows.add(Math.floor(i / 4 / width));
    count += 1;
  }
  const all = [...rows];
  return [count, (Math.max(...all) - Math.min(...all)) / height];
})
"""
LEFTS = """
(() => [...document.querySelectorAll('table')].map(table =>
  [...table.querySelectorAll('.bar')].map(bar => bar.getBoundingClientRect().left)))
"""
GRAVE, DEEP = (0x7A, 0x1F, 0x1F), (0x0B, 0x55, 0x63)


@pytest.fixture(scope="module")
def window(chromium: str) -> Iterator[Window]:
    """A window of a desktop."""
    with Browser(chromium) as browser:
        yield browser.window(*DESKTOP)


def figures(sample: str) -> list[dict[str, Any]]:
    """The forecasts as they stand in the page of a sample."""
    (found,) = re.findall(
        r'<script type="application/json" id="figures">(.*?)</script>',
        page_of(sample),
        re.DOTALL,
    )
    drawn: list[dict[str, Any]] = json.loads(found)["forecasts"]
    return drawn


def ink(
    window: Window, path: Path, text: str, place: str, colour: tuple[int, int, int]
) -> tuple[int, float]:
    """Pixels of a colour on a chart, and how much of its height they span."""
    path.write_text(text, "utf-8")
    window.open(path)
    found = window.ask(INK, place, colour)
    assert isinstance(found, list)
    count, share = found
    return int(count), float(share)


def test_a_forecast_is_marked_where_it_leaves_its_bounds() -> None:
    """Once for each crossing of the document, on its day, and told in words."""
    (tank,) = document("smallest")["tanks"]
    drawn = figures("smallest")[0]
    begins = datetime.fromisoformat(tank["times"][0])
    days = [
        (one["bound"], (datetime.fromisoformat(one["at"]) - begins) / timedelta(days=1))
        for one in tank["crossings"]
    ]
    assert {"floor", "ceiling"} == {bound for bound, _ in days}
    marks = [(one["bound"], one["day"]) for one in drawn["marks"]]
    assert [bound for bound, _ in days] == [bound for bound, _ in marks]
    assert [day for _, day in days] == pytest.approx(
        [day for _, day in marks], abs=0.001
    )
    assert "Triangles: above the ceiling from 2026-05-" in page_of("smallest")
    assert [] == figures("smallest")[1]["marks"]


def test_the_marks_are_drawn(window: Window, tmp_path: Path) -> None:
    """Without them the chart of alkalinity has less red on it."""
    text, place = page_of("smallest"), "forecast-reef-alkalinity"
    bare = re.sub(r'"marks":\[\{.*?\}\]', '"marks":[]', text)
    assert bare != text
    with_marks, without = (
        ink(window, tmp_path / "page.html", page, place, GRAVE)[0]
        for page in (text, bare)
    )
    # Two triangles of 12 by 11 points, and the days beside them.
    assert with_marks > without + 100


def test_the_scale_of_a_chart_shows_a_tenth_of_the_natural_value() -> None:
    """Of magnesium 131 mg/L at least, whatever little the plan changes."""
    for drawn in figures("chemistry"):
        name = drawn["id"].rpartition("-")[2]
        if name in NATURAL_MG_PER_L:
            tenth = NATURAL_MG_PER_L[name] / 10
            assert tenth == pytest.approx(drawn["span"], rel=0.01)


def test_a_level_that_hardly_moves_is_drawn_flat(
    window: Window, tmp_path: Path
) -> None:
    """Two mg/L of magnesium in 1320 fill no chart; by their own scale they would."""
    text, place = page_of("chemistry"), "forecast-reef-magnesium"
    steep = re.sub(r'"span":[\d.]+', '"span":0', text)
    flat, high = (
        ink(window, tmp_path / "page.html", page, place, DEEP)[1]
        for page in (text, steep)
    )
    assert flat < 0.1
    assert high > 0.3


@pytest.mark.parametrize("sample", SAMPLES)
def test_bars_of_a_table_begin_on_one_line(
    sample: str, window: Window, tmp_path: Path
) -> None:
    """However many digits the figures beside them have."""
    path = tmp_path / "page.html"
    path.write_text(page_of(sample), "utf-8")
    window.open(path)
    lefts = window.ask(LEFTS)
    assert isinstance(lefts, list)
    barred = [table for table in lefts if table]
    assert len(barred) >= 3
    assert [1] * len(barred) == [len({round(left) for left in one}) for one in barred]
