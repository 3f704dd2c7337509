"""The one table: what a tank and a pump show, and what may be asked of them.

Floor 6. One subject: entities. Laws here: what leads stands first and is on; figures
people seldom look at are diagnostic and off until somebody wants them; every button
and every figure typed there asks for what the topic of requests grants anyway: it can
only make things safer, and a test told there waits to be confirmed on the machine.
Source: the keys of each platform, MQTT integration of Home Assistant (documentation of
release 2026.11: MQTT discovery, sensor, binary sensor, event, button, number).
"""

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from math import ceil, floor
from typing import Literal

from slackwater.facts.hold_groups import GROUPS
from slackwater.outside.home.templates import (
    attribute,
    event_of,
    flag,
    in_ml,
    is_word,
    shown,
    words,
)
from slackwater.water.parameters import Parameter, parameter_named
from slackwater.water.spellings import units_of, zero_of

Platform = Literal["sensor", "binary_sensor", "event", "button", "number"]
# Which topic of the tank an entity listens to, or speaks on.
Source = Literal["state", "event", "request"]

WORDS = ("live", "cut-off", "held", "shadow", "expired", "no-plan")
STAGES = ("shadow", "live")
STANDINGS = ("low", "in-band", "high", "too-old", "unknown", "no-band")
DOSE_EVENTS = (
    "dose_granted",
    "dose_shortened",
    "dose_ended",
    "dose_missed",
    "span_missed",
)
ALARM_EVENTS = ("alarm_raised", "alarm_changed")
PAUSE_MINUTES = 30
# The platform takes steps down to a thousandth.
FINEST_DECIMALS = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Entity:
    """One row: a component of a device.

    `quiet`: diagnostic and off by default. `more` are the keys of its platform.
    """

    key: str
    platform: Platform
    name: str
    source: Source = "state"
    quiet: bool = False
    more: Mapping[str, object] = field(default_factory=dict)


def _sensor(key: str, name: str, template: str, **more: object) -> Entity:
    return Entity(
        key=key,
        platform="sensor",
        name=name,
        more={"value_template": template, **more},
    )


def _quiet(entity: Entity) -> Entity:
    return Entity(
        key=entity.key,
        platform=entity.platform,
        name=entity.name,
        source=entity.source,
        quiet=True,
        more=entity.more,
    )


def _choice(key: str, name: str, options: Iterable[str], template: str) -> Entity:
    return _sensor(key, name, template, device_class="enum", options=list(options))


def _hours(key: str, name: str, path: str) -> Entity:
    return _sensor(
        key,
        name,
        shown(path, "alkalinity"),
        device_class="duration",
        unit_of_measurement="h",
        state_class="measurement",
        suggested_display_precision=0,
    )


def _dkh(key: str, name: str, *path: str) -> Entity:
    return _sensor(
        key,
        name,
        shown(*path),
        unit_of_measurement="dKH",
        state_class="measurement",
        suggested_display_precision=2,
    )


def _moment(key: str, name: str, *path: str) -> Entity:
    return _sensor(key, name, shown(*path), device_class="timestamp")


def _flag(key: str, name: str, template: str, **more: object) -> Entity:
    return Entity(
        key=key,
        platform="binary_sensor",
        name=name,
        more={"value_template": template, **more},
    )


def _events(key: str, name: str, kinds: tuple[str, ...]) -> Entity:
    return Entity(
        key=key,
        platform="event",
        name=name,
        source="event",
        more={"event_types": list(kinds), "value_template": event_of(kinds)},
    )


def _button(key: str, name: str, **more: object) -> Entity:
    return Entity(key=key, platform="button", name=name, source="request", more=more)


