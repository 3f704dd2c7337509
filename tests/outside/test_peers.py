"""The brokers of tests leave nothing where the tests are run."""

from pathlib import Path

import pytest

from tests.outside.peers import Broker, Peer, free_port

pytestmark = pytest.mark.mosquitto

KEPT = "mosquitto.db"


@pytest.mark.parametrize("is_saved", [True, False])
def test_a_broker_keeps_what_it_keeps_beside_its_own_file(
    tmp_path: Path, *, is_saved: bool
) -> None:
    """Also one that was not told where: on a signal, and when it ends."""
    here = Path.cwd()
    before = set(here.iterdir())
    lines = ("allow_anonymous true", "persistence true")
    broker = Broker(tmp_path / "keeping.conf", free_port(), lines)
    broker.start()
    with Peer(broker.port) as peer:
        peer.say("kept", b"word", retain=True)
    if is_saved:
        broker.save()
    broker.stop()
    assert (tmp_path / KEPT).stat().st_size
    assert not {path.name for path in set(here.iterdir()) - before} & {KEPT}
