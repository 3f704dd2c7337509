"""How long a bottle lasts is one figure, whoever tells it."""

from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest

from slackwater.cli.reading import read_files
from slackwater.cli.report.extent import today_of
from tests.cli.run_program import SMALLEST, changed
from tests.cli.stage import Stage, stage_of
from tests.service.test_tank_document import running, shown

# For ten days more is drawn: 36 mL and 8 mL of a correction.
UP_DAYS, UP_ML, UPKEEP_ML = 10, 8, 36
RAISED = """[[line]]
id = "carbonate-up"
tank = "reef"
solution = "carbonate"
per_day = "8 mL"
times = ["10:30", "12:30", "14:30", "16:30"]
first = {first}
last = {last}
purpose = "correction"
"""
ROOM = (
    ('most_per_dose = "4 mL"', 'most_per_dose = "8 mL"'),
    ('most_per_day = "50 mL"', 'most_per_day = "100 mL"'),
    ('day_limit = "80 mL"', 'day_limit = "160 mL"'),
)


@pytest.fixture
def stage(tmp_path: Path) -> Stage:
    """The smallest sample, its carbonate raised for ten days from tomorrow on."""
    stage = stage_of(tmp_path, changed(tmp_path / "config", SMALLEST))
    first = today(stage) + timedelta(days=1)
    line = RAISED.format(first=first, last=first + timedelta(days=UP_DAYS - 1))
    plan, machine = (stage.config / f"{one}.toml" for one in ("plan", "slackwater"))
    text = plan.read_text("utf-8")
    plan.write_text(text.replace("[group.balanced]", f"{line}\n[group.balanced]"))
    text = machine.read_text("utf-8")
    for old, new in ROOM:
        assert old in text
        text = text.replace(old, new)
    machine.write_text(text, "utf-8")
    return stage


def today(stage: Stage) -> date:
    """The day beside the tank."""
    return today_of(read_files(stage.config).machine, stage.stamp()["at"])


def of(found: object) -> dict[str, Any]:
    """The bottle of carbonate among all."""
    assert isinstance(found, list)
    (one,) = (each for each in found if each["reservoir"] == "carbonate")
    return dict(one)


def test_a_correction_draws_on_its_days_alone_in_every_face(stage: Stage) -> None:
    """2 L: a day of 36 mL, ten of 44, then 36 mL again: 53.3 days.

    Were it to go on for good it were 45.5, without it 55.6.
    """
    up_ml = UP_DAYS * UP_ML
    days = (2_000 - up_ml) / UPKEEP_ML
    told = stage.approve("--now", highest="80 mL")
    assert 0 == told.code, told.out
    rehearsed = of(stage.run("rehearse", "--json").document["bottles"])
    assert (pytest.approx(days, abs=0.01), False) == (
        rehearsed["lasts_days"],
        rehearsed["within"],
    )
    checked = of(stage.run("check", "--json").document["lasts"])
    tanks: Any = stage.run("status", "--json").document["tanks"]
    status = tanks[0]["reservoir"]
    assert "carbonate" == status["id"]
    for key in ("days", "days_low", "days_high"):
        figures = (
            rehearsed[f"lasts_{key}"],
            checked[key],
            status[key],
        )
        assert max(figures) - min(figures) < 0.06
    with running(stage) as rig:
        assert round(days, 1) == shown(rig)["pumps"]["carbonate"]["days_left"]


def test_a_correction_to_come_brings_the_ceiling_nearer_in_every_face(
    stage: Stage,
) -> None:
    """From tomorrow on, by the tank's own clock; a status and the broker say the same.

    The document rounds to tenths and is made a moment after the status.
    """
    assert 0 == stage.approve("--now", highest="80 mL").code
    tanks: Any = stage.run("status", "--json").document["tanks"]
    with running(stage) as rig:
        told = shown(rig)["hours_to_ceiling"]["alkalinity"]
    assert told == pytest.approx(tanks[0]["hours_to_ceiling"], abs=0.2)


def test_a_rehearsal_gives_its_days_an_interval(stage: Stage) -> None:
    """On its first screen and on its page, as a status does."""
    found = stage.run("rehearse", "--json").document
    one = of(found["bottles"])
    assert one["lasts_days_low"] < one["lasts_days"] < one["lasts_days_high"]
    summary: Any = found["summary"]
    (item,) = (each for each in summary if each["key"] == "bottle")
    low, high = round(one["lasts_days_low"]), round(one["lasts_days_high"])
    assert f"lasts 53.3 days ({low} to {high}), to " in item["lines"][0]
