"""The judge of voyages finds each harm when it is there, and nothing where none is.

One invented dose of one pump, and one thing at a time made wrong with it.
"""

from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest

from tests.faults.evidence import Evidence, Flow, Head, Line, Row
from tests.faults.judge import findings

DOSE, ATTEMPT, PUMP, NODE = "reef/carbonate@2026-05-03#01", "a1", "carbonate", "shelf"
DAY_MS = 86_400_000
BEGIN = datetime(2026, 5, 3, 10, 0, 5, tzinfo=UTC)
INTENT = Row(
    t_ms=5_000,
    kind="dose_intended",
    at=BEGIN,
    boot="boot-1",
    vouched=True,
    heard_ms={NODE: 4_000},
    of={
        "attempt": ATTEMPT,
        "dose": DOSE,
        "pump": PUMP,
        "node": NODE,
        "ul": 1000,
        "what": "plan",
    },
)
FLOW = Flow(
    pump=PUMP,
    node=NODE,
    attempt=ATTEMPT,
    begin_ms=5_050,
    end_ms=6_050,
    volume_ul=1000.0,
    factor=1.0,
    metered=True,
)
SOUND = Evidence(
    zone="UTC",
    late_s=180.0,
    deadline_ms=8_000,
    cut_ms=20_000,
    fresh_ms=20_000,
    heads={
        PUMP: Head(
            per_dose_ul=1500,
            per_day_ul=2500,
            per_hour_ul=None,
            per_calibration_ul=3000,
            smallest_ul=300,
        )
    },
    lines=[
        (
            "carbonate",
            Line(
                starts=date(2026, 5, 1),
                count=2,
                per_day_ul=2000,
                windows=((600, 1200),),
            ),
        )
    ],
    flows=[FLOW],
    rows=[INTENT],
    sent=[(1, ATTEMPT)],
    signed=Counter(),
)


def row(kind: str, **of: object) -> Row:
    """Another entry, right before the intent."""
    return replace(INTENT, t_ms=4_500, kind=kind, of=of)


def later(number: int, shift_ms: int) -> tuple[Row, Flow]:
    """The same dose of a later day, with its own names."""
    attempt = f"b{number}"
    of = {
        **INTENT.of,
        "attempt": attempt,
        "dose": f"reef/carbonate@2026-05-0{number}#01",
    }
    return (
        replace(
            INTENT,
            t_ms=INTENT.t_ms + shift_ms,
            at=BEGIN + timedelta(days=number - 3),
            heard_ms={NODE: INTENT.t_ms + shift_ms},
            of=of,
        ),
        replace(
            FLOW,
            attempt=attempt,
            begin_ms=FLOW.begin_ms + shift_ms,
            end_ms=FLOW.end_ms + shift_ms,
        ),
    )


def as_intended(**of: object) -> Evidence:
    """The sound evidence with other words in its intent."""
    return replace(SOUND, rows=[replace(INTENT, of={**INTENT.of, **of})])


def crowded() -> Evidence:
    """Three doses within one true day, each of them of a day of its own."""
    more = [later(number, (number - 3) * 3_600_000) for number in (4, 5)]
    return replace(
        SOUND,
        rows=[INTENT, *(each for each, _ in more)],
        flows=[FLOW, *(flow for _, flow in more)],
        sent=[(3, ATTEMPT), (3, "b4"), (3, "b5")],
    )


