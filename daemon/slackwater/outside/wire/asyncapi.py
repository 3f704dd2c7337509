"""The wire as one AsyncAPI document, made from the models.

Floor 6. One subject: topics, payloads and who sends what, for other people's tools.
Laws here: a schema is never written by hand; the document says what the daemon does,
so a node does the opposite: it receives what is sent here and sends what is received.
Source: AsyncAPI Specification 3.0.0; MQTT bindings 0.2.0.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from slackwater import __version__
from slackwater.outside.wire.schemas import models
from slackwater.outside.wire.topics import PREFIX, Kind, address

_WHERE = "#/components/schemas/{model}"
_IDENTITY = "^[a-z0-9-]{1,32}$"


@dataclass(frozen=True, slots=True)
class Line:
    """Who speaks on one kind of topic, and how."""

    action: Literal["send", "receive"]
    qos: int
    summary: str


_LINES: Mapping[Kind, Line] = {
    Kind.COMMAND: Line("send", 0, "run, stop or identify, to one node"),
    Kind.BEAT: Line("receive", 0, "a node's sign of life, every 5 s"),
    Kind.RESULT: Line("receive", 1, "what a node says about one command"),
    Kind.HOLD: Line("receive", 1, "present: the node refuses and stops"),
    Kind.READING: Line("receive", 0, "one value of one probe"),
    Kind.INPUT: Line("receive", 0, "one switch"),
    Kind.REQUEST: Line("receive", 1, "asks for what makes things safer"),
    Kind.TANK_STATE: Line("send", 1, "one tank as the daemon sees it"),
    Kind.EVENT: Line("send", 1, "one thing worth telling"),
    Kind.DAEMON_STATE: Line("send", 1, "here, or gone"),
    Kind.ALARM: Line("send", 1, "one alarm; an empty payload ends it"),
    Kind.ECHO: Line("send", 1, "the daemon's proof of its own way in"),
}
_RETAINED = {Kind.HOLD, Kind.TANK_STATE, Kind.DAEMON_STATE, Kind.ALARM}
_PLACES = {
    "prefix": (f"begin of every topic, {PREFIX} unless configured", None),
    "site": ("the house", _IDENTITY),
    "owner": ("the node or tank, or the cause of an alarm", _IDENTITY),
    "item": ("the probe or switch, or what an alarm is about", _IDENTITY),
}


def asyncapi() -> dict[str, object]:
    """The whole document; equal for equal versions of the program."""
    parts: dict[str, object] = {}
    for kind, model in models().items():
        schema = model.model_json_schema(ref_template=_WHERE)
        for name, part in schema.pop("$defs", {}).items():
            parts[name] = _plain(part)
        parts[_name(kind)] = _plain(schema)
    return {
        "asyncapi": "3.0.0",
        "info": {
            "title": "Slackwater",
            "version": __version__,
            "description": " ".join((__doc__ or "").split("\n\n")[1].split()),
            "license": {"name": "Apache-2.0"},
        },
        "defaultContentType": "application/json",
        "channels": {_name(kind): _channel(kind) for kind in _LINES},
        "operations": {_name(kind): _operation(kind) for kind in _LINES},
        "components": {
            "messages": {
                _name(kind): {
                    "name": _name(kind),
                    "summary": line.summary,
                    "payload": {"$ref": f"#/components/schemas/{_name(kind)}"},
                }
                for kind, line in _LINES.items()
            },
            "schemas": parts,
        },
    }


def _channel(kind: Kind) -> dict[str, object]:
    where = address(kind)
    return {
        "address": where,
        "messages": {_name(kind): {"$ref": f"#/components/messages/{_name(kind)}"}},
        "parameters": {
            name: {"description": text if form is None else f"{text}; {form}"}
            for name, (text, form) in _PLACES.items()
            if f"{{{name}}}" in where
        },
    }


def _operation(kind: Kind) -> dict[str, object]:
    line, name = _LINES[kind], _name(kind)
    return {
        "action": line.action,
        "summary": line.summary,
        "channel": {"$ref": f"#/channels/{name}"},
        "messages": [{"$ref": f"#/channels/{name}/messages/{name}"}],
        "bindings": {
            "mqtt": {
                "qos": line.qos,
                "retain": kind in _RETAINED,
                "bindingVersion": "0.2.0",
            }
        },
    }


def _name(kind: Kind) -> str:
    """One word, as every tool takes it."""
    first, *others = kind.value.split("-")
    return first + "".join(other.title() for other in others)


def _plain(part: object) -> object:
    """A schema without `discriminator`, which AsyncAPI writes in another way.

    Nothing is lost: the commands differ in the constant of `act`.
    """
    if isinstance(part, dict):
        return {
            name: _plain(value)
            for name, value in part.items()
            if name != "discriminator"
        }
    if isinstance(part, list):
        return [_plain(value) for value in part]
    return part
