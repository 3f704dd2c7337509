"""Three reasons why a shadow run cannot dose; each holds without the others (D2).

No credential for commands is loaded; the broker's access list gives its identity no
right on them; the link it holds can publish nothing. What is said afterwards by the
one identity that is entitled shows that the wire was well all the time.
"""

import signal
import subprocess
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from slackwater.errors import InputError, NotConnectedError
from slackwater.facts.messages import LinkChanged
from slackwater.outside.broker.actuate import Actuate
from slackwater.outside.broker.pace import Pace
from slackwater.outside.clock import SystemClock
from slackwater.outside.mailbox import BoundedMailbox
from slackwater.outside.settings import read_broker
from slackwater.outside.shadow_link import ShadowLink
from slackwater.outside.wire import BrokerSettings
from slackwater.service.auditing import audited
from slackwater.service.memory import Memory, Mode
from slackwater.service.wiring import Places, build, connect
from tests.cli.run_program import run
from tests.cli.test_setup import ANSWERS
from tests.outside.peers import LOOPBACK, Broker, Collected, Peer, free_port, until
from tests.outside.samples import COMMAND, beat
from tests.service.household import approve, dense_plan, household
from tests.service.household import until as until_slowly

pytestmark = pytest.mark.mosquitto

PLACE = "slackwater/1/home/node/left/command"
QUICK = Pace(
    first_wait_s=0.05, longest_wait_s=0.1, look_s=0.05, echo_s=0.2, brief_s=0.0
)
WELL = [b"well", b"entitled"]
Make = Callable[..., Broker]


@pytest.fixture
def home(tmp_path: Path) -> Places:
    """A configuration with passwords and an access list, as `setup` writes them."""
    text = ANSWERS.replace("passwords = false", "passwords = true")
    answers = tmp_path / "answers.toml"
    answers.write_text(text.replace('id = "shelf"', 'id = "left"'), "utf-8")
    places = Places(config=tmp_path / "config", state=tmp_path / "state")
    words = ("--config", places.config, "--state", places.state)
    assert 0 == run("setup", "--answers", answers, *words).code
    for name in ("observe", "actuate"):
        word = f"slackwater-{name}-word\n"
        (places.config / f"{name}.password").write_text(word)
    return places


@pytest.fixture
def make(home: Places, tmp_path: Path) -> Iterator[Make]:
    """Start a Mosquitto with or without passwords and access list."""
    started: list[Broker] = []
    passwords = tmp_path / "passwords"
    passwords.touch(mode=0o600)
    for user in ("slackwater-observe", "slackwater-actuate", "left"):
        words = ["mosquitto_passwd", "-b", str(passwords), user, f"{user}-word"]
        subprocess.run(words, check=True, capture_output=True)
    passwords.chmod(0o644)

    def made(*, asks: bool, lists: bool) -> Broker:
        lines = [f"allow_anonymous {'false' if asks else 'true'}"]
        lines += [f"password_file {passwords}"] if asks else []
        lines += [f"acl_file {home.config / 'mosquitto-acl'}"] if lists else []
        broker = Broker(tmp_path / "mosquitto.conf", free_port(), tuple(lines))
        started.append(broker)
        broker.start()
        return broker

    yield made
    for broker in started:
        broker.stop()


def settings_for(home: Places, broker: Broker) -> BrokerSettings:
    """What the files say, with the broker of this test."""
    return replace(read_broker(home.config), host=LOOPBACK, port=broker.port)


def heard(broker: Broker, act: Callable[[], None]) -> list[bytes]:
    """What the node hears while something is tried, until the entitled word comes."""
    with (
        Peer(broker.port, PLACE, user="left") as node,
        Peer(broker.port, user="slackwater-actuate") as entitled,
    ):
        act()
        # Two turns of the broker: whatever was written before them has been read.
        for word in (b"well", b"entitled"):
            entitled.say(PLACE, word)
        until(lambda: b"entitled" in node.payloads(PLACE), "the entitled command")
        return node.payloads(PLACE)


def test_d2_without_any_barrier_the_command_arrives(home: Places, make: Make) -> None:
    """All three broken: this is what each of them alone must keep from happening."""
    broker = make(asks=False, lists=False)
    mailbox = BoundedMailbox()
    link = Actuate(settings_for(home, broker), {}, mailbox, QUICK)
    link.start()
    Collected(mailbox).first(LinkChanged, lambda change: change.up)
    assert len(WELL) + 1 == len(heard(broker, lambda: _run(link)))
    link.close()


