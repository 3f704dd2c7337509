"""Faults of the invented reef, switched on and off by a file.

Outside every floor; never imports Slackwater. One subject: the control file. Laws here:
it is read at start and whenever it changes, never over MQTT; a file that cannot be
understood changes nothing and is complained of once; what happens once (a reboot, a
lost link, a hang) happens again only under a new `serial`.

    {"drop-results": true, "freeze-probe": true, "over-deliver": {"carbonate": 1.5},
     "swing": {"tank": "reef", "dkh_per_s": 0.05, "until_dkh": 9.5},
     "reboot": {"serial": 1, "node": "shelf", "mid_run_ms": 700, "for_s": 2},
     "lose-link": {"serial": 1, "node": "shelf", "for_s": 8},
     "hang": {"serial": 1, "node": "shelf", "for_s": 4}}
"""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Literal

from pydantic import ConfigDict, Field

from demo.reef.reef_file import Identity, Positive
from demo.reef.rim import Record, ReefError, read_file, read_record

Kind = Literal["reboot", "lose-link", "hang"]


class SwingRecord(Record):
    """Alkalinity of one tank pushed at a rate until a value."""

    tank: Identity
    dkh_per_s: Annotated[float, Field(ge=-10, le=10)]
    until_dkh: Annotated[float, Field(ge=0, le=100)]


class OnceRecord(Record):
    """Something that happens to a node once, for a time.

    At once, or with `mid_run_ms` so long into the next run.
    """

    serial: Annotated[int, Field(ge=1)]
    node: Identity
    for_s: Positive = 2.0
    mid_run_ms: Annotated[int, Field(ge=1, le=10**7)] | None = None


class Faults(Record):
    """The whole control file; an empty object is a sound reef."""

    model_config = ConfigDict(
        alias_generator=lambda name: name.replace("_", "-"), validate_by_alias=True
    )

    drop_results: bool = False
    freeze_probe: bool = False
    over_deliver: dict[Identity, Positive] = Field(default_factory=dict)
    swing: SwingRecord | None = None
    reboot: OnceRecord | None = None
    lose_link: OnceRecord | None = None
    hang: OnceRecord | None = None

    def once(self) -> Mapping[Kind, OnceRecord | None]:
        """What happens once, by its name in the file."""
        return {
            "reboot": self.reboot,
            "lose-link": self.lose_link,
            "hang": self.hang,
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class Names:
    """What a control file may name."""

    nodes: frozenset[str]
    pumps: frozenset[str]
    tanks: frozenset[str]


class ControlFile:
    """Follows one file; a missing one is a sound reef."""

    def __init__(self, path: Path | None, names: Names) -> None:
        self._path = path
        self._names = names
        self._content: bytes | None = None

    def changed(self) -> Faults | None:
        """The faults when the file is new or changed since the last look, else None.

        Raises: ReefError once for each content that cannot be understood.
        """
        content = self._read()
        if content == self._content:
            return None
        self._content = content
        where = str(self._path)
        faults = read_record(content, Faults, where)
        for kind, named, known in self._mentions(faults):
            if named not in known:
                raise ReefError(
                    what=f"{kind}: there is no {named!r}",
                    where=where,
                    expected=f"one of {', '.join(sorted(known))}",
                    remedy="Correct it; nothing was applied.",
                )
        return faults

    def _read(self) -> bytes:
        if self._path is None or not self._path.exists():
            return b"{}"
        try:
            return read_file(self._path)
        except ReefError:
            # Replaced between the two looks; the next poll sees the new one.
            if self._path.exists():
                raise
            return b"{}"

    def _mentions(self, faults: Faults) -> list[tuple[str, str, frozenset[str]]]:
        named = [
            ("over-deliver", pump, self._names.pumps) for pump in faults.over_deliver
        ]
        if faults.swing is not None:
            named.append(("swing", faults.swing.tank, self._names.tanks))
        for kind, once in faults.once().items():
            if once is not None:
                named.append((kind, once.node, self._names.nodes))
        return named
