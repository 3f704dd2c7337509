"""Files that hold secrets, named by tables of which several are at fault."""

from pathlib import Path

import pytest

from slackwater.errors import InputError
from slackwater.outside.settings.secret_files import secret_files
from tests.outside.settings.texts import MACHINE


def test_every_table_that_names_a_file_is_told_at_once(tmp_path: Path) -> None:
    """Broker, messages and nodes, whichever of them is read first."""
    text = MACHINE.replace('host = "localhost"', 'host = ""').replace(
        'longest_run = "60 s"', 'longest_run = "60"\nkey_file = "shelf.key"'
    )
    notify = '\n[notify]\nurls_file = "urls"\nleast = "loud"\n'
    (tmp_path / "slackwater.toml").write_text(text + notify, "utf-8")
    with pytest.raises(InputError) as caught:
        secret_files(tmp_path)
    told = {one.where.partition(" ")[2] for one in caught.value.findings}
    assert {"[broker] host", "[notify] least", "[node.shelf] longest_run"} == told
