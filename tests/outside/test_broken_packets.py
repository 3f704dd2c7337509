"""A broker that says what MQTT forbids costs an attempt, and never the link."""

import pytest

from slackwater.outside.broker.actuate import Actuate
from slackwater.outside.broker.pace import Pace
from slackwater.outside.mailbox import BoundedMailbox
from slackwater.outside.wire import BrokerSettings
from tests.outside.peers import LOOPBACK, ScriptedServer, until

QUICK = Pace(first_wait_s=0.02, longest_wait_s=0.02, look_s=0.02, silence_s=600.0)
# MQTT 5.0, section 3.2.2.3: Receive Maximum twice, one of nothing, a text cut short.
BROKEN = tuple(map(bytes.fromhex, ("06210005210005", "03210000", "041f000561")))


@pytest.mark.parametrize("properties", BROKEN)
def test_properties_that_cannot_be_end_an_attempt_and_no_more(
    properties: bytes,
) -> None:
    """Some releases of paho raise errors of their own for them; the link goes on."""
    answer = bytes([0x20, len(properties) + 2, 0, 0]) + properties
    server = ScriptedServer(lambda _level: answer)
    settings = BrokerSettings(host=LOOPBACK, port=server.port, site="reef")
    actuate = Actuate(settings, {}, BoundedMailbox(), QUICK)
    actuate.start()
    until(lambda: len(server.levels) > 2, "a third attempt")
    assert not actuate.has_ended
    actuate.close()
    server.close()
