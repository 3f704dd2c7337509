"""A tube that is swapped, a bottle that is moved: the pump stands still, then fills.

Both fill the hose within the small ceiling of priming (H56).
"""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from slackwater.facts.events import HoldRaised, HoldReleased, ShotRequested
from slackwater.facts.reasons import Code
from slackwater.facts.safeguards import BottleMoved, TubeSwapped
from tests.cli.run_program import SMALLEST, changed
from tests.cli.stage import Stage, beside_a_daemon, stage_of

CAP = 'most_per_calibration = "60 mL"'
CAPS = f'{CAP}\nmost_by_hand = "5 mL"\nmost_per_priming = "20 mL"'
ONE_BOTTLE = ('reservoir = "calcium"', 'reservoir = "carbonate"')
BY = ("--by", "keeper", "--json")


@pytest.fixture
def stage(tmp_path: Path) -> Iterator[Stage]:
    """The smallest sample, live, beside a daemon; small ceilings by hand."""
    with beside_a_daemon(tmp_path) as made:
        yield made


def newest(stage: Stage, before: int) -> list[str]:
    """The kinds of the entries since."""
    return [one.kind for one in stage.events()[before:]]


def test_h56_a_pump_stands_still_while_its_tube_is_swapped(stage: Stage) -> None:
    """That pump alone, for half an hour, and it ends by itself."""
    told = stage.run("swap-tube", "carbonate", *BY)
    assert 0 == told.code, told.out
    (hold,) = [one for one in stage.events() if isinstance(one, HoldRaised)]
    assert ("pump/carbonate", Code.PAUSE, False) == (
        hold.scope,
        hold.reason.code,
        hold.latched,
    )
    assert hold.until is not None
    assert 1800 == (hold.until - hold.at).total_seconds()
    assert (["carbonate"], False) == (told.document["pumps"], told.document["done"])
    assert {} == stage.folded().tubes


def test_h56_a_new_tube_ends_the_pause_and_fills_the_hose(stage: Stage) -> None:
    """Its hours begin anew; what fills it is no dose of the plan."""
    assert 0 == stage.run("swap-tube", "carbonate", "--minutes", 5, *BY).code
    before = len(stage.events())
    told = stage.run("swap-tube", "carbonate", "3 mL", "--outlet-out", *BY)
    assert 0 == told.code, told.out
    assert ["hold_released", "tube_swapped", "shot_requested"] == newest(stage, before)
    asked = stage.events()[-1]
    assert isinstance(asked, ShotRequested)
    assert ("prime", 3000, "swap-tube, outlet out of the water") == (
        asked.purpose,
        asked.volume_ul,
        asked.why,
    )
    assert {} == stage.folded().holds
    assert ["carbonate"] == list(stage.folded().tubes)


def test_h56_a_hose_in_the_water_counts_as_given(stage: Stage) -> None:
    """Nobody said that its outlet is out."""
    told = stage.run("move-bottle", "carbonate", "3 mL", *BY)
    assert 0 == told.code, told.out
    (asked,) = [one for one in stage.events() if isinstance(one, ShotRequested)]
    assert ("manual", "move-bottle, outlet in the water") == (asked.purpose, asked.why)


@pytest.mark.parametrize("name", ["swap-tube", "move-bottle"])
@pytest.mark.parametrize(
    ("volume", "words", "cap"),
    [
        ("20001 uL", ("--outlet-out",), "most_per_priming"),
        ("5001 uL", (), "most_by_hand"),
    ],
)
def test_h56_more_than_its_small_cap_leaves_all_as_it_was(
    stage: Stage, name: str, volume: str, words: tuple[str, ...], cap: str
) -> None:
    """Neither the work nor the end of the pause is written down."""
    assert 0 == stage.run(name, "carbonate", *BY).code
    before = len(stage.events())
    told = stage.run(name, "carbonate", volume, *words, *BY)
    assert 1 == told.code
    assert told.errors[0]["where"].endswith(cap)
    assert [] == newest(stage, before)


def test_h56_all_pumps_of_one_bottle_stand_still_and_are_filled(tmp_path: Path) -> None:
    """Each has its own hold, and its own hose."""
    config = changed(tmp_path / "config", SMALLEST, slackwater=(CAP, CAPS))
    path = config / "slackwater.toml"
    text = path.read_text("utf-8").replace(*ONE_BOTTLE)
    text = text.replace('solution = "calcium"', 'solution = "carbonate"')
    path.write_text(text, "utf-8")
    stage = stage_of(tmp_path, config)
    told = stage.run("move-bottle", "carbonate", *BY)
    assert (0, ["calcium", "carbonate"]) == (told.code, told.document["pumps"])
    held = {one.scope for one in stage.events() if isinstance(one, HoldRaised)}
    assert {"pump/calcium", "pump/carbonate"} == held
    told = stage.run("move-bottle", "carbonate", "--done", *BY)
    assert (0, []) == (told.code, told.document["requests"])
    freed = [one for one in stage.events() if isinstance(one, HoldReleased)]
    assert 2 == len(freed)
    (moved,) = [one for one in stage.events() if isinstance(one, BottleMoved)]
    assert ("carbonate", ("calcium", "carbonate")) == (moved.reservoir, moved.pumps)


