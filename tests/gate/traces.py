"""A trace of inputs under way, told to the gate and to the plain judge alike."""

import math
from collections import Counter
from dataclasses import replace
from datetime import timedelta
from functools import cache
from random import Random

from slackwater.facts.events import AnyEvent, HoldRaised, ReadingKept
from slackwater.facts.fold import fold_all
from slackwater.facts.messages import Channel, Reading
from slackwater.facts.releases import way_out
from slackwater.facts.sight import see
from slackwater.facts.tank import Machine, Outside
from slackwater.gate.moment import Moment, Rules, rules_for
from slackwater.gate.verdict import Granted, may_dose
from slackwater.gate.watches import BY_NAME
from slackwater.pump.outcome import Stamp
from slackwater.turn.listening import is_worth_keeping
from slackwater.turn.watching import end_by_news, hear_news, watch
from tests.gate.plain_oracle import Plain
from tests.gate.plain_tables import DOSE_UL, PROBES, SWITCHES
from tests.gate.scene import APPROVAL, PROBE, TODAY, ask, beat, dkh, moment
from tests.gate.watched import PROBES as RECORDS
from tests.gate.watched import PUMPS, switch, watched_machine, watched_plan

MINUTE, HOUR, DAY = 60.0, 3_600.0, 86_400.0
GROUPS: tuple[frozenset[str], ...] = (
    frozenset(),
    frozenset({"soda", "calcium"}),
    frozenset({"calcium", "raise"}),
    frozenset({"food", "iodine"}),
)


@cache
def house(
    probes: frozenset[str],
    switches: frozenset[str],
    group: frozenset[str],
    *,
    counts: bool,
) -> tuple[Machine, Rules]:
    """The machine and its rules for a choice of inputs; made once for each."""
    quick = replace(PROBE, period_s=300.0)
    by_kind = {one.parameter: one for one in (*RECORDS.values(), quick)}
    records = [replace(by_kind[PROBES[name][0]], id=name) for name in sorted(probes)]
    wired = tuple(
        switch(
            role,  # type: ignore[arg-type]  # the judge's names are roles
            hold_at_least_s=SWITCHES[role][1] or 60.0,
            pump="soda" if role == "power" else "",
        )
        for role in sorted(switches)
    )
    if counts:
        wired += (switch("top-off", "refill", unit_ul=1_000),)
    used = watched_machine(*records, switches=wired)
    bottle = replace(used.reservoirs["one"], low_ul=100_000, keeps_s=90 * DAY)
    lime = Outside(id="lime", tank="reef", parameter="alkalinity", per_day=int(counts))
    used = replace(used, reservoirs={"one": bottle}, outside=(lime,))
    grouped = (tuple(sorted(group)),) if group else ()
    return used, rules_for(used, watched_plan(*grouped))


