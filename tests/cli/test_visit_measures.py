"""A visit that measures a pump, with a real broker and an invented pump."""

import json
import subprocess
import sys
from pathlib import Path

import pytest

from slackwater.facts.events import Calibrated, DoseEnded, HoldReleased
from tests.cli.shots import LOST_UL, UL_PER_MS, answer, asked
from tests.service.household import TOP, Household, environment, household

MEASURED, PROVEN = "Measured in the cylinder", "[yes/no]"


def collected_ul(home: Household, shots_before: int) -> tuple[float, int]:
    """What lies in the cylinder since so many shots, and how many there were by now."""
    ran_ms = [one.ran_ms for one in home.events() if isinstance(one, DoseEnded)]
    return (
        sum(UL_PER_MS * ran - LOST_UL for ran in ran_ms[shots_before:]),
        len(ran_ms),
    )


@pytest.mark.long
@pytest.mark.mosquitto
@pytest.mark.timeout(900)
def test_a_visit_calibrates_a_pump_from_end_to_end(tmp_path: Path) -> None:
    """The pause makes way for the shots, and the flow is on record when it ends."""
    told = tmp_path / "answers.json"
    told.write_text(json.dumps({"measure": ["carbonate"]}), "utf-8")
    with household(tmp_path) as home:
        places = ("--config", home.config, "--state", home.state, "--json")
        words = ("visit", "--answers", told, "--by", "keeper", *places)
        program = subprocess.Popen(
            [sys.executable, "-m", "slackwater", *map(str, words)],
            env=environment(),
            cwd=TOP,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        answer(program, "yes", "yes")  # the outlet, and the hose
        asked(program, "without bubbles?")
        shots = 0
        while MEASURED == asked(program, MEASURED, PROVEN):
            volume_ul, shots = collected_ul(home, shots)
            answer(program, f"{volume_ul:.1f} uL")
        output, said = program.communicate("yes\nyes\nyes\n")
        events = home.events()
    assert 0 == program.returncode, said
    assert json.loads(output)["ok"]
    (kept,) = [one for one in events if isinstance(one, Calibrated)]
    assert ("carbonate", "keeper") == (kept.pump, kept.by)
    assert pytest.approx(490_000, rel=0.01) == kept.rate_nl_per_s
    lifted = [one.why for one in events if isinstance(one, HoldReleased)]
    assert ["measuring a pump", "visit ended"] == lifted
