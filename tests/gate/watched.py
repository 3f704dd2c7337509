"""An invented tank with one line for each kind of solution, and inputs that watch it.

`Watched` lets time pass and inputs speak, puts on record what the interlocks say, and
tells which lines are stopped or shortened.
"""

from collections.abc import Mapping
from dataclasses import replace
from datetime import timedelta

from slackwater.facts.events import AnyEvent, HoldRaised, HoldReleased
from slackwater.facts.fold import fold_all
from slackwater.facts.limits import Role, Switch, WaterLimits
from slackwater.facts.messages import Channel, Reading, SpoiledReading, SwitchSeen
from slackwater.facts.plan import Group, Plan, PlanLine, Purpose, Window
from slackwater.facts.reasons import Code, Reason
from slackwater.facts.sight import see
from slackwater.facts.tank import EffectCap, Machine, Probe, Pump, Solution
from slackwater.gate.interlocks import refusals
from slackwater.gate.moment import Ask, Moment, rules_for
from slackwater.gate.shortening import share_of
from slackwater.pump.outcome import Stamp
from slackwater.turn.watching import watch
from tests.gate.scene import (
    CALCIUM_PG_PER_UL,
    CARBONATE_PEQ_PER_UL,
    GUARD,
    TODAY,
    ask,
    beat,
    machine,
    moment,
)

MINUTE = timedelta(minutes=1)
HOUR = timedelta(hours=1)
DAY = timedelta(days=1)

# What each pump gives: its solution, and whether its line corrects.
PUMPS: Mapping[str, tuple[Solution, Purpose]] = {
    "lye": (
        Solution(
            id="lye",
            name="sodium hydroxide",
            effects={"alkalinity": 1_000_000},
            ions=("Na", "OH"),
            hydroxide=True,
        ),
        "maintenance",
    ),
    "soda": (
        Solution(
            id="soda",
            name="sodium carbonate",
            effects={"alkalinity": CARBONATE_PEQ_PER_UL},
            ions=("CO3", "Na"),
        ),
        "maintenance",
    ),
    "mild": (
        Solution(
            id="mild",
            name="sodium hydrogen carbonate",
            effects={"alkalinity": 900_000},
            ions=("HCO3", "Na"),
        ),
        "maintenance",
    ),
    "calcium": (
        Solution(
            id="calcium",
            name="calcium chloride",
            effects={"calcium": CALCIUM_PG_PER_UL},
            ions=("Ca", "Cl"),
        ),
        "maintenance",
    ),
    "raise": (
        Solution(
            id="raise",
            name="magnesium chloride",
            effects={"magnesium": 60_000_000},
            ions=("Cl", "Mg"),
        ),
        "correction",
    ),
    "iodine": (
        Solution(id="iodine", name="iodide", effects={"iodine": 50_000}, ions=("I",)),
        "maintenance",
    ),
    "food": (
        Solution(
            id="food",
            name="ethanol",
            effects={"carbon": 1_000_000},
            ions=("C2H5OH",),
        ),
        "maintenance",
    ),
    "plain": (Solution(id="plain", name="no effects"), "maintenance"),
}
LINES = frozenset(PUMPS)
ALKALINE = frozenset({"lye", "soda", "mild"})
RAISING = frozenset({"lye", "soda"})
EXTRAS = frozenset({"raise", "food"})

PROBES: Mapping[str, Probe] = {
    "ph": Probe(
        id="ph",
        tank="reef",
        parameter="ph",
        unit="pH",
        scale=1.0,
        offset=0.0,
        period_s=300.0,
        resolution=0.01,
        low=6.5,
        high=9.5,
        frozen_after_s=21_600.0,
    ),
    "warm": Probe(
        id="warm",
        tank="reef",
        parameter="temperature",
        unit="degC",
        scale=1.0,
        offset=0.0,
        period_s=300.0,
        resolution=0.1,
        low=10.0,
        high=35.0,
        frozen_after_s=86_400.0,
    ),
    "salt": Probe(
        id="salt",
        tank="reef",
        parameter="salinity",
        unit="PSU",
        scale=1.0,
        offset=0.0,
        period_s=300.0,
        resolution=0.01,
        low=20.0,
        high=42.0,
        frozen_after_s=86_400.0,
    ),
}
# What well-kept water shows.
CALM = {"ph": 8.2, "warm": 25.5, "salt": 35.0}


