"""What the installer hands to the service: made once, closed, and named, never shown.

Source of the form: systemd.exec(5), LoadCredential=NAME:PATH.
"""

import re
from pathlib import Path

import pytest

from slackwater.cli.hand_over import NAME, hand_over, main
from slackwater.errors import InputError
from slackwater.outside.settings import read_node_keys
from slackwater.outside.settings.secret_files import secret_files
from tests.cli.run_program import SMALLEST, changed

PLACE = Path("/etc/slackwater")
BROKER = """[broker]
observe_user = "slackwater-observe"
observe_password_file = "observe.password"
actuate_user = "slackwater-actuate"
actuate_password_file = "actuate.password"
"""
NODE = '[node.shelf]\nkey_file = "shelf.key"\n'
NOTIFY = '[notify]\nurls_file = "notify.urls"\n[broker]'


def configured(folder: Path, *pairs: tuple[str, str]) -> Path:
    """The smallest sample with some texts in place of others."""
    config = changed(folder / "config", SMALLEST)
    file = config / "slackwater.toml"
    text = file.read_text("utf-8")
    for old, new in pairs:
        assert old in text
        text = text.replace(old, new, 1)
    file.write_text(text, "utf-8")
    return config


@pytest.fixture
def config(tmp_path: Path) -> Path:
    """Two passwords of the broker, and a key of the node."""
    return configured(tmp_path, ("[broker]\n", BROKER), ("[node.shelf]\n", NODE))


def mode(path: Path) -> int:
    """Who may do what with a file."""
    return path.stat().st_mode & 0o777


def test_what_is_missing_is_made_and_closed(config: Path, tmp_path: Path) -> None:
    """Each differs, is a whole key, and is for its owner alone; nothing shows it."""
    told = hand_over(config, tmp_path / "unit.d", PLACE)
    files = [config / name for name in ("observe.password", "actuate.password")]
    contents = [path.read_text("ascii") for path in (*files, config / "shelf.key")]
    assert 3 == len(set(contents))
    assert all(re.fullmatch(r"[0-9a-f]{64}\n", text) for text in contents)
    assert {0o600} == {mode(path) for path in (*files, config / "shelf.key")}
    assert 32 == len(read_node_keys(config)["shelf"])
    shown = "".join(told) + (tmp_path / "unit.d" / NAME).read_text("utf-8")
    assert not any(text.strip() in shown for text in contents)


def test_the_word_for_commands_is_not_handed_over(config: Path, tmp_path: Path) -> None:
    """The rest is, from where the service finds the files; that one waits."""
    hand_over(config, tmp_path / "unit.d", PLACE)
    text = (tmp_path / "unit.d" / NAME).read_text("utf-8")
    assert [
        "LoadCredential=observe.password:/etc/slackwater/observe.password",
        "LoadCredential=shelf.key:/etc/slackwater/shelf.key",
    ] == [line for line in text.splitlines() if "LoadCredential" in line]


def test_what_is_there_is_kept_and_closed(config: Path, tmp_path: Path) -> None:
    """A second run makes nothing; a file that others could read is closed."""
    hand_over(config, tmp_path / "unit.d", PLACE)
    before = (config / "shelf.key").read_bytes()
    (config / "shelf.key").chmod(0o644)
    assert () == hand_over(config, tmp_path / "unit.d", PLACE)
    assert (before, 0o600) == (
        (config / "shelf.key").read_bytes(),
        mode(config / "shelf.key"),
    )


def test_without_secrets_the_drop_in_hands_nothing_over(tmp_path: Path) -> None:
    """The smallest sample asks for no password."""
    config = configured(tmp_path)
    assert () == secret_files(config)
    assert () == hand_over(config, tmp_path / "unit.d", PLACE)
    assert "LoadCredential" not in (tmp_path / "unit.d" / NAME).read_text("utf-8")


def test_what_only_others_can_make_must_be_there(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Addresses of messages: one error, and neither a file nor a drop-in."""
    config = configured(tmp_path, ("[broker]\n", NOTIFY + "\n"))
    words = [str(config), str(tmp_path / "unit.d"), str(PLACE)]
    assert 2 == main(words)
    said = capsys.readouterr()
    assert "notify.urls is not there" in said.err
    assert "Traceback" not in said.err
    assert not (tmp_path / "unit.d").exists()
    (config / "notify.urls").write_text("json://127.0.0.1/\n", "utf-8")
    assert 0 == main(words)
    text = (tmp_path / "unit.d" / NAME).read_text("utf-8")
    assert "LoadCredential=notify.urls:/etc/slackwater/notify.urls" in text


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("shelf.key", "keys/observe.password", "has the same name as that of"),
        ("shelf.key", "50%.key", "is called '50%.key'"),
        ("shelf.key", "a:b", "is called 'a:b'"),
    ],
)
def test_a_name_that_cannot_be_handed_over_is_refused(
    config: Path, tmp_path: Path, old: str, new: str, said: str
) -> None:
    """All lie in one folder there, and a unit file reads some letters otherwise."""
    file = config / "slackwater.toml"
    file.write_text(file.read_text("utf-8").replace(old, new), "utf-8")
    with pytest.raises(InputError, match=said):
        hand_over(config, tmp_path / "unit.d", PLACE)
    assert not (config / "observe.password").exists()


def test_a_folder_that_is_none_is_told(config: Path, tmp_path: Path) -> None:
    """No drop-in, one error that says who may."""
    (tmp_path / "file").touch()
    assert 2 == main([str(config), str(tmp_path / "file"), str(PLACE)])


def test_a_secret_that_cannot_be_made_is_told(config: Path, tmp_path: Path) -> None:
    """Its folder is not there."""
    file = config / "slackwater.toml"
    text = file.read_text("utf-8").replace("shelf.key", "keys/shelf.key")
    file.write_text(text, "utf-8")
    with pytest.raises(InputError, match="cannot be made"):
        hand_over(config, tmp_path / "unit.d", PLACE)
    assert not (tmp_path / "unit.d").exists()
