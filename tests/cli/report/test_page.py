"""The page as text: one file, whole and quiet, with the figures of the document."""

import json
import re
from pathlib import Path

import pytest

from slackwater.cli.report.html import columns, marked, share, table
from slackwater.cli.report.page import page
from slackwater.cli.report.stress import stressed
from tests.cli.report.reports import (
    SAMPLES,
    Outline,
    document,
    page_of,
    rehearse,
)
from tests.cli.run_program import CONFIG, SMALLEST, changed

# Samples are rehearsed with all their faults: long, where others share the machine.
pytestmark = pytest.mark.timeout(300)

MEGABYTE = 1_000_000


@pytest.mark.parametrize("name", SAMPLES)
def test_is_one_file_below_a_megabyte(name: str) -> None:
    """With charts, faults and every dose in it."""
    assert len(page_of(name).encode()) <= MEGABYTE


@pytest.mark.parametrize(
    "name", ["smallest", pytest.param("two-tanks", marks=pytest.mark.long)]
)
def test_a_year_is_below_a_megabyte_too(name: str) -> None:
    """The list of doses is cut, and says how many there are."""
    done = rehearse(CONFIG / name, "--days", 365, "--json").document
    text = page(done)
    doses = done["doses"]
    assert isinstance(doses, list)
    assert len(text.encode()) <= MEGABYTE
    assert f"6000 of {len(doses)} doses" in text


@pytest.mark.parametrize("name", SAMPLES)
def test_asks_for_nothing_beyond_itself(name: str) -> None:
    """No address is loaded, and a rule in the page forbids it."""
    outline = Outline(page_of(name))
    assert [] == outline.named("link") + outline.named("img") + outline.named("iframe")
    assert all("src" not in one for one in outline.named("script"))
    links = [str(one["href"]) for one in outline.named("a")]
    assert all(link.startswith("#") for link in links)
    (rule,) = [one for one in outline.named("meta") if "http-equiv" in one]
    assert str(rule["content"]).startswith("default-src 'none';")
    assert "url(" not in page_of(name)
    assert "@import" not in page_of(name)


@pytest.mark.parametrize("name", SAMPLES)
def test_has_landmarks_heads_and_words_for_every_chart(name: str) -> None:
    """What a screen reader goes by: one main, one h1, scopes, captions, alt text."""
    outline = Outline(page_of(name))
    assert [] == outline.open
    for tag in ("main", "header", "footer", "nav", "h1", "title"):
        assert 1 == len(outline.named(tag)), tag
    assert {"col", "row"} == {one.get("scope") for one in outline.named("th")}
    assert len(outline.named("table")) == len(outline.named("caption"))
    ids = [one["id"] for _, one in outline.elements if "id" in one]
    assert len(ids) == len(set(ids))
    charts = [one for one in outline.named("div") if one.get("role") == "img"]
    assert len(charts) >= 4
    for chart in charts:
        for label in str(chart["aria-labelledby"]).split():
            assert label in ids
    targets = {str(one["href"])[1:] for one in outline.named("a")}
    assert targets <= set(ids)
    assert "en" == outline.named("html")[0]["lang"]


@pytest.mark.parametrize("name", SAMPLES)
def test_every_line_of_the_summary_stands_on_the_first_screen(name: str) -> None:
    """Word for word, in its order."""
    outline = Outline(page_of(name))
    lines = [line for item in document(name)["summary"] for line in item["lines"]]
    place = 0
    for line in lines:
        place = outline.text.index(" ".join(line.split()), place)


def test_lines_beyond_ten_are_folded_and_counted() -> None:
    """Fourteen warnings: ten in sight, four behind a word that says how many."""
    found = {**document("smallest")}
    lines = [f"line {number}" for number in range(14)]
    found["summary"] = [
        {**item, "lines": lines} if item["key"] == "minds" else item
        for item in found["summary"]
    ]
    card = page(found).split('<section class="card grave" id="first-minds"')[1]
    text = card.split("</section>")[0]
    seen, _, folded = text.partition("<details><summary>and 4 more</summary>")
    assert (10, 4) == (seen.count("<li>"), folded.count("<li>"))


def test_the_gravest_worst_case_stands_first_and_is_marked() -> None:
    """A welded output of carbonate, above the ceiling in words and not in colour."""
    rows = page_of("smallest").split('<section id="worst"')[1].split("</section>")[0]
    first = rows.split("<tbody>")[1].split("</tr>")[0]
    assert "output welded; the bottle empties" in first
    assert "! above the ceiling" in first
    assert "no ceiling is stated for anything else" in rows


