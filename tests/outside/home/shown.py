"""What a template of an entity picks, looked up in a document by our own reading.

The template language itself is not run here; the optional check against the platform
does that.
"""

import json
import re
from collections.abc import Iterator, Mapping
from typing import Any

PICKED = re.compile(r"value_json((?:\.get\('[a-z0-9_-]+'(?:, \{\})?\))+)")
STEP = re.compile(r"\.get\('([a-z0-9_-]+)'")
# What nobody can say of a tank without a probe, a test, an alarm, or a dose to come.
SILENT = {"alkalinity", "alarm", "unseen", "standings", "uptakes", "next_at"}


def paths(component: Mapping[str, Any]) -> Iterator[tuple[str, ...]]:
    """The places in the document that the templates of a component read."""
    for key in ("value_template", "json_attributes_template"):
        for chain in PICKED.findall(str(component.get(key, ""))):
            yield tuple(STEP.findall(chain))


def missing_figures(
    devices: Mapping[str, bytes], document: Mapping[str, Any]
) -> list[str]:
    """The parts that read what the document lacks, but for what may be unknown."""
    return [
        f"{topic}: {name} {'.'.join(path)}"
        for topic, payload in sorted(devices.items())
        for name, component in json.loads(payload)["components"].items()
        for path in paths(component)
        if not SILENT.intersection(path) and not _has(document, path)
    ]


def _has(document: Any, path: tuple[str, ...]) -> bool:  # noqa: ANN401 - plain JSON
    for step in path:
        if not isinstance(document, Mapping) or step not in document:
            return False
        document = document[step]
    return True
