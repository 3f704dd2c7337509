"""Reading where alarms are sent."""

from pathlib import Path

import pytest

from slackwater.errors import InputError
from slackwater.outside.settings import read_machine, read_notify
from slackwater.outside.wire import NotifySettings
from tests.outside.settings.test_broker import written
from tests.outside.settings.texts import MACHINE

FULL = """
[notify]
urls_file = "house.urls"
least = "urgent"
summary_at = "18:30"
"""


def test_reads_everything(tmp_path: Path) -> None:
    """The file is placed, not read; it need not even be there."""
    expected = NotifySettings(
        urls=tmp_path / "house.urls", least="urgent", summary_at_utc=(18, 30)
    )
    assert expected == read_notify(written(tmp_path, FULL))


def test_places_the_addresses_with_the_other_secrets(tmp_path: Path) -> None:
    """Where a service manager handed the file over, it is read there."""
    handed = tmp_path / "credentials"
    handed.mkdir()
    (handed / "house.urls").touch()
    found = read_notify(written(tmp_path, FULL), handed)
    assert found is not None
    assert handed / "house.urls" == found.urls


def test_without_the_table_nothing_is_sent(tmp_path: Path) -> None:
    """An empty table is another thing: it lacks its file."""
    assert None is read_notify(written(tmp_path, ""))
    with pytest.raises(InputError, match="urls_file"):
        read_notify(written(tmp_path, "[notify]\n"))


@pytest.mark.parametrize(
    ("found", "text", "message"),
    [
        ('"house.urls"', '""', "urls_file"),
        ('"house.urls"', "3", "urls_file: found 3"),
        ('"urgent"', '"loud"', 'least: found "loud"'),
        ('"18:30"', '"25:00"', 'summary_at: found "25:00"'),
        ('"18:30"', '"6:00"', 'summary_at: found "6:00"'),
        ("least", "lest", 'Did you mean "least"?'),
    ],
)
def test_refuses_what_it_cannot_use(
    tmp_path: Path, found: str, text: str, message: str
) -> None:
    """Told with table and key, by the machine's own reading as well."""
    broken = FULL.replace(found, text)
    with pytest.raises(InputError) as caught:
        read_notify(written(tmp_path, broken))
    assert message in str(caught.value)
    with pytest.raises(InputError) as caught:
        read_machine(written(tmp_path, MACHINE + broken))
    assert message in str(caught.value)


def test_what_is_sent_is_no_part_of_the_machine(tmp_path: Path) -> None:
    """An approval does not depend on where messages go."""
    plain = read_machine(written(tmp_path, MACHINE))
    assert plain == read_machine(written(tmp_path, MACHINE + FULL))