# What leads: one chart of these says how a tank is.
_LEADING = (
    _choice("state", "State", WORDS, shown("word")),
    _sensor("reason", "Reason", words("why")),
    _dkh("alkalinity", "Alkalinity", "alkalinity", "dkh"),
    _moment("alkalinity_at", "Alkalinity measured", "alkalinity", "at"),
    _hours("hours_to_floor", "To the floor if dosing stopped", "hours_to_floor"),
    _hours("hours_to_ceiling", "To the ceiling if uptake stopped", "hours_to_ceiling"),
    _dkh("given", "Alkalinity given in 24 h", "last_24_h", "given_dkh"),
    _dkh("planned", "Alkalinity planned in 24 h", "last_24_h", "planned_dkh"),
    _flag("problem", "Problem", flag("problem"), device_class="problem"),
    _flag("shadow", "Shadow", is_word("shadow", "stage")),
    _events("doses", "Doses", DOSE_EVENTS),
    _events("alarm_events", "Alarms", ALARM_EVENTS),
)
_ASKING = (
    _button("hold", "Hold", payload_press='{"v":1,"act":"hold","note":"dashboard"}'),
    _button(
        "pause",
        f"Pause {PAUSE_MINUTES} minutes",
        payload_press=(
            f'{{"v":1,"act":"pause","minutes":{PAUSE_MINUTES},"note":"dashboard"}}'
        ),
    ),
    _button("stop", "Stop", payload_press='{"v":1,"act":"stop","note":"dashboard"}'),
    # The dose that is shown when it is pressed, by its own name: none other is skipped
    # when the press comes late or twice.
    _button(
        "skip",
        "Skip the next dose",
        json_attributes_template=attribute("dose", "next_dose", "dose"),
        command_template='{"v":1,"act":"skip","dose":"{{ this.attributes.dose }}"}',
    ),
    _button(
        "acknowledge",
        "Acknowledge the alarm",
        json_attributes_template=attribute("alarm", "unseen"),
        command_template='{"v":1,"act":"ack","alarm":"{{ this.attributes.alarm }}"}',
    ),
)
_TANK_QUIET = (
    _moment("next_dose", "Next dose", "next_dose", "due_at"),
    _choice("stage", "Stage", STAGES, shown("stage")),
    _sensor("alarm", "Alarm", words("alarm", "text")),
    _sensor("alarms", "Alarms standing", shown("alarms"), state_class="measurement"),
    _sensor("tasks", "Tasks due", shown("tasks", "due"), state_class="measurement"),
    _sensor("task", "Next task", words("tasks", "next")),
)
_PUMP_LEADING = (
    _sensor(
        "dosed_today",
        "Dosed today",
        in_ml("pumps", "PUMP", "day_ul"),
        device_class="volume",
        unit_of_measurement="mL",
        state_class="total_increasing",
        suggested_display_precision=1,
    ),
    _sensor(
        "reservoir_days",
        "Reservoir lasts",
        shown("pumps", "PUMP", "days_left"),
        device_class="duration",
        unit_of_measurement="d",
        state_class="measurement",
        suggested_display_precision=0,
    ),
)
_PUMP_QUIET = (
    _moment("next_dose", "Next dose", "pumps", "PUMP", "next_at"),
    _sensor(
        "reservoir",
        "Left in the reservoir",
        in_ml("pumps", "PUMP", "left_ul"),
        device_class="volume_storage",
        unit_of_measurement="mL",
        state_class="measurement",
        suggested_display_precision=0,
    ),
    _flag("held", "Held", flag("pumps", "PUMP", "held"), device_class="problem"),
    _flag(
        "running", "Running", flag("pumps", "PUMP", "running"), device_class="running"
    ),
)


def of_tank(parameters: Iterable[tuple[str, str, str]]) -> Iterator[Entity]:
    """The entities of a tank; `parameters` are (id, name, unit), sorted."""
    yield from _LEADING
    yield from _ASKING
    yield from map(_quiet, _TANK_QUIET)
    for group, name in GROUPS.items():
        found = _flag(f"held_{group}", name, flag("groups", group))
        yield _quiet(found)
    for parameter, name, unit in parameters:
        yield from map(_quiet, _measured(parameter, name, unit))
        item = parameter_named(parameter, where="")
        if item.is_measured:
            yield _told(item)


def _measured(parameter: str, name: str, unit: str) -> Iterator[Entity]:
    yield _choice(
        f"standing_{parameter}",
        f"{name} stands",
        STANDINGS,
        shown("standings", parameter, "word"),
    )
    yield _sensor(
        f"uptake_{parameter}",
        f"{name} uptake a day",
        shown("uptakes", parameter, "per_day"),
        unit_of_measurement=f"{unit}/d",
        state_class="measurement",
        json_attributes_template=(
            "{{ value_json.get('uptakes', {})"
            f".get('{parameter}', {{}}) | to_json }}}}"
        ),
    )


def _told(item: Parameter) -> Entity:
    """Where a hand test is typed in; it shows what still waits to be confirmed."""
    unit = item.display_unit
    scale, zero = float(units_of(item)[unit]), float(zero_of(unit))
    name = f"{item.name[:1].upper()}{item.name[1:]} test, to be confirmed"
    return Entity(
        key=f"test_{item.id}",
        platform="number",
        name=name,
        source="request",
        quiet=True,
        more={
            "value_template": shown("entered", item.id, "value"),
            "command_template": (
                f'{{"v":1,"act":"test","parameter":"{item.id}",'
                f'"value":{{{{ value }}}},"unit":"{unit}","note":"dashboard"}}'
            ),
            "unit_of_measurement": unit,
            "mode": "box",
            "min": _rounded((item.low - zero) / scale, item, ceil),
            "max": _rounded((item.high - zero) / scale, item, floor),
            "step": 10.0 ** -min(item.decimals + 1, FINEST_DECIMALS),
        },
    )


def _rounded(number: float, item: Parameter, whole: Callable[[float], int]) -> float:
    """A bound within the plausible window, to the digits of the parameter."""
    steps = 10.0**item.decimals
    return whole(number * steps) / steps


def of_pump(pump: str) -> Iterator[Entity]:
    """The entities of a pump; `pump` is its identity."""
    for entity in (*_PUMP_LEADING, *map(_quiet, _PUMP_QUIET)):
        template = str(entity.more["value_template"]).replace("'PUMP'", f"'{pump}'")
        yield Entity(
            key=entity.key,
            platform=entity.platform,
            name=entity.name,
            source=entity.source,
            quiet=entity.quiet,
            more={**entity.more, "value_template": template},
        )
