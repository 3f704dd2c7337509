"""Passwords, TLS and rights on a real Mosquitto."""

import subprocess
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import pytest
import trustme

from slackwater.facts.messages import Beat, LinkChanged
from slackwater.outside.broker.actuate import Actuate
from slackwater.outside.broker.credentials import Access, Secrets, read_secrets
from slackwater.outside.broker.observe import Observe
from slackwater.outside.broker.pace import Pace
from slackwater.outside.mailbox import BoundedMailbox
from slackwater.outside.wire import BrokerSettings, Kind
from tests.outside.peers import LOOPBACK, Broker, Collected, Peer, until
from tests.outside.samples import BEAT, COMMAND, ROOT, VIEW, SetClock

pytestmark = pytest.mark.mosquitto

QUICK = Pace(
    first_wait_s=0.05, longest_wait_s=0.1, look_s=0.05, echo_s=0.2, brief_s=0.0
)
RIGHTS = f"""
user observe
topic read {ROOT}/#
topic write {ROOT}/daemon/#
topic write {ROOT}/tank/+/state
topic write {ROOT}/tank/+/event
user actuate
topic write {ROOT}/node/+/command
user node
topic readwrite {ROOT}/node/left/#
"""


@pytest.fixture
def words(tmp_path: Path) -> Path:
    """A folder with one password file per user, as a service would be given."""
    folder = tmp_path / "credentials"
    folder.mkdir()
    for user in ("observe", "actuate", "node"):
        (folder / user).write_text(f"{user}-word\n")
    return folder


@pytest.fixture
def guarded(make_broker: Callable[..., Broker], tmp_path: Path) -> Broker:
    """A Mosquitto with passwords and rights."""
    passwords = tmp_path / "passwords"
    passwords.touch(mode=0o600)
    for user in ("observe", "actuate", "node"):
        subprocess.run(
            ["mosquitto_passwd", "-b", str(passwords), user, f"{user}-word"],
            check=True,
            capture_output=True,
        )
    rights = tmp_path / "rights"
    rights.write_text(RIGHTS)
    for path in (passwords, rights):
        path.chmod(0o644)
    return make_broker(
        "allow_anonymous false", f"password_file {passwords}", f"acl_file {rights}"
    )


@pytest.fixture
def links(mailbox: BoundedMailbox) -> Iterator[Callable[..., tuple[Observe, Actuate]]]:
    """Start both connections with these settings; they are closed with the test."""
    made: list[Observe | Actuate] = []

    def make(settings: BrokerSettings) -> tuple[Observe, Actuate]:
        observe = Observe(settings, VIEW, mailbox, SetClock(), QUICK)
        actuate = Actuate(settings, {}, mailbox, QUICK)
        made.extend((observe, actuate))
        observe.start()
        actuate.start()
        return observe, actuate

    yield make
    for link in made:
        link.close()


def named(broker: Broker, words: Path) -> BrokerSettings:
    """Settings with both users and their files."""
    return BrokerSettings(
        host=LOOPBACK,
        port=broker.port,
        site="reef",
        observe_user="observe",
        observe_password=words / "observe",
        actuate_user="actuate",
        actuate_password=words / "actuate",
    )


def both_up(collected: Collected) -> None:
    """Wait until both links are up."""
    collected.first(LinkChanged, lambda change: change.link == "observe" and change.up)
    collected.first(LinkChanged, lambda change: change.link == "actuate" and change.up)


def test_two_identities_with_the_least_rights_suffice(
    guarded: Broker,
    words: Path,
    links: Callable[..., tuple[Observe, Actuate]],
    mailbox: BoundedMailbox,
) -> None:
    """With only the rights of the contract's table everything works."""
    collected = Collected(mailbox)
    _, actuate = links(named(guarded, words))
    both_up(collected)
    with Peer(guarded.port, f"{ROOT}/node/left/command", user="node") as node:
        actuate.run(COMMAND)
        until(lambda: bool(node.received), "the command")
        node.say(f"{ROOT}/node/left/beat", BEAT)
        assert collected.any(Beat).node == "left"


