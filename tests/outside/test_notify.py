"""Messages beside the loop: bounded, never in the way, and no word of an address."""

import json
import threading
from collections.abc import Callable, Iterator, Sequence
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path

import pytest
import structlog
from structlog.testing import capture_logs

from slackwater.facts.alarms import Priority
from slackwater.outside import posting
from slackwater.outside.notify import (
    AGAIN_S,
    NOT_STARTED,
    TOO_SLOW,
    WAITING_AT_MOST,
    Post,
    send_by_process,
)
from slackwater.outside.wire import NotifySettings
from slackwater.ports import Notifier
from tests.outside.peers import LOOPBACK, until

CANARY = "canary-b4d5ecret"


class Sent:
    """A sender that remembers, and may stand still or refuse.

    Its codes are those of the first tries, of which the last goes on.
    """

    def __init__(self, *codes: int) -> None:
        """Begin with nothing sent."""
        self.codes = list(codes or (0,))
        self.bodies: list[str] = []
        self.may_go = threading.Event()
        self.may_go.set()

    def __call__(self, _urls: Path, message: bytes) -> int:
        """Send one message, when it may."""
        self.may_go.wait()
        self.bodies.append(json.loads(message)["body"])
        return self.codes.pop(0) if len(self.codes) > 1 else self.codes[0]


@pytest.fixture
def post_of(tmp_path: Path) -> Iterator[Callable[..., Post]]:
    """Start a post with a sender; it is closed with the test."""
    made: list[Post] = []
    senders: list[Sent] = []

    def make(
        sender: Sent, least: Priority = "note", again_s: Sequence[float] = AGAIN_S
    ) -> Post:
        urls = tmp_path / "urls"
        post = Post(NotifySettings(urls=urls, least=least), sender, again_s)
        post.start()
        made.append(post)
        senders.append(sender)
        return post

    yield make
    for sender in senders:
        sender.may_go.set()
    for post in made:
        post.close()


def test_messages_are_sent_in_their_order(post_of: Callable[..., Post]) -> None:
    """One after the other, each once; what waits at the end is sent as well."""
    sent = Sent()
    post: Notifier = post_of(sent)
    for number in range(5):
        post.tell("an alarm", f"{number}", "soon")
    post.close()
    assert ["0", "1", "2", "3", "4"] == sent.bodies


@pytest.mark.parametrize(
    ("least", "bodies"),
    [
        ("note", ["urgent", "soon", "note", "None"]),
        ("soon", ["urgent", "soon", "None"]),
        ("urgent", ["urgent", "None"]),
    ],
)
def test_only_what_presses_enough_is_sent(
    post_of: Callable[..., Post], least: Priority, bodies: list[str]
) -> None:
    """And what has no priority, such as the daily summary, always."""
    sent = Sent()
    post = post_of(sent, least)
    priorities: tuple[Priority | None, ...] = ("urgent", "soon", "note", None)
    for priority in priorities:
        post.tell("an alarm", f"{priority}", priority)
    post.close()
    assert bodies == sent.bodies


def test_h63_a_sender_that_stands_still_blocks_nobody(
    post_of: Callable[..., Post],
) -> None:
    """A thousand messages cost bounded memory; the newest are kept."""
    sent = Sent()
    sent.may_go.clear()
    post = post_of(sent)
    for number in range(1000):
        post.tell("an alarm", f"{number}", "urgent")
    assert post.counts["given up"] >= 1000 - WAITING_AT_MOST - 1
    sent.may_go.set()
    post.close()
    assert "999" == sent.bodies[-1]
    assert len(sent.bodies) <= WAITING_AT_MOST + 1


def test_a_sender_that_fails_goes_on_with_the_next(
    post_of: Callable[..., Post],
) -> None:
    """Each failure is counted and logged with its reason."""
    # A scenario that ran before in this process keeps its logs quiet.
    structlog.reset_defaults()
    sent = Sent(posting.NO_PACKAGE)
    with capture_logs() as logs:
        post = post_of(sent)
        post.tell("an alarm", "1", "urgent")
        post.tell("an alarm", "2", "urgent")
        post.close()
    assert ["1", "2"] == sent.bodies
    assert {"not sent": 2} == post.counts
    assert {"the package for it is not installed"} == {log["why"] for log in logs}


