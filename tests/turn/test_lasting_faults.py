"""What goes on being wrong is written down once, however often it shows (H63)."""

from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta

import pytest

from slackwater.facts.messages import (
    Beat,
    LinkChanged,
    Message,
    Reading,
    RetainedCommand,
)
from tests.gate.scene import dkh, probed
from tests.turn.test_step import START, Bench

MINUTES = 24 * 60
# A dose an hour of each of two lines.
DOSES = 48


def seen(bench: Bench) -> Beat:
    """The beat of this moment as it would arrive."""
    bench.hear_beat()
    return bench.sight.nodes["shelf"].beat


def held_at_the_node(bench: Bench) -> Message:
    """Somebody's hold lies on the node."""
    return replace(seen(bench), hold=True)


def another_daemon(bench: Bench) -> Message:
    """The node has seen a higher fence than ours."""
    return replace(seen(bench), fence=9)


def too_much_alkalinity(bench: Bench) -> Message:
    """A reading above the ceiling, never twice the same."""
    value = dkh(9.8 + bench.utc.minute / 1000)
    return Reading(
        tank="reef", probe="kh", parameter="alkalinity", value=value, at=bench.utc
    )


def a_kept_command(_bench: Bench) -> Message:
    """A retained command shows itself again and again."""
    return RetainedCommand(node="shelf")


def a_rival(_bench: Bench) -> Message:
    """Another client takes the connection each minute."""
    return LinkChanged(link="observe", up=True, taken_over=True)


@pytest.mark.parametrize(
    "fault",
    [held_at_the_node, another_daemon, too_much_alkalinity, a_kept_command, a_rival],
)
def test_h63_a_fault_of_a_whole_day_is_one_hold(
    fault: Callable[[Bench], Message],
) -> None:
    """It shows each minute; each dose is held and missed once, the hold raised once."""
    bench = Bench(probed())
    for _ in range(MINUTES):
        bench.news.append(fault(bench))
        bench.run_until(bench.utc + timedelta(minutes=1))
    counted = Counter(event.kind for event in bench.events)
    assert START + timedelta(minutes=MINUTES) == bench.utc
    # Readings are thinned to one in half an hour.
    assert counted.pop("reading_kept", 0) <= MINUTES // 30
    assert {"hold_raised": 1, "dose_held": DOSES, "dose_missed": DOSES} == counted
