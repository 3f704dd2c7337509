"""Devices for home automation, against the documented rules of their form.

Source of the rules: MQTT discovery of Home Assistant in the device-based form, and its
platforms sensor, binary sensor, event, button, number (documentation of release
2026.11, noted by hand). `platform_judge.py` beside this file asks the platform's own
schemas.
"""

import json
import re
from dataclasses import replace

import pytest
from jsonschema import Draft202012Validator

from slackwater.errors import InputError
from slackwater.facts.hold_groups import GROUPS, group_of
from slackwater.facts.reasons import Code
from slackwater.outside.broker.credentials import Access
from slackwater.outside.home import devices
from slackwater.outside.settings import read_machine
from slackwater.outside.wire import (
    BrokerSettings,
    Foreign,
    HomeSettings,
    RequestPayload,
    Root,
    Spoiled,
    read_strictly,
    schemas,
)
from slackwater.outside.wire.tested import Told, told_test
from tests.outside.home.samples import CONFIG, DOCUMENT, EVENT, of_samples
from tests.outside.home.shown import missing_figures, paths

TEXT = {"type": "string", "minLength": 1}
COMMON = {
    "unique_id": TEXT,
    "name": TEXT,
    "qos": {"enum": [0, 1, 2]},
    "entity_category": {"enum": ["diagnostic"]},
    "enabled_by_default": {"type": "boolean"},
    "json_attributes_topic": TEXT,
    "json_attributes_template": TEXT,
}
# Each device class with the units it takes.
UNITS: dict[str | None, set[str | None]] = {
    "duration": {"d", "h", "min", "s", "ms"},
    "volume": {"L", "mL", "m³"},
    "volume_storage": {"L", "mL", "m³"},
    "timestamp": {None},
    "enum": {None},
    None: {None, "dKH", "dKH/d", "mg/L/d", "ug/L/d", "mmol/L/d", "PSU/d"},
}
SENSOR = {
    "platform": {"const": "sensor"},
    "state_topic": TEXT,
    "value_template": TEXT,
    "device_class": {"enum": [one for one in UNITS if one]},
    "unit_of_measurement": TEXT,
    "state_class": {"enum": ["measurement", "total", "total_increasing"]},
    "suggested_display_precision": {"type": "integer", "minimum": 0},
    "options": {"type": "array", "items": TEXT, "minItems": 1, "uniqueItems": True},
}
BINARY = {
    "platform": {"const": "binary_sensor"},
    "state_topic": TEXT,
    "value_template": TEXT,
    "device_class": {"enum": ["problem", "running", "connectivity"]},
}
EVENTS = {
    "platform": {"const": "event"},
    "state_topic": TEXT,
    "value_template": TEXT,
    "event_types": {"type": "array", "items": TEXT, "minItems": 1},
}
NUMBER = {
    "platform": {"const": "number"},
    "command_topic": TEXT,
    "command_template": TEXT,
    "state_topic": TEXT,
    "value_template": TEXT,
    "unit_of_measurement": TEXT,
    "mode": {"enum": ["auto", "box", "slider"]},
    "min": {"type": "number"},
    "max": {"type": "number"},
    "step": {"type": "number", "minimum": 0.001},
}
BUTTON = {
    "platform": {"const": "button"},
    "command_topic": TEXT,
    "command_template": TEXT,
    "payload_press": TEXT,
}


def _part(keys: dict[str, object], *required: str) -> dict[str, object]:
    return {
        "type": "object",
        "properties": {**COMMON, **keys},
        "required": ["platform", "unique_id", "name", *required],
        "additionalProperties": False,
    }


