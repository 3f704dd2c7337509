"""The judge of long scenarios: plain figures of the water, the wire and the entries.

It imports nothing of the daemon and nothing that does. What was asked for is what
people approved, laid out here by the rule of the README alone; what was charged is
summed here; what flowed is the world's own account. An empty list is what must come.
"""

import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from tests.faults.evidence import Evidence, Flow, Line, Row

HOUR_MS, DAY_MS = 3_600_000, 86_400_000
# A report may be a tenth wrong before anybody can know (common practice, no source).
HIDDEN = 1.1
A_DROP_UL = 1.0
# A day that a clock gave ahead comes again under names that end in .2, .3 ...
DOSE = re.compile(
    r"^(?P<tank>[^/]+)/(?P<line>[^@]+)@(?P<day>[\d-]+)#(?P<n>\d+)(\.\d+)?$"
)


def findings(shown: Evidence) -> list[str]:
    """Everything that was broken, each with its law first."""
    return [
        *_once(shown),
        *_before_acting(shown),
        *_caps(shown),
        *_as_approved(shown),
        *_proven(shown),
        *_held(shown),
        *_only_people(shown),
        *_taken_back(shown),
        *_water(shown),
    ]


def _intents(shown: Evidence) -> dict[str, Row]:
    return {
        str(row.of["attempt"]): row for row in shown.rows if row.kind == "dose_intended"
    }


def _own(shown: Evidence) -> list[Flow]:
    return [flow for flow in shown.flows if flow.attempt not in shown.foreign]


def _unseen(shown: Evidence) -> set[tuple[str, tuple[int, str]]]:
    """Attempts, and the devices that gave them after another one had.

    Nobody is left who could know: neither file nor witness, and another device, or one
    that forgot all when its power came back.
    """
    first: dict[str, tuple[int, str]] = {}
    return {
        (flow.attempt, flow.device)
        for flow in shown.flows
        if first.setdefault(flow.attempt, flow.device) != flow.device
        and flow.attempt in shown.forgotten
    }


def _once(shown: Evidence) -> Iterator[str]:
    """I2 one flow a dose; I5 what was voided never flowed, nothing leaves twice."""
    intents, doses, unseen = _intents(shown), Counter[str](), _unseen(shown)
    voided = {row.of["attempt"] for row in shown.rows if row.kind == "dose_voided"}
    for flow in _own(shown):
        if flow.attempt not in intents:
            yield f"I2 {flow.attempt} flowed and was never intended"
            continue
        dose = str(intents[flow.attempt].of["dose"])
        doses[dose] += (flow.attempt, flow.device) not in unseen
        late_ms = flow.begin_ms - intents[flow.attempt].t_ms
        if late_ms > shown.deadline_ms + _ahead_ms(shown, intents[flow.attempt]):
            yield f"H12 {dose} began {late_ms} ms after its intent"
        if flow.attempt in voided - shown.forgotten:
            yield f"I5 {dose} was voided and flowed"
        if flow.end_ms - flow.begin_ms > shown.cut_ms:
            yield f"I8 {dose} flowed for {flow.end_ms - flow.begin_ms} ms"
    yield from (f"I2 {dose} flowed {n} times" for dose, n in doses.items() if n > 1)
    known = (one for _, one in shown.sent if one not in shown.forgotten)
    times = Counter(known)
    yield from (f"I5 {one} left {n} times" for one, n in times.items() if n > 1)


def _ahead_ms(shown: Evidence, intent: Row) -> int:
    """How far ahead the only beat since the start may have set the node's clock.

    Nothing speaks against it for a household that is content with one; after a second
    beat, earlier or later, the node contradicts itself.
    """
    starts = (row.t_ms for row in shown.rows if row.kind == "started")
    started_ms = max((ms for ms in starts if ms <= intent.t_ms), default=0)
    ahead = (
        ahead_ms
        for node, at_ms, ahead_ms in shown.beguiled
        if node == intent.of["node"] and started_ms <= at_ms <= intent.t_ms
    )
    return max(ahead, default=0) if shown.by_one_beat else 0


def _before_acting(shown: Evidence) -> Iterator[str]:
    """I3: an intent is on the disk before its first byte leaves."""
    places: dict[str, int] = {}
    for number, row in enumerate(shown.rows):
        if row.kind == "dose_intended":
            places.setdefault(str(row.of["attempt"]), number)
    for durable, attempt in shown.sent:
        if places.get(attempt, durable) >= durable:
            yield f"I3 {attempt} left before its intent was durable"


def _charged(shown: Evidence) -> dict[str, float]:
    """What each attempt is charged with at the end of all entries."""
    charged: dict[str, float] = {}
    for row in shown.rows:
        attempt = str(row.of.get("attempt", ""))
        if row.kind == "dose_intended":
            charged[attempt] = float(str(row.of["ul"]))
        elif row.kind == "dose_voided" and attempt not in shown.forgotten:
            charged[attempt] = 0.0
        elif row.kind in ("dose_ended", "charge_raised"):
            more = float(str(row.of["charge_ul"]))
            charged[attempt] = max(charged.get(attempt, 0.0), more)
    return charged


