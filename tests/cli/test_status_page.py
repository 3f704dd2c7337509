"""The page of a status: one screen, nothing cut, what waits and was missed."""

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from slackwater.facts.events import DoseHeld, DoseMissed, HoldRaised
from slackwater.facts.reasons import Code, because
from slackwater.service.standing import only_one
from tests.cli.stage import Stage, stage_of
from tests.cli.test_status import (
    COLUMNS,
    LINES,
    MEQ_PER_DKH,
    due,
    first_line,
    live,
    miss,
    tanks_of,
)


@pytest.fixture
def stage(tmp_path: Path) -> Stage:
    """The smallest sample with a fresh ledger."""
    return stage_of(tmp_path)


def screen(stage: Stage, monkeypatch: pytest.MonkeyPatch, columns: int) -> list[str]:
    """The lines of a status on a terminal of so many columns."""
    monkeypatch.setenv("COLUMNS", str(columns))
    lines = stage.run("status").out.splitlines()
    assert max(len(line) for line in lines) < columns
    assert not any("…" in line for line in lines)
    return lines


@pytest.mark.parametrize("tanks", [2, 3, 20])
def test_fits_one_screen(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, tanks: int
) -> None:
    """24 lines with the one to type in, also with many tanks, holds and long notes."""
    stage = tanks_of(tmp_path, tanks)
    highest = str(
        stage.run("rehearse", "--days", "1", "--json").document["highest_daily_ul"]
    )
    assert 0 == stage.approve("--now", highest=f"{highest} uL").code
    for number in range(5):
        stage.run("hold", "--note", f"{number} " + "a long story " * 9)
    for columns in (60, 80):
        assert len(screen(stage, monkeypatch, columns)) < LINES
        with only_one(stage.state):
            assert screen(stage, monkeypatch, columns)[0].startswith("HELD  ")


def test_nothing_of_a_hold_is_cut(
    stage: Stage, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Reason, figures, scope, name and note are all there, on more lines."""
    live(stage)
    note = "drops fell from the tube, " * 5
    stage.append(
        HoldRaised(
            **stage.stamp(),
            hold_id="alkalinity-ceiling/reef",
            scope="alkalinity/reef",
            reason=because(
                Code.ALKALINITY_CEILING,
                ceiling_meq_per_l=9.5 * MEQ_PER_DKH,
                newest_meq_per_l=9.97 * MEQ_PER_DKH,
            ),
            latched=True,
            by="daemon",
            note=note.strip(),
        )
    )
    with only_one(stage.state):
        lines = screen(stage, monkeypatch, COLUMNS)
    text = " ".join(" ".join(lines).split())
    assert text.startswith(
        "HELD alkalinity/reef: Alkalinity is above its ceiling (ceiling 9.50 dKH, "
        "newest 9.97 dKH). Hold alkalinity-ceiling/reef (alkalinity/reef) "
        f'"{note.strip()}" Plan'
    )


def test_a_hold_of_one_pump_does_not_look_like_one_of_all(stage: Stage) -> None:
    """The line that leads says which; a hold of everything comes before it."""
    live(stage)
    with only_one(stage.state):
        stage.run("hold", "--scope", "pump/calcium")
        assert "HELD  pump/calcium: A person asked for a hold." == first_line(stage)
        stage.run("hold")
        assert "HELD  A person asked for a hold." == first_line(stage)


def test_a_dose_that_waits_is_told_with_its_reason(stage: Stage) -> None:
    """A broker that is gone shows before the dose is missed, with its age."""
    live(stage)
    stamp = stage.stamp()
    stamp["at"] -= timedelta(days=2)
    waits = DoseHeld(
        **stamp,
        dose_id="reef/carbonate@2026-05-03#01",
        pump="carbonate",
        reasons=(because(Code.LINK_DOWN), because(Code.NODE_ABSENT, node="shelf")),
    )
    stage.append(waits)
    assert "Waits" not in stage.run("status").out
    with only_one(stage.state):
        text = " ".join(stage.run("status").out.split())
        document = stage.run("status", "--json").document["waiting"]
    assert (
        "Waits reef/carbonate@2026-05-03#01: The connection to the broker is not "
        "proven. No fresh beat from the pump node (node shelf). Told 2 d 0 h ago. Plan"
    ) in text
    assert isinstance(document, list)
    assert [waits.dose_id] == [one["dose"] for one in document]


def test_missed_doses_of_a_day_are_counted(stage: Stage) -> None:
    """The newest with its reason; one from the day before is past."""
    live(stage)
    old = stage.stamp()
    old["at"] -= timedelta(hours=25)
    reasons = (because(Code.LINK_DOWN),)
    stage.append(DoseMissed(**old, dose=due(1, 1000, stage), reasons=reasons))
    assert "Missed" not in stage.run("status").out
    miss(stage, 2, 0)
    both = (because(Code.LINK_DOWN), because(Code.WINDOW_PASSED))
    stage.append(DoseMissed(**stage.stamp(), dose=due(3, 1, stage), reasons=both))
    text = " ".join(stage.run("status").out.split())
    assert (
        "Missed 2 doses in 24 h, the newest of carbonate: The connection to the broker "
        "is not proven. The latest start passed. Reservoir"
    ) in text
    document = stage.run("status", "--json").document["missed_in_24_h"]
    assert isinstance(document, list)
    assert ["reef/carbonate@2026-05-03#03", "reef/carbonate@2026-05-03#02"] == [
        one["dose"] for one in document
    ]


def test_a_shot_that_never_ran_is_no_missed_dose(stage: Stage) -> None:
    """A calibration shot belongs to no line of the plan."""
    live(stage)
    shot = replace(due(1, 1000, stage), line="", id="shot-1")
    stage.append(
        DoseMissed(**stage.stamp(), dose=shot, reasons=(because(Code.REQUEST_EXPIRED),))
    )
    assert "Missed" not in stage.run("status").out