PART = {
    "oneOf": [
        _part(SENSOR, "state_topic"),
        _part(BINARY, "state_topic"),
        _part(EVENTS, "state_topic", "event_types"),
        _part(BUTTON, "command_topic"),
        _part(NUMBER, "command_topic"),
        # What has only its platform takes the entity away.
        {
            "type": "object",
            "properties": {"platform": {"enum": ["sensor", "button"]}},
            "required": ["platform"],
            "additionalProperties": False,
        },
    ]
}
DEVICE = {
    "type": "object",
    "properties": {
        "device": {
            "type": "object",
            "properties": {
                "identifiers": {"type": "array", "items": TEXT, "minItems": 1},
                **dict.fromkeys(("name", "manufacturer", "model", "model_id"), TEXT),
                "sw_version": TEXT,
                "via_device": TEXT,
            },
            "required": ["identifiers", "name"],
            "additionalProperties": False,
        },
        "origin": {
            "type": "object",
            "properties": {"name": TEXT, "sw_version": TEXT, "support_url": TEXT},
            "required": ["name"],
            "additionalProperties": False,
        },
        "availability": {
            "type": "array",
            "items": {
                "type": "object",
                "properties": {
                    "topic": TEXT,
                    "value_template": TEXT,
                    "payload_available": TEXT,
                    "payload_not_available": TEXT,
                },
                "required": ["topic"],
                "additionalProperties": False,
            },
        },
        "availability_mode": {"enum": ["all", "any", "latest"]},
        "components": {
            "type": "object",
            "propertyNames": {"pattern": "^[a-zA-Z0-9_-]+$"},
            "additionalProperties": PART,
        },
    },
    "required": ["device", "origin", "components"],
    "additionalProperties": False,
}
TOPIC = re.compile(r"homeassistant/device/[a-zA-Z0-9_-]+/config")
DEVICES = of_samples()
PLAIN = {
    topic: json.loads(one.payload({"former": "sensor"}))
    for topic, one in DEVICES.items()
}
PARTS = [
    (f"{topic} {name}", part)
    for topic, plain in PLAIN.items()
    for name, part in plain["components"].items()
    if name != "former"
]


def test_every_message_has_the_documented_form() -> None:
    """No key too many, none missing, for every device of every sample."""
    judge = Draft202012Validator(DEVICE)
    wrong = {
        topic: [e.message for e in judge.iter_errors(PLAIN[topic])] for topic in PLAIN
    }
    assert {topic: [] for topic in PLAIN} == wrong
    assert [] == [topic for topic in PLAIN if not TOPIC.fullmatch(topic)]


def test_the_form_would_refuse_a_wrong_key() -> None:
    """A schema that lets everything through shows nothing."""
    judge = Draft202012Validator(DEVICE)
    wrong = json.loads(json.dumps(next(iter(PLAIN.values()))))
    wrong["components"]["state"]["object_id"] = "old"
    assert not judge.is_valid(wrong)


def test_each_unit_is_one_its_class_takes() -> None:
    """`ml` and a unit beside a timestamp are refused by the platform."""
    wrong = [
        where
        for where, part in PARTS
        if part["platform"] == "sensor"
        and part.get("unit_of_measurement") not in UNITS[part.get("device_class")]
    ]
    assert [] == wrong


def test_no_two_entities_share_an_identity() -> None:
    """Also of tanks and pumps of the same name, over all sites."""
    names = [part["unique_id"] for _, part in PARTS]
    assert len(names) == len(set(names))


def test_every_pump_stands_behind_its_tank() -> None:
    """What a pump names as the way to it is a device that is announced."""
    tanks = {plain["device"]["identifiers"][0] for plain in PLAIN.values()}
    ways = [plain["device"].get("via_device") for plain in PLAIN.values()]
    assert {way for way in ways if way} <= tanks
    assert sum(way is None for way in ways) == sum("_tank_" in topic for topic in PLAIN)


def test_what_leads_is_on_and_the_rest_is_off() -> None:
    """Of a tank twelve figures and five buttons are on; the rest waits to be wanted."""
    parts = PLAIN["homeassistant/device/slackwater_smallest_tank_reef/config"]
    shown = [name for name, one in parts["components"].items() if len(one) > 1]
    on = [
        name
        for name in shown
        if parts["components"][name].get("enabled_by_default", True)
    ]
    assert ["state", "reason", "alkalinity"] == on[:3]
    assert 12 + 5 == len(on)
    assert len(shown) - len(on) >= 12


def test_every_template_finds_its_figure() -> None:
    """Each path of a template is one that the published document has by its schema."""
    known = schemas()["tank-state"]
    fields = known["properties"]
    assert isinstance(fields, dict)
    read = {path for _, part in PARTS for path in paths(part)}
    assert {path[0] for path in read} <= fields.keys()
    assert Draft202012Validator(known).is_valid(DOCUMENT)
    assert Draft202012Validator(schemas()["event"]).is_valid(EVENT)


def test_a_figure_that_is_missing_is_named() -> None:
    """The reading of templates in these tests sees a document without its figures."""
    payloads = {topic: json.dumps(plain).encode() for topic, plain in PLAIN.items()}
    assert missing_figures(payloads, {})


