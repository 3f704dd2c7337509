"""The drop-in that `enable` writes: with it alone the service may command."""

import subprocess
from pathlib import Path

import pytest

from slackwater.cli.drop_in import FOLDER, NAME, UNIT, wanted_folder
from slackwater.cli.shell import CONFIG, Shell
from slackwater.outside.settings import read_broker
from tests.cli.run_program import SMALLEST, changed
from tests.cli.stage import Stage, stage_of
from tests.cli.test_stages import ready

PASSWORDS = """[broker]
actuate_user = "slackwater-actuate"
actuate_password_file = "actuate.password"
"""
TOP = Path(__file__).resolve().parents[2]


@pytest.fixture
def stage(tmp_path: Path) -> Stage:
    """The smallest sample, its broker asking commands for a password, and ready."""
    config = changed(tmp_path / "config", SMALLEST, slackwater=("[broker]", PASSWORDS))
    (config / "actuate.password").write_text("word\n", "utf-8")
    stage = stage_of(tmp_path, config)
    ready(stage)
    return stage


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder that does not exist yet, as on a machine that never enabled."""
    return tmp_path / "unit.d"


def test_enabling_writes_it_and_disabling_takes_it_away(
    stage: Stage, folder: Path
) -> None:
    """It names the password's file and holds nothing of what stands in it."""
    told = stage.run("enable", "--drop-in", folder, "--json").document
    path = folder / NAME
    assert str(path) == told["drop_in"]
    text = path.read_text("utf-8")
    source = stage.config / "actuate.password"
    assert f"LoadCredential=actuate.password:{source}" in text
    assert "word\n" not in text.replace("password", "")
    assert [path] == list(folder.iterdir())
    gone = stage.run("disable", "--drop-in", folder, "--json").document
    assert True is gone["drop_in_removed"]
    assert [] == list(folder.iterdir())
    again = stage.run("disable", "--drop-in", folder, "--json").document
    assert False is again["drop_in_removed"]


def test_it_is_written_before_pumps_are_enabled_or_they_are_not(
    stage: Stage, tmp_path: Path
) -> None:
    """A place that cannot be written to: refused, and still in shadow."""
    blocked = tmp_path / "file"
    blocked.write_text("in the way", "utf-8")
    told = stage.run("enable", "--drop-in", blocked / "below", "--json")
    assert 1 == told.code
    assert "the drop-in cannot be written" in told.errors[0]["what"]
    assert "shadow" == stage.folded().stage


def test_nothing_is_written_while_a_condition_is_missing(
    tmp_path: Path, folder: Path
) -> None:
    """Not commissioned, never in shadow: no word for commands either."""
    config = changed(tmp_path / "config", SMALLEST, slackwater=("[broker]", PASSWORDS))
    stage = stage_of(tmp_path, config)
    assert 0 == stage.approve("--now").code
    assert 1 == stage.run("enable", "--drop-in", folder).code
    assert not folder.exists()


def test_one_that_is_missing_is_written_again(stage: Stage, folder: Path) -> None:
    """Enabled before, and somebody removed it."""
    assert 0 == stage.run("enable", "--drop-in", folder).code
    (folder / NAME).unlink()
    told = stage.run("enable", "--drop-in", folder, "--json").document
    assert (False, str(folder / NAME)) == (told["changed"], told["drop_in"])
    assert (folder / NAME).exists()


def test_a_broker_without_passwords_needs_none(tmp_path: Path, folder: Path) -> None:
    """Nothing is written that would change nothing."""
    plain = stage_of(tmp_path)
    ready(plain)
    assert (
        None is plain.run("enable", "--drop-in", folder, "--json").document["drop_in"]
    )
    assert not folder.exists()


def test_only_the_usual_directory_is_that_of_the_unit() -> None:
    """A configuration elsewhere is run by hand: nothing outside it is touched."""
    assert FOLDER == wanted_folder(Shell(config=CONFIG), None)
    assert None is wanted_folder(Shell(config=Path("elsewhere")), None)
    named = Path("named")
    assert named == wanted_folder(Shell(config=CONFIG), named)


def test_the_service_manager_reads_it(
    stage: Stage, systemd_analyze: str, tmp_path: Path
) -> None:
    """Beside the unit, `systemd-analyze verify` has no word to say of it."""
    unit = tmp_path / UNIT
    text = (TOP / "systemd" / UNIT).read_text("utf-8")
    program = "/opt/slackwater/bin/slackwater run"
    unit.write_text(text.replace(program, "/bin/true"), "utf-8")
    folder = tmp_path / f"{UNIT}.d"
    assert 0 == stage.run("enable", "--drop-in", folder).code
    words = [systemd_analyze, "verify", str(unit)]
    done = subprocess.run(words, capture_output=True, check=False, text=True)
    assert (0, "") == (done.returncode, done.stderr)
    path = folder / NAME
    path.write_text(path.read_text("utf-8").replace("LoadC", "LoseC"), "utf-8")
    done = subprocess.run(words, capture_output=True, check=False, text=True)
    assert "Unknown key" in done.stderr


def test_a_secret_is_read_where_the_service_manager_handed_it_over(
    stage: Stage, tmp_path: Path
) -> None:
    """Under its own name, and at its own place where it was not handed over."""
    handed = tmp_path / "credentials"
    handed.mkdir()
    own = stage.config / "actuate.password"
    assert own == read_broker(stage.config, handed).actuate_password
    (handed / "actuate.password").write_text("word\n", "utf-8")
    assert handed / "actuate.password" == (
        read_broker(stage.config, handed).actuate_password
    )
