"""Reading whether the tanks announce themselves to home automation."""

from pathlib import Path

import pytest

from slackwater.errors import InputError
from slackwater.outside.settings import read_home, read_machine
from slackwater.outside.wire import HomeSettings
from tests.outside.settings.test_broker import written


def test_off_without_the_table(tmp_path: Path) -> None:
    """No table: nothing is announced, and nothing is taken away."""
    assert None is read_home(written(tmp_path, ""))


def test_an_empty_table_announces_under_the_usual_prefix(tmp_path: Path) -> None:
    """The table alone turns it on."""
    expected = HomeSettings(discovery="homeassistant", announce=True)
    assert expected == read_home(written(tmp_path, "[home]\n"))


def test_reads_everything(tmp_path: Path) -> None:
    """Another prefix, and everything taken away again."""
    text = '[home]\ndiscovery = "house/finds"\nannounce = false\n'
    expected = HomeSettings(discovery="house/finds", announce=False)
    assert expected == read_home(written(tmp_path, text))


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ('[home]\ndiscovery = "a/#"\n', "discovery"),
        ('[home]\nannounce = "yes"\n', "announce"),
        ("[home]\nprefix = 1\n", "nobody reads the key"),
        ('[home]\ndiscovery = "slackwater/1/home"\n', "begins as the daemon's own"),
        ('[home]\ndiscovery = "slackwater/1"\n', "begins as the daemon's own"),
    ],
)
def test_refuses_what_it_cannot_mean(tmp_path: Path, text: str, told: str) -> None:
    """A wrong table is refused by `check` and by the daemon alike."""
    folder = written(tmp_path, text)
    for read in (read_home, read_machine):
        with pytest.raises(InputError) as error:
            read(folder)
        assert told in str(error.value)