def _caps(shown: Evidence) -> Iterator[str]:
    """I1: no dose, and no true hour or day of charges, above a cap."""
    voided = {row.of["attempt"] for row in shown.rows if row.kind == "dose_voided"}
    for pump, head in shown.heads.items():
        poured = [
            (row.t_ms, int(str(row.of["ul"])), str(row.of["dose"]))
            for row in shown.rows
            if row.kind == "dose_intended"
            and (row.of["pump"], row.of["what"]) == (pump, "plan")
            and row.of["attempt"] not in voided | shown.forgotten
        ]
        for _, asked_ul, dose in poured:
            if asked_ul > head.per_dose_ul:
                yield f"I1 {dose}: {asked_ul} µL of {head.per_dose_ul}"
        yield from _above(poured, DAY_MS, head.per_day_ul)
        if head.per_hour_ul is not None:
            yield from _above(poured, HOUR_MS, head.per_hour_ul)


def _above(
    poured: Sequence[tuple[int, int, str]], span_ms: int, cap_ul: int
) -> Iterator[str]:
    first, inside_ul = 0, 0
    for t_ms, asked_ul, dose in poured:
        inside_ul += asked_ul
        while poured[first][0] <= t_ms - span_ms:
            inside_ul -= poured[first][1]
            first += 1
        if inside_ul > cap_ul:
            yield f"I1 {dose}: {inside_ul} µL in {span_ms} ms of {cap_ul}"


def _as_approved(shown: Evidence) -> Iterator[str]:
    """I4, I9: each dose of a plan is one that people asked for, in its own time."""
    zone, seen = ZoneInfo(shown.zone), set[str]()
    for row in shown.rows:
        if row.kind != "dose_intended" or row.of["what"] != "plan":
            continue
        dose = str(row.of["dose"])
        match = DOSE.match(dose)
        if match is None:
            yield f"I9 {dose} is no dose of a plan"
            continue
        if dose in seen and row.of["attempt"] not in shown.forgotten:
            yield f"I4 {dose} was intended twice"
        seen.add(dose)
        asked = (date.fromisoformat(match["day"]), int(match["n"]))
        lines = [line for name, line in shown.lines if name == match["line"]]
        at = row.at.astimezone(zone)
        if not any(_fits(shown, line, asked, (at, row)) for line in lines):
            yield f"I9 {dose}: {row.of['ul']} µL at {at} is in no approved plan"


