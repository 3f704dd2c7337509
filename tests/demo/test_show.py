"""How the show writes commands down."""

import shlex

import pytest

from demo.show import as_typed

PATH = "/srv/a-folder-of-this-show/config/with-a-long-name"


@pytest.mark.parametrize(
    "words",
    [
        ("status",),
        ("approve", "--now", "--by", "demo", "--yes-highest-daily", "34 mL"),
        ("import", f"{PATH}/report.csv", "--sampled-at", "2026-05-03", "--by", "demo"),
        ("record", "alkalinity=8.1 dKH", "--note", 'it\'s a "test"'),
    ],
)
def test_a_command_can_be_typed_as_it_is_shown(words: tuple[str, ...]) -> None:
    """A shell reads the same words from it, and no line runs off the screen."""
    shown = as_typed(words)
    assert all(len(line) <= 80 for line in shown.split("\n"))
    typed = shown.removeprefix("$ ").replace("\\\n", "")
    assert ["slackwater", *words] == shlex.split(typed)
