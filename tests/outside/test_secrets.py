"""A password shows itself in no log, whatever becomes of its connection (H63)."""

from collections.abc import Callable
from pathlib import Path

import pytest
from structlog.testing import capture_logs

from slackwater.outside.broker.actuate import Actuate
from slackwater.outside.broker.connection import (
    CONNECTION_LOST,
    CONNECTION_OPENED,
    CONNECTION_REFUSED,
)
from slackwater.outside.broker.observe import Observe
from slackwater.outside.broker.pace import Pace
from slackwater.outside.mailbox import BoundedMailbox
from slackwater.outside.wire import BrokerSettings
from tests.outside.peers import LOOPBACK, Broker, until
from tests.outside.samples import VIEW, SetClock

CANARY = "canary-4d1f9a"
QUICK = Pace(first_wait_s=0.05, longest_wait_s=0.1, look_s=0.05, echo_s=0.2)


@pytest.mark.mosquitto
@pytest.mark.parametrize(
    ("anybody", "names"),
    [
        ("true", {CONNECTION_OPENED, CONNECTION_LOST, CONNECTION_REFUSED}),
        ("false", {CONNECTION_REFUSED}),
    ],
)
def test_h63_a_password_is_in_no_log(
    anybody: str,
    names: set[str],
    make_broker: Callable[..., Broker],
    tmp_path: Path,
    mailbox: BoundedMailbox,
) -> None:
    """Accepted and lost again, or refused time after time: the canary stays inside."""
    word = tmp_path / "word"
    word.write_text(f"{CANARY}\n")
    broker = make_broker(f"allow_anonymous {anybody}")
    settings = BrokerSettings(
        host=LOOPBACK,
        port=broker.port,
        site="reef",
        observe_user="observe",
        observe_password=word,
        actuate_user="actuate",
        actuate_password=word,
    )
    with capture_logs() as logs:
        links = (
            Observe(settings, VIEW, mailbox, SetClock(), QUICK),
            Actuate(settings, {}, mailbox, QUICK),
        )
        for link in links:
            link.start()
        try:
            until(lambda: len(logs) > 1, "two lines of log")
            broker.stop()
            until(lambda: len(logs) > 5, "a few lines more")
        finally:
            for link in links:
                link.close()
    assert names <= {str(line["event"]) for line in logs}
    assert CANARY not in repr(logs)
