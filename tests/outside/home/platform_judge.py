"""Judges discovery messages with the platform's own schemas and template engine.

Run under a Python that has the package `homeassistant` (seen with 2026.2.3 on Python
3.13); reads what `python -m tests.outside.home.samples` prints, and ends with 1 when a
message is refused, a key is dropped, or a template gives what its platform refuses.
"""
# mypy: ignore-errors
# The package stands in an environment of its own: nothing of it is here to be checked.

import asyncio
import importlib
import json
import sys
import tempfile
from collections.abc import Iterator

SHARED = ("availability", "availability_mode")
PLACE = "homeassistant.components.mqtt"


def of_device(topic: str, payload: str) -> Iterator[str]:
    """What is wrong with one device and its parts."""
    schemas = importlib.import_module(f"{PLACE}.schemas")
    plain = json.loads(payload)
    try:
        schemas.DEVICE_DISCOVERY_SCHEMA(json.loads(payload))
    except schemas.vol.Invalid as error:
        yield f"{topic}: {error}"
    for name, part in plain["components"].items():
        # What has nothing but its platform takes an entity away.
        if len(part) > 1:
            shared = {key: plain[key] for key in SHARED if key in plain}
            yield from of_part(f"{topic} {name}", {**shared, **part}, schemas.vol)


def of_part(place: str, part: dict[str, object], vol: object) -> Iterator[str]:
    """What is wrong with a part: refused by either schema, or dropped by one."""
    platform = importlib.import_module(f"{PLACE}.{part['platform']}")
    asked = {key: value for key, value in part.items() if key != "platform"}
    try:
        taken = platform.DISCOVERY_SCHEMA(json.loads(json.dumps(asked)))
        platform.PLATFORM_SCHEMA_MODERN(json.loads(json.dumps(asked)))
    except vol.Invalid as error:
        yield f"{place}: {error}"
        return
    yield from (f"{place}: drops {key}" for key in asked if key not in taken)


def of_template(given: dict[str, object], home: object) -> Iterator[str]:
    """Every template rendered as the platform does, and what it gives that is wrong."""
    template = importlib.import_module("homeassistant.helpers.template")
    for topic, payload in given["devices"].items():
        for name, part in json.loads(payload)["components"].items():
            for key in ("value_template", "json_attributes_template"):
                if key not in part:
                    continue
                source = "event" if part["platform"] == "event" else "document"
                text = template.Template(part[key], home)
                told = text.async_render_with_possible_json_value(
                    json.dumps(given[source]), "REFUSED"
                )
                if "REFUSED" in told or not _fits(part, key, told):
                    yield f"{topic} {name}: {key} gives {told!r}"


def _fits(part: dict[str, object], key: str, told: str) -> bool:
    """Whether the platform can make something of a rendered text."""
    if key == "json_attributes_template":
        return isinstance(json.loads(told), dict)
    if part["platform"] == "event":
        return not told or json.loads(told)["event_type"] in part["event_types"]
    if part["platform"] == "binary_sensor":
        return told in {"ON", "OFF", "None"}
    # Nothing but this very word is read as "unknown".
    if told.lower() in {"none", ""}:
        return told == "None"
    if "options" in part:
        return told in part["options"]
    return "state_class" not in part or float(told) >= 0


async def judge(given: dict[str, object]) -> list[str]:
    """All complaints; an empty list when everything is taken."""
    core = importlib.import_module("homeassistant.core")
    home = core.HomeAssistant(tempfile.mkdtemp())
    found = [
        complaint
        for topic, payload in given["devices"].items()
        for complaint in of_device(topic, payload)
    ]
    found += of_template(given, home)
    await home.async_stop(force=True)
    return found


def main() -> int:
    """Judge what stands on standard input."""
    given = json.load(sys.stdin)
    complaints = asyncio.run(judge(given))
    parts = sum(
        len(json.loads(payload)["components"]) for payload in given["devices"].values()
    )
    for complaint in complaints:
        sys.stdout.write(f"{complaint}\n")
    sys.stdout.write(
        f"{len(given['devices'])} devices, {parts} parts, {len(complaints)} refused\n"
    )
    return 1 if complaints else 0


if __name__ == "__main__":
    sys.exit(main())
