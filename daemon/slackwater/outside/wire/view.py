"""What the wire must know to do its work: the broker's settings and the machine.

Floor 6. One subject: resolved settings of the wire, as frozen records.
Laws here: passwords stay in their files until a connection is opened, so no record
that might be printed holds one; a node's key never shows in a representation.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType

from slackwater.errors import Finding, InputError
from slackwater.facts.alarms import Priority
from slackwater.facts.limits import Switch
from slackwater.facts.now import Now
from slackwater.facts.relays import Relay
from slackwater.facts.tank import Machine, Probe
from slackwater.outside.wire.topics import PREFIX, Root

# HMAC-SHA256 keys are as long as the digest; shorter ones weaken it.
# Source: RFC 2104, section 3.
KEY_BYTES = 32


@dataclass(frozen=True, slots=True, kw_only=True)
class HomeSettings:
    """Home automation that finds devices by MQTT.

    `discovery` is what its topics begin with; `announce` False takes every device
    away again.
    """

    discovery: str = "homeassistant"
    announce: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class BrokerSettings:
    """Where the broker is and how the two connections prove who they are.

    `tls_ca` switches TLS on; `tls_cert` and `tls_key` stand together or not at all.
    `observe_password` and `actuate_password` are files (one line, the last line feed
    does not count), already resolved against the service's credentials directory.
    """

    host: str
    port: int
    site: str
    prefix: str = PREFIX
    tls_ca: Path | None = None
    tls_cert: Path | None = None
    tls_key: Path | None = None
    observe_user: str = ""
    observe_password: Path | None = None
    actuate_user: str = ""
    actuate_password: Path | None = None
    home: HomeSettings | None = None

    @property
    def root(self) -> Root:
        """What every topic begins with."""
        return Root(site=self.site, prefix=self.prefix)


@dataclass(frozen=True, slots=True, kw_only=True)
class NotifySettings:
    """Where alarms are sent besides MQTT.

    `urls` is a file that holds secrets: it is read by whoever sends, when it sends.
    """

    urls: Path
    least: Priority = "soon"
    summary_at_utc: tuple[int, int] = (6, 0)


@dataclass(frozen=True, slots=True, kw_only=True)
class MachineView:
    """The part of the machine that decides what an inbound message may be.

    `keys` holds a key for each node that signs; a node without one is believed
    unsigned. What is signed with one of `second_keys` counts as well, while keys are
    changed.
    Raises: InputError when a key is not 32 bytes or belongs to no node.
    """

    nodes: frozenset[str]
    tanks: frozenset[str]
    probes: Mapping[str, Probe]
    switches: Mapping[str, Switch] = field(default_factory=dict)
    keys: Mapping[str, bytes] = field(default_factory=dict, repr=False)
    second_keys: Mapping[str, bytes] = field(default_factory=dict, repr=False)
    relays: Mapping[str, Relay] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for node, key in (*self.keys.items(), *self.second_keys.items()):
            if node not in self.nodes or len(key) != KEY_BYTES:
                raise InputError(
                    Finding(
                        what=f"a key of {len(key)} bytes is given",
                        where=f"node {node}, key",
                        expected=f"a key of {KEY_BYTES} bytes of a node that exists",
                        do="Make a new key and give the same one to the node.",
                    )
                )

    def keys_of(self, node: str) -> tuple[bytes, ...]:
        """Every key under which what a node says counts; empty where none signs."""
        found = (self.keys.get(node), self.second_keys.get(node))
        return tuple(key for key in found if key is not None)

    @property
    def sources(self) -> tuple[Probe | Switch, ...]:
        """Everything that may speak on a topic of its own."""
        return (*self.probes.values(), *self.switches.values())

    @property
    def mapped_topics(self) -> tuple[str, ...]:
        """Topics beside the contract's that inputs speak on, sorted."""
        states = {relay.state_topic for relay in self.relays.values()}
        inputs = {source.topic for source in self.sources if source.topic}
        return tuple(sorted(states | inputs))

    @property
    def ask_topics(self) -> frozenset[str]:
        """Topics on which relays are asked for their state."""
        asked = {relay.ask_topic for relay in self.relays.values()}
        return frozenset(asked - {""})


def view_of(
    machine: Machine,
    keys: Mapping[str, bytes],
    second_keys: Mapping[str, bytes] = MappingProxyType({}),
) -> MachineView:
    """The view of one machine with the keys of its nodes.

    Raises: InputError as `MachineView`, and when a node that signs has no key.
    """
    for node in machine.nodes.values():
        if node.signed and node.id not in keys:
            raise InputError(
                Finding(
                    what="the node signs and no key is given",
                    where=f"node {node.id}, key",
                    expected=f"a file with {KEY_BYTES} bytes",
                    do="Name the key file, or take the signing out.",
                )
            )
    return MachineView(
        nodes=frozenset(machine.nodes),
        tanks=frozenset(machine.tanks),
        probes=machine.probes,
        switches=machine.switches,
        keys=keys,
        second_keys=second_keys,
        relays={node.id: node.relay for node in machine.nodes.values() if node.relay},
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Heard:
    """One message as the broker handed it over, with the clocks at its receipt."""

    topic: str
    payload: bytes
    retained: bool
    now: Now
