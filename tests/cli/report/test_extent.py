"""Which days a rehearsal runs, and which dated corrections are among them."""

from dataclasses import replace
from datetime import date, datetime, timedelta
from pathlib import Path

import pytest

from slackwater.cli.reading import read_files
from slackwater.cli.receipt import Receipt, noted
from slackwater.cli.report.extent import (
    DEFAULT_DAYS,
    correction_lines,
    dates_missing,
    days_ahead,
    first_day,
)
from slackwater.cli.report.made import _clock_changes
from slackwater.facts.plan import Plan
from tests.cli.run_program import CONFIG, SMALLEST
from tests.cli.stage import stage_of

FILES = read_files(SMALLEST)
STARTS = FILES.plan.starts
BEGINS, ENDS = date(2026, 6, 1), date(2026, 7, 20)


def corrected() -> Plan:
    """The sample with its first line as a correction of seven weeks."""
    first, *rest = FILES.plan.lines
    dated = replace(first, purpose="correction", first_day=BEGINS, last_day=ENDS)
    return replace(FILES.plan, lines=(dated, *rest))


@pytest.mark.parametrize(
    ("at", "expected"),
    [
        (None, STARTS),
        ("2026-01-01T12:00:00+00:00", STARTS),
        ("2026-05-31T23:30:00+00:00", date(2026, 6, 1)),
    ],
)
def test_what_is_over_is_not_run_again(at: str | None, expected: date) -> None:
    """The start, or the tank's own day of the newest entry where that is later."""
    moment = None if at is None else datetime.fromisoformat(at)

    assert expected == first_day(FILES.plan, FILES.machine, moment)


def test_a_long_correction_is_run_to_its_end() -> None:
    """Thirty days are the least; what is over asks for no more."""
    assert DEFAULT_DAYS == days_ahead(FILES.plan, STARTS)
    assert (ENDS - STARTS).days + 1 == days_ahead(corrected(), STARTS)
    assert DEFAULT_DAYS == days_ahead(corrected(), date(2026, 7, 21))


@pytest.mark.parametrize(
    ("rehearsed", "today", "missing"),
    [
        (None, BEGINS, 1),
        ((STARTS, ENDS), BEGINS, 0),
        ((BEGINS, ENDS), BEGINS, 0),
        ((STARTS, date(2026, 7, 19)), BEGINS, 1),
        ((date(2026, 6, 2), ENDS), BEGINS, 1),
        ((date(2026, 6, 2), ENDS), date(2026, 6, 2), 0),
        (None, date(2026, 7, 21), 0),
    ],
)
def test_dates_that_were_not_run_are_named(
    rehearsed: tuple[date, date] | None, today: date, missing: int
) -> None:
    """Those that lie ahead, from today to the last, both included."""
    told = dates_missing(corrected(), today, rehearsed)

    assert ["reef/carbonate 2026-06-01 to 2026-07-20"] * missing == list(told)


def test_the_summary_lists_each_correction_with_its_dates() -> None:
    """Run, cut short, or over; a plan without one says nothing."""
    plan = corrected()
    run, cut, over = (
        next(correction_lines(plan, days))
        for days in ((STARTS, ENDS), (STARTS, BEGINS), (date(2026, 8, 1), ENDS))
    )

    assert "reef/carbonate: 36 mL a day, 2026-06-01 to 2026-07-20, rehearsed" == run
    assert cut.endswith("not rehearsed to its end: ask for more --days")
    assert over.endswith("over before the first rehearsed day")
    assert [] == list(correction_lines(FILES.plan, (STARTS, ENDS)))


def test_a_note_says_which_days_were_run(tmp_path: Path) -> None:
    """Written and read back; a note of before has no span."""
    stage = stage_of(tmp_path)
    stage.rehearsed()
    receipt = noted(stage.state)

    assert isinstance(receipt, Receipt)
    assert replace(receipt, first=None, until=None).span is None
    assert (BEGINS, ENDS) == replace(receipt, first=BEGINS, until=ENDS).span


def test_an_approval_wants_the_days_of_a_correction(tmp_path: Path) -> None:
    """A clean note of other days approves no correction that lies ahead."""
    stage = stage_of(tmp_path)
    today = stage.stamp()["at"].date()
    dates = f"first = {today}\nlast = {today + timedelta(days=20)}\n"
    stage.config = tmp_path / "dated"
    stage.config.mkdir()
    for path in SMALLEST.glob("*.toml"):
        text = path.read_text("utf-8")
        if path.name == "plan.toml":
            dated = f'purpose = "correction"\n{dates}group = "balanced"\n'
            text = text.replace('group = "balanced"\n', dated)
        (stage.config / path.name).write_text(text, "utf-8")
    stage.rehearsed(16)
    told = stage.run("approve", "--by", "keeper", "--json")

    assert 1 == told.code
    (error,) = told.errors
    assert "not rehearsed on all of its days: reef/carbonate" in error["what"]


def test_clock_changes_stand_in_the_order_of_the_calendar() -> None:
    """From December on summer time comes before winter time, in two zones as well."""
    files = read_files(CONFIG / "two-tanks")
    first, *others = sorted(files.machine.tanks)
    south = replace(files.machine.tanks[first], zone="Australia/Sydney")
    tanks = {**files.machine.tanks, first: south}
    machine = replace(files.machine, tanks=tanks)
    december = date(2026, 12, 1)
    found = _clock_changes(machine, files.plan, (december, december))
    assert others
    assert [
        (date(2027, 3, 28), "Europe/Lisbon"),
        (date(2027, 4, 4), "Australia/Sydney"),
        (date(2027, 10, 3), "Australia/Sydney"),
        (date(2027, 10, 31), "Europe/Lisbon"),
    ] == [(one.day, one.zone) for one in found]
