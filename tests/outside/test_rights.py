"""The whole table of rights, each cell of it tried on one real Mosquitto."""

import socket
import subprocess
from collections.abc import Iterator, Mapping
from contextlib import ExitStack
from functools import partial
from pathlib import Path

import pytest

from slackwater.errors import InputError
from slackwater.facts.relays import Relay
from slackwater.outside.rights import ROWS, Household, access_list, users
from slackwater.outside.wire import Kind, Root, topic_filter
from tests.outside.peers import (
    DEADLINE_S,
    LOOPBACK,
    Broker,
    Peer,
    free_port,
    until,
)

PLUG = Relay(
    on_topic="shed/plug/on",
    on_payload="{ms}",
    off_topic="shed/plug/off",
    off_payload="0",
    state_topic="shed/plug/is",
    ask_topic="shed/plug/ask",
    ask_payload="?",
)
# Two nodes, a timed relay and a probe with a topic of its own: every row has a topic.
HOUSEHOLD = Household(
    root=Root(site="home"),
    nodes=frozenset({"left", "right"}),
    relays={"plug": PLUG},
    told_on=frozenset({"shed/probe"}),
    discovery="found/here",
)
COLUMNS = (
    "slackwater-observe",
    "slackwater-actuate",
    "left",
    "right",
    "plug",
    "slackwater-probes",
    "slackwater-home",
)
# Typed from the command contract's list of topics, who speaks and who listens, and not
# from the table it is compared with. r reads, w writes, b both, - neither.
EXPECTED = """
~/node/left/command        r w r - - - -
~/node/right/command       r w - r - - -
~/node/other/command       r w - - - - -
~/node/left/beat           r - w - - - -
~/node/right/beat          r - - w - - -
~/node/left/result         r - w - - - -
~/node/right/result        r - - w - - -
~/node/left/state          - - w - - - r
~/node/left/hold           r - r - - - r
~/node/right/hold          r - - r - - r
~/node/left/other          - - - - - - -
~/tank/reef/reading/ph     r - - - - w r
~/tank/reef/input/pump     r - - - - w r
~/tank/reef/request        r - - - - - w
~/tank/reef/state          w - - - - - r
~/tank/reef/event          w - - - - - r
~/tank/reef/other          - - - - - - -
~/daemon/state             w - - - - - r
~/daemon/alarm/absent/left b - - - - - r
~/daemon/echo              b - - - - - -
shed/probe                 r - - - - w -
shed/plug/on               - w - - r - -
shed/plug/off              - w - - r - -
shed/plug/is               r - - - w - -
shed/plug/ask              w - - - r - -
found/here/device/x/config w - - - - - r
found/here/status          r - - - - - w
found/here/other           - - - - - - -
shed/other                 - - - - - - -
slackwater/1/away/node/left/command - - - - - - -
$SYS/broker/version        - - - - - - -
"""
MATRIX: Mapping[str, Mapping[str, str]] = {
    line.split()[0].replace("~", "slackwater/1/home"): dict(
        zip(COLUMNS, line.split()[1:], strict=True)
    )
    for line in EXPECTED.strip().splitlines()
}
WITNESS, END = "witness", "test/end"


def allowed(marks: str) -> dict[str, set[str]]:
    """The topics of each user whose cell holds one of these marks."""
    return {
        user: {topic for topic, cells in MATRIX.items() if cells[user] in marks}
        for user in COLUMNS
    }


@pytest.fixture
def guarded(tmp_path: Path) -> Iterator[Broker]:
    """A Mosquitto with the list as it is written, a witness, and a word for the end."""
    passwords, rights = tmp_path / "passwords", tmp_path / "rights"
    ends = "".join(f"\nuser {user}\ntopic readwrite {END}\n" for user in COLUMNS)
    every = f"\nuser {WITNESS}\ntopic readwrite #\n"
    rights.write_text(access_list(HOUSEHOLD) + ends + every)
    passwords.write_text("".join(f"{u}:{u}-word\n" for u in (*COLUMNS, WITNESS)))
    hashed = ["mosquitto_passwd", "-U", str(passwords)]
    subprocess.run(hashed, check=True, capture_output=True)
    for path in (passwords, rights):
        path.chmod(0o644)
    lines = (
        "allow_anonymous false",
        f"password_file {passwords}",
        f"acl_file {rights}",
    )
    broker = Broker(tmp_path / "mosquitto.conf", free_port(), lines)
    broker.start()
    yield broker
    broker.stop()