HARMS: dict[str, tuple[str, Callable[[], Evidence]]] = {
    "flowed twice": (
        "I2",
        lambda: replace(SOUND, flows=[FLOW, replace(FLOW, begin_ms=7_000)]),
    ),
    "never intended": (
        "I2",
        lambda: replace(SOUND, flows=[FLOW, replace(FLOW, attempt="zz")]),
    ),
    "sent twice": ("I5", lambda: replace(SOUND, sent=[(1, ATTEMPT), (1, ATTEMPT)])),
    "voided and flowed": (
        "I5",
        lambda: replace(SOUND, rows=[INTENT, row("dose_voided", attempt=ATTEMPT)]),
    ),
    "sent before it was kept": ("I3", lambda: replace(SOUND, sent=[(0, ATTEMPT)])),
    "late": (
        "H12",
        lambda: replace(SOUND, flows=[replace(FLOW, begin_ms=14_000, end_ms=15_000)]),
    ),
    "without an end": (
        "I8",
        lambda: replace(SOUND, flows=[replace(FLOW, end_ms=26_000)]),
    ),
    "above the cap of a dose": ("I1", lambda: as_intended(ul=1501)),
    "above the cap of a day": ("I1", crowded),
    "more than was asked": ("I9", lambda: as_intended(ul=1001)),
    "an ordinal nobody asked for": (
        "I9",
        lambda: as_intended(dose="reef/carbonate@2026-05-03#03"),
    ),
    "a line nobody asked for": ("I9", lambda: as_intended(dose="reef/x@2026-05-03#01")),
    "caught up later": (
        "I9",
        lambda: replace(
            SOUND, rows=[replace(INTENT, at=BEGIN + timedelta(hours=5, minutes=4))]
        ),
    ),
    "before its time": (
        "I9",
        lambda: replace(SOUND, rows=[replace(INTENT, at=BEGIN - timedelta(minutes=1))]),
    ),
    "intended twice": (
        "I4",
        lambda: replace(SOUND, rows=[INTENT, replace(INTENT, t_ms=5_001)]),
    ),
    "by no clock": (
        "I7",
        lambda: replace(SOUND, rows=[replace(INTENT, vouched=False)]),
    ),
    "into silence": (
        "I7",
        lambda: replace(SOUND, rows=[replace(INTENT, heard_ms={NODE: -16_000})]),
    ),
    "while held": (
        "I7",
        lambda: replace(
            SOUND,
            rows=[row("hold_raised", hold_id="x", scope="all", latched=True), INTENT],
            sent=[(2, ATTEMPT)],
        ),
    ),
    "enabled by nobody": (
        "I6",
        lambda: replace(
            SOUND, rows=[row("pumps_enabled"), INTENT], sent=[(2, ATTEMPT)]
        ),
    ),
    "a latch released by the daemon": (
        "I6",
        lambda: replace(
            SOUND,
            rows=[
                row("hold_raised", hold_id="x", scope="pump", latched=True),
                row("hold_released", hold_id="x", by="daemon"),
                INTENT,
            ],
            sent=[(3, ATTEMPT)],
        ),
    ),
    "taken back and begun all the same": (
        "H55",
        lambda: replace(
            SOUND,
            rows=[row("request_taken_back", request=DOSE), INTENT],
            sent=[(2, ATTEMPT)],
            flows=[],
        ),
    ),
    "begun and taken back all the same": (
        "H55",
        lambda: replace(SOUND, rows=[INTENT, row("request_taken_back", request=DOSE)]),
    ),
    "taken back by nobody": (
        "I6",
        lambda: replace(SOUND, rows=[INTENT, row("request_taken_back", request="x")]),
    ),
    "more water than charged": (
        "I10",
        lambda: replace(SOUND, flows=[replace(FLOW, volume_ul=1402.0)]),
    ),
}


def test_where_nothing_is_wrong_nothing_is_found() -> None:
    """The dose as it should be."""
    assert [] == findings(SOUND)


@pytest.mark.parametrize("harm", HARMS)
def test_each_harm_is_found_by_its_law(harm: str) -> None:
    """One thing wrong, and the law that it breaks is named."""
    law, spoiled = HARMS[harm]
    assert law in {words.split()[0] for words in findings(spoiled())}


@pytest.mark.parametrize(
    ("rewound", "found"), [((), ["flowed"]), ((1,), []), ((2,), ["flowed"])]
)
def test_what_a_file_that_is_gone_took_back_may_be_asked_for_again(
    rewound: tuple[int, ...], found: list[str]
) -> None:
    """The request waits once more in the older file; within one file it never does."""
    shown = replace(
        SOUND,
        rows=[row("request_taken_back", request=DOSE), INTENT],
        sent=[(2, ATTEMPT)],
        signed=Counter({"request_taken_back": 1}),
        rewound=rewound,
    )
    assert found == [words.split()[-1] for words in findings(shown)]


