"""The listener of figures: loopback alone, the newest ones, and no one waits for it."""

import http.client
import re
import socket
from collections.abc import Iterator
from importlib import import_module

import pytest

from slackwater.outside.metrics import Family, Listener, Sample, listener_on
from tests.outside.peers import until

# Connections served at once, as the listener says of itself.
READERS_AT_MOST = 8
# A line of the text form: name, labels, value (Prometheus text exposition format,
# version 0.0.4, from its published grammar).
LINE = re.compile(
    r'[a-zA-Z_:][a-zA-Z0-9_:]*(\{[a-zA-Z_]\w*="(?:[^"\\\n]|\\[\\"n])*"'
    r'(,[a-zA-Z_]\w*="(?:[^"\\\n]|\\[\\"n])*")*\})? '
    r"(-?\d+(\.\d+)?(e[+-]?\d+)?|[+-]?Inf|NaN)"
)


@pytest.fixture
def listener(monitoring: str) -> Iterator[Listener]:
    """One that listens on a port of the system's choice."""
    assert monitoring
    made = listener_on(0)
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


def one(name: str, value: float = 1.0) -> tuple[Family, ...]:
    """A family of one figure."""
    return (
        Family(name=name, meaning="", type="gauge", samples=(Sample(value=value),)),
    )


def test_whoever_asks_gets_the_newest_figures(listener: Listener) -> None:
    """Whole, with their type; those before are gone, and nothing else is among them."""
    for name in ("a", "b"):
        listener.families = one(name)
        status, body, kind = ask(listener)
        assert (200, "text/plain") == (status, kind.partition(";")[0])
        figures = [line for line in body.splitlines() if not line.startswith(b"#")]
        assert [f"{name} 1.0".encode()] == figures


@pytest.mark.parametrize(
    ("path", "host", "verb", "status"),
    [
        ("/", "127.0.0.1", "GET", 404),
        ("/metrics?x=1", "127.0.0.1", "GET", 404),
        ("/metrics/../etc/passwd", "127.0.0.1", "GET", 404),
        # A name of a page in a browser that was made to point here.
        ("/metrics", "evil.example", "GET", 403),
        ("/metrics", "127.0.0.1", "POST", 405),
        ("/metrics", "127.0.0.1", "DELETE", 405),
    ],
)
def test_everything_else_is_refused(
    listener: Listener, path: str, host: str, verb: str, status: int
) -> None:
    """Nothing can be written, and no other name is answered."""
    listener.families = one("a")
    found, body, _ = ask(listener, path, host, verb)
    assert status == found
    assert b"a 1.0" not in body


def test_it_listens_on_loopback_alone(listener: Listener) -> None:
    """Its socket is bound to 127.0.0.1, so that no other machine can reach it."""
    with socket.socket() as other:
        other.bind(("127.0.0.2", listener.port))


def test_the_name_of_the_loopback_is_looked_up_nowhere(
    monitoring: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A resolver without a network would hold up the loop that starts the listener."""

    def ask_resolver(name: str = "") -> str:
        pytest.fail(f"{name} was looked up")

    assert monitoring
    monkeypatch.setattr(socket, "getfqdn", ask_resolver)
    made = listener_on(0)
    made.start()
    assert made.is_open
    made.close()


def test_readers_that_never_finish_keep_nobody_from_the_next_figures(
    listener: Listener,
) -> None:
    """Many that connect and say nothing; figures are put without waiting all along."""
    held = [
        socket.create_connection(("127.0.0.1", listener.port))
        for _ in range(3 * READERS_AT_MOST)
    ]
    try:
        for number in range(1000):
            listener.families = one("a", number)
    finally:
        for silent in held:
            silent.close()

    def answers() -> bool:
        try:
            return ask(listener)[0] == 200
        except (OSError, http.client.HTTPException):
            return False

    until(answers, "an answer after the silent readers went away")
    assert b"a 999.0" in ask(listener)[1].splitlines()


def test_a_port_that_is_taken_is_an_error_and_closing_frees_it(
    listener: Listener,
) -> None:
    """The daemon logs it and goes on (see the metering)."""
    port = listener.port
    second = listener_on(port)
    with pytest.raises(OSError, match="already in use"):
        second.start()
    assert not second.is_open
    listener.close()
    second.start()
    assert second.port == port
    second.close()


def test_the_page_has_the_documented_form(listener: Listener) -> None:
    """Help and type before the figures; whatever stands in a label stays in it."""
    labels = {"tank": 'a"b\\c\nd', "line": "ü"}
    family = Family(
        name="slackwater_x_total",
        meaning="Two\nlines \\ here.",
        type="counter",
        samples=(Sample(value=1.5, labels=labels), Sample(value=3)),
    )
    listener.families = (family, Family(name="empty", meaning="", type="gauge"))
    shown = ask(listener)[1].decode().splitlines()
    assert "# HELP slackwater_x_total Two\\nlines \\\\ here." == shown[0]
    assert "# TYPE slackwater_x_total counter" == shown[1]
    assert 'slackwater_x_total{line="ü",tank="a\\"b\\\\c\\nd"} 1.5' == shown[2]
    assert 4 == len(shown)
    assert all(LINE.fullmatch(line) for line in shown[2:])


def test_the_librarys_own_reader_gives_back_what_was_put(listener: Listener) -> None:
    """A histogram and a label with everything in it, read by another's parser."""
    buckets = tuple(
        Sample(value=count, labels={"le": bound}, suffix="_bucket")
        for bound, count in (("0.1", 1), ("+Inf", 3))
    )
    sums = (Sample(value=0.25, suffix="_sum"), Sample(value=3, suffix="_count"))
    said = {"reason": 'quote " back \\ line\nend'}
    listener.families = (
        Family(name="late", meaning="x", type="histogram", samples=(*buckets, *sums)),
        Family(
            name="holds",
            meaning="x",
            type="gauge",
            samples=(Sample(value=1, labels=said),),
        ),
    )
    parser = import_module("prometheus_client.parser")
    read = {
        (sample.name, *sample.labels.values()): sample.value
        for family in parser.text_string_to_metric_families(ask(listener)[1].decode())
        for sample in family.samples
    }
    assert {
        ("late_bucket", "0.1"): 1,
        ("late_bucket", "+Inf"): 3,
        ("late_sum",): 0.25,
        ("late_count",): 3,
        ("holds", said["reason"]): 1,
    } == read


def test_an_accepted_newer_form_is_given(listener: Listener) -> None:
    """What OpenMetrics calls its own type; the same figure."""
    listener.families = one("a")
    line = http.client.HTTPConnection("127.0.0.1", listener.port, timeout=30)
    wanted = {
        "Host": "localhost",
        "Accept": "application/openmetrics-text; version=1.0.0",
    }
    line.request("GET", "/metrics", headers=wanted)
    answer = line.getresponse()
    kind, body = answer.getheader("Content-Type") or "", answer.read()
    line.close()
    assert kind.startswith("application/openmetrics-text")
    assert b"# EOF" == body.splitlines()[-1]
