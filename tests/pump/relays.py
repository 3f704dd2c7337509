"""A relay's head and the demo's virtual relay on one virtual clock."""

from dataclasses import dataclass, field

from demo.reef.relay import Fault, VirtualRelay
from slackwater.facts.messages import Beat, RelayTrouble, Result, RunPump
from slackwater.facts.relays import Relay
from slackwater.facts.tank import Node
from slackwater.pump.relay import RelayHead, Said

CEILING_MS = 20_000
BOOT = "9e1b000000000001"
RELAY = Relay(
    on_topic="workshop/relay-3/do",
    on_payload='{"on":true,"ms":{ms}}',
    off_topic="workshop/relay-3/do",
    off_payload='{"on":false}',
    state_topic="workshop/relay-3/is",
    pointer="/on",
    on=("true",),
    off=("false",),
    ask_topic="workshop/relay-3/ask",
)
FIXED = Relay(
    on_topic="workshop/relay-4/do",
    on_payload="on",
    off_topic="workshop/relay-4/do",
    off_payload="off",
    state_topic="workshop/relay-4/is",
    pointer="/on",
    on=("true",),
    off=("false",),
    always_ms=CEILING_MS,
)
NODE = Node(id="plug", day_limit_ul=100_000, cut_limit_ms=CEILING_MS, relay=RELAY)
FIXED_NODE = Node(id="plug", day_limit_ul=100_000, cut_limit_ms=CEILING_MS, relay=FIXED)
DAY_S = 26 * 3_600


@dataclass(slots=True, kw_only=True)
class Scene:
    """Both ends of one relay, a day after the daemon took charge."""

    device: VirtualRelay
    node: Node = NODE
    now_ms: int = DAY_S * 1000
    before: tuple[int, int] = (0, 0)
    heard: list[tuple[int, Said]] = field(default_factory=list)
    head: RelayHead = field(init=False)

    def __post_init__(self) -> None:
        relay = self.node.relay
        assert relay is not None
        self.head = RelayHead(
            node=self.node,
            relay=relay,
            channel="a",
            boot=BOOT,
            begun_s=0.0,
            before_ul=self.before[0],
            before_pulses=self.before[1],
        )
        self.wait(6_000)

    def wait(self, span_ms: int) -> None:
        """Let time pass, looking whenever either of them has something to do."""
        end_ms = self.now_ms + span_ms
        while self.now_ms < end_ms:
            due_ms = min(self.device.next_ms(), round(self.head.next_s() * 1000) + 1)
            self.now_ms = min(end_ms, max(self.now_ms + 1, due_ms))
            self._listen(self.device.advance(self.now_ms))
            self._keep(self.head.due(self.now_ms / 1000))

    def leap(self, span_ms: int) -> None:
        """Let a long time pass in one step, and look at its end."""
        self.now_ms += span_ms
        self._listen(self.device.ask(self.now_ms))
        self.wait(6_000)

    def pulse(self, ul: int = 1_000, ms: int = 2_000, **changes: object) -> str:
        """Ask for one pulse; the word of a refusal, empty when it was told."""
        command = self.command(ul, ms, **changes)
        word = self.head.take(command, self.now_ms / 1000)
        if not word:
            self._keep([self.head.pulse(command)])
        return word

    def command(self, ul: int = 1_000, ms: int = 2_000, **changes: object) -> RunPump:
        """A command for one pulse as it is due now."""
        fields: dict[str, object] = {
            "node": "plug",
            "channel": "a",
            "attempt": f"{self.head.n + 1:032x}",
            "boot": BOOT,
            "n": self.head.n,
            "fence": 3,
            "ul": ul,
            "ms": ms,
            "cut_ms": ms,
            "until_up": self.now_ms + 8_000,
            "cal": "77aa01cf",
            **changes,
        }
        return RunPump(**fields)  # type: ignore[arg-type]  # a table of fields

    def stop(self) -> None:
        """Tell it to be off."""
        self._keep([self.head.stop()])

    def beat(self) -> Beat:
        """The newest sign of life."""
        return [said for _, said in self.heard if isinstance(said, Beat)][-1]

    def results(self) -> list[Result]:
        """Every result, in order."""
        return [said for _, said in self.heard if isinstance(said, Result)]

    def troubles(self) -> list[tuple[int, str]]:
        """When trouble was found, and what."""
        return [
            (at_ms, said.said)
            for at_ms, said in self.heard
            if isinstance(said, RelayTrouble)
        ]

    def _listen(self, told: list[bytes]) -> None:
        for payload in told:
            is_on = payload in {b'{"on": true}', b"on"}
            self._keep(self.head.hear(is_on=is_on, now_s=self.now_ms / 1000))

    def _keep(self, said: list[Said]) -> None:
        for one in said:
            self.heard.append((self.now_ms, one))
            if isinstance(one, Beat | Result | RelayTrouble):
                continue
            if one.topic == RELAY.ask_topic:
                self._listen(self.device.ask(self.now_ms))
            else:
                self._listen(self.device.hear(one.payload, self.now_ms))


def scene(*faults: Fault, fixed: bool = False) -> Scene:
    """A relay with these faults, at rest and known."""
    device = VirtualRelay(
        ceiling_ms=CEILING_MS,
        always_ms=CEILING_MS if fixed else 0,
        faults=frozenset(faults),
    )
    return Scene(device=device, node=FIXED_NODE if fixed else NODE)
