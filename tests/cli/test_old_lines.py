"""A line that an old doser still gives is never shown as a dose of ours."""

from pathlib import Path

import pytest

from tests.cli.run_program import SMALLEST, changed
from tests.cli.stage import Stage, stage_of
from tests.cli.test_take_over import CALCIUM, OLD, SODA, enabled, take
from tests.service.test_tank_document import running, shown


@pytest.fixture
def stage(tmp_path: Path) -> Stage:
    """The smallest sample beside an old doser that gives both lines."""
    config = changed(tmp_path / "config", SMALLEST, slackwater=("\n[broker]", OLD))
    return stage_of(tmp_path, config)


def next_due(stage: Stage) -> object:
    """The dose that a status names as the next one."""
    tanks = stage.run("status", "--json").document["tanks"]
    assert isinstance(tanks, list)
    return tanks[0]["next"]


def old_item(stage: Stage) -> list[str]:
    """What the first screen of a rehearsal says of the old doser."""
    found = stage.run("rehearse", "--days", 2, "--json").document["summary"]
    assert isinstance(found, list)
    return [line for one in found if one["key"] == "old" for line in one["lines"]]


def test_the_next_dose_of_a_status_is_one_of_ours(stage: Stage) -> None:
    """None before anything is taken over, then only of the line that is ours."""
    enabled(stage)
    assert next_due(stage) is None
    told = " ".join(stage.run("status").out.split())
    assert f"none of ours: the old doser gives {CALCIUM}, {SODA}" in told
    assert 0 == take(stage, "carbonate").code
    due = next_due(stage)
    assert isinstance(due, dict)
    assert str(due["dose"]).startswith(f"{SODA}@")


def test_in_shadow_a_status_names_the_old_doser_as_well(stage: Stage) -> None:
    """Ours are imagined, and somebody else gives these lines."""
    assert 0 == stage.approve("--now").code
    assert [CALCIUM, SODA] == stage.run("status", "--json").document["left_to_old"]
    assert f"an old doser still gives {CALCIUM}, {SODA}" in stage.run("status").out


def test_a_dashboard_shows_no_next_dose_of_a_line_that_is_not_ours(
    stage: Stage,
) -> None:
    """The document of the tank: a pump whose line is left to another waits for none."""
    enabled(stage)
    assert 0 == take(stage, "carbonate").code
    with running(stage) as rig:
        told = shown(rig)
    assert "next_at" not in told["pumps"]["calcium"]
    assert told["pumps"]["carbonate"]["next_at"] == told["next_dose"]["due_at"]


def test_a_why_says_who_gives_a_line(stage: Stage) -> None:
    """Not that nobody looked at its next dose."""
    enabled(stage)
    told = " ".join(stage.run("why").out.split())
    assert "calcium the old doser gives it until `slackwater take-over`" in told


def test_a_rehearsal_names_the_lines_and_what_the_old_doser_gives(
    stage: Stage,
) -> None:
    """In shadow both, then those that are left, then nothing is said."""
    (line,) = old_item(stage)
    assert f"still gives {CALCIUM} (34 mL a day), {SODA} (34 mL a day)" in line
    enabled(stage)
    assert 0 == take(stage, "carbonate").code
    (line,) = old_item(stage)
    assert f"still gives {CALCIUM} (34 mL a day); shown as ours" in line
    found = stage.run("rehearse", "--days", 2, "--json").document
    assert [{"line": CALCIUM, "volume_ul": 34_000}] == found["old_doser"]
    assert 0 == take(stage, "calcium").code
    assert [] == old_item(stage)


def test_a_rehearsal_without_a_ledger_leaves_every_named_line(stage: Stage) -> None:
    """Nobody said that the old one is off."""
    stage.state = stage.state.with_name("none")
    (line,) = old_item(stage)
    assert CALCIUM in line
    assert SODA in line


def test_a_table_that_only_the_new_file_has_is_told_before_it_is_approved(
    stage: Stage,
) -> None:
    """Its approval would leave the line to the old doser."""
    whole = (stage.config / "slackwater.toml").read_text("utf-8")
    plain = whole.replace(OLD, "\n[broker]")
    (stage.config / "slackwater.toml").write_text(plain, "utf-8")
    enabled(stage)
    assert [] == old_item(stage)
    (stage.config / "slackwater.toml").write_text(whole, "utf-8")
    (line,) = old_item(stage)
    assert CALCIUM in line


@pytest.mark.parametrize("verb", ["take-over", "approvals"])
def test_a_table_stands_in_eighty_columns(
    stage: Stage, verb: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As a table, not as rows below rows, and nothing is cut off."""
    monkeypatch.setenv("COLUMNS", "80")
    enabled(stage)
    assert 0 == take(stage, "carbonate").code
    out = stage.run(verb).out
    assert max(map(len, out.splitlines())) <= 80
    assert "────" in out
    told = " ".join(out.split())
    for words in {
        "take-over": (
            f"{CALCIUM} 34 mL 36 mL 0 µL adds calcium 6.5 mg/L 6.75 mg/L 0 mg/L",
            f"{CALCIUM} is given by the old doser until `slackwater take-over",
            f"{SODA} is given by us.",
        ),
        "approvals": ("1 by keeper: in force, for 179 d",),
    }[verb]:
        assert words in told
