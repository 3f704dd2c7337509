"""A connection whose thread is gone ends the daemon, which is then started anew."""

import shutil
import threading
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from slackwater.errors import WireError
from slackwater.facts.now import Now
from slackwater.outside.clock import SystemClock
from slackwater.service.memory import Memory
from slackwater.service.run import Stop, _passes
from slackwater.service.wiring import Places, Rig, build
from tests.cli.run_program import SMALLEST
from tests.cli.stage import stage_of
from tests.outside.peers import LOOPBACK, ScriptedServer, until

# MQTT 5.0, section 3.2, CONNACK, and 3.3, PUBLISH: two letters of a topic, no payload.
ACCEPTED_AND_TOLD = bytes.fromhex("2003000000" + "300500026f6b00")


class OneThreadClock(SystemClock):
    """A fault of ours: a clock that only the main thread can read."""

    def now(self) -> Now:
        """The time; an error nobody expects in any other thread."""
        if threading.current_thread() is not threading.main_thread():
            message = "invented"
            raise RuntimeError(message)
        return super().now()


@pytest.fixture
def rig(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Rig]:
    """A shadow rig of which anything that is heard ends the connection's thread."""
    monkeypatch.setattr(threading, "excepthook", lambda _: None)
    server = ScriptedServer(lambda _level: ACCEPTED_AND_TOLD)
    config = tmp_path / "config"
    shutil.copytree(SMALLEST, config)
    file = config / "slackwater.toml"
    here = f'host = "{LOOPBACK}"\nport = {server.port}'
    file.write_text(file.read_text().replace('host = "localhost"', here))
    stage = stage_of(tmp_path, config)
    memory = Memory(stage.state, "shadow")
    memory.open()
    places = Places(config=config, state=stage.state)
    with closing(build(places, OneThreadClock(), memory, "shadow")) as made:
        yield made
    server.close()


def test_a_daemon_does_not_go_on_with_a_connection_that_ended(rig: Rig) -> None:
    """Nobody would hear it, and it would hear nothing, for days."""
    rig.check_links()
    rig.observe.start()
    until(lambda: rig.observe.has_ended, "the end of the thread")
    rig.mailbox.wake()
    with pytest.raises(WireError, match="ended by itself"):
        _passes(rig, Stop())


def test_a_connection_that_was_closed_has_not_ended_by_itself(rig: Rig) -> None:
    """Neither before it was opened nor after its good-bye."""
    assert not rig.observe.has_ended
    rig.observe.start()
    rig.observe.close()
    rig.check_links()