def test_no_cell_of_a_table_is_empty() -> None:
    """A phone sets each below the last, with its head before it: it says something."""
    for name in SAMPLES:
        short = page_of(name).split('<section id="trace"')[0]
        assert [] == re.findall(r'<td[^>]* data-label="[^"]*"></td>', short)


def test_a_name_cannot_break_out_of_its_place(tmp_path: Path) -> None:
    """Text of a file is text on the page, in its script as well."""
    trick = '</script><script>alert("x")</script><b title='
    config = changed(
        tmp_path, SMALLEST, plan=('name = "smallest"', f"name = '{trick}'")
    )
    done = rehearse(config, "--days", 2, "--json").document
    text = page(done)
    outline = Outline(text)
    assert trick not in text
    assert 3 == len(outline.named("script"))
    assert [] == outline.named("b")


def test_figures_of_charts_are_those_of_the_document() -> None:
    """The script element holds the very series of the forecast."""
    text = page_of("smallest")
    (found,) = re.findall(
        r'<script type="application/json" id="figures">(.*?)</script>', text, re.DOTALL
    )
    figures = json.loads(found)
    band = document("smallest")["tanks"][0]["forecast"][0]
    drawn = figures["forecasts"][0]
    assert [band[key] for key in ("less", "same", "more")] == [
        drawn[key] for key in ("less", "same", "more")
    ]
    tank = document("smallest")["tanks"][0]
    assert (tank["floor"], tank["ceiling"]) == (drawn["floor"], drawn["ceiling"])
    assert 24 == len(figures["day"]["doses"])
    assert [[72.0, 0], [72.0, 1]] == figures["shares"]["shares"]


def test_dates_of_a_chart_are_those_of_the_wall_clock() -> None:
    """22:00 UTC is midnight in Berlin: the first day is that of the rehearsal."""
    (found,) = re.findall(r'"first":"([\d-]+)"', page_of("smallest"))[:1]
    assert document("smallest")["from"] == found


def test_the_dose_list_is_whole() -> None:
    """One row for each dose, with its share of the cap."""
    text = page_of("smallest")
    rows = text.split('<section id="doses"')[1].split("</table>")[0]
    assert len(document("smallest")["doses"]) == rows.count("<tr>") - 1
    assert '<p class="search" hidden>' in rows


def test_every_fault_is_on_the_page_tried_or_not() -> None:
    """Each title once in its table."""
    outline = Outline(page_of("smallest"))
    faults = document("smallest")["faults"]
    assert all(fault["title"] in outline.text for fault in faults)
    assert len([one for one in faults if not one["not_tried"]]) == page_of(
        "smallest"
    ).count("nothing was carried over</td>")


def test_only_an_older_report_is_written_over(tmp_path: Path) -> None:
    """Anything else stays as it is, and nothing is half written."""
    path = tmp_path / "page.html"
    for _ in range(2):
        assert 0 == rehearse(SMALLEST, "--days", 1, "--html", path).code
    whole = path.read_text("utf-8")
    assert whole.startswith("<!doctype html>")
    path.write_text("my diary", "utf-8")
    told = rehearse(SMALLEST, "--days", 1, "--html", path)
    assert 2 == told.code
    assert "something else than a report stands there already" in told.err
    assert "my diary" == path.read_text("utf-8")
    assert [path] == list(tmp_path.iterdir())


def test_a_place_that_cannot_be_written_is_one_error(tmp_path: Path) -> None:
    """No folder there."""
    told = rehearse(SMALLEST, "--days", 1, "--html", tmp_path / "none" / "page.html")
    assert 2 == told.code
    assert "it cannot be written" in told.err


def test_stress_changes_no_word() -> None:
    """Figures are set apart, dates kept whole, names left alone."""
    text = "pump-2 gives 80 mL in 24 h: +2.1 dKH until 2026-05-03, [a] 100 % <of>"
    found = stressed(text)
    assert text == Outline(f"<p>{found.text}</p>").text
    assert "<strong>80 mL</strong>" in found.text
    assert "<time>2026-05-03</time>" in found.text
    assert "<strong>2</strong>" not in found.text


def test_a_table_escapes_and_labels_its_cells() -> None:
    """Heads are heads of columns, the first cell that of its row."""
    text = table("a & b", columns("name", ">~how much"), [["<x>", share(1, 4)]])
    assert "<caption>a &amp; b</caption>" in text
    assert '<th scope="col" class="number extra">how much</th>' in text
    assert '<th scope="row">&lt;x&gt;</th>' in text
    assert 'data-label="how much"' in text
    assert "25.0 %" in marked(share(1, 4))
    assert "0.0 %" in marked(share(1, 0))
