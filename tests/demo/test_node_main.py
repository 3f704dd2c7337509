"""The file that fits a node to one board, on an invented board: its pins and switch."""

import sys
import time
from collections.abc import Callable
from pathlib import Path
from types import ModuleType, SimpleNamespace
from typing import Any

import pytest

from demo.node import board, mqtt, node

MAIN = Path(__file__).resolve().parents[2] / "demo" / "node" / "main.py"
LEAK_PIN = 18
PASSES = 12
# By steps so long the self-test is over before the last of the passes.
STEP_MS = 1_000


class Unplugged(Exception):  # noqa: N818  # no fault: the board is taken off its power
    """Ends the loop that never ends."""


class Pin:
    """A pin by its number; `levels` is what others put on inputs."""

    OUT, IN, PULL_UP = 1, 0, 2
    levels: dict[int, int] = {}  # noqa: RUF012  # set anew by each test
    pulled: set[int] = set()  # noqa: RUF012  # idem

    def __init__(self, number: int, mode: int, pull: int = 0, value: int = 0) -> None:
        self._number = number
        if mode == self.OUT:
            self.levels[number] = value
        elif pull == self.PULL_UP:
            self.pulled.add(number)

    def value(self, *level: int) -> int:
        """Set it, or read it: what nothing is joined to is pulled up."""
        if level:
            self.levels[self._number] = level[0]
        return self.levels.get(self._number, int(self._number in self.pulled))


def powered(monkeypatch: pytest.MonkeyPatch, levels: dict[int, int]) -> dict[str, Any]:
    """What stands in the file after some passes of its loop, without a network."""
    monkeypatch.setattr(Pin, "levels", dict(levels))
    monkeypatch.setattr(Pin, "pulled", set())
    idle = SimpleNamespace(init=lambda **_: None, feed=lambda: None)
    net = SimpleNamespace(
        isconnected=lambda: False, active=lambda _: None, connect=lambda *_: None
    )
    parts: dict[str, dict[str, object]] = {
        "machine": {
            "Pin": Pin,
            "Timer": lambda _: idle,
            "WDT": lambda **_: idle,
        },
        "network": {"WLAN": lambda _: net, "STA_IF": 0},
    }
    for name, members in parts.items():
        module = ModuleType(name)
        module.__dict__.update(members)
        monkeypatch.setitem(sys.modules, name, module)
    for part in (board, mqtt, node):
        monkeypatch.setitem(sys.modules, part.__name__.removeprefix("demo."), part)
    monkeypatch.setitem(sys.modules, "node", sys.modules["demo.node"])
    ticks_ms, sleep_ms = _clock()
    monkeypatch.setattr(time, "ticks_ms", ticks_ms, raising=False)
    monkeypatch.setattr(time, "sleep_ms", sleep_ms, raising=False)
    names: dict[str, Any] = {"__name__": "__main__"}
    with pytest.raises(Unplugged):
        exec(compile(MAIN.read_text("utf-8"), MAIN, "exec"), names)  # noqa: S102  # our own file
    return names


def _clock() -> tuple[Callable[[], int], Callable[[int], None]]:
    passed = [0]

    def ticks_ms() -> int:
        return passed[0] * STEP_MS

    def sleep_ms(_: int) -> None:
        passed[0] += 1
        if passed[0] > PASSES:
            raise Unplugged

    return ticks_ms, sleep_ms


@pytest.mark.parametrize(
    ("levels", "state"),
    [
        pytest.param({LEAK_PIN: 0}, "idle", id="dry, so closed to ground"),
        pytest.param({LEAK_PIN: 1}, "held", id="wet, so open"),
        pytest.param({}, "held", id="a wire that came off"),
    ],
)
def test_the_leak_switch_is_closed_when_dry(
    monkeypatch: pytest.MonkeyPatch, levels: dict[int, int], state: str
) -> None:
    """As the list of parts says: what opens it, water or a broken wire, holds."""
    here = powered(monkeypatch, levels)["node"]
    assert [state, state] == [here.state(chan) for chan in ("a", "b")]


def test_outputs_are_off_from_the_first_line_on(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """No pump runs at power-up, whatever the network does."""
    names = powered(monkeypatch, {LEAK_PIN: 0})
    assert [0, 0] == [pin.value() for pin in names["pins"].values()]
