"""HOST:PORT as people type it."""

import pytest

from slackwater.cli.typed import host_and_port


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("localhost:1883", ("localhost", 1883)),
        ("192.0.2.7:1", ("192.0.2.7", 1)),
        ("reef-box.example:65535", ("reef-box.example", 65_535)),
        ("[2001:db8::7]:8883", ("2001:db8::7", 8883)),
        ("[::1]:1883", ("::1", 1883)),
    ],
)
def test_a_host_or_an_address_and_its_port(
    text: str, expected: tuple[str, int]
) -> None:
    """An IPv6 address stands in brackets, as RFC 3986, 3.2.2 asks."""
    assert expected == host_and_port(text)


@pytest.mark.parametrize(
    "text",
    [
        *("", ":", ":1883", "localhost", "localhost:", "localhost:0"),
        *("localhost:65536", "localhost:-1", "localhost:1e3", "localhost:18 83"),
        *("::1:1883", "[::1]", "[::1:1883", "[nobody]:1883"),
        *("keeper@localhost:1883", "localhost:1883/tank", "localhost:1883?x", " :1"),
    ],
)
def test_nothing_else_is_a_place(text: str) -> None:
    """A person is told what was expected, before anything is connected to."""
    assert None is host_and_port(text)
