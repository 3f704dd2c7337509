"""Each guard on inputs in a living house gives the alarm of its reason in a minute.

As in `test_roots`, with a house that has switches, a thermometer and probes of pH and
salinity; buttons that a person presses wake nobody.
"""

from collections.abc import Callable
from functools import partial
from pathlib import Path

import pytest

from slackwater.alarms.actions import ACTIONS
from slackwater.alarms.refusals import PASSING, TOLD
from slackwater.alarms.rows import ROWS
from slackwater.alarms.words import action
from slackwater.facts.alarms import AlarmRaised, Cause, Priority
from slackwater.facts.messages import (
    Reading,
    SpoiledReading,
    SpoiledSwitch,
    SwitchSeen,
)
from slackwater.facts.reasons import Code
from tests.alarms.desk import Desk, raised
from tests.alarms.manned import MINUTE_MS, Manned

SECOND_MS = 1000
CALM = {"ph": 8.2, "temperature": 25.5, "salinity": 35.0}
UNITS = {"ph": "pH", "temperature": "degC", "salinity": "PSU"}
STEPS = {"ph": 0.01, "temperature": 0.1, "salinity": 0.01}
NORMAL = {
    "return-pump": True,
    "level": False,
    "leak": False,
    "feeding": False,
    "hands": False,
    "power": False,
}


class Watched(Manned):
    """A house with every kind of input; what is in `mute` says nothing any more.

    `shows` is what each probe shows, `says` what each switch says.
    """

    shows: dict[str, float]
    says: dict[str, bool]
    mute: set[str]

    def __init__(self, folder: Path) -> None:
        """All is well."""
        self.shows, self.says, self.mute = dict(CALM), dict(NORMAL), set()
        super().__init__(folder, _machine())
        self._speak_on()

    def _speak(self) -> None:
        """Each input speaks once a minute, as sensors on a wire do."""
        at_ms, number = self.times.t_ms, self.times.t_ms // MINUTE_MS
        boot_s = self.times.now().boot_s
        for name, value in self.shows.items():
            shown = value + STEPS[name] * (number % 2)
            if name not in self.mute:
                at = self.reading(name, 8.0, at_ms).at
                self.bus.surely(
                    Reading(
                        tank="reef", probe=name, parameter=name, value=shown, at=at
                    ),
                    at_ms + 5,
                )
        for name, is_on in self.says.items():
            if name not in self.mute:
                seen = SwitchSeen(
                    tank="reef", switch=name, is_on=is_on, heard_boot_s=boot_s
                )
                self.bus.surely(seen, at_ms + 5)

    def _speak_on(self) -> None:
        self._speak()
        self.after(MINUTE_MS, self._speak_on)

    def _read(self) -> None:
        """Of the probes only that of alkalinity shows alkalinity."""
        if self.times.t_ms < self.reading_at_ms:
            return
        self.reading_at_ms = self.times.t_ms + 15 * MINUTE_MS
        self.number += 1
        shown = self.water["reef"].alkalinity_dkh + (self.number % 3 - 1) * 0.01
        self.bus.to_daemon(self.reading("kh", shown, self.times.t_ms), self.times.t_ms)

    def now(self) -> None:
        """Between two minutes, every input speaks at once."""
        self.pass_ms(20 * SECOND_MS)
        self._speak()


def _machine() -> dict[str, object]:
    probes = {
        name: {
            "tank": "reef",
            "parameter": name,
            "unit": UNITS[name],
            "period": "1 min",
            "resolution": f"{STEPS[name]} {UNITS[name]}",
        }
        for name in CALM
    }
    switches: dict[str, dict[str, str]] = {
        name: {"tank": "reef", "role": name, "period": "1 min", "grace": "1 min"}
        for name in NORMAL
    }
    switches["power"]["pump"] = "carbonate"
    return {"probe": probes, "switch": switches}


Strike = Callable[[Watched], None]


def wrong(name: str) -> Strike:
    """A switch says what it should not."""

    def strike(house: Watched) -> None:
        house.says[name] = not NORMAL[name]
        house.now()

    return strike


def shows(name: str, value: float) -> Strike:
    """A probe shows another value."""

    def strike(house: Watched) -> None:
        house.shows[name] = value
        house.now()

    return strike


def silent(name: str, after_ms: int) -> Strike:
    """An input says nothing any more, and its time is just up."""

    def strike(house: Watched) -> None:
        house.mute.add(name)
        house.pass_ms(after_ms)

    return strike


def refused(house: Watched) -> None:
    """The thermometer changes its unit."""
    house.mute.add("temperature")
    spoiled = SpoiledReading(tank="reef", probe="temperature", why="unit changed")
    house.bus.surely(spoiled, house.times.t_ms + 5)


