"""One voyage from its seed: embark, let the weather come, judge, tell.

`sail(seed, days)` gives what befell it and what it broke; `story` is for people.
"""

import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from slackwater.facts.events import AnyEvent, ClockConfirmed, DoseIntended
from slackwater.facts.plan import Plan
from slackwater.facts.reasons import Code
from slackwater.facts.tank import Machine
from tests.faults import judge
from tests.faults.evidence import Evidence, Flow, Head, Line, Row
from tests.faults.sea import DAY_MS, Sea, embark, is_small
from tests.faults.telling import clock_words, entry_words, flow_words
from tests.faults.weather import bursts, storms
from tests.properties.outpost import Outpost
from tests.properties.play import hush, reached_by
from tests.properties.shell import Written, trap

DAYS = 20.0
PER_DAY = 1.0
YEAR_DAYS = 365.25
# Where memory has room the ledger waits for no disk; what dies is a process.
SHELF = Path("/dev/shm")  # noqa: S108 -- a folder of its own is made there
PLAIN = (
    "attempt",
    "boot_id",
    "by",
    "charge_ul",
    "hold_id",
    "latched",
    "request",
    "scope",
    "source",
)


@dataclass(slots=True, kw_only=True)
class Voyage:
    """A voyage that is over; `pump_days` were sailed, in so much of a processor."""

    seed: int
    days: float
    pump_days: float
    processor_s: float = 0.0
    met: Counter[str] = field(default_factory=Counter)
    reached: Counter[str] = field(default_factory=Counter)
    broken: tuple[str, ...] = ()
    doses: int = 0

    def __str__(self) -> str:
        """What a person needs to sail it again."""
        again = f"python -m tests.faults {self.seed} --days {self.days:g}"
        return "\n    ".join((f"seed {self.seed}: {again}", *self.broken))


def sail(seed: int, days: float = DAYS) -> Voyage:
    """Sail to the end and be judged."""
    hush()
    begun_s = time.process_time()
    with tempfile.TemporaryDirectory(dir=SHELF if SHELF.is_dir() else None) as name:
        sea, fell = _sail(seed, days, Path(name))
        broken = (fell,) if fell else tuple(judge.findings(evidence(sea)))
        # A sea is made of circles: until they are found it would keep a hundred files.
        sea.disk.backups.clear()
        return Voyage(
            seed=seed,
            days=days,
            # One that fell over sailed no further.
            pump_days=len(sea.home.plan.lines) * sea.times.t_ms / DAY_MS,
            met=sea.met + sea.disk.met + _spoiled(sea),
            reached=Counter(reached_by(sea.book.events())),
            broken=broken or (*_refolded(sea), *_came_again(sea)),
            doses=len(flows_of(sea)),
            processor_s=time.process_time() - begun_s,
        )


def story(seed: int, days: float = DAYS) -> Iterator[str]:
    """A voyage told in order of true time: faults, entries, water, and the verdict."""
    hush()
    with tempfile.TemporaryDirectory(dir=SHELF if SHELF.is_dir() else None) as name:
        sea, fell = _sail(seed, days, Path(name))
        told = [(t_ms, f"!! {words}") for t_ms, words in sea.told]
        told += [(one.t_ms, f"   {entry_words(one)}") for one in sea.book.entries]
        told += [(flow.begin_ms, f"~~ {flow_words(flow)}") for flow in flows_of(sea)]
        for t_ms, words in sorted(told, key=lambda each: each[0]):
            yield f"{clock_words(t_ms)} {words}"
        yield from (fell,) if fell else ()
        found = judge.findings(evidence(sea)) or [*_refolded(sea), *_came_again(sea)]
        yield "\n".join(found) if found else "nothing was broken"


def _sail(seed: int, days: float, folder: Path) -> tuple[Sea, str]:
    sea = embark(seed, days, folder)
    sea.after(0, lambda: bursts(sea, PER_DAY) if is_small(seed) else storms(sea))
    try:
        sea.run(sea.ends_ms)
    except Exception:  # noqa: BLE001 -- whatever ends the daemon is a finding
        return sea, f"the daemon fell: {traceback.format_exc(limit=-4)}"
    finally:
        # Whoever lives next in this process must not die of this one's wish.
        trap().wish = None
    return sea, ""


def _spoiled(sea: Sea) -> Counter[str]:
    return Counter({f"message {how}": n for how, n in sea.bus.spoiled.items()})


