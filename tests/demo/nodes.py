"""A node under a virtual clock, and commands made for it."""

import json
from dataclasses import dataclass, field
from typing import cast

from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.hmac import HMAC

from demo.node.node import Node

BOOT = "9e1b000000000001"
KEY = bytes(range(32))
HOUR_MS = 3_600_000
# A node that has been up for more than a day with nothing delivered has all its room.
RESTED_MS = 26 * HOUR_MS
LIMITS = {
    "nominal_ul_per_min": 30_000,
    "max_ul": 5_000,
    "max_ms": 20_000,
    "max_cut_ms": 25_000,
    "day_ul": 120_000,
}

Told = list[tuple[str, dict[str, object]]]


def attempt(number: int) -> str:
    """A command id."""
    return f"{number:032x}"


def run_fields(**changes: object) -> dict[str, object]:
    """A run of 1 mL in 2 s that a rested node accepts, with changes; None removes."""
    fields: dict[str, object] = {
        "v": 1,
        "act": "run",
        "id": attempt(1),
        "chan": "a",
        "boot": BOOT,
        "n": 0,
        "fence": 3,
        "ul": 1_000,
        "ms": 2_000,
        "cut_ms": 2_500,
        "until_up": RESTED_MS + 8_000,
        "cal": "77aa01cf",
    }
    fields.update(changes)
    return {name: value for name, value in fields.items() if value is not None}


def encoded(fields: dict[str, object]) -> bytes:
    """Fields as they travel."""
    return json.dumps(fields, separators=(",", ":")).encode()


def run_bytes(**changes: object) -> bytes:
    """The same as `run_fields`, as it travels."""
    return encoded(run_fields(**changes))


def stop_bytes(chan: str | None = "a", **changes: object) -> bytes:
    """A stop for one channel, or for all."""
    fields: dict[str, object] = {"v": 1, "act": "stop", "id": attempt(99), **changes}
    return encoded(fields if chan is None else {**fields, "chan": chan})


@dataclass(slots=True, kw_only=True)
class Bench:
    """A node, its present uptime and everything it said."""

    node: Node
    up_ms: int = RESTED_MS
    told: Told = field(default_factory=list)

    def send(self, payload: bytes, *, retained: bool = False) -> Told:
        """Put a message on the command topic now."""
        return self._keep(self.node.command(payload, self.up_ms, retained=retained))

    def wait(self, span_ms: int) -> Told:
        """Let time pass and look once."""
        self.up_ms += span_ms
        return self._keep(self.node.tick(self.up_ms))

    def hold(self, payload: bytes) -> Told:
        """Put a message on the hold topic now."""
        return self._keep(self.node.hold(payload, self.up_ms))

    def channel(self, chan: str = "a") -> dict[str, object]:
        """What a beat says of one channel now."""
        self.node.tick(self.up_ms)
        channels = self.node.beat()[1]["chan"]
        return cast("dict[str, dict[str, object]]", channels)[chan]

    def cut_ms(self, chan: str = "a") -> int:
        """The uptime at which the hardware drops the output, 0 when it is off."""
        run = self.node.heads[chan].run
        return 0 if run is None else run.started_ms + run.cut_ms

    def pumping(self, chan: str = "a", after_ms: int = 0) -> bool:
        """Whether the output is on so long from now, even if nobody looks again."""
        return self.up_ms + after_ms < self.cut_ms(chan)

    def _keep(self, told: Told) -> Told:
        self.told += told
        return told


def bench(
    *,
    key: bytes = b"",
    up_ms: int = RESTED_MS,
    chans: str = "ab",
    **limits: int,
) -> Bench:
    """A node that has been up for `up_ms`, past its self-test when that is long."""
    heads = {chan: {**LIMITS, **limits} for chan in chans}
    node = Node("virtual-0001", BOOT, heads, key)
    node.tick(up_ms)
    return Bench(node=node, up_ms=up_ms)


def results(told: Told) -> list[dict[str, object]]:
    """The results among what was said."""
    return [payload for suffix, payload in told if suffix == "result"]


def answer(told: Told) -> tuple[object, object]:
    """Phase and reason of the one result that was said."""
    (only,) = results(told)
    return only["phase"], only["reason"]


def openssl_code(key: bytes, message: bytes) -> str:
    """HMAC-SHA256 by OpenSSL, apart from the standard library the node uses."""
    context = HMAC(key, SHA256())
    context.update(message)
    return context.finalize().hex()
