"""The list of what was announced to home automation may be lost without harm."""

import shutil
from contextlib import closing
from pathlib import Path

import pytest

from slackwater.outside.clock import SystemClock
from slackwater.service.homing import NAME, announce_all, read_announced
from slackwater.service.memory import Memory
from slackwater.service.wiring import Places, build
from tests.cli.run_program import SMALLEST
from tests.cli.stage import stage_of


@pytest.mark.parametrize("content", [b"", b"\xff\xfe", b"{"])
def test_a_damaged_list_is_written_anew(tmp_path: Path, content: bytes) -> None:
    """A worn card costs the list, and neither an announcement nor the daemon."""
    config = tmp_path / "config"
    shutil.copytree(SMALLEST, config)
    with (config / "slackwater.toml").open("a") as file:
        file.write("\n[home]\n")
    stage = stage_of(tmp_path, config)
    (stage.state / NAME).write_bytes(content)
    memory = Memory(stage.state, "shadow")
    memory.open()
    places = Places(config=config, state=stage.state)
    with closing(build(places, SystemClock(), memory, "shadow")) as rig:
        announce_all(rig, rig.setup.machine)
        assert rig.announced
        assert set(rig.announced) == set(read_announced(stage.state, rig.root))
