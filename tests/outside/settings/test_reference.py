"""The reference text made from the models."""

import pytest

from slackwater.outside.settings.reference import keys, reference

ROWS = [line for line in reference().splitlines() if line.startswith("| `")]


def section(table: str) -> str:
    """The part of the reference that speaks of one table, the last file's first."""
    parts = reference().split(f"\n### {table}\n")[1:]
    return "\n".join(part.split("\n##", 1)[0] for part in parts)


@pytest.mark.parametrize(("table", "key"), keys())
def test_mentions_every_key_in_its_table(table: str, key: str) -> None:
    """No key of a model is missing from the text."""
    assert f"| `{key}` |" in section(table)


def test_has_a_row_for_each_key_and_no_more() -> None:
    """The text is the models and nothing else."""
    assert len(keys()) == len(ROWS)


@pytest.mark.parametrize("row", ROWS)
def test_says_what_each_key_is_for(row: str) -> None:
    """Each row has five cells, and the meaning is not empty."""
    cells = [cell.strip() for cell in row.strip("|").split(" | ")]
    assert len(cells) == 5
    assert cells[1]


DEFAULTS = [
    ("| `deadline` |", "8 s | 1 s to 30 s"),
    ("| `apart_gap` |", "15 min | 1 s to 1 d"),
    ("| `lateness_share` |", "25 % | 1 % to 25 %"),
    ("| `free_space` |", "200 MB | 1 MB to 1000 GB"),
    ("| `most_per_day` |", "0 mL | 0 mL to 20 L"),
    ("| `port` |", "`1883` | 1 to 65535"),
    ("| `alkalinity_rise` |", "`0.8 dKH` | 0.1 dKH to 1.5 dKH"),
    ("| `net_volume` |", "must be given | 1 L to 10000 L"),
    ("| `clock_confirmed` |", "`false` |"),
]


@pytest.mark.parametrize(("key", "expected"), DEFAULTS)
def test_tells_defaults_and_bounds(key: str, expected: str) -> None:
    """Defaults and bounds stand in the units a person writes."""
    (row,) = (row for row in ROWS if row.startswith(key))
    assert expected in row
