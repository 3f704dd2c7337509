"""A ledger that refuses the intent of a dose: nothing leaves (H05, H29, H30)."""

from collections.abc import Sequence
from typing import cast

import pytest

from slackwater.errors import (
    Finding,
    LedgerBusyError,
    LedgerDamagedError,
    LedgerError,
    LedgerStorageError,
)
from slackwater.facts.events import AnyEvent, DoseIntended
from slackwater.service.memory import Memory
from tests.properties.shell import Book, BookMemory
from tests.service.test_loop import MINUTE_MS, calm_world


class Refusing(BookMemory):
    """A memory that takes every entry but an intent."""

    def __init__(self, book: Book, refusal: LedgerError) -> None:
        """Keep what to say; `intents` counts what was refused."""
        super().__init__(book)
        self._refusal = refusal
        self.intents = 0

    def append(self, events: Sequence[AnyEvent]) -> None:
        """Refuse an intent whole, with all that stands beside it."""
        if any(isinstance(event, DoseIntended) for event in events):
            self.intents += 1
            raise self._refusal
        super().append(events)


@pytest.mark.parametrize(
    "kind", [LedgerBusyError, LedgerStorageError, LedgerDamagedError]
)
def test_h05_an_intent_that_is_refused_sends_nothing_and_ends_the_pass(
    kind: type[LedgerError],
) -> None:
    """Locked, full or damaged: no command, no second try, and the error goes up."""
    world = calm_world()
    daemon = world.daemon
    assert daemon is not None
    refusal = kind(Finding(what="no", where="a test", expected="yes", do="Nothing."))
    memory = Refusing(world.book, refusal)
    daemon.memory, daemon.rig.memory = memory, cast("Memory", memory)
    sent = len(world.book.sent)
    with pytest.raises(kind):
        world.run(world.times.t_ms + 9 * MINUTE_MS)
    assert 1 == memory.intents
    assert sent == len(world.book.sent)