def test_d2_the_access_list_alone_holds(home: Places, make: Make) -> None:
    """A link that can publish, with a credential: that of the listening identity."""
    broker = make(asks=True, lists=True)
    mailbox = BoundedMailbox()
    found = settings_for(home, broker)
    found = replace(
        found,
        actuate_user=found.observe_user,
        actuate_password=home.config / "observe.password",
    )
    link = Actuate(found, {}, mailbox, QUICK)
    link.start()
    Collected(mailbox).first(LinkChanged, lambda change: change.up)
    assert WELL == heard(broker, lambda: _run(link))
    link.close()


def test_d2_the_missing_credential_alone_holds(home: Places, make: Make) -> None:
    """A link that can publish, and a broker where whoever is let in may command."""
    broker = make(asks=True, lists=False)
    found = replace(settings_for(home, broker), actuate_password=None)
    link = Actuate(found, {}, BoundedMailbox(), QUICK)
    link.start()

    def try_it() -> None:
        until(lambda: link.refusals > 1, "being turned away")
        with pytest.raises(NotConnectedError):
            link.run(COMMAND)

    assert WELL == heard(broker, try_it)
    link.close()


def test_d2_the_link_alone_holds(home: Places, make: Make) -> None:
    """A broker that lets everybody command, and the credential at hand."""
    broker = make(asks=False, lists=False)
    assert (home.config / "actuate.password").read_text()
    link = ShadowLink(SystemClock())
    link.overlay(beat(heard_boot_s=SystemClock().now().boot_s))

    def try_it() -> None:
        assert link.run(COMMAND)
        assert link.due(SystemClock().now().boot_s)

    assert WELL == heard(broker, try_it)
    assert [] == [name for name in dir(link) if "publish" in name or "send" in name]


@pytest.mark.parametrize("mode", ["shadow", "live"])
def test_d2_only_a_live_run_loads_the_credential_for_commands(
    home: Places, mode: Mode
) -> None:
    """Without the file the shadow run starts; a live one says what is missing."""
    (home.config / "actuate.password").unlink()
    memory = Memory(home.state, mode)
    memory.open()
    rig = build(home, SystemClock(), memory, mode)
    try:
        if mode == "live":
            assert isinstance(rig.link, Actuate)
            with pytest.raises(InputError, match="actuate"):
                connect(rig)
        else:
            assert isinstance(rig.link, ShadowLink)
            connect(rig)
    finally:
        rig.close()


@pytest.mark.timeout(300)
def test_d1_a_shadow_run_says_no_word_on_commands_and_is_as_approved(
    tmp_path: Path,
) -> None:
    """The real process beside the reef: imagined doses, heard by nobody, audited."""
    shadowed(tmp_path, doses=2, wait_s=200.0)


@pytest.mark.long
@pytest.mark.timeout(1800)
def test_d1_ten_minutes_of_shadow_say_no_word_on_commands(tmp_path: Path) -> None:
    """The same for as long as a hundred and twenty doses, one in five seconds, take."""
    shadowed(tmp_path, doses=120, wait_s=1500.0)


def shadowed(folder: Path, doses: int, wait_s: float) -> None:
    """Let the daemon imagine so many doses and look at wire and ledgers."""
    with household(folder) as reef:
        begun = datetime.now(UTC)
        approve(reef, dense_plan(begun, 15, 5, 500))
        with Peer(reef.port, "slackwater/1/home/node/#") as ear:
            daemon = reef.start()
            shadow = reef.state / "shadow.ledger"
            until_slowly(shadow.exists, "the shadow ledger")
            until_slowly(
                lambda: shadow.read_bytes().count(b'"dose_ended"') >= doses,
                f"{doses} imagined doses",
                wait_s,
            )
            daemon.send_signal(signal.SIGTERM)
            assert 0 == daemon.wait(timeout=60)
            topics = {topic for topic, _, _ in ear.received}
        assert any(topic.endswith("/beat") for topic in topics)
        assert [] == [topic for topic in topics if topic.endswith("/command")]
        span = begun - timedelta(minutes=1), datetime.now(UTC)
        found = audited(reef.state, span, span[1])
        assert [] == found.departures
        assert {False} == {total.is_live for total in found.days.values()}
        assert sum(total.given for total in found.days.values()) >= doses


def _run(link: Actuate) -> None:
    link.run(COMMAND)
    until(lambda: link.is_idle, "the bytes on their way")
