"""An invented reef with five pumps, and plans for it.

All figures are invented. Strengths: carbonate 1.887 meq/mL, calcium 20 mg/mL,
magnesium 30 mg/mL; the pumps give 1 mL/s, so that a microlitre takes a millisecond.
"""

from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import UTC, date, datetime

from slackwater.facts.plan import DueDose, Group, Plan, PlanLine, Window
from slackwater.facts.tank import (
    EffectCap,
    Machine,
    Node,
    Pump,
    Reservoir,
    Solution,
    Tank,
    Timing,
)

BERLIN = "Europe/Berlin"
STARTS = date(2026, 1, 5)
NOON = Window(start_minute=720, end_minute=780)
WHOLE_DAY = (Window(start_minute=0, end_minute=1440),)
PLENTY = 10**15

SOLUTIONS = {
    "carbonate": Solution(
        id="carbonate", name="Carbonate", effects={"alkalinity": 1_887_000}
    ),
    "calcium": Solution(id="calcium", name="Calcium", effects={"calcium": 20_000_000}),
    "magnesium": Solution(
        id="magnesium", name="Magnesium", effects={"magnesium": 30_000_000}
    ),
    "lye": Solution(
        id="lye", name="Lye", effects={"alkalinity": 1_000_000}, hydroxide=True
    ),
    "trace": Solution(id="trace", name="Trace"),
}
APART = {
    "carbonate": ("calcium", "magnesium"),
    "lye": ("calcium", "magnesium"),
    "calcium": ("carbonate", "lye"),
    "magnesium": ("carbonate", "lye"),
}


def pump(solution: str, tank: str = "reef") -> Pump:
    """A pump with caps that nothing reaches."""
    return Pump(
        id=f"{solution}-{tank}",
        tank=tank,
        node=f"shelf-{tank}",
        channel=solution,
        solution=solution,
        reservoir=solution,
        rate_nl_per_s=1_000_000,
        smallest_dose_ul=100,
        per_dose_ul=PLENTY,
        per_day_ul=PLENTY,
    )


def machine(zone: str = BERLIN, *, other_zone: str = BERLIN) -> Machine:
    """Two tanks, each with a pump for every solution; caps that nothing reaches."""
    caps = {
        parameter: EffectCap(gross=PLENTY)
        for parameter in ("alkalinity", "calcium", "magnesium")
    }
    zones = {"reef": zone, "lagoon": other_zone}
    return Machine(
        site="invented",
        tanks={
            tank: Tank(id=tank, name=tank, net_ul=250_000_000, zone=name, caps=caps)
            for tank, name in zones.items()
        },
        solutions=SOLUTIONS,
        reservoirs={
            name: Reservoir(id=name, content_ul=5_000_000) for name in SOLUTIONS
        },
        nodes={
            f"shelf-{tank}": Node(
                id=f"shelf-{tank}", day_limit_ul=PLENTY, cut_limit_ms=60_000
            )
            for tank in zones
        },
        pumps={
            made.id: made
            for tank in zones
            for made in (pump(solution, tank) for solution in SOLUTIONS)
        },
        apart=APART,
    )


def timed(made: Machine, **timing: float) -> Machine:
    """The machine with other waiting times."""
    return replace(made, timing=replace(Timing(), **timing))  # type: ignore[arg-type]  # all seconds and shares


def with_pump(made: Machine, name: str, **changes: object) -> Machine:
    """The machine with one pump changed."""
    changed = replace(made.pumps[name], **changes)  # type: ignore[arg-type]  # any field
    return replace(made, pumps={**made.pumps, name: changed})


def with_tank(made: Machine, name: str = "reef", **changes: object) -> Machine:
    """The machine with one tank changed."""
    changed = replace(made.tanks[name], **changes)  # type: ignore[arg-type]  # any field
    return replace(made, tanks={**made.tanks, name: changed})


def with_node(made: Machine, name: str = "shelf-reef", **changes: int) -> Machine:
    """The machine with one node changed."""
    changed = replace(made.nodes[name], **changes)  # type: ignore[arg-type]  # any field
    return replace(made, nodes={**made.nodes, name: changed})


def line(
    solution: str = "carbonate",
    per_day_ul: int = 24_000,
    count: int = 24,
    **other: object,
) -> PlanLine:
    """A line over the whole day unless told otherwise."""
    tank = str(other.pop("tank", "reef"))
    fields: dict[str, object] = {
        "id": solution,
        "tank": tank,
        "solution": solution,
        "pump": f"{solution}-{tank}",
        "per_day_ul": per_day_ul,
        "count": count,
        "windows": () if "times_minute" in other else WHOLE_DAY,
    }
    return PlanLine(**{**fields, **other})  # type: ignore[arg-type]  # any field


def plan(
    *lines: PlanLine,
    starts: date = STARTS,
    groups: Mapping[str, Group] | None = None,
) -> Plan:
    """A plan of these lines."""
    return Plan(name="invented", starts=starts, lines=lines, groups=groups or {})


def utc(text: str) -> datetime:
    """A moment in UTC from its ISO text without a zone."""
    return datetime.fromisoformat(text).replace(tzinfo=UTC)


def dues(doses: Iterable[DueDose]) -> list[str]:
    """When doses are due, as short texts."""
    return [f"{dose.due_at:%Y-%m-%dT%H:%M:%S}" for dose in doses]
