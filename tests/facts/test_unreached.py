"""What keeps commands from every pump, and a relay's check, in words and entries."""

from datetime import timedelta

import pytest

from slackwater.facts.relays import RelayChecked, check_of
from slackwater.facts.unreached import link_words
from tests.facts.diary import begun
from tests.pump.relays import RELAY


@pytest.mark.parametrize(
    ("observe_up", "actuate_up", "which"),
    [
        (False, False, "the connection"),
        (True, False, "the connection for commands"),
        (False, True, "the listening connection"),
    ],
)
def test_it_is_said_which_connection_is_down(
    observe_up: bool, actuate_up: bool, which: str
) -> None:
    """And since when, where somebody knows."""
    told = link_words(observe_up=observe_up, actuate_up=actuate_up)
    assert f"No pump can be commanded: {which} to the broker is down." == told
    since = link_words(
        observe_up=observe_up, actuate_up=actuate_up, began=" since 12:00"
    )
    assert since.endswith(f": {which} to the broker is down since 12:00.")


def test_a_check_counts_for_the_relay_as_it_is() -> None:
    """Of a node that is none, of another relay, or of none at all there is no check."""
    stamp = begun().stamp
    checked = RelayChecked(
        **stamp,
        node="plug",
        relay=RELAY.digest,
        until=stamp["at"] + timedelta(days=1),
        by="keeper",
    )
    checks = {"plug": checked}
    assert checked is check_of(checks, "plug", RELAY)
    assert None is check_of(checks, "plug", None)
    assert None is check_of(checks, "timer", RELAY)
    another = RelayChecked(
        **stamp, node="plug", relay="0badcafe", until=checked.until, by="keeper"
    )
    assert None is check_of({"plug": another}, "plug", RELAY)
