"""Reading the wire's part of `slackwater.toml`."""

from pathlib import Path

import pytest

from slackwater.errors import InputError
from slackwater.outside.settings import read_broker, read_node_keys
from slackwater.outside.settings.broker import SECOND_KEY_FILE
from slackwater.outside.wire import BrokerSettings

FULL = """
site = "lab"
[broker]
host = "broker.example"
port = 8883
prefix = "water/2"
ca_file = "ca.pem"
certificate_file = "/etc/ssl/own.pem"
key_file = "own.key"
observe_user = "eye"
observe_password_file = "eye.password"
actuate_user = "hand"
actuate_password_file = "/run/hand.password"
"""


def written(directory: Path, text: str) -> Path:
    """The directory, with the text as its machine file."""
    (directory / "slackwater.toml").write_text(text, "utf-8")
    return directory


def test_reads_everything(tmp_path: Path) -> None:
    """Files are placed, not read; relative names start at the configuration."""
    expected = BrokerSettings(
        host="broker.example",
        port=8883,
        site="lab",
        prefix="water/2",
        tls_ca=tmp_path / "ca.pem",
        tls_cert=Path("/etc/ssl/own.pem"),
        tls_key=tmp_path / "own.key",
        observe_user="eye",
        observe_password=tmp_path / "eye.password",
        actuate_user="hand",
        actuate_password=Path("/run/hand.password"),
    )
    assert expected == read_broker(written(tmp_path, FULL))


def test_places_secrets_in_the_credentials_directory(tmp_path: Path) -> None:
    """What a service manager handed over is read there, all else where it is named."""
    handed = tmp_path / "credentials"
    handed.mkdir()
    for name in ("own.key", "hand.password"):
        (handed / name).touch()
    broker = read_broker(written(tmp_path, FULL), handed)
    assert (
        tmp_path / "ca.pem",
        handed / "own.key",
        tmp_path / "eye.password",
        handed / "hand.password",
    ) == (
        broker.tls_ca,
        broker.tls_key,
        broker.observe_password,
        broker.actuate_password,
    )


def test_has_defaults_for_everything(tmp_path: Path) -> None:
    """A file without a word on the broker means the one on this machine."""
    expected = BrokerSettings(host="localhost", port=1883, site="home")
    assert expected == read_broker(written(tmp_path, ""))


BAD = [
    ('site = "lab"', 'site = "Lab"', 'site: found "Lab"'),
    ("port = 8883", "port = 8883.0", "[broker] port: found 8883.0"),
    ('prefix = "water/2"', 'prefix = "water/"', '[broker] prefix: found "water/"'),
    ('prefix = "water/2"', 'prefix = "a/b/c/d/e"', "[broker] prefix: found"),
    ('ca_file = "ca.pem"', "", "certificate_file is given and ca_file is not"),
    ('key_file = "own.key"', "", "certificate_file is given and key_file is not"),
    ('actuate_user = "hand"', "", "actuate_password_file is given and actuate_user"),
    ('observe_user = "eye"', 'observe_user = ""', "[broker] observe_user: found"),
    ('ca_file = "ca.pem"', 'ca_file = "ca\\u0000"', "expected one line of text"),
    ('observe_user = "eye"', 'observe_user = "a\\nb"', "expected one line of text"),
    ('host = "broker.example"', "hots = 1", 'Did you mean "host"?'),
]


@pytest.mark.parametrize(("found", "text", "expected"), BAD)
def test_refuses_a_slip(tmp_path: Path, found: str, text: str, expected: str) -> None:
    """What cannot be meant is refused before anybody connects."""
    assert found in FULL
    with pytest.raises(InputError) as caught:
        read_broker(written(tmp_path, FULL.replace(found, text)))
    assert expected in str(caught.value)


NODE = '[node.shelf]\nday_limit = "250 mL"\nlongest_run = "60 s"\n'
DIGITS = "0123456789abcdef" * 4


def test_reads_the_keys_of_nodes_that_sign(tmp_path: Path) -> None:
    """A key file holds 64 hex digits; a node without one has no key."""
    (tmp_path / "shelf.key").write_text(f"{DIGITS}\n", "ascii")
    text = NODE + 'key_file = "shelf.key"\n' + NODE.replace("shelf", "plain")
    expected = {"shelf": bytes.fromhex(DIGITS)}
    assert expected == read_node_keys(written(tmp_path, text))


@pytest.mark.parametrize("content", ["", DIGITS[1:], DIGITS + "0", "x" * 64, "\n"])
def test_refuses_a_file_that_holds_no_key(tmp_path: Path, content: str) -> None:
    """A key that is short, long or no hex is not used, and not shown."""
    (tmp_path / "shelf.key").write_text(content, "ascii")
    written(tmp_path, NODE + 'key_file = "shelf.key"\n')
    with pytest.raises(InputError, match="does not hold a key") as caught:
        read_node_keys(tmp_path)
    assert caught.value.findings[0].where == "slackwater.toml [node.shelf] key_file"
    assert DIGITS[1:] not in str(caught.value)


def test_tells_of_a_key_file_that_is_missing(tmp_path: Path) -> None:
    """A key that was named must be there."""
    written(tmp_path, NODE + 'key_file = "shelf.key"\n')
    with pytest.raises(InputError, match="cannot be read"):
        read_node_keys(tmp_path)


def test_reads_a_second_key_while_keys_are_changed(tmp_path: Path) -> None:
    """Each in a file of its own; without the line there is none."""
    (tmp_path / "shelf.key").write_text(f"{DIGITS}\n", "ascii")
    (tmp_path / "new.key").write_text(f"{DIGITS[::-1]}\n", "ascii")
    text = NODE + 'key_file = "shelf.key"\n'
    assert {} == read_node_keys(written(tmp_path, text), field=SECOND_KEY_FILE)
    folder = written(tmp_path, text + 'second_key_file = "new.key"\n')
    second = {"shelf": bytes.fromhex(DIGITS[::-1])}
    assert second == read_node_keys(folder, field=SECOND_KEY_FILE)
    assert {"shelf": bytes.fromhex(DIGITS)} == read_node_keys(folder)


def test_refuses_a_second_key_without_a_first(tmp_path: Path) -> None:
    """Commands would go out unsigned, and the node would refuse them all."""
    written(tmp_path, NODE + 'second_key_file = "new.key"\n')
    with pytest.raises(InputError, match="key_file is not"):
        read_node_keys(tmp_path, field=SECOND_KEY_FILE)
