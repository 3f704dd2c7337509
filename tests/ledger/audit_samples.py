"""Invented entries of the audit, and of a ledger that was restored."""

from datetime import UTC, datetime, timedelta

from slackwater.facts.audits import Audited
from slackwater.facts.events import LedgerRestored
from slackwater.facts.inputs import InputsKept, NodeInput
from slackwater.pump.outcome import Stamp

NOON = datetime(2026, 5, 3, 12, 0, tzinfo=UTC)


def audited(stamp: Stamp, *, extra: int = 1) -> Audited:
    """An audit of three days that found one dose too much, or none."""
    return Audited(
        **stamp,
        since=NOON - timedelta(days=3),
        until=NOON,
        doses=24,
        given=22,
        missing=2,
        extra=extra,
        first="reef/carbonate@2026-05-03#07: no approval asked for it" if extra else "",
        by="slackwater",
    )


def inputs(stamp: Stamp) -> InputsKept:
    """What a decision saw: one node, a probe, a switch, a counter."""
    return InputsKept(
        **stamp,
        synchronised=True,
        observe_up=True,
        actuate_up=True,
        scanned_until=NOON,
        free_bytes=10**9,
        nodes={
            "shelf": NodeInput(
                boot="9e1b" * 4,
                up=123_456,
                fence=7,
                hw="virtual-1",
                cfg="0badcafe",
                hold=False,
                heard_s=99.5,
                first_s=10.25,
                beats=12,
                channels={"a": (4, "idle", 12_000, 88_000)},
            )
        },
        readings={"kh": ((60_000_000, 2.85), (1, 2.86))},
        flawed={"ph": "out of range"},
        switches={"return": (True, 10.0, 99.0)},
        top_offs={"float": 1500},
        totals={"float": 40_500},
    )


def restored(stamp: Stamp) -> LedgerRestored:
    """A backup of two days before, with an answer for one pump."""
    return LedgerRestored(
        **stamp,
        made_at=NOON - timedelta(days=2),
        entries=40,
        newest_known=61,
        boot_id="boot-1",
        answered=True,
        dosed_ul={"left": 1200},
        effects={"reef": {"alkalinity": 2_264_400}},
        by="keeper",
    )
