"""The file of an invented reef: the sample, and refusals that name the field."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from demo.reef.reef import SAMPLE
from demo.reef.reef_file import read_key, read_reef
from demo.reef.rim import ReefError, write_whole

Change = Callable[[dict[str, Any]], object]


def _changed(tmp_path: Path, change: Change) -> Path:
    """The sample with one change, as a file."""
    reef = json.loads(SAMPLE.read_bytes())
    change(reef)
    path = tmp_path / "reef.json"
    path.write_text(json.dumps(reef))
    return path


def test_the_sample_says_that_it_is_invented() -> None:
    """Whoever opens the sample reads it first."""
    first = next(iter(json.loads(SAMPLE.read_bytes()).values()))
    assert first.startswith("An invented reef")


def test_the_sample_s_day_limit_covers_a_dose_within_an_hour_of_power_up() -> None:
    """One 24th of each day limit is at least the largest single dose."""
    for channel in read_reef(SAMPLE).channels():
        assert channel.day_ul // 24 >= channel.max_ul


def test_the_sample_s_stocks_are_of_one_strength() -> None:
    """A matched pair of stocks: 1.887 meq/mL soda, 37.8 mg/mL calcium.

    Source: stoichiometry, 20.039 mg of calcium for each meq: 37.81 mg/mL.
    """
    carbonate, calcium = read_reef(SAMPLE).channels()
    wanted = carbonate.alkalinity_meq_per_ml * 40.078 / 2
    assert round(calcium.calcium_mg_per_ml, 1) == round(wanted, 1)


def test_builds_the_water_of_the_file() -> None:
    """Tanks and hoses carry the file's figures."""
    water = read_reef(SAMPLE).water()
    assert water.tanks["reef"].litres == 200.0
    assert water.hoses["calcium"].rate_ul_per_s == 504.0
    assert water.delivered_ul == {"carbonate": 0.0, "calcium": 0.0}


def _shelf(reef: dict[str, Any]) -> dict[str, Any]:
    shelf: dict[str, Any] = reef["nodes"]["shelf"]
    return shelf


@pytest.mark.parametrize(
    ("change", "field"),
    [
        (lambda reef: reef.pop("invented"), "invented"),
        (lambda reef: reef.update(site="Home"), "site"),
        (lambda reef: reef.update(extra=1), "extra"),
        (lambda reef: reef["tanks"].clear(), "tanks"),
        (lambda reef: reef["tanks"]["reef"].update(litres=0), "tanks.reef.litres"),
        (
            lambda reef: reef["tanks"]["reef"].update(uptake_at_dkh=3.0),
            "tanks.reef.uptake_at_dkh",
        ),
        (
            lambda reef: reef["tanks"]["reef"].update(litres="200"),
            "tanks.reef.litres",
        ),
        (lambda reef: _shelf(reef)["channels"].clear(), "nodes.shelf.channels"),
        (
            lambda reef: _shelf(reef)["channels"]["a"].update(max_ul=1.5),
            "nodes.shelf.channels.a.max_ul",
        ),
        (
            lambda reef: _shelf(reef)["channels"]["a"].update(pump="calcium"),
            "the whole: Value error, two channels carry the same pump",
        ),
        (
            lambda reef: _shelf(reef)["channels"]["a"].update(tank="pond"),
            "the whole: Value error, there is no tank 'pond'",
        ),
        (
            lambda reef: reef["probes"]["alk"].update(tank="pond"),
            "the whole: Value error, there is no tank 'pond'",
        ),
    ],
)
def test_a_wrong_value_is_refused_by_name(
    tmp_path: Path, change: Change, field: str
) -> None:
    """One line: file, field, what was expected, what to do."""
    path = _changed(tmp_path, change)
    with pytest.raises(ReefError) as refused:
        read_reef(path)
    assert str(refused.value).startswith(f"{path}: {field}")
    assert "expected" in str(refused.value)


def test_a_missing_file_is_named(tmp_path: Path) -> None:
    """No file, no reef."""
    with pytest.raises(ReefError, match=r"none\.json: No such file"):
        read_reef(tmp_path / "none.json")


def test_a_huge_file_is_not_read(tmp_path: Path) -> None:
    """Beyond a megabyte it is no reef."""
    path = tmp_path / "huge.json"
    path.write_bytes(b" " * 1_000_001)
    with pytest.raises(ReefError, match="1000001 bytes"):
        read_reef(path)


def test_a_key_stands_beside_the_reef(tmp_path: Path) -> None:
    """64 hex digits in a file; none named, none used."""
    path = _changed(tmp_path, lambda reef: _shelf(reef).update(key_file="shelf.key"))
    (tmp_path / "shelf.key").write_text(bytes(range(32)).hex() + "\n")
    node = read_reef(path).nodes["shelf"]
    assert read_key(path, node) == bytes(range(32))
    assert read_key(SAMPLE, read_reef(SAMPLE).nodes["shelf"]) == b""


@pytest.mark.parametrize("content", [b"", b"00", b"zz" * 32, b"\xff" * 64])
def test_what_is_no_key_is_refused(tmp_path: Path, content: bytes) -> None:
    """A short, odd or unreadable key is one error."""
    path = _changed(tmp_path, lambda reef: _shelf(reef).update(key_file="shelf.key"))
    (tmp_path / "shelf.key").write_bytes(content)
    with pytest.raises(ReefError, match="no key in it"):
        read_key(path, read_reef(path).nodes["shelf"])


def test_a_file_is_replaced_whole(tmp_path: Path) -> None:
    """After writing there is the new file and no draft."""
    path = tmp_path / "account.json"
    write_whole(path, {"a": 1})
    write_whole(path, {"a": 2})
    assert json.loads(path.read_bytes()) == {"a": 2}
    assert list(tmp_path.iterdir()) == [path]


def test_a_folder_that_is_not_there_is_one_error(tmp_path: Path) -> None:
    """Nowhere to write is said at once."""
    with pytest.raises(ReefError, match="No such file or directory"):
        write_whole(tmp_path / "none" / "account.json", {})