@pytest.mark.mosquitto
def test_every_identity_may_do_on_every_topic_what_the_table_says(
    guarded: Broker,
) -> None:
    """All cells, both ways, each delivered or refused by a real broker."""
    with ExitStack() as stack:
        peers = {
            user: stack.enter_context(Peer(guarded.port, "#", "$SYS/#", user=user))
            for user in (WITNESS, *COLUMNS)
        }
        for topic in MATRIX:
            peers[WITNESS].say(topic, b"read")
        peers[WITNESS].say(END, b"read")
        for user in COLUMNS:
            for topic in MATRIX:
                peers[user].say(topic, user.encode())
            peers[user].say(END, user.encode())
        # One sender's messages keep their order, so the last one ends all of them.
        for user, peer in peers.items():
            until(partial(_heard_all, peer), f"the end, heard by {user}")
    seen = peers[WITNESS].received
    written = {
        user: {t for t, payload, _ in seen if payload == user.encode()} - {END}
        for user in COLUMNS
    }
    read = {
        user: {t for t, payload, _ in peers[user].received if payload == b"read"}
        - {END}
        for user in COLUMNS
    }
    assert allowed("wb") == written
    # The broker alone speaks below $SYS; whoever may read it would hear it unasked.
    assert allowed("rb") == read
    assert not any(
        topic.startswith("$SYS")
        for user in COLUMNS
        for topic, _, _ in peers[user].received
    )


@pytest.mark.mosquitto
def test_who_has_no_name_is_not_let_in(guarded: Broker) -> None:
    """An anonymous client is refused before it can ask for anything."""
    # CONNECT and CONNACK as MQTT 3.1.1 writes them, sections 3.1 and 3.2: a clean
    # session without a name; return code 5 is "not authorised".
    with socket.create_connection((LOOPBACK, guarded.port), DEADLINE_S) as wire:
        wire.sendall(b"\x10\x0d\x00\x04MQTT\x04\x02\x00\x0f\x00\x01a")
        assert bytes.fromhex("20020005") == wire.recv(4)


def test_every_row_and_every_identity_is_tried() -> None:
    """No row of the table lacks a topic in the matrix, and no user a column."""
    assert set(COLUMNS) == {user for user, _, _ in users(HOUSEHOLD)}
    for row in ROWS:
        for pattern in row.places(HOUSEHOLD, ""):
            assert any(_matches(pattern, topic) for topic in MATRIX), pattern


def test_every_topic_of_the_wire_stands_in_the_table() -> None:
    """A kind nobody has a right to could be neither spoken nor heard."""
    places = {place for row in ROWS for place in row.places(HOUSEHOLD, "")}
    wire = {
        f"{HOUSEHOLD.root}/node/+/state",
        *(topic_filter(HOUSEHOLD.root, kind) for kind in Kind),
    }
    assert wire == {p for p in places if not p.startswith(("shed/", "found/"))}


@pytest.mark.parametrize("name", ["slackwater-actuate", "slackwater-home", "plug"])
def test_one_name_never_stands_for_two(name: str) -> None:
    """A node under the commanding user's name would have its rights."""
    with pytest.raises(InputError, match="two identities"):
        Household(
            root=Root(site="home"), nodes=frozenset({name}), relays={"plug": PLUG}
        )


def _heard_all(peer: Peer) -> bool:
    """Whether the last word of everybody has come."""
    return 1 + len(COLUMNS) == len(peer.payloads(END))


def _matches(pattern: str, topic: str) -> bool:
    ours, theirs = pattern.split("/"), topic.split("/")
    return len(ours) == len(theirs) and all(
        one in ("+", other) for one, other in zip(ours, theirs, strict=True)
    )