def switch(role: Role, name: str = "", **changes: object) -> Switch:
    """A switch of a role, normal as its role is."""
    made = Switch(
        id=name or role,
        tank="reef",
        role=role,
        normal_on=role in ("return-pump", "skimmer", "air"),
    )
    return replace(made, **changes)  # type: ignore[arg-type]  # fields of Switch


def watched_machine(
    *probes: str | Probe,
    switches: tuple[Switch, ...] = (),
    limits: WaterLimits | None = None,
) -> Machine:
    """The tank with its eight pumps and the inputs that are asked for."""
    base = machine()
    tank = replace(
        base.tanks["reef"],
        caps={
            name: EffectCap(gross=10**15)
            for solution, _ in PUMPS.values()
            for name in solution.effects
        },
        uptake={},
    )
    named = [PROBES[each] if isinstance(each, str) else each for each in probes]
    return replace(
        base,
        tanks={"reef": tank},
        solutions={name: solution for name, (solution, _) in PUMPS.items()},
        pumps={name: _pump(base.pumps["carbonate"], name) for name in PUMPS},
        apart={},
        guards={"reef": GUARD},
        probes={probe.id: probe for probe in named},
        switches={each.id: each for each in switches},
        limits={} if limits is None else {"reef": limits},
    )


def _pump(like: Pump, name: str) -> Pump:
    return replace(like, id=name, channel=name, solution=name)


def watched_plan(*groups: tuple[str, ...]) -> Plan:
    """A line for each pump, 48 mL a day in 24 doses; some of them in groups."""
    of = {name: f"g{n}" for n, group in enumerate(groups) for name in group}
    lines = tuple(
        PlanLine(
            id=name,
            tank="reef",
            solution=name,
            pump=name,
            per_day_ul=48_000,
            count=24,
            windows=(Window(start_minute=0, end_minute=1440),),
            group=of.get(name, ""),
            purpose=purpose,
        )
        for name, (_, purpose) in PUMPS.items()
    )
    known = {
        f"g{n}": Group(id=f"g{n}", ratio=dict.fromkeys(group, 1))
        for n, group in enumerate(groups)
    }
    return Plan(name="watched", starts=TODAY, lines=lines, groups=known)


