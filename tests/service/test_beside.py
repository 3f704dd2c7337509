"""What stands in the machine's file beside what was approved, read at a start."""

import shutil
from contextlib import closing
from pathlib import Path

import pytest

from slackwater.errors import InputError
from slackwater.outside.clock import SystemClock
from slackwater.outside.notify import Nobody
from slackwater.service.memory import Memory
from slackwater.service.wiring import Places, build
from tests.cli.run_program import SMALLEST
from tests.cli.stage import Stage, stage_of

# What a keeper may be in the middle of when the power fails.
HALF_WRITTEN = {
    "messages": '[notify]\nleast = "loud"\n',
    "figures": "[metrics]\nloopback_port = 1\n",
    "home automation": '[home]\ndiscovery = "slackwater/1"\n',
    "a new node": '[node.attic]\nday_limit = "250"\nkey_file = "attic.key"\n',
    "a node that has no name yet": "[node.Attic]\n",
    "a new pump": '[pump.new]\ntank = "reef"\n',
}


@pytest.fixture
def stage(tmp_path: Path) -> Stage:
    """A ledger with an approved plan."""
    config = shutil.copytree(SMALLEST, tmp_path / "config")
    made = stage_of(tmp_path, config)
    assert 0 == made.approve("--now").code
    return made


def changed(stage: Stage, before: str, after: str) -> None:
    """The machine's file with other words in it; nobody approved them."""
    path = stage.config / "slackwater.toml"
    text = path.read_text("utf-8")
    assert before in text
    path.write_text(text.replace(before, after, 1), "utf-8")


def started(stage: Stage) -> bool:
    """A rig as a start builds it; whether it tells nobody."""
    places = Places(config=stage.config, state=stage.state)
    with closing(Memory(stage.state, "shadow")) as memory:
        memory.open()
        rig = build(places, SystemClock(), memory, "shadow")
        with closing(rig):
            assert 1 == len(rig.setup.forces)
            assert rig.home is None
            assert rig.meter is None
            return isinstance(rig.post, Nobody)


@pytest.mark.parametrize("what", HALF_WRITTEN)
def test_what_nobody_approved_keeps_no_approved_plan_from_going_on(
    stage: Stage, what: str
) -> None:
    """A table that only tells or shows, or a device that is to come, is at fault."""
    path = stage.config / "slackwater.toml"
    path.write_text(path.read_text("utf-8") + HALF_WRITTEN[what], "utf-8")
    assert started(stage)


def test_an_approved_node_whose_limits_are_being_changed_is_commanded_as_approved(
    stage: Stage,
) -> None:
    """Its table is at fault, and what it says of keys is not."""
    changed(stage, "[node.shelf]", "[node.shelf]\nhardware_id = 7")
    assert started(stage)


@pytest.mark.parametrize(
    "told", ['key_file = "shelf.key"', "key_file = 7", 'keyfile = "shelf.key"']
)
def test_a_key_that_cannot_be_told_is_refused(stage: Stage, told: str) -> None:
    """An approved node that may sign is not taken for one that does not."""
    changed(stage, "[node.shelf]", f"[node.shelf]\n{told}")
    with pytest.raises(InputError, match="key"):
        started(stage)


def test_a_broker_that_is_at_fault_is_refused(stage: Stage) -> None:
    """Nobody can be commanded without it."""
    changed(stage, 'host = "localhost"', 'host = ""')
    with pytest.raises(InputError, match="host"):
        started(stage)
