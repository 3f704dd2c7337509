"""Eight planted mistakes: each shows on the first screen without being looked for."""

import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from slackwater.cli.reading import read_files
from slackwater.cli.report.document import report_document
from slackwater.cli.report.made import Wishes, make_report
from slackwater.cli.report.page import page
from slackwater.cli.report.past import read_past
from slackwater.cli.report.text import COLUMNS, LINES, summary_text
from slackwater.facts.events import Calibrated
from slackwater.pump.command import calibration_id
from tests.cli.report.browser import DESKTOP, Browser, Window
from tests.cli.report.reports import document
from tests.cli.run_program import SMALLEST
from tests.cli.stage import stage_of

# Samples are rehearsed with all their faults: long, where others share the machine.
pytestmark = pytest.mark.timeout(300)

Texts = dict[str, str]
# What `rehearse` looks ahead when nobody says how far.
DAYS = 30


@dataclass(frozen=True, slots=True, kw_only=True)
class Mistake:
    """What is changed in the two files, and the words that give it away."""

    plant: Callable[[Texts], None]
    told: str
    calibrated_at: datetime | None = None


def _change(texts: Texts, name: str, old: str, new: str) -> None:
    assert old in texts[name]
    texts[name] = texts[name].replace(old, new)


def _strength(texts: Texts) -> None:
    """Ten times the strength on the label."""
    _change(
        texts,
        "slackwater",
        'formula = "Na2CO3"\nhydrate = "anhydrous"\n'
        'strength = "100 g/L"            # in one litre of finished solution\n'
        'purity = "99 %"\n',
        'per_ml = { alkalinity = "18.7 meq/mL" }\nfully_declared = true\n',
    )


def _swapped(texts: Texts) -> None:
    """Each pump hangs in the other one's bottle."""
    for name, other in (("carbonate", "calcium"), ("calcium", "carbonate")):
        _change(
            texts,
            "slackwater",
            f'solution = "{name}"\nreservoir = "{name}"\n',
            f'solution = "{other}" \nreservoir = "{other}"\n',
        )


def _window(texts: Texts) -> None:
    """Twelve doses within a minute."""
    _change(texts, "plan", '["20:00-08:00"]', '["20:00-20:01"]')


def _incompatible(texts: Texts) -> None:
    """Soda and calcium at the same times."""
    for window in ('["20:00-08:00"]', '["08:00-20:00"]'):
        old = f"doses = 12\nwindows = {window}"
        _change(texts, "plan", old, 'doses = 12\nwindows = ["12:00-15:00"]')


def _reservoir(texts: Texts) -> None:
    """A bottle of 80 mL at 36 mL a day."""
    _change(
        texts,
        "slackwater",
        '[reservoir.carbonate]\ncontent = "2 L"',
        '[reservoir.carbonate]\ncontent = "80 mL"',
    )


def _tight(texts: Texts) -> None:
    """The plan needs 42 mL in 24 h around a clock change, late doses included."""
    _change(
        texts,
        "slackwater",
        'most_per_dose = "4 mL"\nmost_per_day = "50 mL"',
        'most_per_dose = "4 mL"\nmost_per_day = "42.42 mL"',
    )


def _missing_hour(texts: Texts) -> None:
    """One dose a day at half past two at night."""
    _change(
        texts,
        "plan",
        'per_day = "36 mL"\ndoses = 12\nwindows = ["20:00-08:00"]\ngroup = "balanced"',
        'per_dose = "3 mL"\ntimes = ["02:30"]',
    )
    _change(texts, "plan", 'group = "balanced"\n', "")
    texts["plan"] = texts["plan"].split("# Both lines")[0]


def _nothing(_texts: Texts) -> None:
    """The files are in order."""


MISTAKES = {
    "strength ten times too high": Mistake(
        plant=_strength, told="9.44 dKH a day is 9.44 times the uptake of 1 dKH"
    ),
    "pumps swapped": Mistake(
        plant=_swapped,
        told="pump carbonate gives calcium, not carbonate: are the hoses right?",
    ),
    "window of one minute": Mistake(
        plant=_window, told="carbonate has not rested since its dose of carbonate"
    ),
    "two solutions that must not meet": Mistake(
        plant=_incompatible,
        told="no time in its share keeps the gap to carbonate (carbonate)",
    ),
    "reservoir too small for a weekend": Mistake(
        plant=_reservoir,
        told="bottle carbonate is empty after 2.22 days, on Tue 2026-05-05: it does "
        "not last a long weekend",
    ),
    "cap at 101 % of need": Mistake(
        plant=_tight,
        told="[pump.carbonate] most_per_day is 101 % of what the plan needs",
    ),
    "dose in the missing hour": Mistake(
        plant=_missing_hour,
        told="never given: reef/carbonate@2027-03-28#01: 02:30 does not exist on this "
        "day",
    ),
    "stale calibration": Mistake(
        plant=_nothing,
        told="days ago; calibrate it again",
        calibrated_at=datetime(2025, 10, 15, tzinfo=UTC),
    ),
}