MENDING = (posting.NOT_DELIVERED, TOO_SLOW, NOT_STARTED)


@pytest.mark.parametrize("code", MENDING)
def test_what_nobody_took_is_tried_again(
    post_of: Callable[..., Post], code: int
) -> None:
    """A router that starts later than this machine costs no alarm."""
    sent = Sent(code, code, 0)
    post = post_of(sent, again_s=(0.01, 0.02, 60.0))
    post.tell("an alarm", "1", "urgent")
    until(lambda: "sent" in post.counts, "the third try")
    assert {"put off": 2, "sent": 1} == post.counts
    assert ["1", "1", "1"] == sent.bodies


@pytest.mark.parametrize("code", [posting.PARTLY, posting.NO_ADDRESS])
def test_what_somebody_took_or_nobody_ever_can_is_sent_once(
    post_of: Callable[..., Post], code: int
) -> None:
    """Nobody gets an alarm again and again for an address that is wrong."""
    sent = Sent(code)
    post = post_of(sent, again_s=(0.0, 0.0))
    post.tell("an alarm", "1", "urgent")
    until(lambda: bool(post.counts), "the only try")
    post.close()
    assert ({"not sent": 1}, ["1"]) == (post.counts, sent.bodies)


def test_what_is_put_off_holds_up_nothing(post_of: Callable[..., Post]) -> None:
    """The next message is sent meanwhile; whoever leaves tries once more."""
    sent = Sent(posting.NOT_DELIVERED, 0)
    post = post_of(sent, again_s=(600.0,))
    for number in range(2):
        post.tell("an alarm", f"{number}", "urgent")
    until(lambda: "sent" in post.counts, "the second message")
    assert ["0", "1"] == sent.bodies
    post.close()
    assert ["0", "1", "0"] == sent.bodies
    assert {"put off": 1, "sent": 2} == post.counts


def test_it_is_not_tried_for_ever(post_of: Callable[..., Post]) -> None:
    """After the last try it is given up, and what was put off has its bound."""
    sent = Sent(posting.NOT_DELIVERED)
    post = post_of(sent, again_s=(0.0, 0.0))
    post.tell("an alarm", "1", "urgent")
    until(lambda: "not sent" in post.counts, "the last try")
    assert ({"put off": 2, "not sent": 1}, 3) == (post.counts, len(sent.bodies))
    late = post_of(Sent(posting.NOT_DELIVERED), again_s=(600.0,))
    for number in range(WAITING_AT_MOST + 3):
        late.tell("an alarm", f"{number}", "urgent")
        until(lambda: late.counts["put off"] > number, "a try")  # noqa: B023 -- at once
    assert 3 == late.counts["given up"]


class Ear(BaseHTTPRequestHandler):
    """Listens to what is posted, and answers with the server's code."""

    server: "Listener"

    def do_POST(self) -> None:
        """Keep path and content."""
        length = int(self.headers["Content-Length"])
        self.server.heard.append((self.path, json.loads(self.rfile.read(length))))
        self.send_response(self.server.code)
        self.end_headers()

    def log_message(self, *_words: object) -> None:
        """Say nothing."""


class Listener(HTTPServer):
    """A web service on the loopback."""

    def __init__(self) -> None:
        """Listen on a port that the system chooses."""
        super().__init__((LOOPBACK, 0), Ear)
        self.heard: list[tuple[str, dict[str, str]]] = []
        self.code = 200


@pytest.fixture
def listener() -> Iterator[Listener]:
    """A web service that runs during the test."""
    with Listener() as server:
        thread = threading.Thread(target=server.serve_forever)
        thread.start()
        yield server
        server.shutdown()
        thread.join()


def address_of(listener: Listener) -> str:
    """How the package writes the address of this service, with a secret in it."""
    return f"json://user:{CANARY}@{LOOPBACK}:{listener.server_port}/{CANARY}"


