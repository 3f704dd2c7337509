"""A timed relay that counts as tried out for a last while is told before it ends."""

from dataclasses import replace
from datetime import timedelta

import pytest

from slackwater.alarms.paper import paper
from slackwater.facts.relays import RelayChecked
from tests.alarms.desk import Desk
from tests.gate.scene import machine
from tests.gate.test_relays import RELAY

DAY = timedelta(days=1)


def desk_with(relay: str, left: timedelta) -> Desk:
    """The scene's pumps behind a relay that counts as tried out for so long."""
    base = machine()
    shelf = replace(base.nodes["shelf"], relay=RELAY)
    desk = Desk(replace(base, nodes={"shelf": shelf}), reads=None)
    until = desk.moment.now.utc + left
    checked = RelayChecked(
        **desk.stamp, node="shelf", relay=relay, until=until, by="keeper"
    )
    desk.fold(checked)
    return desk


@pytest.mark.parametrize(
    ("days", "least"),
    [(15, ""), (13, "note"), (4, "note"), (2, "soon"), (-1, "")],
)
def test_it_is_told_14_and_3_days_before_it_ends(days: int, least: str) -> None:
    """When it is over the gate refuses, and that is told as what it is."""
    found = list(paper(desk_with(RELAY.digest, days * DAY).moment))
    told = [one for one in found if one.id == "relay-check-ending.shelf"]
    assert ([least] if least else []) == [one.least for one in told]
    assert all(one.tanks == ("reef",) and not one.lets_fall for one in told)


def test_a_check_of_another_relay_does_not_end() -> None:
    """It does not count at all, which the gate says."""
    found = paper(desk_with("0badcafe", 2 * DAY).moment)
    assert [] == [one.id for one in found if "relay" in one.id]


def test_a_relay_that_nobody_tried_does_not_end() -> None:
    """Nor does a node that is none."""
    desk = desk_with(RELAY.digest, 2 * DAY)
    desk.moment.state.relay_checks.clear()
    assert [] == [one.id for one in paper(desk.moment) if "relay" in one.id]
    assert [] == [one.id for one in paper(Desk().moment) if "relay" in one.id]
