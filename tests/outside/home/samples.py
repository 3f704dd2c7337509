"""Every device of the sample configurations, and a document that they can read."""

import json
import sys
from pathlib import Path

from slackwater.outside.home import Device, devices
from slackwater.outside.settings import read_machine
from slackwater.outside.wire import Root, device_topic

CONFIG = Path(__file__).resolve().parents[3] / "config"
SAMPLES = ("chemistry", "relays", "smallest", "two-tanks")
# Invented: what a state document of a tank holds when everything is known.
DOCUMENT: dict[str, object] = {
    "v": 1,
    "at": "2026-05-03T14:00:00Z",
    "stage": "live",
    "word": "held",
    "why": "A person asked for a hold.",
    "alkalinity": {"dkh": 8.12, "at": "2026-05-03T13:40:00Z", "source": "alk-1"},
    "hours_to_floor": {"alkalinity": 31.5},
    "hours_to_ceiling": {"alkalinity": 40.0},
    "hours_from": "measured",
    "last_24_h": {"planned_dkh": 1.5, "given_dkh": 1.41},
    "groups": {"people": True, "water": False},
    "problem": True,
    "alarms": 1,
    "alarm": {
        "alarm": "manual-hold.all",
        "priority": "soon",
        "text": "A person asked for a hold.",
        "action": "End it with `slackwater release`.",
    },
    "unseen": "manual-hold.all",
    "next_dose": {
        "dose": "reef/carbonate@2026-05-03#07",
        "pump": "carbonate",
        "due_at": "2026-05-03T14:30:00Z",
        "ul": 2000,
    },
    "pumps": {
        "carbonate": {
            "day_ul": 12500,
            "left_ul": 1_500_000,
            "held": True,
            "running": False,
            "next_at": "2026-05-03T14:30:00Z",
            "days_left": 41.7,
        }
    },
    "standings": {"alkalinity": {"word": "in-band", "value": 8.1, "unit": "dKH"}},
    "uptakes": {
        "alkalinity": {"per_day": 1.5, "low": 1.4, "high": 1.6, "unit": "dKH/d"}
    },
    "tasks": {"open": 2, "due": 1, "next": "Test calcium.", "due_on": "2026-05-03"},
    "entered": {
        "alkalinity": {
            "id": "u-1f0c9a3e",
            "value": 8.3,
            "unit": "dKH",
            "at": "2026-05-03T13:00:00Z",
        }
    },
}
EVENT: dict[str, object] = {
    "v": 1,
    "at": "2026-05-03T14:00:00Z",
    "event": "dose_ended",
    "figures": {"attempt": "5f0c", "how": "full", "ul": 2000},
    "request": "",
}


def of_samples() -> dict[str, Device]:
    """All devices of all samples by their topic; each sample at a site of its own."""
    found: dict[str, Device] = {}
    for name in SAMPLES:
        machine = read_machine(CONFIG / name)
        for device in devices(Root(site=name), machine):
            found[device_topic("homeassistant", device.id)] = device
    return found


def main() -> None:
    """Print everything for the judge in `platform_judge.py`, as one JSON document."""
    gone = {"former": "sensor"}
    told = {topic: one.payload(gone).decode() for topic, one in of_samples().items()}
    json.dump({"devices": told, "document": DOCUMENT, "event": EVENT}, sys.stdout)


if __name__ == "__main__":
    main()
