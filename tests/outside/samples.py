"""Payloads as the command contract prints them, and records that fit them.

The contract shortens identities; here they are filled up to their length.
"""

import json
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta

from slackwater.facts.messages import Beat, Channel, RunPump
from slackwater.facts.now import Now
from slackwater.facts.tank import Probe
from slackwater.outside.wire import Decoded, Decoder, Heard, MachineView, Root

ROOT = Root(site="reef")
AT = datetime(2026, 5, 3, 14, 0, 0, tzinfo=UTC)
NOW = Now(utc=AT, boot_s=1000.0, boot_id="b", synchronised=True)
RUN_ID = "5f0c" * 8
BOOT = "9e1b" * 4
KEY = bytes(range(32))

RUN = (
    b'{"v":1,"act":"run","id":"5f0c5f0c5f0c5f0c5f0c5f0c5f0c5f0c","chan":"a",'
    b'"boot":"9e1b9e1b9e1b9e1b","n":4,"fence":3,"ul":2000,"ms":1210,"cut_ms":1400,'
    b'"until_up":131456,"cal":"77aa01cf"}'
)
STOP = b'{"v":1,"act":"stop","id":"5f0c5f0c5f0c5f0c5f0c5f0c5f0c5f0c","chan":"a"}'
STOP_ALL = b'{"v":1,"act":"stop","id":"5f0c5f0c5f0c5f0c5f0c5f0c5f0c5f0c"}'
IDENTIFY = (
    b'{"v":1,"act":"identify","id":"5f0c5f0c5f0c5f0c5f0c5f0c5f0c5f0c","chan":"a"}'
)
BEAT = (
    b'{"v":1,"boot":"9e1b9e1b9e1b9e1b","up":123456,"seq":17,"hold":false,"fence":3,'
    b'"hw":"esp32-7c9e","cfg":"0badcafe","chan":{"a":{"n":4,"state":"idle",'
    b'"odo_ul":12000,"odo_ms":7260,"budget_ul":88000,"last":{'
    b'"id":"00000000000000000000000000000001","ul":1990,"ran_ms":1204,'
    b'"reason":"complete","cal":"77aa01cf"}}}}'
)
TAKEN = (
    b'{"v":1,"id":"5f0c5f0c5f0c5f0c5f0c5f0c5f0c5f0c","boot":"9e1b9e1b9e1b9e1b",'
    b'"chan":"a","n":4,"phase":"taken","ran_ms":0,"ul":0,"reason":"",'
    b'"cal":"77aa01cf","up":123500}'
)
ENDED = (
    b'{"v":1,"id":"5f0c5f0c5f0c5f0c5f0c5f0c5f0c5f0c","boot":"9e1b9e1b9e1b9e1b",'
    b'"chan":"a","n":4,"phase":"ended","ran_ms":1207,"ul":1996,"reason":"complete",'
    b'"cal":"77aa01cf","up":124710}'
)
REFUSED = (
    b'{"v":1,"id":"5f0c5f0c5f0c5f0c5f0c5f0c5f0c5f0c","boot":"9e1b9e1b9e1b9e1b",'
    b'"chan":"a","n":4,"phase":"refused","ran_ms":0,"ul":0,"reason":"late","cal":"",'
    b'"up":140000}'
)
HOLD = b'{"v":1,"by":"dashboard","note":"cleaning the sump"}'
READING = (
    b'{"parameter":"alkalinity","value":8.12,"unit":"dKH","at":"2026-05-03T14:00:00Z"}'
)
INPUT = b'{"state":"on"}'
REQUEST = (
    b'{"v":1,"id":"r-1","act":"pause","minutes":30,"scope":"tank","note":"guests"}'
)

COMMAND = RunPump(
    node="left",
    channel="a",
    attempt=RUN_ID,
    boot=BOOT,
    n=4,
    fence=3,
    ul=2000,
    ms=1210,
    cut_ms=1400,
    until_up=131456,
    cal="77aa01cf",
)

BEAT_AT = "node/left/beat"
RESULT_AT = "node/left/result"
READING_AT = "tank/display/reading/alk-1"
REQUEST_AT = "tank/display/request"

# 1 dKH is 10 mg/L of CaO in the old German degree: 0.35665 meq/L (CaO 56.0774 g/mol,
# two equivalents each; atomic weights from memory).
DKH_TO_MEQ_PER_L = 0.35665

PROBE = Probe(
    id="alk-1",
    tank="display",
    parameter="alkalinity",
    unit="dKH",
    scale=DKH_TO_MEQ_PER_L,
    offset=0.0,
    period_s=3600.0,
    resolution=0.01,
    low=1.0,
    high=6.0,
)
VIEW = MachineView(
    nodes=frozenset({"left", "right"}),
    tanks=frozenset({"display"}),
    probes={PROBE.id: PROBE},
)
SIGNED_VIEW = MachineView(
    nodes=VIEW.nodes, tanks=VIEW.tanks, probes=VIEW.probes, keys={"left": KEY}
)


def heard(
    place: str, payload: bytes, *, retained: bool = False, later_s: float = 0.0
) -> Heard:
    """A message below the site's root, some seconds after the fixed moment."""
    now = replace(NOW, utc=AT + timedelta(seconds=later_s), boot_s=NOW.boot_s + later_s)
    return Heard(topic=f"{ROOT}/{place}", payload=payload, retained=retained, now=now)


def changed(payload: bytes, **fields: object) -> bytes:
    """A payload with some of its top fields replaced; `...` takes one out."""
    content = {**json.loads(payload), **fields}
    kept = {name: value for name, value in content.items() if value is not ...}
    return json.dumps(kept).encode()


def beat(*, heard_boot_s: float = 1000.0, up: int = 123456, n: int = 4) -> Beat:
    """A beat of the node `left` with one idle channel."""
    return Beat(
        node="left",
        boot=BOOT,
        up=up,
        seq=17,
        hold=False,
        fence=3,
        hw="esp32-7c9e",
        cfg="0badcafe",
        channels={
            "a": Channel(n=n, state="idle", odo_ul=12000, odo_ms=7260, budget_ul=88000)
        },
        heard_boot_s=heard_boot_s,
    )


@dataclass(slots=True)
class SetClock:
    """A clock that stands where it is put."""

    boot_s: float = 1000.0

    def now(self) -> Now:
        """The moment it was put to."""
        passed = timedelta(seconds=self.boot_s - NOW.boot_s)
        return replace(NOW, utc=AT + passed, boot_s=self.boot_s)


def decode(place: str, payload: bytes, view: MachineView = VIEW) -> Decoded:
    """One message below the site's root, read by a fresh decoder."""
    return Decoder(root=ROOT, view=view).decode(heard(place, payload))
