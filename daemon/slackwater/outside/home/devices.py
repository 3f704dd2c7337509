"""From the table to payloads: one device per tank and one per pump.

Floor 6. One subject: discovery messages. Laws here: an identity is made of the ids of
the configuration alone, so that a new name or a restart changes none; a device that
is gone is an empty payload; equal machines give equal bytes.
Source: MQTT discovery, device-based form, of Home Assistant (documentation of release
2026.11): one message for a device, its parts under `components`.
"""

import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from slackwater import __version__
from slackwater.facts.tank import Machine, Pump, Tank
from slackwater.outside.home.entities import Entity, of_pump, of_tank
from slackwater.outside.wire import Kind, Root, Topic, device_id
from slackwater.water.parameters import parameter_named

_MAKER = "Slackwater"
_TOPICS = {
    "state": Kind.TANK_STATE,
    "event": Kind.EVENT,
    "request": Kind.REQUEST,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Device:
    """One device as it is announced.

    `id` is its object id; `parts` maps each component to its platform.
    """

    id: str
    content: Mapping[str, object]
    parts: Mapping[str, str]

    def payload(self, before: Mapping[str, str]) -> bytes:
        """The message; parts that were announced `before` and are gone are ended.

        A part of nothing but its platform takes the entity away.
        """
        gone = {
            part: {"platform": platform}
            for part, platform in sorted(before.items())
            if part not in self.parts
        }
        parts = self.content["components"]
        whole = {**self.content, "components": {**_plain(parts), **gone}}
        return json.dumps(whole, ensure_ascii=False, allow_nan=False).encode()


def _plain(parts: object) -> Mapping[str, object]:
    return parts if isinstance(parts, Mapping) else {}


def devices(root: Root, machine: Machine) -> tuple[Device, ...]:
    """Every device of a machine, tanks first, in the order of their ids."""
    tanks = [_of_tank(root, tank, machine) for _, tank in sorted(machine.tanks.items())]
    pumps = [_of_pump(root, pump, machine) for _, pump in sorted(machine.pumps.items())]
    return (*tanks, *pumps)


def _of_tank(root: Root, tank: Tank, machine: Machine) -> Device:
    identity = device_id(root, "tank", tank.id)
    about: dict[str, object] = {
        "identifiers": [identity],
        "name": tank.name,
        "manufacturer": _MAKER,
        "model": "tank",
        "sw_version": __version__,
    }
    entities = of_tank(_parameters(tank, machine))
    return _device(identity, about, entities, (root, tank.id))


def _of_pump(root: Root, pump: Pump, machine: Machine) -> Device:
    identity = device_id(root, "pump", pump.id)
    about: dict[str, object] = {
        "identifiers": [identity],
        "name": f"{machine.tanks[pump.tank].name} {pump.id}",
        "manufacturer": _MAKER,
        "model": "dosing pump",
        "model_id": machine.solutions[pump.solution].name,
        "via_device": device_id(root, "tank", pump.tank),
    }
    return _device(identity, about, of_pump(pump.id), (root, pump.tank))


def _parameters(tank: Tank, machine: Machine) -> Iterator[tuple[str, str, str]]:
    """What is measured or held at a level in a tank: id, name and unit."""
    probes = {p.parameter for p in machine.probes.values() if p.tank == tank.id}
    for identity in sorted(probes | tank.targets.keys() | tank.caps.keys()):
        item = parameter_named(identity, where="")
        yield identity, item.name[:1].upper() + item.name[1:], item.display_unit


def _device(
    identity: str,
    about: Mapping[str, object],
    entities: Iterable[Entity],
    place: tuple[Root, str],
) -> Device:
    root, tank = place
    parts: dict[str, dict[str, object]] = {}
    for entity in entities:
        where = str(Topic(root=root, kind=_TOPICS[entity.source], owner=tank))
        parts[entity.key] = _component(identity, entity, where, (root, tank))
    return Device(
        id=identity,
        content={
            "device": about,
            "origin": {"name": _MAKER, "sw_version": __version__},
            "availability": [
                {
                    "topic": str(Topic(root=root, kind=Kind.DAEMON_STATE)),
                    "value_template": "{{ value_json.state }}",
                    "payload_available": "here",
                    "payload_not_available": "gone",
                }
            ],
            "availability_mode": "all",
            "components": parts,
        },
        parts={name: str(part["platform"]) for name, part in parts.items()},
    )


def _component(
    identity: str, entity: Entity, where: str, place: tuple[Root, str]
) -> dict[str, object]:
    root, tank = place
    part: dict[str, object] = {
        "platform": entity.platform,
        "unique_id": f"{identity}_{entity.key}",
        "name": entity.name,
        "qos": 1,
        "command_topic" if entity.source == "request" else "state_topic": where,
        **entity.more,
    }
    state = str(Topic(root=root, kind=Kind.TANK_STATE, owner=tank))
    if "json_attributes_template" in entity.more:
        part["json_attributes_topic"] = state
    if entity.source == "request" and "value_template" in entity.more:
        part["state_topic"] = state
    if entity.quiet:
        part["enabled_by_default"] = False
        # What is typed in is no diagnosis.
        if entity.source != "request":
            part["entity_category"] = "diagnostic"
    return part