@pytest.mark.parametrize(
    ("begun", "ended"), [("swap-tube", "move-bottle"), ("move-bottle", "swap-tube")]
)
def test_h56_the_end_of_one_work_ends_no_other(
    stage: Stage, begun: str, ended: str
) -> None:
    """A bottle is put back while hands are at the tube: the pump stands still."""
    for name in (begun, ended):
        assert 0 == stage.run(name, "carbonate", *BY).code
    assert 0 == stage.run(ended, "carbonate", "--done", *BY).code
    (left,) = stage.folded().holds.values()
    assert "pump/carbonate" == left.scope
    assert begun in left.hold_id
    assert 0 == stage.run(begun, "carbonate", "--done", *BY).code
    assert {} == stage.folded().holds


def test_before_pumps_are_enabled_a_tube_is_swapped_and_nothing_runs(
    tmp_path: Path,
) -> None:
    """The hose is filled while the pump is calibrated; a volume is refused whole."""
    stage = stage_of(tmp_path)
    before = len(stage.events())
    told = stage.run("swap-tube", "carbonate", "3 mL", "--outlet-out", *BY)
    assert (1, []) == (told.code, newest(stage, before))
    assert told.errors[0]["what"].startswith("pumps are not enabled")
    told = stage.run("swap-tube", "carbonate", "--done", "--note", "spare", *BY)
    assert 0 == told.code
    (kept,) = [one for one in stage.events() if isinstance(one, TubeSwapped)]
    assert ("carbonate", "keeper", "spare") == (kept.pump, kept.by, kept.note)


@pytest.mark.parametrize(
    ("words", "what"),
    [
        (("swap-tube", "magnesium"), 'nothing is called "magnesium"'),
        (("move-bottle", "magnesium"), 'nothing is called "magnesium"'),
        (
            ("swap-tube", "carbonate", "3 mL", "--done"),
            "a volume and --done are both given",
        ),
        (
            ("swap-tube", "carbonate", "--outlet-out"),
            "--outlet-out is given without a volume",
        ),
        (
            ("move-bottle", "carbonate", "--done", "--minutes", "5"),
            "--minutes has no meaning when it is done",
        ),
        (("swap-tube", "carbonate", "3 mg"), '"3 mg" has the unknown unit "mg"'),
    ],
)
def test_what_is_not_clear_is_refused(
    stage: Stage, words: tuple[str, ...], what: str
) -> None:
    """One error, and nothing is written."""
    before = len(stage.events())
    told = stage.run(*words, "--json")
    assert (2, 1) == (told.code, len(told.errors))
    assert what == told.errors[0]["what"]
    assert [] == newest(stage, before)


def test_the_page_says_what_to_do_next(stage: Stage) -> None:
    """Until when it stands still, how to end it, and that it wants measuring."""
    page = stage.run("swap-tube", "carbonate", "--by", "keeper").out
    assert "carbonate" in page
    assert "--outlet-out" in page
    page = stage.run("swap-tube", "carbonate", "--done", "--by", "keeper").out
    assert "slackwater calibrate carbonate" in page


def test_a_status_tells_the_hours_of_tubes(stage: Stage) -> None:
    """Beside those they last, and when they were new."""
    assert 0 == stage.run("swap-tube", "carbonate", "--done", *BY).code
    told: Any = stage.run("status", "--json").document["tubes"]
    found = {one["pump"]: one for one in told}
    assert {"carbonate", "calcium"} == set(found)
    assert (0.0, 500.0) == (found["calcium"]["ran_h"], found["calcium"]["life_h"])
    assert found["calcium"]["swapped_at"] is None
    assert found["carbonate"]["swapped_at"] is not None


def test_h28_consent_names_a_tube_that_nobody_measured(stage: Stage) -> None:
    """A warning and no refusal: upkeep by it goes on as it does with an old one."""
    stage.append(TubeSwapped(**stage.stamp(), pump="carbonate", by="keeper"))
    stage.run("disable")
    stage.shadow()
    warning = (
        "carbonate: its tube was swapped after it was measured, so what it gives is "
        "not known: slackwater calibrate carbonate."
    )
    told = stage.run("enable", *BY)
    assert (0, [warning]) == (told.code, told.document["warnings"])
    stage.run("withdraw", 1)
    told = stage.approve("--now")
    assert (0, [warning]) == (told.code, told.document["warnings"])
    stage.commission("carbonate")
    told = stage.approve("--now")
    assert (0, []) == (told.code, told.document["warnings"])
