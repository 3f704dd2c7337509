"""What the daemon tells when a guard counts again."""

from slackwater.facts.events import AnyEvent
from slackwater.facts.safeguards import BypassEnded, ProbePutBack
from slackwater.service.telling import tells
from tests.gate.scene import machine
from tests.ledger.samples import clocks


def test_a_guard_that_counts_again_is_told() -> None:
    """By its name, on the topic of each tank."""
    events: list[AnyEvent] = [
        BypassEnded(**clocks(), interlock="leak", by="daemon", why="time passed"),
        ProbePutBack(**clocks(), probe="kh", by="daemon", why="time passed"),
    ]
    told = [(one.tank, one.name, one.figures) for one in tells(events, machine())]
    assert [
        ("reef", "bypass_ended", {"interlock": "leak", "by": "daemon"}),
        ("reef", "probe_put_back", {"probe": "kh", "by": "daemon"}),
    ] == told
