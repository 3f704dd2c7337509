"""A plain timed relay: a switch that turns itself off.

Floor 2. One subject: what the operator said of one relay. Laws here: it has neither a
number nor a power-up of its own, so whatever it drives is dosed with reduced assurance:
two executions of one pulse must stay within the cap of one dose.
"""

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from datetime import datetime, timedelta
from hashlib import sha256
from typing import Literal

from slackwater.facts.now import Event

MS_PER_S = 1_000
# Caps of a pump behind a relay count for this many executions.
EXECUTIONS = 2
# Between two pulses: the longest one, and this on top (command contract).
REST_S = 30.0
PULSES_A_DAY = 24
# A check of a relay is good for no longer than this. Common practice, no source.
CHECK_DAYS_AT_MOST = 180
# So long before it counts no more it is told, and again when that is near. As above.
CHECK_ENDING, CHECK_ENDING_SOON = timedelta(days=14), timedelta(days=3)


@dataclass(frozen=True, slots=True, kw_only=True)
class Relay:
    """Topics and payloads of one relay, and the words in which it tells its state.

    `{ms}` and `{s}` in `on_payload` stand for the length of a pulse. `always_ms` is the
    length of every pulse of a relay that only has its own, else 0. `pointer` (RFC 6901)
    leads to the state. `ask_topic` is empty where it tells its state by itself.
    """

    on_topic: str
    on_payload: str
    off_topic: str
    off_payload: str
    state_topic: str
    pointer: str = ""
    on: tuple[str, ...] = ("on",)
    off: tuple[str, ...] = ("off",)
    ask_topic: str = ""
    ask_payload: str = ""
    always_ms: int = 0

    @property
    def digest(self) -> str:
        """Eight hex digits that change with anything said of it."""
        text = json.dumps(asdict(self), sort_keys=True, separators=(",", ":"))
        return sha256(text.encode()).hexdigest()[:8]

    def pulse(self, run_ms: int) -> bytes:
        """The payload that switches it on for so long; shorter rather than longer."""
        seconds = f"{run_ms // MS_PER_S}.{run_ms % MS_PER_S:03d}"
        text = self.on_payload.replace("{ms}", f"{run_ms}").replace("{s}", seconds)
        return text.encode()


@dataclass(frozen=True, slots=True, kw_only=True)
class RelayChecked(Event):
    """A person tried a relay out: off at power-up, no longer for a second on.

    `relay` is the digest of what it was checked as; after `until` it counts no more.
    """

    kind: Literal["relay_checked"] = "relay_checked"
    node: str
    relay: str
    until: datetime
    by: str


def check_of(
    checks: Mapping[str, RelayChecked], node: str, relay: Relay | None
) -> RelayChecked | None:
    """The newest check of a relay as it is described now; None where there is none.

    It may be over. A node that is no relay has none.
    """
    known = checks.get(node)
    if relay is None or known is None or known.relay != relay.digest:
        return None
    return known
