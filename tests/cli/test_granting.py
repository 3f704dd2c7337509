"""`access-list`, the sample broker and its certificates, all of it together."""

import socket
import subprocess
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from typing import Literal

import pytest

from slackwater.facts.messages import LinkChanged
from slackwater.outside.broker.actuate import Actuate
from slackwater.outside.broker.observe import Observe
from slackwater.outside.broker.pace import Pace
from slackwater.outside.mailbox import BoundedMailbox
from slackwater.outside.settings import read_broker, read_machine
from slackwater.outside.wire import view_of
from tests.cli.run_program import CONFIG, changed, run
from tests.outside.peers import (
    DEADLINE_S,
    LOOPBACK,
    Broker,
    Collected,
    free_port,
    until,
)
from tests.outside.samples import SetClock

SAMPLE = CONFIG / "broker"
TWO_TANKS = CONFIG / "two-tanks"
INSTALLED = "/etc/mosquitto/slackwater"
Links = Callable[..., tuple[Observe, Actuate, BoundedMailbox]]
QUICK = Pace(
    first_wait_s=0.05, longest_wait_s=0.1, look_s=0.05, echo_s=0.2, brief_s=0.0
)


def test_no_line_of_the_list_is_broken_to_fit_a_screen(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A broker reads each: a comment or a topic that went on below would be none."""
    wanted = run("access-list", "--config", TWO_TANKS, "--json").document["access_list"]
    monkeypatch.setenv("COLUMNS", "40")
    assert wanted == run("access-list", "--config", TWO_TANKS).out


def certified(folder: Path, *names: str) -> subprocess.CompletedProcess[str]:
    """The script's answer for these names."""
    words: list[str | Path] = [SAMPLE / "make-certificates", folder, *names]
    return subprocess.run(words, capture_output=True, check=False, text=True)


def accepted(folder: Path, *words: str) -> bool:
    """Whether OpenSSL, at its strictest, takes the certificate for a broker's."""
    ask: list[str | Path] = [
        "openssl",
        "verify",
        "-x509_strict",
        "-purpose",
        "sslserver",
        *words,
    ]
    files: list[str | Path] = [
        "-CAfile",
        folder / "broker-ca.pem",
        folder / "broker.pem",
    ]
    return not subprocess.run(
        [*ask, *files], capture_output=True, check=False
    ).returncode


def test_the_sample_is_what_the_program_prints() -> None:
    """For the larger of the samples, to the letter; JSON holds the same."""
    text = (SAMPLE / "mosquitto-acl").read_text("utf-8")
    assert (0, text) == (
        (told := run("access-list", "--config", TWO_TANKS)).code,
        told.out,
    )
    document = run("access-list", "--config", TWO_TANKS, "--json").document
    assert text == document["access_list"]
    named = {line[5:] for line in text.splitlines() if line.startswith("user ")}
    assert named == set(map(str, list_of(document["users"])))


def list_of(found: object) -> list[object]:
    """A list of a document."""
    assert isinstance(found, list)
    return found


def test_relays_and_home_automation_get_their_lines(tmp_path: Path) -> None:
    """What stands in the files beside the contract's own topics is let through."""
    folder = changed(
        tmp_path, CONFIG / "relays", slackwater=("[broker]", "[home]\n\n[broker]")
    )
    paragraphs = run("access-list", "--config", folder).out.split("\n\n")
    lines = {part.split("user ")[1].split("\n")[0]: part for part in paragraphs[1:]}
    assert "topic read workshop/relay-3/do\n" in lines["plug"]
    assert "topic write workshop/relay-3/is\n" in lines["plug"]
    assert "topic write workshop/relay-4/do" in lines["slackwater-actuate"]
    assert "topic write workshop/relay-3/ask" in lines["slackwater-observe"]
    assert "topic read homeassistant/status" in lines["slackwater-observe"]
    assert "topic write homeassistant/status" in lines["slackwater-home"]


def test_files_that_cannot_be_read_give_no_list(tmp_path: Path) -> None:
    """A broken file is told, and not half a list."""
    folder = changed(tmp_path, TWO_TANKS, slackwater=("port = 8883", "port = 0"))
    told = run("access-list", "--config", folder)
    assert (2, "") == (told.code, told.out)
    assert "port" in told.err


def test_the_certificate_names_what_was_asked_for(tmp_path: Path) -> None:
    """Names and addresses as given, no other; keys are for their owner alone."""
    assert (
        0
        == certified(tmp_path, "broker.example", "192.0.2.7", "2001:db8::7").returncode
    )
    assert accepted(tmp_path, "-verify_hostname", "broker.example")
    assert accepted(tmp_path, "-verify_ip", "192.0.2.7")
    assert accepted(tmp_path, "-verify_ip", "2001:db8::7")
    assert not accepted(tmp_path, "-verify_hostname", "other.example")
    assert not accepted(tmp_path, "-verify_ip", "192.0.2.8")
    modes = {path.name: path.stat().st_mode & 0o777 for path in tmp_path.iterdir()}
    assert {
        "broker-ca.key": 0o600,
        "broker-ca.pem": 0o644,
        "broker.key": 0o600,
        "broker.pem": 0o644,
    } == modes


def test_a_renewal_keeps_the_authority(tmp_path: Path) -> None:
    """Clients go on with what they have; the broker gets a new key."""
    certified(tmp_path, LOOPBACK)
    before = {path.name: path.read_bytes() for path in tmp_path.iterdir()}
    assert 0 == certified(tmp_path, LOOPBACK).returncode
    same = {
        n for n, content in before.items() if content == (tmp_path / n).read_bytes()
    }
    assert {"broker-ca.key", "broker-ca.pem"} == same
    assert accepted(tmp_path, "-verify_ip", LOOPBACK)


@pytest.mark.parametrize(
    ("names", "said"),
    [
        ((), "at least one name"),
        (("a b",), "a host name or an IP address"),
        (("-x",), "a host name or an IP address"),
        (("x\nIP:192.0.2.1",), "a host name or an IP address"),
        (("broker.example,DNS:evil",), "a host name or an IP address"),
        (("999.1.1.1",), "openssl failed"),
    ],
)
def test_a_wrong_name_makes_nothing(
    tmp_path: Path, names: tuple[str, ...], said: str
) -> None:
    """Exit code 2, one error with all four parts, no file."""
    told = certified(tmp_path, *names)
    assert 2 == told.returncode
    assert said in told.stderr
    assert 1 == told.stderr.count("error: ") == told.stderr.count("  do: ")
    assert not list(tmp_path.iterdir())


def test_half_an_authority_is_not_replaced(tmp_path: Path) -> None:
    """With its key elsewhere no other authority is put in its place."""
    certified(tmp_path, LOOPBACK)
    (tmp_path / "broker-ca.key").unlink()
    before = (tmp_path / "broker-ca.pem").read_bytes()
    told = certified(tmp_path, LOOPBACK)
    assert (2, True) == (told.returncode, "broker-ca.key is not" in told.stderr)
    assert before == (tmp_path / "broker-ca.pem").read_bytes()


@pytest.fixture
def installed(tmp_path: Path) -> Iterator[Broker]:
    """The sample broker, with this test's folder, user and port in their places."""
    assert 0 == certified(tmp_path, LOOPBACK).returncode
    (tmp_path / "mosquitto-acl").write_bytes((SAMPLE / "mosquitto-acl").read_bytes())
    passwords = tmp_path / "passwords"
    both = ("slackwater-observe", "slackwater-actuate")
    passwords.write_text("".join(f"{user}:{user}-word\n" for user in both))
    hashed = ["mosquitto_passwd", "-U", str(passwords)]
    subprocess.run(hashed, check=True, capture_output=True)
    text = (SAMPLE / "slackwater.conf").read_text("utf-8")
    above, below = text.replace(INSTALLED, str(tmp_path)).split("listener 8883\n")
    lines = (*above.splitlines(), *(f"listener:{li}" for li in below.splitlines()))
    broker = Broker(tmp_path / "mosquitto.conf", free_port(), lines)
    broker.start()
    yield broker
    broker.stop()


@pytest.fixture
def links(installed: Broker, tmp_path: Path) -> Iterator[Links]:
    """Both connections of the daemon, as `two-tanks` settles them."""
    for user in ("observe", "actuate"):
        (tmp_path / f"{user}.password").write_text(f"slackwater-{user}-word\n")
    changed(tmp_path, TWO_TANKS)
    made: list[Observe | Actuate] = []

    def make(authority: Path | None = None) -> tuple[Observe, Actuate, BoundedMailbox]:
        read = read_broker(tmp_path)
        settings = replace(
            read,
            host=LOOPBACK,
            port=installed.port,
            tls_ca=authority or read.tls_ca,
        )
        mailbox = BoundedMailbox()
        view = view_of(read_machine(tmp_path), {})
        observe = Observe(settings, view, mailbox, SetClock(), QUICK)
        actuate = Actuate(settings, {}, mailbox, QUICK)
        made.extend((observe, actuate))
        observe.start()
        actuate.start()
        return observe, actuate, mailbox

    yield make
    for link in made:
        link.close()


@pytest.mark.mosquitto
def test_the_sample_broker_lets_the_daemon_work(
    links: Links,
) -> None:
    """Encrypted, by name, with the printed rights: both paths are proven."""
    *_, mailbox = links()
    collected = Collected(mailbox)
    collected.first(LinkChanged, lambda told: told == up("observe"))
    collected.first(LinkChanged, lambda told: told == up("actuate"))


@pytest.mark.mosquitto
def test_the_sample_broker_is_not_believed_without_its_authority(
    links: Links, tmp_path: Path
) -> None:
    """On another authority's word no link comes up, and no password leaves."""
    foreign = tmp_path / "foreign"
    assert 0 == certified(foreign, LOOPBACK).returncode
    observe, actuate, mailbox = links(foreign / "broker-ca.pem")
    until(lambda: observe.refusals > 1 and actuate.refusals > 1, "refusals")
    assert () == mailbox.collect(0)


@pytest.mark.mosquitto
def test_the_sample_broker_takes_nothing_unencrypted(installed: Broker) -> None:
    """A plain CONNECT (MQTT 3.1.1, section 3.1) gets no CONNACK, which begins 0x20."""
    with socket.create_connection((LOOPBACK, installed.port), DEADLINE_S) as wire:
        wire.sendall(b"\x10\x0d\x00\x04MQTT\x04\x02\x00\x0f\x00\x01a")
        # How it hangs up is its own affair: TLS alert, end or reset.
        with suppress(ConnectionResetError):
            assert b"\x20" != wire.recv(1)


def up(link: Literal["observe", "actuate"]) -> LinkChanged:
    """The message of a link that came up."""
    return LinkChanged(link=link, up=True)