def test_wrong_password_never_comes_up(
    guarded: Broker,
    words: Path,
    links: Callable[..., tuple[Observe, Actuate]],
    mailbox: BoundedMailbox,
) -> None:
    """A refused user stays down while the other works."""
    collected = Collected(mailbox)
    settings = replace(named(guarded, words), observe_password=words / "node")
    observe, _ = links(settings)
    collected.first(LinkChanged, lambda change: change.link == "actuate")
    observe.show("daemon/state", {"state": "here"})
    assert [LinkChanged(link="actuate", up=True)] == collected.messages
    assert observe.counts["not-announced"] == 1


@pytest.fixture
def authority() -> trustme.CA:
    """A certificate authority of this test."""
    return trustme.CA()


@pytest.fixture
def encrypted(
    make_broker: Callable[..., Broker], authority: trustme.CA, tmp_path: Path
) -> Broker:
    """A Mosquitto that speaks TLS only and wants client certificates."""
    server = authority.issue_cert(LOOPBACK)
    authority.cert_pem.write_to_path(tmp_path / "ca.pem")
    server.private_key_pem.write_to_path(tmp_path / "server.key")
    server.cert_chain_pems[0].write_to_path(tmp_path / "server.pem")
    client = authority.issue_cert("daemon.example")
    client.private_key_pem.write_to_path(tmp_path / "client.key")
    client.cert_chain_pems[0].write_to_path(tmp_path / "client.pem")
    return make_silent(make_broker, tmp_path)


def make_silent(make_broker: Callable[..., Broker], folder: Path) -> Broker:
    """The TLS broker itself; anybody who presents a certificate may enter."""
    for path in folder.glob("server.*"):
        path.chmod(0o644)
    return make_broker(
        "allow_anonymous true",
        f"listener:cafile {folder}/ca.pem",
        f"listener:certfile {folder}/server.pem",
        f"listener:keyfile {folder}/server.key",
        "listener:require_certificate true",
    )


def test_both_links_work_over_tls(
    encrypted: Broker,
    tmp_path: Path,
    links: Callable[..., tuple[Observe, Actuate]],
    mailbox: BoundedMailbox,
) -> None:
    """With the right authority and a client certificate the path is proven."""
    settings = BrokerSettings(
        host=LOOPBACK,
        port=encrypted.port,
        site="reef",
        tls_ca=tmp_path / "ca.pem",
        tls_cert=tmp_path / "client.pem",
        tls_key=tmp_path / "client.key",
    )
    _, actuate = links(settings)
    both_up(Collected(mailbox))
    assert actuate.run(COMMAND)


def test_broker_of_a_foreign_authority_is_not_trusted(
    encrypted: Broker,
    tmp_path: Path,
    links: Callable[..., tuple[Observe, Actuate]],
    mailbox: BoundedMailbox,
) -> None:
    """A certificate nobody vouches for ends the attempt; no word is sent."""
    foreign = tmp_path / "foreign.pem"
    trustme.CA().cert_pem.write_to_path(foreign)
    settings = BrokerSettings(
        host=LOOPBACK, port=encrypted.port, site="reef", tls_ca=foreign
    )
    observe, _ = links(settings)
    until(lambda: observe.refusals > 2, "three refused attempts")
    assert mailbox.collect(0) == ()


def test_password_file_loses_one_line_feed_only(tmp_path: Path) -> None:
    """Editors end files with a line feed; spaces belong to the password."""
    word = tmp_path / "word"
    word.write_text(" a b \n\n")
    settings = BrokerSettings(host="broker", port=1883, site="reef")
    access = Access(
        name="observe",
        settings=settings,
        user="observe",
        password=word,
        may_publish=frozenset({Kind.EVENT}),
    )
    secrets = read_secrets(access)
    assert Secrets(password=" a b \n") == secrets
    assert "a b" not in repr(secrets)
