"""An invented reef under a virtual clock, with wires that only write down."""

import json
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta

from demo.reef.faults import Faults
from demo.reef.link import LinkUp, Said
from demo.reef.probe import Probe
from demo.reef.reef import SAMPLE
from demo.reef.reef_file import ReefRecord, read_reef
from demo.reef.station import Plate, Station
from demo.reef.world import ProbePlace, World
from tests.demo.nodes import RESTED_MS

ROOT = "slackwater/1/home"
NODE = f"{ROOT}/node/shelf"
START = datetime(2026, 5, 3, 14, 0, tzinfo=UTC)


@dataclass(slots=True, kw_only=True)
class FakeWire:
    """Keeps what was published and when the link was broken."""

    sent: list[tuple[str, dict[str, object], int, bool]] = field(default_factory=list)
    lost: list[tuple[float, bool]] = field(default_factory=list)

    def publish(self, topic: str, payload: bytes, *, qos: int, retain: bool) -> None:
        """Note a message."""
        self.sent.append((topic, json.loads(payload), qos, retain))

    def lose(self, for_s: float, *, forget: bool) -> None:
        """Note a broken link."""
        self.lost.append((for_s, forget))

    def said(self, suffix: str) -> list[dict[str, object]]:
        """Payloads of the topics that end so, in order."""
        return [sent[1] for sent in self.sent if sent[0].endswith(f"/{suffix}")]


def boots() -> Callable[[], str]:
    """Boot ids that count up from 1."""
    given = iter(range(1, 1000))
    return lambda: f"{next(given):016x}"


@dataclass(slots=True, kw_only=True)
class Scene:
    """A world, its wires and the virtual time."""

    world: World
    node: FakeWire
    probe: FakeWire

    def step(self, span_ms: int, *messages: Said | LinkUp) -> None:
        """Let time pass in one step, then hand over these messages."""
        now_ms = self.world.now_ms + span_ms
        utc = START + timedelta(milliseconds=now_ms - RESTED_MS)
        heard = [(message.link, message) for message in messages]
        self.world.step(now_ms, utc, heard)

    def wait(self, span_ms: int) -> None:
        """Let time pass as the program does: from one due moment to the next."""
        end_ms = self.world.now_ms + span_ms
        while self.world.now_ms < end_ms:
            due_ms = max(self.world.wake_ms(), self.world.now_ms + 1)
            self.step(min(due_ms, end_ms) - self.world.now_ms)

    def send(self, payload: bytes, suffix: str = "command") -> None:
        """Hand a message to the node now."""
        self.step(
            0,
            Said(
                link="shelf",
                topic=f"{NODE}/{suffix}",
                payload=payload,
                retained=False,
            ),
        )

    def apply(self, **faults: object) -> None:
        """Switch faults on by the names of the control file, with - as _."""
        named = {name.replace("_", "-"): value for name, value in faults.items()}
        self.world.apply(Faults.model_validate_json(json.dumps(named)))

    def delivered_ul(self, pump: str = "carbonate") -> float:
        """The true sum of a pump."""
        return round(self.world.water.delivered_ul[pump], 6)


def scene(reef: ReefRecord | None = None) -> Scene:
    """The sample reef at a virtual time at which its node has been up 26 hours."""
    reef = reef or read_reef(SAMPLE)
    node, probe = FakeWire(), FakeWire()
    station = Station(
        plate=Plate(
            name="shelf",
            record=reef.nodes["shelf"],
            key=b"",
            root=ROOT,
            beat_ms=5_000,
        ),
        wire=node,
        boot_ids=boots(),
        powered_ms=0,
    )
    place = ProbePlace(
        probe=Probe(0.03, "1 alk"),
        wire=probe,
        tank="reef",
        topic=f"{ROOT}/tank/reef/reading/alk",
        period_ms=10_000,
        next_ms=RESTED_MS,
    )
    world = World(
        water=reef.water(),
        stations={"shelf": station},
        probes={"alk": place},
        now_ms=RESTED_MS,
    )
    built = Scene(world=world, node=node, probe=probe)
    # The first look ends the self-test and shows the first beat.
    built.step(0)
    return built
