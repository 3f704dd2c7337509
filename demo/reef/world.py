"""The invented reef as a whole, step by step, under any clock.

Outside every floor; never imports Slackwater. One subject: stations, water, probes and
faults moved on together. Laws here: time, chance and messages are arguments; at each
step water and hoses move before anybody speaks; the account of what was delivered is
the water's own.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime

from demo.node.node import canonical
from demo.reef.faults import Faults, Kind, Names
from demo.reef.link import LinkUp, Said
from demo.reef.probe import Probe, rfc3339
from demo.reef.reef_file import ReefRecord
from demo.reef.station import Station, Wire
from demo.reef.water import Swing, Water


@dataclass(slots=True, kw_only=True)
class ProbePlace:
    """A probe, its link and when it speaks next."""

    probe: Probe
    wire: Wire
    tank: str
    topic: str
    period_ms: int
    next_ms: int


@dataclass(slots=True, kw_only=True)
class World:
    """Everything of the reef that changes with time."""

    water: Water
    stations: Mapping[str, Station]
    probes: Mapping[str, ProbePlace]
    now_ms: int
    faults: Faults = field(default_factory=Faults)
    _serials: dict[Kind, int] = field(default_factory=dict)

    def step(
        self, now_ms: int, utc: datetime, heard: list[tuple[str, Said | LinkUp]]
    ) -> None:
        """Move everything to now, then let the messages in.

        `heard` holds (station, message) in the order of arrival; `utc` stamps readings.
        """
        self._live(now_ms - self.now_ms)
        self.now_ms = now_ms
        for station in self.stations.values():
            station.advance(now_ms, self.water)
        for name, message in heard:
            self._deliver(name, message)
        for place in self.probes.values():
            self._read(place, utc)

    def apply(self, faults: Faults) -> None:
        """Take a new set of faults; what happens once needs a new serial."""
        self.faults = faults
        for station in self.stations.values():
            station.drops_results = faults.drop_results
            station.factors = faults.over_deliver
        for kind, once in faults.once().items():
            if once is not None and once.serial > self._serials.get(kind, 0):
                self._serials[kind] = once.serial
                self.stations[once.node].strike(kind, once, self.now_ms)

    def wake_ms(self) -> int:
        """The next moment at which anything is due by time alone."""
        moments = [station.wake_ms(self.now_ms) for station in self.stations.values()]
        return min([*moments, *(place.next_ms for place in self.probes.values())])

    def account(self, utc: datetime) -> dict[str, object]:
        """What really happened: delivered microlitres by pump and the true water."""
        return {
            "v": 1,
            "invented": "the truth of an invented reef, kept by the reef itself",
            "at": rfc3339(utc),
            "delivered_ul": {
                pump: round(volume_ul, 3)
                for pump, volume_ul in self.water.delivered_ul.items()
            },
            "tanks": {
                name: {
                    "alkalinity_dkh": round(tank.alkalinity_dkh, 6),
                    "calcium_mg_per_l": round(tank.calcium_mg_per_l, 4),
                    "salinity": round(tank.salinity, 4),
                }
                for name, tank in self.water.tanks.items()
            },
        }

    def _live(self, span_ms: int) -> None:
        self.water.live(span_ms)
        swing = self.faults.swing
        if swing is not None:
            pushed = Swing(dkh_per_s=swing.dkh_per_s, until_dkh=swing.until_dkh)
            self.water.tanks[swing.tank].push(pushed, span_ms)

    def _deliver(self, name: str, message: Said | LinkUp) -> None:
        station = self.stations.get(name)
        if station is None:
            return
        if isinstance(message, LinkUp):
            station.greet(self.now_ms)
            return
        suffix = message.topic.rpartition("/")[2]
        station.hear(suffix, message.payload, self.now_ms, retained=message.retained)

    def _read(self, place: ProbePlace, utc: datetime) -> None:
        if self.now_ms < place.next_ms:
            return
        place.next_ms = self.now_ms + place.period_ms
        true_dkh = self.water.tanks[place.tank].alkalinity_dkh
        reading = place.probe.read(true_dkh, utc, frozen=self.faults.freeze_probe)
        place.wire.publish(
            place.topic, canonical(reading).encode(), qos=0, retain=False
        )


def names_of(reef: ReefRecord) -> Names:
    """What faults of this reef may name."""
    return Names(
        nodes=frozenset(reef.nodes),
        pumps=frozenset(channel.pump for channel in reef.channels()),
        tanks=frozenset(reef.tanks),
    )
