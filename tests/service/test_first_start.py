"""A daemon that nobody has approved anything for reads the whole machine file."""

from contextlib import closing
from pathlib import Path

import pytest

from slackwater.errors import InputError
from slackwater.outside.clock import SystemClock
from slackwater.service.memory import Memory
from slackwater.service.wiring import Places, build
from tests.cli.run_program import SMALLEST
from tests.cli.stage import stage_of


def test_a_first_start_tells_all_that_is_wrong_in_the_file(tmp_path: Path) -> None:
    """Of broker, messages, pumps and tank at once."""
    state = stage_of(tmp_path).state
    text = (SMALLEST / "slackwater.toml").read_text("utf-8")
    text = text.replace('host = "localhost"', 'host = ""\n[notify]\nleast = "loud"')
    text = text.replace('"Europe/Berlin"', '"Europe/Berlln"').replace("30 mL/min", "30")
    config = tmp_path / "config"
    config.mkdir()
    (config / "slackwater.toml").write_text(text, "utf-8")
    places = Places(config=config, state=state, credentials=None)
    with closing(Memory(state, "shadow")) as memory:
        memory.open()
        with pytest.raises(InputError) as caught:
            build(places, SystemClock(), memory, "shadow")
    told = {one.where.partition(" ")[2] for one in caught.value.findings}
    assert {
        "[broker] host",
        "[notify] least",
        "[tank.reef] zone",
        "[pump.carbonate] rate",
        "[pump.calcium] rate",
    } <= told
