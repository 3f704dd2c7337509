"""D1: a rehearsal speaks to nobody; no socket is made, no program started.

Watched by Python's own audit events (PEP 578), which no module can go around.
"""

import socket
import sys
from functools import cache
from threading import get_ident

import pytest

from slackwater.rehearsal.rehearsal import rehearse
from tests.audit.simulated import draw

REHEARSALS, LONG_REHEARSALS = 40, 1_000
REACHES_OUT = ("socket.", "subprocess.", "os.exec", "os.posix_spawn", "os.system")


class Ear:
    """Hears every attempt to reach out while it is told to listen."""

    def __init__(self) -> None:
        """Begin deaf."""
        self.listens_to: int | None = None
        self.heard: list[str] = []

    def __call__(self, event: str, _about: tuple[object, ...]) -> None:
        """Take an audit event in."""
        # Threads that other tests left behind are nobody's rehearsal.
        if self.listens_to == get_ident() and event.startswith(REACHES_OUT):
            self.heard.append(event)


@cache
def ear() -> Ear:
    """The one ear of this process; a hook cannot be taken out again."""
    made = Ear()
    sys.addaudithook(made)
    return made


def heard_in(count: int) -> list[str]:
    """What so many rehearsals of generated plans tried to reach."""
    drawn = [draw(seed) for seed in range(count)]
    ear().heard = []
    ear().listens_to = get_ident()
    try:
        doses = sum(len(rehearse(*plan, 2).doses) for plan in drawn)
    finally:
        ear().listens_to = None
    assert doses > count
    return ear().heard


def test_the_ear_hears() -> None:
    """A socket that is made is heard, otherwise silence would prove nothing."""
    ear().heard = []
    ear().listens_to = get_ident()
    socket.socket().close()
    ear().listens_to = None
    assert ["socket.__new__"] == ear().heard


@pytest.mark.timeout(120)
def test_d1_a_rehearsal_reaches_out_to_nobody() -> None:
    """Forty rehearsals of two days each."""
    assert [] == heard_in(REHEARSALS)


@pytest.mark.long
@pytest.mark.timeout(900)
def test_d1_a_thousand_rehearsals_reach_out_to_nobody() -> None:
    """The same a thousand times."""
    assert [] == heard_in(LONG_REHEARSALS)
