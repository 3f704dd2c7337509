"""Guests of a broker that is none, or breaks the rules: one error, no traceback."""

from collections.abc import Callable

import pytest

from slackwater.errors import WireError
from slackwater.outside.kit.line import Line, Place
from slackwater.outside.panorama import Vantage, look_around
from tests.outside.peers import LOOPBACK, ScriptedServer
from tests.outside.samples import ROOT

# MQTT 3.1.1, section 3.2, CONNACK; 3.3, PUBLISH cut short, or under no UTF-8; 3.9,
# SUBACK cut short.
ACCEPTED = "20020000"
BROKEN = ("300100", "30050002fffe00", "900100")

Visit = Callable[[str, int], None]


def look(host: str, port: int) -> None:
    """Read the states of tanks."""
    look_around(Vantage(host=host, port=port))


def conform(host: str, port: int) -> None:
    """Greet a node to be tried."""
    with Line(Place(root=ROOT, node="left", host=host, port=port)):
        pass


@pytest.mark.parametrize("visit", [look, conform])
@pytest.mark.parametrize("broken", BROKEN)
def test_a_broker_that_breaks_the_rules_is_one_error(visit: Visit, broken: str) -> None:
    """It ends the visit, with the place."""
    server = ScriptedServer(lambda _level: bytes.fromhex(ACCEPTED + broken))
    with pytest.raises(WireError, match=f"{LOOPBACK}:{server.port}"):
        visit(LOOPBACK, server.port)
    server.close()


@pytest.mark.parametrize("visit", [look, conform])
@pytest.mark.parametrize("host", ["", "a" * 70])
def test_a_name_of_no_machine_is_one_error(visit: Visit, host: str) -> None:
    """Before anything is looked up."""
    with pytest.raises(WireError, match="no name or address"):
        visit(host, 1883)
