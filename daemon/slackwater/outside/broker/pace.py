"""How patient a connection is: waits, time limits, and what counts as a take-over.

Floor 6. One subject: time on the wire. Laws here: waiting grows from one second to a
minute with jitter, so that many clients do not come back at once; a connection that
somebody else took is left alone and tried again after pauses that grow to five minutes,
or at once when a person released a hold.

That is no fight between two daemons. Who was taken over has latched a hold on
everything, which only a person ends, and coming back runs no pump. Pauses shrink only
after a connection that was kept for longer than any pause of the other, and until then
one brief connection is enough for the next pause: two that stay take the name from each
other twice in five minutes, and no oftener.
"""

import random
from collections import deque
from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Pace:
    """Times of a connection, in seconds; tests shorten some.

    `brief_s`, `brief_losses` and `within_s` say when lost connections mean that
    another client uses the same name: some brokers close without giving a reason.
    `silence_s` is how long an unanswered MQTT 5 CONNECT is waited for before the
    older protocol is tried: some brokers never say that they do not speak it.
    `first_rest_s` is the first pause after a take-over, `rest_s` the longest.
    Home automation that just came up is told everything within `birth_s`, at random, so
    that not all its devices speak at once.
    """

    first_wait_s: float = 1.0
    longest_wait_s: float = 60.0
    tcp_s: float = 5.0
    connack_s: float = 10.0
    silence_s: float = 3.0
    keepalive_s: int = 15
    look_s: float = 5.0
    echo_s: float = 5.0
    brief_s: float = 5.0
    brief_losses: int = 3
    within_s: float = 60.0
    first_rest_s: float = 10.0
    rest_s: float = 300.0
    birth_s: float = 3.0

    def apart_s(self) -> float:
        """How long to wait with what many clients would do at once."""
        return random.SystemRandom().uniform(0, self.birth_s)


class Waits:
    """Decides how long to stay away after each attempt."""

    def __init__(self, pace: Pace) -> None:
        """Begin with the shortest wait."""
        self._pace = pace
        self._next_s = pace.first_wait_s
        self._rest_s = pace.first_rest_s
        self._brief: deque[float] = deque(maxlen=pace.brief_losses)
        # Jitter need not be repeatable and must differ between two daemons.
        self._chance = random.SystemRandom()

    def is_taken_over(self, accepted_s: float, lost_s: float) -> bool:
        """Take note of a lost connection; whether it was one brief loss too many.

        Units: both on one monotonic clock, seconds.
        """
        if lost_s - accepted_s > 2 * self._pace.rest_s:
            # Whoever shares the name is back within a pause: he is gone.
            self._rest_s = self._pace.first_rest_s
        if lost_s - accepted_s > self._pace.brief_s:
            return False
        self._brief.append(lost_s)
        if self._rest_s > self._pace.first_rest_s:
            # It was one before and nothing has told since that it is over.
            return True
        full = len(self._brief) == self._pace.brief_losses
        if full and lost_s - self._brief[0] <= self._pace.within_s:
            self._brief.clear()
            return True
        return False

    def after(self, accepted_for_s: float) -> float:
        """The wait after a connection that was accepted for so long, 0 for never."""
        if accepted_for_s > self._pace.brief_s:
            self._next_s = self._pace.first_wait_s
        wait_s = self._next_s
        self._next_s = min(2 * wait_s, self._pace.longest_wait_s)
        return wait_s * self._chance.uniform(0.5, 1.0)

    def rest(self) -> float:
        """The pause after a take-over; the next one is longer.

        Without jitter: both connections of a daemon come back together.
        """
        pause_s = min(self._rest_s, self._pace.rest_s)
        self._rest_s = 2 * pause_s
        return pause_s

    def begin_anew(self) -> None:
        """Short waits and pauses again: a person has looked."""
        self._next_s = self._pace.first_wait_s
        self._rest_s = self._pace.first_rest_s
        self._brief.clear()
