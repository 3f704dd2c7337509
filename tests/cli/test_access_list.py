"""The access list that `setup` writes, on a real Mosquitto."""

import subprocess
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from slackwater.facts.messages import Beat, LinkChanged
from slackwater.outside.broker.actuate import Actuate
from slackwater.outside.broker.observe import Observe
from slackwater.outside.broker.pace import Pace
from slackwater.outside.mailbox import BoundedMailbox
from slackwater.outside.settings import read_broker, read_machine
from slackwater.outside.wire import view_of
from tests.cli.run_program import run
from tests.cli.test_setup import ANSWERS
from tests.outside.peers import LOOPBACK, Broker, Collected, Peer, free_port, until
from tests.outside.samples import BEAT, COMMAND, SetClock

pytestmark = pytest.mark.mosquitto

HOME = "slackwater/1/home"
QUICK = Pace(
    first_wait_s=0.05, longest_wait_s=0.1, look_s=0.05, echo_s=0.2, brief_s=0.0
)


@pytest.fixture
def config(tmp_path: Path) -> Path:
    """What `setup` writes for a node called left, and the daemon's two passwords."""
    text = ANSWERS.replace("passwords = false", "passwords = true")
    path = tmp_path / "answers.toml"
    path.write_text(text.replace('id = "shelf"', 'id = "left"'), "utf-8")
    folder = tmp_path / "config"
    places = ("--config", folder, "--state", tmp_path / "state")
    assert 0 == run("setup", "--answers", path, *places).code
    for name in ("observe", "actuate"):
        (folder / f"{name}.password").write_text(f"slackwater-{name}-word\n")
    return folder


@pytest.fixture
def guarded(config: Path, tmp_path: Path) -> Iterator[Broker]:
    """A Mosquitto that holds everybody to the access list."""
    passwords = tmp_path / "passwords"
    passwords.touch(mode=0o600)
    for user in ("slackwater-observe", "slackwater-actuate", "left"):
        subprocess.run(
            ["mosquitto_passwd", "-b", str(passwords), user, f"{user}-word"],
            check=True,
            capture_output=True,
        )
    passwords.chmod(0o644)
    rights = config / "mosquitto-acl"
    lines = (
        "allow_anonymous false",
        f"password_file {passwords}",
        f"acl_file {rights}",
    )
    broker = Broker(tmp_path / "mosquitto.conf", free_port(), lines)
    broker.start()
    yield broker
    broker.stop()


def test_everything_works_with_these_rights(config: Path, guarded: Broker) -> None:
    """Both links come up, a command reaches its node, and a beat comes back."""
    settings = replace(read_broker(config), host=LOOPBACK, port=guarded.port)
    mailbox = BoundedMailbox()
    collected = Collected(mailbox)
    view = view_of(read_machine(config), {})
    observe = Observe(settings, view, mailbox, SetClock(), QUICK)
    actuate = Actuate(settings, {}, mailbox, QUICK)
    observe.start()
    actuate.start()
    try:
        collected.first(LinkChanged, lambda change: change.link == "observe")
        collected.first(LinkChanged, lambda change: change.link == "actuate")
        with Peer(guarded.port, f"{HOME}/node/left/command", user="left") as node:
            actuate.run(COMMAND)
            until(lambda: bool(node.received), "the command")
            node.say(f"{HOME}/node/left/beat", BEAT)
            assert "left" == collected.any(Beat).node
    finally:
        actuate.close()
        observe.close()


@pytest.mark.parametrize("user", ["slackwater-observe", "left"])
def test_nobody_else_may_command(guarded: Broker, user: str) -> None:
    """A command by any other identity never reaches the node; what follows does."""
    place = f"{HOME}/node/left"
    with (
        Peer(guarded.port, f"{place}/command", user="left") as node,
        Peer(guarded.port, user=user) as other,
        Peer(guarded.port, user="slackwater-actuate") as entitled,
    ):
        other.say(f"{place}/command", b"forged")
        entitled.say(f"{place}/command", b"true")
        until(lambda: bool(node.received), "the entitled command")
        assert [b"true"] == node.payloads(f"{place}/command")


def test_whoever_may_look_sees_an_alarm_of_the_daemon(
    config: Path, guarded: Broker
) -> None:
    """Its topic is among what the listening identity may write, and no one else."""
    with (config / "mosquitto-acl").open("a", encoding="utf-8") as rights:
        rights.write(f"\nuser left\ntopic read {HOME}/daemon/alarm/#\n")
    guarded.stop()
    guarded.start()
    place = f"{HOME}/daemon/alarm/node-absent/left"
    with (
        Peer(guarded.port, f"{HOME}/daemon/alarm/#", user="left") as wall,
        Peer(guarded.port, user="slackwater-actuate") as other,
        Peer(guarded.port, user="slackwater-observe") as entitled,
    ):
        other.say(place, b"forged")
        entitled.say(place, b"true")
        until(lambda: bool(wall.received), "the entitled alarm")
        assert [b"true"] == wall.payloads(place)
