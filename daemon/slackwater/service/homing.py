"""Announcing the tanks to home automation, and taking away what is gone.

Floor 7. One subject: what was announced, and what is to be. Laws here: what is about to
be announced is on disk before it leaves, so that a later start can take it away again;
a file that is lost or damaged costs tidiness and never a dose.
"""

import json
from collections.abc import Mapping
from pathlib import Path

import structlog
from structlog.typing import FilteringBoundLogger

from slackwater.facts.tank import Machine
from slackwater.outside.home import Device, devices
from slackwater.outside.wire import Root, device_topic, is_announcement
from slackwater.service import logs
from slackwater.service.wiring import Rig

NAME = "home.json"
# Device topics, each with its parts and their platforms.
Announced = dict[str, dict[str, str]]

_log: FilteringBoundLogger = structlog.get_logger()


def announce_all(rig: Rig, machine: Machine) -> None:
    """Announce every device that is new or changed, and end those that are gone.

    Nothing happens without the table `[home]`. The platform's own start is answered by
    the connection, with what was announced last.
    """
    home, root = rig.home, rig.root
    if home is None:
        return
    wanted: Mapping[str, Device] = (
        {
            device_topic(home.discovery, device.id): device
            for device in devices(root, machine)
        }
        if home.announce
        else {}
    )
    known = read_announced(rig.places.state, root)
    payloads = {
        topic: wanted[topic].payload(known.get(topic, {})) if topic in wanted else b""
        for topic in sorted(wanted.keys() | known.keys())
    }
    if payloads == rig.announced:
        return
    parts = {
        topic: {**known.get(topic, {}), **one.parts} for topic, one in wanted.items()
    }
    if not _kept(rig.places.state, {**known, **parts}):
        return
    for topic, payload in payloads.items():
        if rig.announced.get(topic) != payload:
            rig.observe.announce(topic, payload)
    rig.announced = payloads


def read_announced(folder: Path, root: Root) -> Announced:
    """What was ever announced of this site; nothing where the file says nothing."""
    try:
        plain = json.loads((folder / NAME).read_bytes())
    except (OSError, ValueError):
        return {}
    if not isinstance(plain, dict):
        return {}
    return {
        topic: {str(part): str(platform) for part, platform in parts.items()}
        for topic, parts in plain.items()
        if isinstance(parts, dict) and is_announcement(topic, root)
    }


def _kept(folder: Path, announced: Announced) -> bool:
    """Whether it is on disk: a full one must not leave devices nobody can end."""
    path = folder / NAME
    content = json.dumps(announced, sort_keys=True).encode()
    try:
        if path.exists() and path.read_bytes() == content:
            return True
        fresh = path.with_suffix(".new")
        fresh.write_bytes(content)
        fresh.replace(path)
    except OSError as error:
        _log.warning(logs.ANNOUNCEMENT_PUT_OFF, why=str(error.strerror))
        return False
    return True
