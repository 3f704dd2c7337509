"""Timed relays in the place of nodes: one link for both, and their words made whole.

Floor 7. One subject: `pump.relay` between mailbox and wire. Laws here: all of it is in
the loop's own thread; in shadow a relay is asked for its state and told nothing; a
machine without relays has none of this.
"""

import secrets
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Protocol

from slackwater.errors import NotConnectedError
from slackwater.facts.messages import Message, RelaySeen, RunPump, StopPump
from slackwater.facts.rolling import Rolling
from slackwater.facts.state import State
from slackwater.facts.tank import Machine, Pump
from slackwater.ports import Clock, PumpLink
from slackwater.pump.relay import Post, RelayHead, Said

# Tags of charges that no attempt gave, such as the answer of `init`.
_NOT_COUNTED = frozenset({"init", ""})


class Commanding(PumpLink, Protocol):
    """A link that can also tell a relay something."""

    def post(self, topic: str, payload: bytes, mark: str = "") -> bool:
        """Send once; see `Actuate.post`."""


class Asking(Protocol):
    """Whoever may ask a relay for its state."""

    def ask(self, topic: str, payload: bytes) -> None:
        """Send once, or not at all."""


def relay_topics(machine: Machine) -> frozenset[str]:
    """Topics on which relays are told what to do."""
    relays = [node.relay for node in machine.nodes.values() if node.relay is not None]
    topics = (topic for relay in relays for topic in (relay.on_topic, relay.off_topic))
    return frozenset(topics)


def heads_of(machine: Machine, state: State, begun_s: float) -> dict[str, RelayHead]:
    """A head for each relay that drives a pump; each with a power-up of its own."""
    heads = {}
    for pump in machine.pumps.values():
        node = machine.nodes[pump.node]
        if node.relay is None:
            continue
        heads[node.id] = RelayHead(
            node=node,
            relay=node.relay,
            channel=pump.channel,
            boot=secrets.token_hex(8),
            begun_s=begun_s,
            before_ul=sum(rolling.total for rolling in _given(state, pump)),
            before_pulses=_pulses(state, pump),
        )
    return heads


def _given(state: State, pump: Pump) -> list[Rolling]:
    """What a pump is charged with in the last 24 hours, in the water or beside it."""
    keys = (f"pump/{pump.id}", f"calibrate/{pump.id}", f"prime/{pump.id}")
    return [state.charges[key] for key in keys if key in state.charges]


def _pulses(state: State, pump: Pump) -> int:
    """How many pulses that was at the most.

    Each attempt is charged by itself, and once more where it gave more than asked. What
    was told of without one may have been many: no pulse gives less than the smallest
    dose.
    """
    smallest_ul = max(1, pump.smallest_dose_ul)
    return sum(
        -(-amount_ul // smallest_ul) if tag in _NOT_COUNTED else 1
        for rolling in _given(state, pump)
        for _at_ms, amount_ul, tag in rolling.entries
    )


@dataclass(slots=True, kw_only=True)
class Relays:
    """All relays of one rig; `commands` is None where none is commanded."""

    heads: Mapping[str, RelayHead]
    clock: Clock
    asks: Asking
    commands: Commanding | None = None
    answers: list[Message] = field(default_factory=list)

    def wait_s(self, timeout_s: float) -> float:
        """How long the loop may wait before one of them must be looked at."""
        now_s = self.clock.now().boot_s
        soonest_s = min(head.next_s() for head in self.heads.values())
        return max(0.0, min(timeout_s, soonest_s - now_s))

    def heard(self, messages: Iterable[Message]) -> tuple[Message, ...]:
        """The messages, with what relays said and what time brought made whole."""
        now_s = self.clock.now().boot_s
        made: list[Message] = list(self.answers)
        self.answers.clear()
        for message in messages:
            head = None
            if isinstance(message, RelaySeen):
                head = self.heads.get(message.node)
                seen_s = message.heard_boot_s
                if head is not None:
                    said = head.hear(is_on=message.is_on, now_s=seen_s)
                    made += self._without_posts(said)
            else:
                made.append(message)
        for head in self.heads.values():
            made += self._without_posts(head.due(now_s))
        return tuple(made)

    def _without_posts(self, said: Iterable[Said]) -> list[Message]:
        made: list[Message] = []
        for one in said:
            if isinstance(one, Post):
                self.send(one)
            else:
                made.append(one)
        return made

    def send(self, post: Post) -> None:
        """Ask, or tell to be off; a lost link is no error, it is told again."""
        if post.asks:
            self.asks.ask(post.topic, post.payload)
        elif self.commands is not None:
            try:
                self.commands.post(post.topic, post.payload)
            except NotConnectedError:
                return


class RelayLink:
    """A pump link that knows which pump hangs on a relay."""

    def __init__(self, link: Commanding, relays: Relays) -> None:
        self.link = link
        self._relays = relays

    def run(self, command: RunPump) -> bool:
        """Send once. True: surely handed to the client; False: maybe sent.

        Raises: NotConnectedError when it is certain that nothing was sent.
        """
        head = self._relays.heads.get(command.node)
        if head is None:
            return self.link.run(command)
        now_s = self._relays.clock.now().boot_s
        word = head.take(command, now_s)
        if word:
            self._relays.answers.append(head.refused(command, word, now_s))
            return True
        post = head.pulse(command)
        try:
            return self.link.post(post.topic, post.payload, command.attempt)
        except NotConnectedError:
            head.undo()
            raise

    def stop(self, command: StopPump) -> None:
        """Send a stop; safe to repeat, never raises for a lost link."""
        head = self._relays.heads.get(command.node)
        if head is None:
            self.link.stop(command)
        else:
            self._relays.send(head.stop())

    def close(self) -> None:
        """Disconnect; a relay ends its pulse by itself."""
        self.link.close()