def _refolded(sea: Sea) -> Iterator[str]:
    """The state that decides is the one a start would read from the file."""
    if sea.daemon is None or not sea.disk.path.exists():
        return
    memory = sea.daemon.memory
    memory.news()
    if sea.daemon.rig.memory.state != memory.refolded():
        yield "the living state is not what a start would fold"


def _came_again(sea: Sea) -> Iterator[str]:
    """No dose comes up twice before a person has put a clock back.

    It would be refused, so no water shows it.
    """
    newest, put_back = sea.home.begin, False
    for event in sea.book.events():
        if isinstance(event, ClockConfirmed):
            put_back |= newest > event.at
            newest = event.at
        newest = max(newest, event.at)
        codes = [each.code for each in getattr(event, "reasons", ())]
        if Code.GIVEN_BEFORE in codes and not put_back:
            yield f"{event.at} a dose came up again"


def evidence(sea: Sea) -> Evidence:
    """What the judge is shown, in plain words and figures."""
    home = sea.home
    machines = (home.machine, home.other_machine)
    timing = [machine.timing for machine in machines]
    return Evidence(
        zone=home.machine.tanks["reef"].zone,
        late_s=max(each.lateness_s for each in timing),
        deadline_ms=int(max(each.deadline_s for each in timing) * 1000),
        cut_ms=max(node.cut_limit_ms for m in machines for node in m.nodes.values()),
        fresh_ms=int(max(each.beat_fresh_s for each in timing) * 1000),
        heads={name: _head(name, machines) for name in home.machine.pumps},
        lines=[pair for plan in (home.plan, home.other_plan) for pair in _lines(plan)],
        flows=flows_of(sea),
        rows=[_row(written) for written in sea.book.entries],
        sent=[(durable, command.attempt) for durable, command in sea.book.sent],
        signed=sea.disk.signed,
        foreign=frozenset(sea.foreign),
        rewound=sea.disk.rewound,
        forgotten=frozenset(sea.disk.forgotten),
        by_one_beat=min(each.start_beats for each in timing) == 1,
        beguiled=sea.beguiled,
    )


def _head(name: str, machines: tuple[Machine, ...]) -> Head:
    heads = [machine.pumps[name] for machine in machines if name in machine.pumps]
    hours = [head.per_hour_ul for head in heads]
    return Head(
        per_dose_ul=max(head.per_dose_ul for head in heads),
        per_day_ul=max(head.per_day_ul for head in heads),
        per_hour_ul=None if None in hours else max(h for h in hours if h is not None),
        per_calibration_ul=max(head.per_calibration_ul for head in heads),
        smallest_ul=max(head.smallest_dose_ul for head in heads),
    )


def _lines(plan: Plan) -> Iterator[tuple[str, Line]]:
    for line in plan.lines:
        windows = tuple((each.start_minute, each.end_minute) for each in line.windows)
        yield (
            line.id,
            Line(
                starts=plan.starts,
                count=line.count,
                per_day_ul=line.per_day_ul,
                windows=windows,
            ),
        )


def flows_of(sea: Sea) -> list[Flow]:
    """What the hoses of all devices gave, in order."""
    posts: list[Outpost] = [*sea.everyone(), *sea.gone]
    flows = [
        Flow(
            pump=burst.pump,
            node=post.name,
            attempt=burst.attempt,
            begin_ms=burst.begin_ms,
            end_ms=burst.end_ms,
            volume_ul=burst.volume_ul,
            factor=burst.factor,
            metered=burst.metered,
            device=(number, burst.boot),
        )
        for number, post in enumerate(posts)
        for burst in post.bursts
    ]
    return sorted(flows, key=lambda flow: flow.begin_ms)


def _row(written: Written) -> Row:
    event = written.event
    return Row(
        t_ms=written.t_ms,
        kind=event.kind,
        at=event.at,
        boot=written.now.boot_id,
        vouched=written.now.synchronised,
        heard_ms=written.heard_ms,
        of=_intent(event) if isinstance(event, DoseIntended) else _plain(event),
    )


def _plain(event: AnyEvent) -> Mapping[str, object]:
    return {name: getattr(event, name) for name in PLAIN if hasattr(event, name)}


def _intent(event: DoseIntended) -> Mapping[str, object]:
    return {
        "attempt": event.command.attempt,
        "dose": event.dose.id,
        "pump": event.dose.pump,
        "node": event.command.node,
        "ul": event.command.ul,
        "what": event.dose_kind,
    }