# A switch is silent after twice its period and its grace, a probe after two periods.
SILENT_MS, STALE_MS = 3 * MINUTE_MS, 2 * MINUTE_MS
STRIKES: list[tuple[Code, Priority, Strike]] = [
    (Code.RETURN_OFF, "soon", wrong("return-pump")),
    (Code.RETURN_UNKNOWN, "soon", silent("return-pump", SILENT_MS)),
    (Code.LEVEL_WRONG, "soon", wrong("level")),
    (Code.LEAK, "soon", wrong("leak")),
    (Code.POWER_AT_REST, "soon", wrong("power")),
    (Code.SWITCH_UNKNOWN, "note", silent("level", SILENT_MS)),
    (Code.PH_HIGH, "soon", shows("ph", 8.65)),
    (Code.TEMPERATURE_FAR, "soon", shows("temperature", 33.0)),
    (Code.SALINITY_FAR, "soon", shows("salinity", 31.0)),
    (Code.PROBE_STALE, "note", silent("temperature", STALE_MS)),
    (Code.PROBE_REFUSED, "note", refused),
]


@pytest.mark.parametrize(
    ("code", "priority", "strike"), STRIKES, ids=[str(row[0]) for row in STRIKES]
)
def test_h63_a_guard_on_inputs_gives_its_one_alarm_within_a_minute(
    code: Code, priority: Priority, strike: Strike, tmp_path: Path
) -> None:
    """By its reason, with an action of its own; ten minutes later still that one."""
    house = Watched(tmp_path)
    house.settle()
    assert [] == house.raised()
    strike(house)
    struck_ms = house.times.t_ms
    house.pass_ms(10 * MINUTE_MS)
    (told,) = house.alarms()
    assert isinstance(told.event, AlarmRaised)
    assert (f"held.{code}", priority) == (told.event.alarm, told.event.priority)
    assert struck_ms + MINUTE_MS >= told.t_ms
    assert ACTIONS[code] == action(told.event)
    assert f"Do: {ACTIONS[code]}" in house.letters.sent[-1][1]


def babbles(house: Watched, name: str) -> None:
    """A switch sends words that nobody configured, once a minute."""
    house.mute.add(name)
    spoiled = SpoiledSwitch(tank="reef", switch=name, why="form")
    house.bus.surely(spoiled, house.times.t_ms + 5)
    house.after(MINUTE_MS, partial(babbles, house, name))


@pytest.mark.parametrize("name", ["level", "return-pump", "power"])
def test_h53_h63_a_switch_that_talks_nonsense_is_one_alarm_by_its_name(
    name: str, tmp_path: Path
) -> None:
    """Within a minute, and still that one when it counts as silent too."""
    house = Watched(tmp_path)
    house.settle()
    babbles(house, name)
    struck_ms = house.times.t_ms
    house.pass_ms(MINUTE_MS)
    assert [f"input-spoiled.{name}"] == house.raised()
    assert struck_ms + MINUTE_MS >= house.alarms()[0].t_ms
    house.pass_ms(9 * MINUTE_MS)
    assert {f"input-spoiled.{name}"} == set(house.raised())


@pytest.mark.parametrize("name", ["feeding", "hands"])
def test_a_button_that_a_person_presses_wakes_nobody(name: str, tmp_path: Path) -> None:
    """He stands beside it; the hold is there all the same, and an hour later told."""
    house = Watched(tmp_path)
    house.settle()
    wrong(name)(house)
    house.pass_ms(59 * MINUTE_MS)
    assert [] == house.raised()
    assert [f"{name}/{name}"] == list(house.state.holds)
    house.pass_ms(2 * MINUTE_MS)
    (hold,) = house.state.holds.values()
    assert [f"held.{hold.reason.code}"] == house.raised()


def test_every_reason_of_a_guard_on_inputs_has_an_action_of_its_own() -> None:
    """Whatever `held` is told for; the rest have a row, or pass."""
    needed = {
        code
        for code in Code
        if str(code).startswith(("ph-", "temperature-", "salinity-", "probe"))
        or code in (Code.LEAK, Code.RETURN_OFF, Code.RETURN_UNKNOWN, Code.AIR_OFF)
    }
    assert set() == needed - ACTIONS.keys()
    assert set() == ACTIONS.keys() & (TOLD | PASSING)
    assert all(text.endswith(".") for text in ACTIONS.values())


def test_a_reason_nobody_thought_of_sends_to_why() -> None:
    """The action of the row `held` stands in."""
    desk = Desk()
    desk.hold("pump/carbonate", Code.CAP_NET)
    (told,) = raised(desk.look_on(20))
    assert ROWS[Cause.HELD].action == action(told)
