"""The listener of figures: loopback alone, the newest page, and no one waits for it."""

import http.client
import re
import socket
from collections.abc import Iterator

import pytest

from slackwater.outside.metrics import (
    CONTENT_TYPE,
    READERS_AT_MOST,
    Family,
    Listener,
    Sample,
    page_of,
)
from tests.outside.peers import until

# A line of the text form: name, labels, value (Prometheus text exposition format,
# version 0.0.4, from its published grammar).
LINE = re.compile(
    r'[a-zA-Z_:][a-zA-Z0-9_:]*(\{[a-zA-Z_]\w*="(?:[^"\\\n]|\\[\\"n])*"'
    r'(,[a-zA-Z_]\w*="(?:[^"\\\n]|\\[\\"n])*")*\})? '
    r"(-?\d+(\.\d+)?(e[+-]?\d+)?|[+-]?Inf|NaN)"
)


@pytest.fixture
def listener() -> Iterator[Listener]:
    """One that listens on a port of the system's choice."""
    made = Listener(0)
    made.start()
    yield made
    made.close()


def ask(
    listener: Listener,
    path: str = "/metrics",
    host: str = "127.0.0.1",
    verb: str = "GET",
) -> tuple[int, bytes, str]:
    """Status, body and type of one answer."""
    line = http.client.HTTPConnection("127.0.0.1", listener.port, timeout=30)
    try:
        line.request(verb, path, headers={"Host": f"{host}:{listener.port}"})
        answer = line.getresponse()
        kind = answer.getheader("Content-Type") or ""
        return answer.status, answer.read(), kind
    finally:
        line.close()


def test_whoever_asks_gets_the_newest_page(listener: Listener) -> None:
    """Whole, with its type; the one before is gone."""
    for page in (b"a 1\n", b"b 2\n"):
        listener.page = page
        assert (200, page, CONTENT_TYPE) == ask(listener)


@pytest.mark.parametrize(
    ("path", "host", "verb", "status"),
    [
        ("/", "127.0.0.1", "GET", 404),
        ("/metrics?x=1", "127.0.0.1", "GET", 404),
        ("/metrics/../etc/passwd", "127.0.0.1", "GET", 404),
        # A name of a page in a browser that was made to point here.
        ("/metrics", "evil.example", "GET", 403),
        ("/metrics", "127.0.0.1", "POST", 501),
        ("/metrics", "127.0.0.1", "DELETE", 501),
    ],
)
def test_everything_else_is_refused(
    listener: Listener, path: str, host: str, verb: str, status: int
) -> None:
    """Nothing can be written, and no other name is answered."""
    listener.page = b"a 1\n"
    found, body, _ = ask(listener, path, host, verb)
    assert status == found
    assert b"a 1" not in body


def test_it_listens_on_loopback_alone(listener: Listener) -> None:
    """Its socket is bound to 127.0.0.1, so that no other machine can reach it."""
    with socket.socket() as other:
        other.bind(("127.0.0.2", listener.port))


def test_readers_that_never_finish_keep_nobody_from_the_next_page(
    listener: Listener,
) -> None:
    """Many that connect and say nothing; a page is put without waiting all along."""
    held = [
        socket.create_connection(("127.0.0.1", listener.port))
        for _ in range(3 * READERS_AT_MOST)
    ]
    try:
        for number in range(1000):
            listener.page = b"%d\n" % number
    finally:
        for one in held:
            one.close()

    def answers() -> bool:
        try:
            return ask(listener)[0] == 200
        except (OSError, http.client.HTTPException):
            return False

    until(answers, "an answer after the silent readers went away")
    assert b"999\n" == ask(listener)[1]


def test_a_port_that_is_taken_is_an_error_and_closing_frees_it(
    listener: Listener,
) -> None:
    """The daemon logs it and goes on (see the metering)."""
    port = listener.port
    second = Listener(port)
    with pytest.raises(OSError, match="already in use"):
        second.start()
    assert not second.is_open
    listener.close()
    second.start()
    assert second.port == port
    second.close()


def test_the_page_has_the_documented_form() -> None:
    """Help and type before the figures; whatever stands in a label stays in it."""
    labels = {"tank": 'a"b\\c\nd', "line": "ü"}
    family = Family(
        name="slackwater_x_total",
        meaning="Two\nlines \\ here.",
        type="counter",
        samples=(Sample(value=1.5, labels=labels), Sample(value=3)),
    )
    lines = page_of([family, Family(name="empty", meaning="", type="gauge")])
    shown = lines.decode().splitlines()
    assert "# HELP slackwater_x_total Two\\nlines \\\\ here." == shown[0]
    assert "# TYPE slackwater_x_total counter" == shown[1]
    assert 'slackwater_x_total{tank="a\\"b\\\\c\\nd",line="ü"} 1.5' == shown[2]
    assert 4 == len(shown)
    assert all(LINE.fullmatch(line) for line in shown[2:])
