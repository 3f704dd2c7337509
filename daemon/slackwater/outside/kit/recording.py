"""The cases written out for one invented head, as bytes and answers.

Floor 6. One subject: cases to a document that any language can read. Laws here: equal
programs give equal bytes; every record says in which state the head must be before.
"""

from slackwater.outside.kit.cases import CASES, Case
from slackwater.outside.kit.plate import (
    Moment,
    Plate,
    altered,
    base,
    resolved,
    signed,
    written,
)

# Invented, as everything here.
KEY = bytes(range(32))
PLATE = Plate(
    chan="a", nominal_ul_per_min=30_000, max_ul=5_000, max_ms=20_000, max_cut_ms=25_000
)
DAY_UL = 120_000
MOMENT = Moment(boot="9e1b000000000001", n=4, fence=3, up=97_200_000, room=110_000)
SPENT_UL = 1_000


def recorded() -> dict[str, object]:
    """All cases: what to send and what must come back."""
    return {
        "v": 1,
        "invented": "An invented head; no such node exists.",
        "head": {
            "chan": PLATE.chan,
            "nominal_ul_per_min": PLATE.nominal_ul_per_min,
            "max_ul": PLATE.max_ul,
            "max_ms": PLATE.max_ms,
            "max_cut_ms": PLATE.max_cut_ms,
            "day_ul": DAY_UL,
            "boot": MOMENT.boot,
            "n": MOMENT.n,
            "fence": MOMENT.fence,
            "up": MOMENT.up,
        },
        "cases": [_record(number, case) for number, case in enumerate(CASES)],
    }


def _record(number: int, case: Case) -> dict[str, object]:
    key = KEY if case.signs else b""
    command_id = f"{number + 1:032x}"
    changes = resolved(case.changes, PLATE, MOMENT)
    fields = signed({**base(PLATE, MOMENT, case.act, command_id), **changes}, key)
    if case.altered:
        fields = altered(fields, case.altered)
    return {
        "name": case.name,
        "rule": case.rule,
        "situation": case.situation,
        "room_ul": SPENT_UL if case.situation == "spent" else MOMENT.room,
        "key": key.hex(),
        "retained": case.retained,
        "payload_hex": written(fields, case.shape).hex(),
        "answer": case.answer,
        "reason": case.reason,
        "may_be_silent": case.may_be_silent,
    }
