"""D1: a week of shadow under virtual time, beside a wire that records all that is sent.

The real loop with the link that only imagines, on nodes that really beat; what it
imagined is audited and decided again as live doses are.
"""

import logging
from collections.abc import Iterator
from datetime import timedelta

import pytest
import structlog

from slackwater.audit.audit import Books, audit
from slackwater.facts.doses import DoseEnded, DoseIntended
from slackwater.facts.events import AnyEvent, PumpsEnabled
from slackwater.facts.plan import Plan
from slackwater.facts.tank import Machine
from slackwater.outside.shadow_link import ShadowLink
from slackwater.service.replaying import replay
from tests.audit.simulated import LATER, Simulated, draw
from tests.stories.stage import LEAD

WEEK = timedelta(days=7)
SEEDS = (0, 3)


@pytest.fixture(autouse=True)
def quiet() -> Iterator[None]:
    """Not a word on the terminal."""
    only_worst = structlog.make_filtering_bound_logger(logging.CRITICAL)
    structlog.configure(wrapper_class=only_worst)
    yield
    structlog.reset_defaults()


class Shadowed(Simulated):
    """The same house before a person enabled pumps."""

    def live_through(self) -> None:
        """Let a week pass, and what may still begin of it."""
        self.run((LEAD + WEEK + LATER) // timedelta(milliseconds=1) - 1)

    def _past(self, machine: Machine, plan: Plan) -> list[AnyEvent]:
        past = super()._past(machine, plan)
        return [event for event in past if not isinstance(event, PumpsEnabled)]

    def _start(self) -> None:
        super()._start()
        assert self.daemon is not None
        rig = self.daemon.rig
        rig.mode = "shadow"
        rig.shadow = rig.link = ShadowLink(self.times)
        # As the wiring has it: an imagined link is always up.
        rig.sight.actuate_up = True


@pytest.mark.timeout(300)
@pytest.mark.parametrize("seed", SEEDS)
def test_d1_a_week_of_shadow_sends_nothing_and_imagines_what_was_approved(
    seed: int,
) -> None:
    """No command and no stop on the wire; what was approved was imagined, no more."""
    stage = Shadowed(*draw(seed))
    stage.live_through()
    assert ([], []) == (stage.book.sent, stage.book.stops)
    assert all(not post.bursts for post in stage.posts.values())
    events = stage.book.events()
    numbered = list(enumerate(events, start=1))
    now = stage.times.now().utc
    books = Books(rules=numbered, live=(), shadow=numbered, decided_at=now, now=now)
    found = audit(books, stage.begins, stage.begins + WEEK)
    assert ([], [], 0) == (found.departures, found.missing, found.pending)
    assert {False} == {total.is_live for total in found.days.values()}
    ended = [event for event in events if isinstance(event, DoseEnded)]
    intents = [event for event in events if isinstance(event, DoseIntended)]
    assert len(ended) == len(intents) > WEEK.days
    again = replay(events, stage.begins, now)
    assert [] == again.differences
    assert len(intents) <= again.decisions
