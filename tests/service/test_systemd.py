"""What the service manager hears, and when it hears nothing (H62).

Source: sd_notify(3): datagrams on the socket that NOTIFY_SOCKET names.
"""

import os
import signal
import socket
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import pytest

from slackwater.service import systemd
from tests.service.household import household, until

# Three passes of a loop that stood still for none of them.
SILENCE_S = 3.0


class Ear:
    """The service manager's end of the socket."""

    def __init__(self, address: str) -> None:
        """Listen at a path, or at an abstract address that begins with a NUL."""
        self.socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self.socket.bind(address)
        self.heard: list[str] = []

    def listen(self, wait_s: float = 0.0) -> list[str]:
        """Everything heard so far; waits so long for one message more."""
        self.socket.settimeout(wait_s)
        try:
            while True:
                self.heard.append(self.socket.recv(4096).decode())
                self.socket.settimeout(0.0)
        except (BlockingIOError, TimeoutError):
            return self.heard


@pytest.fixture
def ear(
    tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch
) -> Iterator[Ear]:
    """A service manager that this process and its children are told of."""
    # A short name, because an address has 108 bytes at most.
    address = str(tmp_path_factory.mktemp("ear") / "notify")
    made = Ear(address)
    monkeypatch.setenv("NOTIFY_SOCKET", address)
    yield made
    made.socket.close()


def test_each_word_is_one_datagram(ear: Ear) -> None:
    """The words of the protocol, with one line of status beside the watchdog's."""
    systemd.ready()
    systemd.alive("live, 0 holds")
    systemd.stopping()
    expected = ["READY=1", "WATCHDOG=1\nSTATUS=live, 0 holds", "STOPPING=1"]
    assert expected == ear.listen()


def test_an_abstract_address_is_understood(monkeypatch: pytest.MonkeyPatch) -> None:
    """The environment writes its leading NUL as an at sign."""
    name = f"slackwater-test-{os.getpid()}"
    made = Ear(f"\0{name}")
    monkeypatch.setenv("NOTIFY_SOCKET", f"@{name}")
    systemd.ready()
    assert ["READY=1"] == made.listen()
    made.socket.close()


@pytest.mark.parametrize("address", ["", "nowhere", "/nowhere/notify"])
def test_nobody_there_hinders_nothing(
    address: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """No service manager, no address, nobody at it: not a word and no error."""
    monkeypatch.setenv("NOTIFY_SOCKET", address)
    systemd.alive("live, 0 holds")


@pytest.mark.mosquitto
@pytest.mark.timeout(90)
def test_h62_the_watchdog_is_fed_by_the_loop_and_not_while_it_stands_still(
    tmp_path: Path, ear: Ear
) -> None:
    """Ready, fed each pass; stopped in its tracks, silent; woken, fed; then the end."""
    with household(tmp_path) as home:
        daemon = home.start()
        until(lambda: "READY=1" in ear.listen(), "ready")
        until(lambda: len(fed(ear)) > 2, "the watchdog fed")
        daemon.send_signal(signal.SIGSTOP)
        os.waitpid(daemon.pid, os.WUNTRACED)
        count = len(fed(ear))
        ear.listen(SILENCE_S)
        assert count == len(fed(ear))
        daemon.send_signal(signal.SIGCONT)
        until(lambda: len(fed(ear)) > count, "the watchdog fed again")
        daemon.send_signal(signal.SIGTERM)
        until(lambda: "STOPPING=1" in ear.listen(), "the end")
    assert "READY=1" == ear.heard[0]
    assert all("shadow" in word for word in fed(ear))


def fed(ear: Ear) -> list[str]:
    """Each time the watchdog was fed."""
    return [word for word in ear.listen() if word.startswith("WATCHDOG=1")]


def test_a_manager_that_does_not_listen_is_not_waited_for(ear: Ear) -> None:
    """Its queue is full: the word is lost, and the loop goes on."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as channel:
        channel.settimeout(0.0)
        channel.connect(os.environ["NOTIFY_SOCKET"])
        with suppress(BlockingIOError):
            while True:
                channel.send(b"full")
    # What waits would wait for ever: nobody empties the queue.
    systemd.alive("live, 0 holds")
    assert {"full"} == set(ear.listen())