def pressed(part: dict[str, str]) -> bytes:
    """What a button sends, its template filled from the sample document."""
    text = part.get("command_template", part.get("payload_press", ""))
    text = text.replace("{{ this.attributes.dose }}", "reef/carbonate@2026-05-03#07")
    text = text.replace("{{ value }}", str(part.get("max", "")))
    return text.replace("{{ this.attributes.alarm }}", "manual-hold.all").encode()


def test_i6_buttons_ask_for_nothing_but_what_makes_it_safer() -> None:
    """Each press is a request of the contract; no other topic is ever written to."""
    acts = set()
    for where, part in PARTS:
        if "command_topic" not in part:
            continue
        read = read_strictly(pressed(part), RequestPayload)
        assert not isinstance(read, Spoiled), where
        acts.add(read.model.act)
        assert re.fullmatch(
            r"slackwater/1/[a-z0-9-]+/tank/[a-z0-9-]+/request", part["command_topic"]
        )
    assert {"hold", "pause", "stop", "skip", "ack", "test"} == acts


def test_each_figure_typed_in_is_read_from_end_to_end_of_its_box() -> None:
    """The bounds, unit and parameter of a box are those the daemon takes."""
    boxes = [part for _, part in PARTS if part["platform"] == "number"]
    for part in boxes:
        for bound in ("min", "max"):
            text = part["command_template"].replace("{{ value }}", str(part[bound]))
            read = read_strictly(text.encode(), RequestPayload)
            assert not isinstance(read, Spoiled)
            told = told_test(read.model)
            assert isinstance(told, Told), part["unique_id"]
            assert part["unique_id"].endswith(f"test_{told.parameter}")
    assert {"dKH", "mg/L"} <= {part["unit_of_measurement"] for part in boxes}


def test_a_press_with_nothing_to_skip_is_no_request() -> None:
    """Where no dose is shown the platform writes None, which no dose is called."""
    skip = next(part for where, part in PARTS if where.endswith(" skip"))
    text = skip["command_template"].replace("{{ this.attributes.dose }}", "None")
    assert isinstance(read_strictly(text.encode(), RequestPayload), Spoiled)


def test_a_new_name_changes_no_identity() -> None:
    """What hangs on an entity stays: charts, automations, its place on a page."""
    machine = read_machine(CONFIG / "smallest")
    root = Root(site="home")
    tanks = {name: replace(one, name="Other") for name, one in machine.tanks.items()}
    before = devices(root, machine)
    after = devices(root, replace(machine, tanks=tanks))
    assert [one.id for one in before] == [one.id for one in after]
    assert [one.content["components"] for one in before] == [
        one.content["components"] for one in after
    ]


def test_a_part_that_is_gone_is_ended_and_one_that_came_back_is_whole() -> None:
    """Only its platform is left of what was; what is there now is never ended."""
    device = next(iter(DEVICES.values()))
    parts = json.loads(device.payload({"former": "button", "state": "sensor"}))
    assert {"platform": "button"} == parts["components"]["former"]
    assert len(parts["components"]["state"]) > 1


def test_every_reason_has_a_group_and_every_group_a_reason() -> None:
    """No hold is without a place to look."""
    assert GROUPS.keys() == {group_of(code) for code in Code}


@pytest.mark.parametrize(
    ("topic", "allowed"),
    [
        ("homeassistant/device/slackwater_reef_tank_display/config", True),
        ("homeassistant/device/slackwater_other_tank_display/config", False),
        ("homeassistant/device/slackwater_reef_tank_a/b/config", False),
        ("homeassistant/device/slackwater_reef_tank_#/config", False),
        ("homeassistant/device/lamp/config", False),
        ("slackwater/1/reef/node/left/command", False),
    ],
)
@pytest.mark.parametrize("home", [HomeSettings(), None])
def test_only_devices_of_this_site_are_announced(
    home: HomeSettings | None, topic: str, *, allowed: bool
) -> None:
    """With the table; without it the connection may not announce at all."""
    access = Access(
        name="observe",
        settings=BrokerSettings(host="h", port=1, site="reef", home=home),
        user="",
        password=None,
        may_publish=frozenset(),
        announces=home is not None,
    )
    if allowed and home is not None:
        access.check(Foreign(topic))
        return
    with pytest.raises(InputError):
        access.check(Foreign(topic))