class Watched:
    """The tank at a moment that moves on; everything else is proven all the time."""

    def __init__(self, used: Machine, *groups: tuple[str, ...]) -> None:
        """Begin with calm readings over the last two hours and switches as normal."""
        at = moment(used)
        self.at = replace(at, rules=rules_for(used, watched_plan(*groups)))
        self.events: list[AnyEvent] = []
        for minutes in range(120, -1, -5):
            for probe in used.probes.values():
                self._reading(probe.id, self._calm(probe.id, minutes), -minutes)
        for each in used.switches.values():
            self.say(each.id, is_on=each.normal_on)
        self.pass_time(timedelta())

    def _calm(self, probe: str, minutes: int) -> float:
        configured = self.at.machine.probes[probe]
        by_kind = {"ph": "ph", "temperature": "warm", "salinity": "salt"}
        quiet = CALM.get(by_kind.get(configured.parameter, ""), 2.85)
        targets = self.at.machine.tanks["reef"].targets
        quiet = targets.get(configured.parameter, quiet)
        return quiet + configured.resolution * (minutes // 5 % 2)

    def _reading(self, probe: str, value: float, minutes: float = 0.0) -> None:
        configured = self.at.machine.probes[probe]
        see(
            self.at.sight,
            Reading(
                tank="reef",
                probe=probe,
                parameter=configured.parameter,
                value=value,
                at=self.at.now.utc + timedelta(minutes=minutes),
            ),
        )

    def pass_time(self, span: timedelta) -> None:
        """Move all clocks on; the node beats on, and the interlocks look."""
        now = self.at.now
        passed_ms = int(span / timedelta(milliseconds=1))
        now = replace(now, utc=now.utc + span, boot_s=now.boot_s + span.total_seconds())
        self.at = replace(self.at, now=now, proven_ms=self.at.proven_ms + passed_ms)
        channel = Channel(n=4, state="idle", odo_ul=0, odo_ms=0, budget_ul=250_000)
        healthy = replace(
            beat(), heard_boot_s=now.boot_s, channels=dict.fromkeys(PUMPS, channel)
        )
        self.at.sight.nodes["shelf"].beat = healthy
        self.look()

    def look(self) -> None:
        """Let the interlocks put on record what they see, until they are done."""
        stamp: Stamp = {
            "at": self.at.now.utc,
            "boot_s": self.at.now.boot_s,
            "proven_ms": self.at.proven_ms,
        }
        for _ in range(10):
            told = list(watch(self.at, stamp))
            fold_all(self.at.state, told)
            self.events += told
            if not told:
                return
        raise AssertionError(told)

    @property
    def stamp(self) -> Stamp:
        """The clocks of this moment, for an entry."""
        now = self.at.now
        return {
            "at": now.utc,
            "boot_s": now.boot_s,
            "proven_ms": self.at.proven_ms,
        }

    def read(self, probe: str, value: float) -> None:
        """A reading of this moment."""
        self._reading(probe, value)
        self.look()

    def spoil(self, probe: str, why: str = "unit changed") -> None:
        """A reading that was refused at the rim."""
        see(self.at.sight, SpoiledReading(tank="reef", probe=probe, why=why))
        self.look()

    def say(self, name: str, *, is_on: bool) -> None:
        """A switch speaks."""
        seen = SwitchSeen(
            tank="reef", switch=name, is_on=is_on, heard_boot_s=self.at.now.boot_s
        )
        see(self.at.sight, seen)
        self.look()

    def write(self, *events: AnyEvent) -> None:
        """Somebody else's entries."""
        fold_all(self.at.state, events)
        self.look()

    def read_for(self, span: timedelta, **values: float) -> None:
        """Readings each five minutes, never the same twice, switches well all along."""
        end = self.at.now.utc + span
        while self.at.now.utc < end:
            self.pass_time(5 * MINUTE)
            odd = int(self.at.now.utc.timestamp() // 300) % 2
            for probe, value in values.items():
                step = self.at.machine.probes[probe].resolution
                self._reading(probe, value - step * odd)
            for each in self.at.machine.switches.values():
                seen = self.at.sight.switches.get(each.id)
                if seen is not None:
                    self.say(each.id, is_on=seen.is_on)
            self.look()

    def asked(self, line: str) -> Ask:
        """The first dose of the day of a line."""
        return ask(self.at, line)

    def reasons(self, line: str) -> list[Reason]:
        """Everything that refuses a dose of the line now."""
        return refusals(self.at, self.asked(line))

    def codes(self, line: str) -> list[Code]:
        """The codes of these."""
        return [reason.code for reason in self.reasons(line)]

    @property
    def stopped(self) -> set[str]:
        """The lines of which no dose may begin."""
        return {line for line in PUMPS if self.reasons(line)}

    @property
    def shares(self) -> dict[str, int]:
        """Lines that are shortened, with their share in percent."""
        found = {
            line: share_of(self.at, self.asked(line)).ppm // 10_000 for line in PUMPS
        }
        return {line: percent for line, percent in found.items() if percent < 100}

    @property
    def holds(self) -> list[str]:
        """The names of the holds that stand."""
        return sorted(self.at.state.holds)

    @property
    def raised(self) -> list[HoldRaised]:
        """Every hold that was put on record."""
        return [event for event in self.events if isinstance(event, HoldRaised)]

    @property
    def released(self) -> list[HoldReleased]:
        """Every end of a hold."""
        return [event for event in self.events if isinstance(event, HoldReleased)]


def plain(used: Machine) -> Moment:
    """The moment of a tank without any past."""
    return replace(moment(used), rules=rules_for(used, watched_plan()))