def test_a_message_reaches_a_service_through_the_package(
    listener: Listener, tmp_path: Path
) -> None:
    """The real package in a real process, an address from its file, title and body."""
    urls = tmp_path / "notify.urls"
    urls.write_text(f"# the house\n\n{address_of(listener)}\n")
    post = Post(NotifySettings(urls=urls))
    post.start()
    with capture_logs() as logs:
        post.tell("urgent: node-absent.shelf", "Do: look at it. Größe: µL", "urgent")
        until(lambda: bool(post.counts), "the end of sending")
        post.close()
    ((path, content),) = listener.heard
    assert f"/{CANARY}" == path
    assert "Slackwater, urgent: node-absent.shelf" == content["title"]
    assert "Do: look at it. Größe: µL" == content["message"]
    assert {"sent": 1} == post.counts
    assert CANARY not in str(logs)


def test_h63_no_address_is_ever_told(
    listener: Listener,
    tmp_path: Path,
    capfd: pytest.CaptureFixture[str],
) -> None:
    """A service that refuses makes noise in its own process and none in ours."""
    listener.code = 500
    urls = tmp_path / "notify.urls"
    urls.write_text(address_of(listener))
    with capture_logs() as logs:
        post = Post(NotifySettings(urls=urls))
        post.start()
        post.tell("an alarm", "body", "urgent")
        until(lambda: bool(post.counts), "the end of sending")
        post.close()
    told = capfd.readouterr()
    assert {"put off": 1, "not sent": 1} == post.counts
    assert CANARY not in f"{told.out}{told.err}{logs}{post.__dict__}"


@pytest.mark.parametrize(
    ("content", "message", "code"),
    [
        (None, b"{}", posting.NO_ADDRESS),
        (b"", b'{"title":"a","body":"b"}', posting.NO_ADDRESS),
        (b"# only a comment\n", b'{"title":"a","body":"b"}', posting.NO_ADDRESS),
        (b"no-such-thing://x\n", b'{"title":"a","body":"b"}', posting.NO_ADDRESS),
        (b"\xff\xfe", b'{"title":"a","body":"b"}', posting.NO_ADDRESS),
        (b"json://127.0.0.1/\n" * 33, b'{"title":"a","body":"b"}', posting.NO_ADDRESS),
        (b"json://127.0.0.1/\n", b"{", posting.NO_MESSAGE),
    ],
)
def test_what_cannot_be_sent_says_why(
    tmp_path: Path, content: bytes | None, message: bytes, code: int
) -> None:
    """The process ends with a reason of its own for each."""
    urls = tmp_path / "notify.urls"
    if content is not None:
        urls.write_bytes(content)
    assert code == send_by_process(urls, message)


def test_one_address_of_two_that_is_none_is_told(
    listener: Listener, tmp_path: Path
) -> None:
    """The good one gets the message all the same, once."""
    urls = tmp_path / "notify.urls"
    urls.write_text(f"no-such-thing://x\n{address_of(listener)}\n")
    message = b'{"title":"a","body":"b"}'
    assert posting.PARTLY == send_by_process(urls, message)
    assert 1 == len(listener.heard)


def test_one_address_of_two_that_takes_nothing_is_told(
    listener: Listener, tmp_path: Path
) -> None:
    """Whoever takes it has it; where neither does, nobody has."""
    urls = tmp_path / "notify.urls"
    urls.write_text(f"json://{LOOPBACK}:1/\n{address_of(listener)}\n")
    message = b'{"title":"a","body":"b"}'
    assert posting.PARTLY == send_by_process(urls, message)
    listener.code = 500
    assert posting.NOT_DELIVERED == send_by_process(urls, message)


class Deaf:
    """A package that takes every address and delivers nothing."""

    def add(self, address: str) -> bool:
        """Take it."""
        return bool(address)

    def notify(self, body: str, title: str) -> object:
        """Deliver nothing."""
        del body, title
        return None


def test_what_the_package_does_not_deliver_is_not_called_delivered() -> None:
    """Anything but a clear yes is a no."""
    message = {"title": "a", "body": "b"}
    assert posting.NOT_DELIVERED == posting.send(Deaf, ["json://x"], message)