def _fits(
    shown: Evidence, line: Line, asked: tuple[date, int], given: tuple[datetime, Row]
) -> bool:
    """Whether a line asked for that much of this ordinal, on that day, about then."""
    day, ordinal = asked
    at, row = given
    most_ul = -(-line.per_day_ul // line.count)
    if not (1 <= ordinal <= line.count and day >= line.starts):
        return False
    if int(str(row.of["ul"])) > most_ul:
        return False
    length = sum(end - start for start, end in line.windows)
    first, last = (length * n / line.count for n in (ordinal - 1, ordinal))
    begin = _moment(line, first, day, at)
    end = _moment(line, last, day, at, end=True) + timedelta(seconds=shown.late_s)
    # Minutes of a clock change are laid where that day has them: an hour of slack.
    slack = timedelta(hours=1) if _changes(day, at) else timedelta()
    return begin - slack <= at <= end + slack


def _moment(
    line: Line, minutes: float, day: date, at: datetime, *, end: bool = False
) -> datetime:
    """So many minutes into the windows of a day; the end of a window is in it."""
    for start, stop in line.windows:
        if minutes < stop - start or (end and minutes <= stop - start):
            local = datetime.combine(day, time(), at.tzinfo)
            return local + timedelta(minutes=start + minutes)
        minutes -= stop - start
    return datetime.combine(day, time(), at.tzinfo) + timedelta(days=1)


def _changes(day: date, at: datetime) -> bool:
    """Whether the offset changes about that day."""
    noon = datetime.combine(day, time(12), at.tzinfo)
    around = (noon - timedelta(days=1), noon, noon + timedelta(days=1))
    return len({one.utcoffset() for one in around}) > 1


def _proven(shown: Evidence) -> Iterator[str]:
    """I7: the clock vouched for, the node heard a moment ago."""
    confirmed: set[str] = set()
    for row in shown.rows:
        if row.kind == "clock_confirmed":
            confirmed.add(str(row.of["boot_id"]))
        if row.kind != "dose_intended":
            continue
        if not row.vouched and row.boot not in confirmed:
            yield f"I7 {row.of['dose']}: nobody vouched for the clock"
        heard_ms = row.heard_ms.get(str(row.of["node"]))
        if heard_ms is None or row.t_ms - heard_ms > shown.fresh_ms:
            yield f"I7 {row.of['dose']}: the node was not heard"


def _held(shown: Evidence) -> Iterator[str]:
    """I7: while everything is held nothing is intended."""
    standing: set[str] = set()
    for number, row in enumerate(shown.rows):
        if number in shown.rewound:
            # The holds of a file that is gone are gone with it.
            standing.clear()
        if row.kind == "hold_raised" and row.of["scope"] == "all":
            standing.add(str(row.of["hold_id"]))
        elif row.kind == "hold_released":
            standing.discard(str(row.of["hold_id"]))
        elif row.kind == "dose_intended" and standing:
            yield f"I7 {row.of['dose']} while {sorted(standing)} held everything"


def _only_people(shown: Evidence) -> Iterator[str]:
    """I6: what only a person on the machine may do was done by nobody else."""
    kinds = (
        *("plan_approved", "pumps_enabled", "clock_confirmed"),
        *("shot_requested", "request_taken_back"),
    )
    written = Counter(row.kind for row in shown.rows if row.kind in kinds)
    for kind in kinds:
        if written[kind] > shown.signed[kind]:
            yield f"I6 {written[kind]} {kind}, {shown.signed[kind]} by people"
    latched: set[object] = set()
    for row in shown.rows:
        if row.kind == "hold_raised" and row.of["latched"]:
            latched.add(row.of["hold_id"])
        elif row.kind == "hold_released" and row.of["hold_id"] in latched:
            latched.discard(row.of["hold_id"])
            if row.of["by"] != "keeper":
                yield f"I6 {row.of['by']} released {row.of['hold_id']}"


def _taken_back(shown: Evidence) -> Iterator[str]:
    """H55: what a person took back is begun by nobody, before or after, nor flows."""
    flowed = {flow.attempt for flow in _own(shown)}
    back, begun = set[str](), dict[str, str]()
    for number, row in enumerate(shown.rows):
        if number in shown.rewound:
            # What a file that is gone told of the two is known to nobody any more.
            yield from _both(back, begun, flowed)
            back, begun = set(), {}
        if row.kind == "request_taken_back":
            back.add(str(row.of["request"]))
        elif row.kind == "dose_intended":
            begun[str(row.of["attempt"])] = str(row.of["dose"])
    yield from _both(back, begun, flowed)


def _both(back: set[str], begun: Mapping[str, str], flowed: set[str]) -> Iterator[str]:
    for attempt, dose in begun.items():
        if dose in back:
            how = "flowed" if attempt in flowed else "was begun"
            yield f"H55 {dose} was taken back and {how}"


def _water(shown: Evidence) -> Iterator[str]:
    """I10: water against charges over every stretch, and in any true day."""
    charged = _charged(shown)
    ended = {
        row.of["attempt"]
        for row in shown.rows
        if row.kind == "dose_ended" and row.of["source"] != "asked"
    }
    what = {a: row.of["what"] for a, row in _intents(shown).items()}
    unseen = _unseen(shown)
    seen = [flow for flow in _own(shown) if (flow.attempt, flow.device) not in unseen]
    for pump, head in shown.heads.items():
        own = sorted(
            (flow for flow in seen if flow.pump == pump),
            key=lambda flow: flow.begin_ms,
        )
        # Nobody can know what a hose gave that no meter and no report shows.
        known = [
            flow
            for flow in own
            if flow.factor <= HIDDEN or (flow.metered and flow.attempt in ended)
        ]
        yield from _stretches(pump, known, charged, head.smallest_ul)
        if all(flow.factor <= HIDDEN for flow in own):
            # A day is counted from intent to intent, and water follows an intent by up
            # to the deadline: so much shorter is the day of water that a cap bounds.
            day_ms = DAY_MS - shown.deadline_ms
            plan = [flow for flow in own if what.get(flow.attempt) == "plan"]
            most_ul = head.per_day_ul * HIDDEN + head.smallest_ul
            yield from _days(pump, plan, day_ms, most_ul)
            shots = [flow for flow in own if what.get(flow.attempt) == "calibrate"]
            yield from _days(pump, shots, day_ms, 24 * head.per_calibration_ul * HIDDEN)


def _stretches(
    pump: str, flows: Sequence[Flow], charged: Mapping[str, float], smallest_ul: int
) -> Iterator[str]:
    """The worst of all unbroken stretches, found by its running sum (Kadane 1984)."""
    above_ul = 0.0
    for flow in flows:
        own_ul = charged.get(flow.attempt, 0.0)
        over_ul = flow.volume_ul - own_ul * HIDDEN
        above_ul = max(above_ul, 0.0) + over_ul
        if above_ul > smallest_ul + A_DROP_UL:
            yield f"I10 {pump}: {above_ul:.0f} µL above the charges at {flow.end_ms}"
            return


def _days(
    pump: str, flows: Sequence[Flow], day_ms: int, cap_ul: float
) -> Iterator[str]:
    first, inside_ul = 0, 0.0
    for flow in flows:
        inside_ul += flow.volume_ul
        while flows[first].begin_ms <= flow.end_ms - day_ms:
            inside_ul -= flows[first].volume_ul
            first += 1
        if inside_ul > cap_ul + A_DROP_UL:
            yield f"I10 {pump}: {inside_ul:.0f} µL in a day of {cap_ul:.0f}"
            return
