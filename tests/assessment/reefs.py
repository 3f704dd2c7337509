"""An invented tank with five pumps, for proposals; all figures are invented.

200 L of water. One microlitre of carbonate holds 2000 neq, so that a millilitre lifts
the tank by 0.01 meq/L; of calcium 40 µg (0.2 mg/L a millilitre); of the potassium
nitrate 10 µg of nitrate and 6 µg of potassium.
"""

from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import date

from slackwater.assessment.proposal import Asked, propose
from slackwater.facts.plan import Group, Plan, PlanLine, Window
from slackwater.facts.proposal import Change, Evidence, Ground, Proposal
from slackwater.facts.tank import (
    EffectCap,
    Machine,
    Node,
    Outside,
    Pump,
    Reservoir,
    Solution,
    Tank,
    Uptake,
)

TODAY = date(2026, 5, 20)
TOMORROW = date(2026, 5, 21)
STARTS = date(2026, 5, 1)
LITRES = 200
NET_UL = LITRES * 1_000_000
NIGHT = (
    Window(start_minute=0, end_minute=480),
    Window(start_minute=1200, end_minute=1440),
)
DAY = (Window(start_minute=480, end_minute=1200),)
DKH = 0.356652

SOLUTIONS = {
    "carbonate": Solution(
        id="carbonate",
        name="Carbonate",
        effects={"alkalinity": 2_000_000},
        ions=("Na", "CO3"),
    ),
    "calcium": Solution(
        id="calcium",
        name="Calcium",
        effects={"calcium": 40_000_000},
        ions=("Ca", "Cl"),
    ),
    "nitre": Solution(
        id="nitre",
        name="Potassium nitrate",
        effects={"nitrate": 10_000_000, "potassium": 6_000_000},
        ions=("K", "NO3"),
    ),
    "potash": Solution(
        id="potash",
        name="Potassium chloride",
        effects={"potassium": 20_000_000},
        ions=("K", "Cl"),
    ),
    "iodide": Solution(
        id="iodide", name="Iodide", effects={"iodine": 100_000}, ions=("K", "I")
    ),
    "phosphate": Solution(
        id="phosphate", name="Phosphate", effects={"phosphate": 1_000_000}
    ),
    "vinegar": Solution(id="vinegar", name="Vinegar", effects={"carbon": 1_000_000}),
    "food": Solution(id="food", name="Food"),
}


def per_day(parameter: str, level: float) -> int:
    """A level a day as pico-units of the whole tank."""
    micro = {"iodine": 10**6}.get(parameter, 10**9)
    return round(level * LITRES * micro)


def pump(solution: str, **changes: int) -> Pump:
    """A pump with caps that only a large plan reaches."""
    made = Pump(
        id=solution,
        tank="reef",
        node="shelf",
        channel=solution,
        solution=solution,
        reservoir=solution,
        rate_nl_per_s=1_000_000,
        smallest_dose_ul=200,
        per_dose_ul=20_000,
        per_day_ul=300_000,
    )
    return replace(made, **changes)  # type: ignore[arg-type]  # any whole figure


def machine(
    pumps: Iterable[str] = ("carbonate",),
    targets: Mapping[str, float] | None = None,
    outside: tuple[Outside, ...] = (),
) -> Machine:
    """The tank with some of its pumps; caps 3 dKH a day gross, others wide."""
    wide = {
        name: EffectCap(gross=per_day(name, most), net_rise=per_day(name, rise))
        for name, most, rise in (
            ("alkalinity", 3 * DKH, 0.5 * DKH),
            ("calcium", 30.0, 15.0),
            ("potassium", 8.0, 8.0),
            ("nitrate", 2.0, 1.0),
            ("iodine", 10.0, 5.0),
            ("phosphate", 0.05, 0.02),
            ("carbon", 0.3, 0.3),
        )
    }
    stated = {
        "alkalinity": Uptake(
            estimate=per_day("alkalinity", 2 * DKH),
            low=per_day("alkalinity", 2 * DKH),
        ),
        "calcium": Uptake(
            estimate=per_day("calcium", 15.0), low=per_day("calcium", 15.0)
        ),
    }
    return Machine(
        site="invented",
        tanks={
            "reef": Tank(
                id="reef",
                name="Reef",
                net_ul=NET_UL,
                zone="Europe/Berlin",
                targets={"alkalinity": 8 * DKH} if targets is None else targets,
                caps=wide,
                uptake=stated,
            )
        },
        solutions=SOLUTIONS,
        reservoirs={
            name: Reservoir(id=name, content_ul=5_000_000) for name in SOLUTIONS
        },
        nodes={"shelf": Node(id="shelf", day_limit_ul=10**9, cut_limit_ms=60_000)},
        pumps={name: pump(name) for name in pumps},
        outside=outside,
        apart={"carbonate": ("calcium",), "calcium": ("carbonate",)},
    )


def climbing(most: float) -> Machine:
    """The tank with soda alone and another climb of alkalinity a day, meq/L."""
    made = machine()
    tank = made.tanks["reef"]
    cap = replace(tank.caps["alkalinity"], net_rise=per_day("alkalinity", most))
    tank = replace(tank, caps={**tank.caps, "alkalinity": cap})
    return replace(made, tanks={"reef": tank})


def line(solution: str, per_day_ul: int, **changes: object) -> PlanLine:
    """A line of twelve doses, alkalinity by night."""
    made = PlanLine(
        id=solution,
        tank="reef",
        solution=solution,
        pump=solution,
        per_day_ul=per_day_ul,
        count=12,
        windows=NIGHT if solution == "carbonate" else DAY,
    )
    return replace(made, **changes)  # type: ignore[arg-type]  # any field


def plan(*lines: PlanLine, groups: Mapping[str, Group] | None = None) -> Plan:
    """A plan of some lines."""
    return Plan(name="invented", starts=STARTS, lines=lines, groups=groups or {})


def known(
    parameter: str, uptake: float, sd: float, level: float | None = None, **more: object
) -> Evidence:
    """Good evidence: uptake with its error, canonical, level at target if not said."""
    target = {"alkalinity": 8 * DKH}.get(parameter)
    made = Evidence(
        parameter=parameter,
        target=target,
        level=target if level is None else level,
        level_sd=0.01,
        fresh=True,
        uptake=uptake,
        uptake_sd=sd,
        uptake_low=max(uptake - 1.645 * sd, 0.0),
        enough=True,
        falls=True,
    )
    return replace(made, **more)  # type: ignore[arg-type]  # any field


# Nothing doses alkalinity here: two tests show that the tank uses it up.
SETTLED = known("alkalinity", 0.42, 0.01)


def proposed(
    made: Machine,
    present: Plan | None,
    *evidence: Evidence,
    only: frozenset[str] | None = None,
    runs: bool = True,
) -> Proposal:
    """What is proposed for the tank."""
    return propose(
        Asked(
            machine=made,
            tank="reef",
            plan=present,
            evidence={one.parameter: one for one in evidence},
            today=TODAY,
            only=only,
            runs=runs,
        )
    )


def change(proposal: Proposal, name: str) -> Change:
    """The change of one pump."""
    return next(one for one in proposal.changes if one.pump == name)


def grounds(proposal: Proposal, name: str) -> list[Ground]:
    """The grounds of one pump's change."""
    return [one.ground for one in change(proposal, name).grounds]


def lines(proposal: Proposal, name: str) -> list[PlanLine]:
    """The lines of one pump."""
    return [one for one in proposal.plan.lines if one.pump == name]
