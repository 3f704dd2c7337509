"""The file that describes an invented reef.

Outside every floor; never imports Slackwater. One subject: tanks, nodes, hoses and
probes as `reef.json` states them. Laws here: every quantity carries its unit in its
name; what is not stated is refused, never guessed; true rates may differ from nominal
ones, which is what the demo is about.
"""

from pathlib import Path
from typing import Annotated

from pydantic import Field, StringConstraints, model_validator

from demo.node.node import CHANNELS_AT_MOST
from demo.reef.rim import Record, ReefError, read_file, read_record
from demo.reef.water import REST_DKH, Hose, Moves, Tank, Uptake, Water

# RFC 2104 allows any length; the project signs with 32 bytes.
_KEY_BYTES = 32

Identity = Annotated[str, StringConstraints(pattern="^[a-z0-9-]{1,32}$")]
Positive = Annotated[float, Field(gt=0, le=1e9)]
Amount = Annotated[float, Field(ge=0, le=1e9)]
Whole = Annotated[int, Field(ge=1, le=10**9)]


class TankRecord(Record):
    """One tank at the start of the demo."""

    litres: Positive
    alkalinity_dkh: Amount
    calcium_mg_per_l: Amount
    uptake_dkh_per_day: Amount
    uptake_at_dkh: Annotated[float, Field(gt=REST_DKH, le=100)]
    salinity: Amount = 35.0


class ProbeRecord(Record):
    """One alkalinity probe; noise is the standard deviation of a reading."""

    tank: Identity
    noise_dkh: Amount
    period_s: Positive


class ChannelRecord(Record):
    """One pump head: the limits the node knows and the truth it does not."""

    pump: Identity
    tank: Identity
    nominal_ul_per_min: Whole
    max_ul: Whole
    max_ms: Whole
    max_cut_ms: Whole
    day_ul: Whole
    metered: bool = False
    true_ul_per_s: Positive
    alkalinity_meq_per_ml: Amount = 0.0
    calcium_mg_per_ml: Amount = 0.0
    moves: Moves = "dose"
    salinity: Amount = 0.0

    def limits(self) -> dict[str, int]:
        """What the node is told of this head."""
        return {
            "nominal_ul_per_min": self.nominal_ul_per_min,
            "max_ul": self.max_ul,
            "max_ms": self.max_ms,
            "max_cut_ms": self.max_cut_ms,
            "day_ul": self.day_ul,
            "metered": int(self.metered),
        }

    def hose(self) -> Hose:
        """What really leaves it."""
        return Hose(
            tank=self.tank,
            rate_ul_per_s=self.true_ul_per_s,
            alkalinity_meq_per_ml=self.alkalinity_meq_per_ml,
            calcium_mg_per_ml=self.calcium_mg_per_ml,
            moves=self.moves,
            salinity=self.salinity,
        )


class NodeRecord(Record):
    """One node; `up_hours` is how long it has been on when the demo begins.

    A node on for 25 hours with nothing delivered has the room of a whole day. After a
    reboot it starts with none, as every node does.
    """

    hardware: Annotated[str, StringConstraints(pattern="^[!-~]{1,32}$")]
    up_hours: Annotated[float, Field(ge=0, le=100_000)]
    self_test_s: Positive = 10.0
    key_file: str = ""
    channels: Annotated[
        dict[Identity, ChannelRecord],
        Field(min_length=1, max_length=CHANNELS_AT_MOST),
    ]


class ReefRecord(Record):
    """The whole reef; `invented` says in words that it is one."""

    invented: Annotated[str, StringConstraints(min_length=10)]
    site: Identity
    tanks: Annotated[dict[Identity, TankRecord], Field(min_length=1)]
    nodes: Annotated[dict[Identity, NodeRecord], Field(min_length=1)]
    probes: dict[Identity, ProbeRecord] = Field(default_factory=dict)

    @model_validator(mode="after")
    def _names_fit(self) -> "ReefRecord":
        pumps = [channel.pump for channel in self.channels()]
        if len(set(pumps)) != len(pumps):
            message = "two channels carry the same pump"
            raise ValueError(message)
        used = [channel.tank for channel in self.channels()]
        used += [probe.tank for probe in self.probes.values()]
        for tank in used:
            if tank not in self.tanks:
                message = f"there is no tank {tank!r}"
                raise ValueError(message)
        return self

    def channels(self) -> list[ChannelRecord]:
        """Every pump head of every node."""
        return [
            channel
            for node in self.nodes.values()
            for channel in node.channels.values()
        ]

    def water(self) -> Water:
        """The true water and hoses at the start."""
        tanks = {
            name: Tank(
                litres=tank.litres,
                alkalinity_dkh=tank.alkalinity_dkh,
                calcium_mg_per_l=tank.calcium_mg_per_l,
                uptake=Uptake(
                    dkh_per_day=tank.uptake_dkh_per_day, at_dkh=tank.uptake_at_dkh
                ),
                salt=tank.salinity * tank.litres,
            )
            for name, tank in self.tanks.items()
        }
        hoses = {channel.pump: channel.hose() for channel in self.channels()}
        return Water(tanks=tanks, hoses=hoses)


def read_reef(path: Path) -> ReefRecord:
    """The reef a file describes.

    Raises: ReefError when the file or a value in it is not what it must be.
    """
    return read_record(read_file(path), ReefRecord, str(path))


def read_key(reef_path: Path, node: NodeRecord) -> bytes:
    """The node's key, empty when none is named; its file stands beside the reef's.

    Raises: ReefError when the file does not hold 64 hex digits.
    """
    if not node.key_file:
        return b""
    path = reef_path.parent / node.key_file
    try:
        key = bytes.fromhex(read_file(path).decode("ascii").strip())
    except ValueError:
        key = b""
    if len(key) != _KEY_BYTES:
        raise ReefError(
            what="no key in it",
            where=str(path),
            expected="64 hex digits on one line",
            remedy="Write the key the daemon was given.",
        )
    return key