@pytest.mark.parametrize(
    ("device", "forgotten", "found"),
    [
        ((0, "one"), False, True),
        ((0, "one"), True, True),
        ((0, "two"), False, True),
        ((1, "one"), False, True),
        # Neither file nor witness nor node can know of the first time.
        ((0, "two"), True, False),
        ((1, "one"), True, False),
    ],
)
def test_a_second_flow_is_forgiven_only_where_nobody_was_left_to_know(
    device: tuple[int, str], *, forgotten: bool, found: bool
) -> None:
    """The machine was put back whole, and the node began anew or is another one."""
    first = replace(FLOW, volume_ul=500.0, device=(0, "one"))
    again = replace(first, begin_ms=7_050, end_ms=7_550, device=device)
    shown = replace(
        SOUND,
        flows=[first, again],
        forgotten=frozenset({ATTEMPT}) if forgotten else frozenset(),
    )
    assert found == any(word.startswith("I2 ") for word in findings(shown))


def test_a_day_of_water_above_its_cap_is_found_without_any_entry() -> None:
    """The water alone: twice what a day may have, whatever the entries say."""
    flood = [
        replace(FLOW, attempt=f"c{n}", begin_ms=n * 10_000, end_ms=n * 10_000 + 1_000)
        for n in range(4)
    ]
    rows = [
        replace(INTENT, t_ms=n * 10_000, of={**INTENT.of, "attempt": f"c{n}"})
        for n in range(4)
    ]
    shown = replace(SOUND, flows=flood, rows=rows, sent=[])
    assert any(
        words.startswith(f"I10 {PUMP}") and "in a day" in words
        for words in findings(shown)
    )


@pytest.mark.parametrize(("late_ms", "found"), [(7_000, False), (9_000, True)])
def test_a_day_of_water_is_a_day_of_intents(late_ms: int, *, found: bool) -> None:
    """Water that follows its intent within the deadline makes no day fuller."""
    starts_ms = [0, DAY_MS // 3, 2 * DAY_MS // 3, DAY_MS]
    begins_ms = [starts_ms[0] + late_ms, *starts_ms[1:]]
    flows = [
        replace(FLOW, attempt=f"d{n}", begin_ms=at, end_ms=at + 800, volume_ul=800.0)
        for n, at in enumerate(begins_ms)
    ]
    rows = [
        replace(INTENT, t_ms=at, of={**INTENT.of, "attempt": f"d{n}", "ul": 800})
        for n, at in enumerate(starts_ms)
    ]
    words = findings(replace(SOUND, flows=flows, rows=rows, sent=[]))
    assert found == any("in a day" in each for each in words)


@pytest.mark.parametrize(
    ("by_one_beat", "node", "at_ms", "begin_ms", "found"),
    [
        (True, NODE, 4_700, 72_999, False),
        (True, NODE, 4_700, 73_001, True),
        (False, NODE, 4_700, 14_000, True),
        (True, "rack", 4_700, 14_000, True),
        # Before the start it was heard by nobody who still lives; after, too late.
        (True, NODE, 4_400, 14_000, True),
        (True, NODE, 5_001, 14_000, True),
    ],
)
def test_a_command_is_late_by_no_more_than_the_one_beat_was_ahead(
    *, by_one_beat: bool, node: str, at_ms: int, begin_ms: int, found: bool
) -> None:
    """A household that is content with one beat after a start believes its clock."""
    shown = replace(
        SOUND,
        rows=[row("started"), INTENT],
        sent=[(2, ATTEMPT)],
        flows=[replace(FLOW, begin_ms=begin_ms, end_ms=begin_ms + 1_000)],
        by_one_beat=by_one_beat,
        beguiled=[(node, at_ms, 60_000)],
    )
    assert found == any(word.startswith("H12 ") for word in findings(shown))
