"""What a pump as it was measured never runs is told before anybody consents to it."""

from dataclasses import replace
from pathlib import Path

import pytest

from slackwater.cli.commands.calibrating import least_ul
from slackwater.cli.reading import read_files
from slackwater.cli.runs_fit import unfit_lines
from slackwater.facts.events import Calibrated
from slackwater.facts.state import State
from slackwater.pump.command import calibration_id
from slackwater.pump.flow import Flow, MeasuredRun, flow_of
from tests.cli.run_program import CONFIG, SMALLEST, changed
from tests.cli.stage import Stage, stage_of

RELAYS = CONFIG / "relays"


def measured(stage: Stage, pump: str, rate: int, offset_nl: int = 0) -> None:
    """A pump that gives another flow than its file says."""
    stage.commission(pump)
    known = stage.folded().calibrations[pump]
    assert isinstance(known, Calibrated)
    other = replace(
        known,
        **stage.stamp(),
        rate_nl_per_s=rate,
        offset_nl=offset_nl,
        cal=calibration_id(pump, rate, offset_nl),
    )
    stage.append(other)


def told(config: Path, state: State) -> list[tuple[str, str]]:
    """Where something is unfit, and what."""
    return [(one.where, one.what) for one in unfit_lines(read_files(config), state)]


def test_a_run_that_became_longer_than_its_node_runs_is_refused(
    tmp_path: Path,
) -> None:
    """3 mL take 6 s by the file and 6.25 s as measured; the node ends runs at 6.1 s."""
    longest = ('longest_run = "30 s"', 'longest_run = "6.1 s"')
    config = changed(tmp_path / "config", SMALLEST, slackwater=longest)
    stage = stage_of(tmp_path, config)
    assert 0 == stage.approve().code
    measured(stage, "carbonate", 480_000)
    answer = stage.approve()
    assert 1 == answer.code
    (error,) = answer.errors
    assert ("line reef/carbonate", True) == (
        error["where"],
        error["what"].endswith("takes carbonate 6.25 s as it was measured"),
    )


@pytest.mark.parametrize(
    ("rate", "offset_nl", "is_told"),
    [
        (500_000, 0, False),
        (500_001, 0, True),
        (499_000, 0, False),
        (500_000, 1, True),
        (501_000, -6_000, False),
    ],
)
def test_a_pulse_that_gives_more_than_a_dose_is_refused(
    tmp_path: Path, rate: int, offset_nl: int, *, is_told: bool
) -> None:
    """6 s of 30 mL/min are the 3 mL of a dose: of a drop more none would be given."""
    stage = stage_of(tmp_path, RELAYS)
    measured(stage, "calcium", rate, offset_nl)
    what = "one pulse of calcium gives 3.001 mL as it was measured, and a dose is 3 mL"
    expected = [("line reef/calcium", what)] if is_told else []
    assert expected == told(RELAYS, stage.folded())


@pytest.mark.parametrize("every", [1.0, 1.01])
def test_a_calibration_of_pulses_knows_no_smaller_dose_than_a_pulse(
    every: float,
) -> None:
    """What is shortened comes as whole pulses at turns, and not as none at all."""
    machine = read_files(RELAYS).machine
    runs = [MeasuredRun(ran_ms=18_000, volume_ul=round(9000 * every), shots=3)] * 3
    flow = flow_of(runs, one_length=True)
    assert isinstance(flow, Flow)
    found = least_ul(flow, machine.nodes["timer"])
    assert round(3000 * every) == found
    assert flow.smallest_ul == least_ul(flow, machine.nodes["plug"]) < found
