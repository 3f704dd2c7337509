"""`overview`: many tanks, the least time to the floor first."""

import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from slackwater.cli.panorama_rows import (
    Row,
    refills_part,
    row_of,
    sorted_rows,
    tanks_part,
)
from slackwater.outside.wire import TankDocument
from tests.cli.stage import Stage, stage_of
from tests.outside.home.samples import DOCUMENT

NOW = datetime(2026, 5, 3, 15, tzinfo=UTC)
VISIT = NOW + timedelta(days=7)


def document(hours: float | None = 31.5, **changes: object) -> TankDocument:
    """The sample of a state, with so many hours to the floor."""
    floor = {} if hours is None else {"alkalinity": hours}
    whole = {**DOCUMENT, "hours_to_floor": floor, **changes}
    return TankDocument.model_validate_json(json.dumps(whole))


def row(where: str, hours: float | None) -> Row:
    """A row of that tank."""
    return row_of(where, document(hours), (NOW, VISIT))


def test_the_least_time_to_the_floor_comes_first_and_the_unknown_last() -> None:
    """Ties by name, so that the page does not jump."""
    rows = [row("d", None), row("c", 40.0), row("b", 0.0), row("a", 40.0)]
    assert ["b", "a", "c", "d"] == [one.where for one in sorted_rows(rows)]


def test_an_old_state_is_reckoned_on_and_says_its_age() -> None:
    """Published an hour ago, 31.5 hours are 30.5 by now; never below none."""
    one = row("a", 31.5)
    assert timedelta(hours=1) == one.age
    assert 30.5 == one.hours_to_floor
    assert 0.0 == row("a", 0.4).hours_to_floor


@pytest.mark.parametrize(
    ("days_left", "is_due"), [(0.0, True), (7.0, True), (7.05, False), (None, False)]
)
def test_what_runs_out_before_the_visit_is_listed(
    days_left: float | None, *, is_due: bool
) -> None:
    """With how long it lasts by now: an hour went by since it was told."""
    pump = {
        "day_ul": 0,
        "left_ul": 310_000,
        "held": False,
        "running": False,
        "next_at": None,
        "days_left": days_left,
    }
    found = row_of("reef", document(pumps={"soda": pump}), (NOW, VISIT))
    assert is_due == bool(found.refills)
    part = refills_part([found], "2026-05-10")
    assert is_due == bool(part.rows)
    if is_due:
        assert ("reef", "soda", "310 mL") == (
            part.rows[0][0],
            part.rows[0][1],
            part.rows[0][3],
        )


def test_words_from_a_wire_reach_no_terminal_as_commands() -> None:
    """A state that somebody forged with control characters is printed clean."""
    evil = document(word="held", why="\x1b[2J\x07gone\n")
    cells = tanks_part([row_of("reef", evil, (NOW, VISIT))]).rows[0]
    assert all(cell.isprintable() for cell in cells)
    assert "gone" in cells[-1]


@pytest.mark.parametrize(
    "words",
    [
        ("--broker", "nowhere"),
        ("--broker", "h:99999"),
        ("--broker", "h:1883", "--prefix", "a/#"),
        ("--broker", "h:1883", "--password-file", "/nowhere/at/all"),
        ("--visit", "2020-01-01"),
        ("--visit", "soon"),
    ],
)
def test_what_is_typed_wrong_reads_nothing(
    tmp_path: Path, words: tuple[str, ...]
) -> None:
    """Exit code 2."""
    assert 2 == Stage(tmp_path, tmp_path).run("overview", *words).code


def test_several_ledgers_stand_on_one_page(tmp_path: Path) -> None:
    """Each under the name of its directory; a missing one is named, not hidden."""
    stages = []
    for name, level in (("north", "9.0 dKH"), ("south", "7.5 dKH")):
        (tmp_path / name).mkdir()
        stage = stage_of(tmp_path / name)
        assert 0 == stage.approve("--now").code
        assert 0 == stage.run("record", f"alkalinity={level}", "--by", "mara").code
        moved = stage.state.with_name(f"{name}-state")
        stage.state.rename(moved)
        stages.append(replace(stage, state=moved))
    places = [stage.state for stage in stages]
    page = stages[0].run("overview", *places).out.splitlines()
    assert page[0].endswith(" UTC")
    assert [True] == [line.endswith(" UTC") for line in page if "Refill before" in line]
    done = stages[0].run("overview", *places, tmp_path / "nowhere", "--json")
    assert 1 == done.code
    tanks = done.document["tanks"]
    assert isinstance(tanks, list)
    assert ["south-state/reef", "north-state/reef"] == [one["tank"] for one in tanks]
    assert all(one["gone"] for one in tanks)
    errors = done.document["errors"]
    assert isinstance(errors, list)
    assert [str(tmp_path / "nowhere")] == [one["where"] for one in errors]


def test_a_ledger_without_a_plan_is_not_called_unreadable(tmp_path: Path) -> None:
    """Both files and the ledger can be read: what is missing is the approval."""
    stage = stage_of(tmp_path)
    places = ((), (stage.state,))
    for place in places:
        page = stage.run("overview", *place)
        assert 1 == page.code
        # A long path is broken anywhere.
        told = "".join(f"Not shown {stage.state}: no plan is approved there.".split())
        assert told in "".join(page.out.split())
        assert "be read" not in page.out
    (error,) = stage.run("overview", "--json").errors
    assert "no plan is approved there" == error["what"]
    assert (str(stage.state), True) == (
        error["where"],
        "slackwater approve" in error["do"],
    )
