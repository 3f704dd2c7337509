"""Inputs on topics of their own, on a real Mosquitto."""

from collections.abc import Iterator

import pytest

from slackwater.facts.messages import LinkChanged, Reading, SwitchSeen
from slackwater.outside.broker.observe import Observe
from slackwater.outside.mailbox import BoundedMailbox
from slackwater.outside.wire import BrokerSettings
from tests.outside.peers import LOOPBACK, Broker, Collected, Peer
from tests.outside.samples import SetClock
from tests.outside.test_mapped import VIEW
from tests.outside.test_observe import QUICK, is_up

pytestmark = pytest.mark.mosquitto


@pytest.fixture
def observe(broker: Broker, mailbox: BoundedMailbox) -> Iterator[Observe]:
    """A listener whose inputs speak on topics of their own."""
    settings = BrokerSettings(host=LOOPBACK, port=broker.port, site="reef")
    made = Observe(settings, VIEW, mailbox, SetClock(), QUICK)
    yield made
    made.close()


def test_mapped_topics_are_listened_to(
    broker: Broker, observe: Observe, mailbox: BoundedMailbox
) -> None:
    """A pump that was said to be off before the start, a probe that speaks after it."""
    collected = Collected(mailbox)
    with Peer(broker.port) as peer:
        peer.say("cellar/plug", b"OFF", retain=True)
        observe.start()
        collected.first(LinkChanged, is_up)
        assert not collected.any(SwitchSeen).is_on
        peer.say("cellar/water", b'{"ph": 812, "t": [25.4]}')
        assert "ph" == collected.any(Reading).probe
