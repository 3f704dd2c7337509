"""What the daemon saw last, in a small file beside the ledger.

Floor 6. One subject: a glimpse of the present for those who only read. Laws here: it is
no memory and no permission: nothing ever decides on it; it is replaced whole, so that
nobody reads half of it; what cannot be written or read is left out.
"""

from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from functools import cache
from pathlib import Path
from typing import Literal

from pydantic import TypeAdapter, ValidationError

from slackwater.facts.reasons import Reason

NAME = "glimpse.json"
# A hundred pumps fit into a tenth of this.
LARGEST_BYTES = 1_000_000
# The daemon writes a glimpse each minute; an older one speaks of another time.
FRESH = timedelta(minutes=3)
Version = Literal[1]


@dataclass(frozen=True, slots=True, kw_only=True)
class NodeGlimpse:
    """A node's last beat; `channels` maps a head to its state and its room in µL."""

    beat_age_s: float
    up_s: float
    held: bool
    channels: Mapping[str, tuple[str, int]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class ProbeGlimpse:
    """A probe's newest believed reading, canonical; `spoiled` counts the others."""

    parameter: str
    value: float
    taken_at: datetime
    spoiled: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class PumpGlimpse:
    """What the gate would say of a dose of one line now; holds are left out.

    Units: microlitres; `volume_ul` is what is left of it if it runs. `refused` are
    reasons that keep it from running, `shortened` those that make it smaller.
    """

    pump: str
    asked_ul: int
    volume_ul: int
    refused: tuple[Reason, ...] = ()
    shortened: tuple[Reason, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Glimpse:
    """The present as the daemon saw it `at` that time; `lines` by `TANK/LINE`.

    `cut_since` is when one of the connections went down, None while both are up.
    """

    v: Version = 1
    at: datetime
    mode: str
    synchronised: bool
    observe_up: bool
    actuate_up: bool
    cut_since: datetime | None = None
    free_bytes: int | None = None
    differ: tuple[str, ...] = ()
    nodes: Mapping[str, NodeGlimpse] = field(default_factory=dict)
    probes: Mapping[str, ProbeGlimpse] = field(default_factory=dict)
    lines: Mapping[str, PumpGlimpse] = field(default_factory=dict)


def write_glimpse(directory: Path, glimpse: Glimpse) -> None:
    """Put it in the place of the one before; a disk that refuses is nobody's loss."""
    fresh = directory / f"{NAME}.new"
    with suppress(OSError):
        fresh.write_bytes(_adapter().dump_json(glimpse))
        fresh.replace(directory / NAME)


def read_glimpse(directory: Path) -> Glimpse | None:
    """The last one; None when there is none that can be read."""
    try:
        with (directory / NAME).open("rb") as file:
            content = file.read(LARGEST_BYTES + 1)
        return _adapter().validate_json(content, extra="forbid")
    except (OSError, ValidationError):
        return None


@cache
def _adapter() -> TypeAdapter[Glimpse]:
    return TypeAdapter(Glimpse)