def planted(folder: Path, mistake: Mistake) -> tuple[Path, Path]:
    """The smallest sample with a mistake in it, and its state directory."""
    texts = {
        name: (SMALLEST / f"{name}.toml").read_text("utf-8")
        for name in ("slackwater", "plan")
    }
    mistake.plant(texts)
    config = folder / "config"
    config.mkdir()
    for name, text in texts.items():
        (config / f"{name}.toml").write_text(text, "utf-8")
    if mistake.calibrated_at is None:
        return config, folder / "no-ledger"
    stage = stage_of(folder)
    stamp = stage.stamp()
    stamp["at"] = mistake.calibrated_at
    for pump in ("carbonate", "calcium"):
        rate = stage.rate_of(pump)
        stage.append(
            Calibrated(
                **stamp,
                pump=pump,
                rate_nl_per_s=rate,
                cal=calibration_id(pump, rate),
                shots=3,
                spread_percent=1.0,
                proofs=("identity",),
                by="keeper",
            )
        )
    return config, stage.state


@dataclass(frozen=True, slots=True, kw_only=True)
class Faces:
    """One rehearsal as a document, as the screen of a terminal, and as a page."""

    document: dict[str, Any]
    screen: str
    page: Path


Made = Callable[[str], Faces]


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Made:
    """All faces of a mistake, rehearsed once."""

    @cache
    def make(name: str) -> Faces:
        folder = tmp_path_factory.mktemp("mistake")
        config, state = planted(folder, MISTAKES[name])
        files = read_files(config)
        past = read_past(state, files.machine)
        report = make_report(files, past, Wishes(days=DAYS))
        found = json.loads(json.dumps(report_document(report)))
        path = folder / "page.html"
        path.write_text(page(found), "utf-8")
        return Faces(document=found, screen=summary_text(report), page=path)

    return make


@pytest.mark.parametrize("name", MISTAKES)
def test_a_planted_mistake_is_in_the_words_of_the_summary(
    name: str, made: Made
) -> None:
    """Each gives itself away in one of its lines, with its figure."""
    found = made(name).document
    lines = [
        line for item in found["summary"] if item["grave"] for line in item["lines"]
    ]
    assert any(MISTAKES[name].told in line for line in lines)


@pytest.mark.parametrize("name", MISTAKES)
def test_a_planted_mistake_is_on_the_first_screen_of_a_terminal(
    name: str, made: Made
) -> None:
    """Among 24 lines of 80 columns, which is all that is printed unasked."""
    screen = made(name).screen
    rows = screen.splitlines()
    assert len(rows) <= LINES
    assert max(len(row) for row in rows) <= COLUMNS
    assert MISTAKES[name].told in " ".join(screen.split())


def test_the_sample_itself_shows_none_of_them() -> None:
    """What is in order says nothing of the kind."""
    text = str(document("smallest")["summary"])
    assert [] == [one.told for one in MISTAKES.values() if one.told in text]


@pytest.fixture(scope="module")
def window(chromium: str) -> Iterator[Window]:
    """A window of a desktop."""
    with Browser(chromium) as browser:
        yield browser.window(*DESKTOP)


@pytest.mark.parametrize("name", MISTAKES)
def test_a_planted_mistake_is_on_the_first_screen_of_a_desktop(
    name: str, made: Made, window: Window
) -> None:
    """Without scrolling at 1280 by 900."""
    window.open(made(name).page)
    bottom = window.ask(
        "(words => { const all = [...document.querySelectorAll('#first li')];"
        "const one = all.find(item => item.textContent.includes(words));"
        "return one ? one.getBoundingClientRect().bottom : null; })",
        MISTAKES[name].told,
    )
    assert isinstance(bottom, int | float)
    assert bottom <= DESKTOP[1]
