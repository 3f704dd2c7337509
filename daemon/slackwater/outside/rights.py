"""Who may read and write which topic of the broker.

Floor 6. One subject: one table, and the access list of a Mosquitto that follows from
it. Laws here: what stands in no row nobody may do; only one identity writes commands;
a device writes in its own name alone; whatever home automation may write can only ask.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Literal

from slackwater.errors import Finding, InputError
from slackwater.facts.limits import Switch
from slackwater.facts.relays import Relay
from slackwater.facts.tank import Machine, Probe
from slackwater.outside.wire import (
    BrokerSettings,
    Kind,
    Root,
    Topic,
    birth_topic,
    device_topic,
    topic_filter,
)

Right = Literal["read", "write", "readwrite"]

OBSERVE_USER = "slackwater-observe"
ACTUATE_USER = "slackwater-actuate"
HOME_USER = "slackwater-home"
PROBES_USER = "slackwater-probes"


class Who(StrEnum):
    """Whose rights a column of the table holds."""

    OBSERVE = "observe"
    ACTUATE = "actuate"
    NODE = "node"
    RELAY = "relay"
    PROBES = "probes"
    HOME = "home"


_PURPOSES = {
    Who.OBSERVE: "Listens and tells; may never command a pump.",
    Who.ACTUATE: "Commands pumps; used only while they are enabled.",
    Who.NODE: "A pump node, under its own name.",
    Who.RELAY: "A timed relay, under its own name.",
    Who.PROBES: "Probes, switches and counters: they tell, and hear nothing.",
    Who.HOME: "Home automation and screens: they look, and may ask.",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Household:
    """Everybody an access list is made for.

    `relays` maps each relay to its topics; `told_on` are topics of probes and switches
    beside the contract's; `discovery` is where home automation looks for devices,
    empty where nothing is announced.
    Raises: InputError when one name stands for two identities.
    """

    root: Root
    nodes: frozenset[str]
    relays: Mapping[str, Relay] = field(default_factory=dict)
    told_on: frozenset[str] = frozenset()
    discovery: str = ""
    observe_user: str = OBSERVE_USER
    actuate_user: str = ACTUATE_USER

    def __post_init__(self) -> None:
        names = [user for user, _, _ in users(self)]
        for name in sorted({name for name in names if names.count(name) > 1}):
            raise InputError(
                Finding(
                    what=f"{name[:40]!a} stands for two identities",
                    where="broker, users and nodes",
                    expected="a name of its own for each: rights go by the name",
                    do="Give the node, or the user of [broker], another name.",
                )
            )


Places = Callable[[Household, str], Iterable[str]]


@dataclass(frozen=True, slots=True)
class Row:
    """Topics, and what whom they let do.

    `places` is asked with the name of a node or relay for its own, else with "".
    """

    places: Places
    rights: Mapping[Who, Right]


def _contract(kind: Kind) -> Places:
    """The topics of one kind: those of one owner, or of all."""

    def places(household: Household, owner: str) -> Iterable[str]:
        if owner:
            return (str(Topic(root=household.root, kind=kind, owner=owner)),)
        return (topic_filter(household.root, kind),)

    return places


def _node_state(household: Household, owner: str) -> Iterable[str]:
    """What a node shows of itself; the daemon rests nothing on it."""
    return (f"{household.root}/node/{owner or '+'}/state",)


def _told_on(household: Household, _owner: str) -> Iterable[str]:
    return household.told_on


def _announcing(household: Household, _owner: str) -> Iterable[str]:
    """All devices: one that is gone must be taken away under its old name."""
    found = household.discovery
    return (device_topic(found, "+"),) if found else ()


def _birth(household: Household, _owner: str) -> Iterable[str]:
    return (birth_topic(household.discovery),) if household.discovery else ()


def _relays(*topics: Callable[[Relay], str]) -> Places:
    """Topics of one relay, or of all, as they stand in the configuration."""

    def places(household: Household, owner: str) -> Iterable[str]:
        named = [household.relays[owner]] if owner else household.relays.values()
        return {topic(relay) for relay in named for topic in topics}

    return places


# Everything anybody may do. To let a topic be used, add a row; whoever is not named in
# it is refused.
ROWS: tuple[Row, ...] = (
    # The listener hears commands too: one that lies retained must be seen.
    Row(
        _contract(Kind.COMMAND),
        {Who.ACTUATE: "write", Who.NODE: "read", Who.OBSERVE: "read"},
    ),
    Row(_contract(Kind.BEAT), {Who.NODE: "write", Who.OBSERVE: "read"}),
    Row(_contract(Kind.RESULT), {Who.NODE: "write", Who.OBSERVE: "read"}),
    Row(_node_state, {Who.NODE: "write", Who.HOME: "read"}),
    # Whoever has a button to hold a node gets a user and a line of his own.
    Row(
        _contract(Kind.HOLD),
        {Who.NODE: "read", Who.OBSERVE: "read", Who.HOME: "read"},
    ),
    Row(
        _contract(Kind.READING),
        {Who.PROBES: "write", Who.OBSERVE: "read", Who.HOME: "read"},
    ),
    Row(
        _contract(Kind.INPUT),
        {Who.PROBES: "write", Who.OBSERVE: "read", Who.HOME: "read"},
    ),
    Row(_told_on, {Who.PROBES: "write", Who.OBSERVE: "read"}),
    Row(_contract(Kind.REQUEST), {Who.HOME: "write", Who.OBSERVE: "read"}),
    Row(_contract(Kind.TANK_STATE), {Who.OBSERVE: "write", Who.HOME: "read"}),
    Row(_contract(Kind.EVENT), {Who.OBSERVE: "write", Who.HOME: "read"}),
    Row(_contract(Kind.DAEMON_STATE), {Who.OBSERVE: "write", Who.HOME: "read"}),
    # One that no ledger knows of is heard, and taken away.
    Row(_contract(Kind.ALARM), {Who.OBSERVE: "readwrite", Who.HOME: "read"}),
    Row(_announcing, {Who.OBSERVE: "write", Who.HOME: "read"}),
    Row(_birth, {Who.HOME: "write", Who.OBSERVE: "read"}),
    Row(_contract(Kind.ECHO), {Who.OBSERVE: "readwrite"}),
    Row(
        _relays(lambda relay: relay.on_topic, lambda relay: relay.off_topic),
        {Who.ACTUATE: "write", Who.RELAY: "read"},
    ),
    Row(
        _relays(lambda relay: relay.state_topic),
        {Who.RELAY: "write", Who.OBSERVE: "read"},
    ),
    Row(
        _relays(lambda relay: relay.ask_topic),
        {Who.OBSERVE: "write", Who.RELAY: "read"},
    ),
)


def household_of(settings: BrokerSettings, machine: Machine) -> Household:
    """Everybody of one configuration, who it names and who it does not.

    Raises: InputError as `Household`.
    """
    relays = {node.id: node.relay for node in machine.nodes.values() if node.relay}
    sources: tuple[Probe | Switch, ...] = (
        *machine.probes.values(),
        *machine.switches.values(),
    )
    return Household(
        root=settings.root,
        nodes=frozenset(machine.nodes.keys() - relays.keys()),
        relays=relays,
        told_on=frozenset(source.topic for source in sources if source.topic),
        discovery="" if settings.home is None else settings.home.discovery,
        observe_user=settings.observe_user or OBSERVE_USER,
        actuate_user=settings.actuate_user or ACTUATE_USER,
    )


def users(household: Household) -> tuple[tuple[str, Who, str], ...]:
    """Each user of the broker, its column, and what it owns ("" for nothing)."""
    return (
        (household.observe_user, Who.OBSERVE, ""),
        (household.actuate_user, Who.ACTUATE, ""),
        *((node, Who.NODE, node) for node in sorted(household.nodes)),
        *((relay, Who.RELAY, relay) for relay in sorted(household.relays)),
        (PROBES_USER, Who.PROBES, ""),
        (HOME_USER, Who.HOME, ""),
    )


def access_list(household: Household) -> str:
    """The access list, a paragraph for each user.

    Source of the form: mosquitto.conf(5), `acl_file`.
    """
    parts = (
        "\n".join(_paragraph(household, user, who, owner))
        for user, who, owner in users(household)
    )
    return "\n\n".join(parts) + "\n"


def _paragraph(household: Household, user: str, who: Who, owner: str) -> Iterator[str]:
    yield f"# {_PURPOSES[who]}"
    yield f"user {user}"
    for row in ROWS:
        if who in row.rights:
            for topic in sorted(set(row.places(household, owner)) - {""}):
                yield f"topic {row.rights[who]} {topic}"
