"""Plain timed relays: their tables, checked, and what they do to a pump's caps.

Floor 6. One subject: `[relay.NODE]`. Laws here: a pulse has its length in the payload,
or the relay has only one; a relay drives one pump; caps behind a relay are counted for
two executions.
"""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from functools import partial
from operator import attrgetter
from typing import Annotated

from pydantic import Field, StringConstraints

from slackwater.facts.relays import EXECUTIONS, Relay
from slackwater.outside.settings.input_model import Pointer, Topic, Words
from slackwater.outside.settings.inputs import check_words
from slackwater.outside.settings.machine_model import NodeTable, PumpTable
from slackwater.outside.settings.tables import Findings, TableModel, shown

Payload = Annotated[str, StringConstraints(min_length=1, max_length=500)]
LENGTHS = ("{ms}", "{s}")
# What switches a relay on: where, and which words.
_SWITCHED_BY = attrgetter("on_topic", "on_payload")


class RelayTable(TableModel):
    """A plain timed relay in the place of the pump node of the same name."""

    on_topic: Topic = Field(
        description="Topic on which it takes a pulse; the daemon's commanding identity "
        "must be allowed to write there, and nobody else",
        examples=['"workshop/relay-3/do"'],
    )
    on_payload: Payload = Field(
        description="What switches it on and, in the same message, says for how long: "
        "{ms} or {s} stands for the length",
        examples=['\'{"on":true,"ms":{ms}}\''],
    )
    off_topic: Topic = Field(
        description="Topic on which it is told to be off",
        examples=['"workshop/relay-3/do"'],
    )
    off_payload: Payload = Field(
        description="What switches it off",
        examples=["'{\"on\":false}'"],
    )
    state_topic: Topic = Field(
        description="Topic on which it tells its state: on each change, and at least "
        "every ten seconds by itself or when it is asked",
        examples=['"workshop/relay-3/is"'],
    )
    state_pointer: Pointer | None = Field(
        default=None,
        description="JSON pointer (RFC 6901) to the word for its state; nothing when "
        "the payload is the word",
        examples=['"/on"'],
    )
    on: Words = Field(
        default_factory=lambda: ["on"],
        description="Words that mean on",
        examples=['["true"]'],
    )
    off: Words = Field(
        default_factory=lambda: ["off"],
        description="Words that mean off",
        examples=['["false"]'],
    )
    ask_topic: Topic | None = Field(
        default=None,
        description="Topic on which it can be asked for its state; the daemon's "
        "listening identity must be allowed to write there",
        examples=['"workshop/relay-3/ask"'],
    )
    ask_payload: str = Field(
        default="",
        max_length=500,
        description="What asks for its state",
        examples=['"state"'],
    )
    one_length: bool = Field(
        default=False,
        description="It has only its own fixed time until it is off: every pulse is as "
        "long as `longest_run` of the node and charged as that",
        examples=["true"],
    )


def relay_of(table: RelayTable, node: NodeTable) -> Relay:
    """The relay a table describes, on the node of the same name."""
    return Relay(
        on_topic=table.on_topic,
        on_payload=table.on_payload,
        off_topic=table.off_topic,
        off_payload=table.off_payload,
        state_topic=table.state_topic,
        pointer=table.state_pointer or "",
        on=tuple(table.on),
        off=tuple(table.off),
        ask_topic=table.ask_topic or "",
        ask_payload=table.ask_payload,
        always_ms=node.longest_run if table.one_length else 0,
    )


def halved(most_ul: int, *, behind_relay: bool) -> int:
    """A cap of a pump: behind a relay it is counted for two executions."""
    return most_ul // EXECUTIONS if behind_relay else most_ul


def check_relays(
    relays: Mapping[str, RelayTable],
    nodes: Mapping[str, NodeTable],
    pumps: Iterable[PumpTable],
    findings: Findings,
) -> None:
    """Note templates without a length, words that mean both, and shared relays."""
    driven = Counter(findings.judge(partial(attrgetter("node"), one)) for one in pumps)
    for identity, table in relays.items():
        place = f"[relay.{identity}]"
        findings.judge(partial(_check_length, place, table, findings))
        findings.judge(partial(check_words, place, table, findings))
        if driven[identity] > 1:
            findings.add(
                place,
                f"{driven[identity]} pumps hang on it",
                "one pump for each relay",
                "Give each pump a relay of its own.",
            )
        if identity in nodes:
            findings.judge(partial(_check_key, identity, nodes[identity], findings))


def check_relay_topics(
    relays: Mapping[str, RelayTable], root: str, findings: Findings
) -> None:
    """Note topics among the daemon's own, and two relays that speak or hear as one."""
    judge = findings.judge
    said = [judge(partial(attrgetter("state_topic"), one)) for one in relays.values()]
    heard = [judge(partial(_SWITCHED_BY, one)) for one in relays.values()]
    for identity, relay in relays.items():
        place = f"[relay.{identity}]"
        for key in ("on_topic", "off_topic", "state_topic", "ask_topic"):
            judge(partial(_check_topic, f"{place} {key}", relay, root, findings))
        for key in ("on_topic", "off_topic"):
            judge(partial(_check_own_words, place, relay, key, findings))
        judge(partial(_check_switched, place, relay, heard, findings))
        judge(partial(_check_state, place, relay, said, findings))


def _check_topic(place: str, relay: RelayTable, root: str, findings: Findings) -> None:
    topic = getattr(relay, place.rpartition(" ")[2]) or ""
    if topic.startswith(f"{root}/"):
        findings.add(
            place,
            f"{shown(topic)} is one of the daemon's own topics",
            f"a topic that does not begin with {root}/",
            "Let the relay speak on topics of its own.",
        )


def _check_own_words(
    place: str, relay: RelayTable, key: str, findings: Findings
) -> None:
    if relay.state_topic == getattr(relay, key):
        findings.add(
            f"{place} state_topic",
            f"{shown(relay.state_topic)} is where it is told what to do",
            "a topic on which only the relay itself speaks",
            "Name the topic of its own state: our own words prove nothing.",
        )


def _check_switched(
    place: str, relay: RelayTable, heard: Sequence[object], findings: Findings
) -> None:
    if heard.count((relay.on_topic, relay.on_payload)) > 1:
        findings.add(
            f"{place} on_topic",
            f"the same words on {shown(relay.on_topic)} switch two relays on",
            "a topic, or a payload, of its own for each relay",
            "Mend the one that was copied: it would run the other one's pump.",
        )


def _check_state(
    place: str, relay: RelayTable, said: Sequence[object], findings: Findings
) -> None:
    if said.count(relay.state_topic) > 1:
        findings.add(
            f"{place} state_topic",
            f"two relays speak on {shown(relay.state_topic)}",
            "a topic of its own for each relay",
            "Mend the topic of one of them.",
        )


def _check_key(identity: str, node: NodeTable, findings: Findings) -> None:
    if node.key_file is not None:
        findings.add(
            f"[node.{identity}] key_file",
            "a relay signs nothing",
            "no key beside a relay",
            "Take key_file out.",
        )


def _check_length(place: str, table: RelayTable, findings: Findings) -> None:
    said = any(length in table.on_payload for length in LENGTHS)
    if said == table.one_length:
        findings.add(
            f"{place} on_payload",
            f"found {shown(table.on_payload)}",
            "no length beside one_length"
            if table.one_length
            else "{ms} or {s} for the length of the pulse, in the same message as on",
            "Take the length or one_length out."
            if table.one_length
            else "Put it in; a relay that takes no length needs  one_length = true",
        )