class Trace:
    """One trace under way: the gate's moment and the judge, told the same."""

    def __init__(self, seed: int) -> None:
        """Draw a house and begin with nothing heard."""
        self.chance = Random(seed)  # noqa: S311 -- to be repeated, not to be secret
        draw = self.chance
        probes = frozenset(p for p in PROBES if draw.random() < 0.45)
        switches = frozenset(s for s in SWITCHES if draw.random() < 0.25)
        group, counts = draw.choice(GROUPS), draw.random() < 0.25
        used, rules = house(probes, switches, group, counts=counts)
        self.at: Moment = replace(moment(used), rules=rules, approval=LASTING)
        self.at.sight.started_boot_s = self.at.now.boot_s - 120.0
        self.judge = Plain(
            probes=probes,
            switches=switches,
            group=group,
            begun=-120.0,
            midnight=self.at.now.utc.timestamp() % DAY,
            counted={} if counts else None,
        )
        self.begin = self.at.now.utc
        self.told: list[str] = []
        self.wait(0.0)

    def wait(self, span_s: float) -> None:
        """Let time pass; the node beats, both look."""
        self.judge.now += span_s
        now, span = self.at.now, timedelta(seconds=span_s)
        now = replace(now, utc=now.utc + span, boot_s=now.boot_s + span_s)
        passed_ms = int(span_s * 1000)
        self.at = replace(self.at, now=now, proven_ms=self.at.proven_ms + passed_ms)
        self.at.sight.nodes["shelf"].beat = replace(HEALTHY, heard_boot_s=now.boot_s)
        self.told.append(f"wait {span_s}")
        self.look()

    def look(self) -> None:
        """Put on record what is seen, until nothing more is."""
        self.judge.look()
        for _ in range(6):
            events = list(watch(self.at, self.stamp))
            if not events:
                return
            self.write(*events)
        raise AssertionError(self.told)

    @property
    def stamp(self) -> Stamp:
        """The clocks of this moment."""
        now = self.at.now
        return {"at": now.utc, "boot_s": now.boot_s, "proven_ms": self.at.proven_ms}

    def write(self, *events: AnyEvent) -> None:
        """Entries of people, and of the daemon with the news that it heard."""
        for event in events:
            if isinstance(event, HoldRaised):
                word, _, _ = event.scope.partition("/")
                name, _, _ = event.hold_id.partition("/")
                row, ends = BY_NAME[name], way_out(event.reason.code)
                assert (row.scope, row.lasting == "latched") == (word, event.latched)
                # What ends it is told as the table has it.
                needs_a_person = "slackwater release" in ends or "releases" in ends
                assert event.latched == needs_a_person, ends
        fold_all(self.at.state, events)

    def read(self, probe: str, value: float) -> None:
        """A probe shows a value."""
        self.told.append(f"{probe} {value}")
        self.judge.read(probe, value)
        is_alkalinity = PROBES[probe][0] == "alkalinity"
        reading = Reading(
            tank="reef",
            probe=probe,
            parameter=PROBES[probe][0],
            value=dkh(value) if is_alkalinity else value,
            at=self.at.now.utc,
        )
        see(self.at.sight, reading)
        if is_alkalinity and self.at.sight.readings[probe][-1] is reading:
            self._hear(reading)

    def _hear(self, reading: Reading) -> None:
        """What the turn puts on record with a reading, but for verdicts on series."""
        kept = self.at.state.readings.get(reading.probe)
        raised = list(hear_news(self.at, reading, self.stamp))
        if raised or not kept or is_worth_keeping(self.at, reading, kept[-1]):
            keep = ReadingKept(
                **self.stamp,
                tank=reading.tank,
                probe=reading.probe,
                parameter=reading.parameter,
                value=reading.value,
                taken_at=reading.at,
            )
            self.write(keep)
        self.write(*raised)
        if not raised:
            self.write(*end_by_news(self.at, reading.tank, self.stamp))

    def ask(self, line: str) -> str:
        """What both say of one line; a finding, or nothing."""
        word, most = self.judge.says(line)
        verdict = may_dose(self.at, ask(self.at, line), TODAY)
        given_ul = verdict.volume_ul if isinstance(verdict, Granted) else 0
        most_ul = math.floor(DOSE_UL * most + 1e-6)
        fits = given_ul == most_ul if word == "free" else given_ul <= most_ul
        SAID[word] += 1
        BLAMED.update(self.judge.blamed)
        self.judge.blamed.clear()
        return "" if fits else f"{line} is {word}, {given_ul} uL ran: {verdict}"


SAID: Counter[str] = Counter()
BLAMED: Counter[str] = Counter()
LASTING = replace(APPROVAL, expires_at=APPROVAL.takes_over_at + timedelta(days=9_000))
HEALTHY = replace(
    beat(),
    channels=dict.fromkeys(
        PUMPS, Channel(n=4, state="idle", odo_ul=0, odo_ms=0, budget_ul=250_000)
    ),
)
