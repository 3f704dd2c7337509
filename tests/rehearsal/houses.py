"""Machines and plans that the tests of this folder share; all invented."""

from dataclasses import replace
from datetime import date
from functools import cache
from pathlib import Path

from slackwater.facts.plan import Plan
from slackwater.facts.tank import (
    AlkalinityGuard,
    Machine,
    Outside,
    Pump,
    Tank,
    Uptake,
)
from slackwater.outside.settings import read_machine, read_plan

TOP = Path(__file__).resolve().parents[2]
CONFIG = TOP / "config"
# 1 dKH is 10 mg/L CaO, 56.077 g/mol, two equivalents (definition; IUPAC weights).
MEQ_PER_DKH = 20 / 56.077
# Half a mole of calcium an equivalent, 40.078 g/mol.
CALCIUM_MG_PER_MEQ = 40.078 / 2
LITRES = 200
FIRST = date(2026, 5, 3)


@cache
def sample(name: str) -> tuple[Machine, Plan]:
    """The machine and plan of a sample in `config/`, or `demo`."""
    folder = TOP / "demo" / "config" if name == "demo" else CONFIG / name
    machine = read_machine(folder)
    return machine, read_plan(folder, machine)


def alone_each() -> tuple[Machine, Plan]:
    """The sample of two tanks, each with bottles of its own."""
    machine, plan = sample("two-tanks")
    pumps = {
        name: replace(pump, reservoir=name) for name, pump in machine.pumps.items()
    }
    bottles = {
        name: replace(machine.reservoirs[pump.reservoir], id=name)
        for name, pump in machine.pumps.items()
    }
    return replace(machine, pumps=pumps, reservoirs=bottles), plan


def peq(dkh: float, litres: float = LITRES) -> int:
    """So many dKH in pico-equivalents of a tank."""
    return round(dkh * MEQ_PER_DKH * litres * 10**9)


def reef(uptake_dkh: float = 1.5, target_dkh: float = 8.0, zone: str = "UTC") -> Tank:
    """A tank of 200 L with a stated uptake and a target."""
    return Tank(
        id="reef",
        name="reef",
        net_ul=LITRES * 10**6,
        zone=zone,
        targets={"alkalinity": target_dkh * MEQ_PER_DKH, "calcium": 420.0},
        uptake={
            "alkalinity": Uptake(estimate=peq(uptake_dkh), low=peq(uptake_dkh * 0.8))
        },
    )


def machine_with(tank: Tank, outside_dkh: float = 0.0) -> Machine:
    """The smallest machine around another tank, its guard from 6.5 to 9.5 dKH."""
    machine, _plan = sample("smallest")
    guard = AlkalinityGuard(
        ceiling=9.5 * MEQ_PER_DKH,
        floor=6.5 * MEQ_PER_DKH,
        rise=0.3,
        fall=0.3,
        spread=0.2,
        hysteresis=0.1,
        good_readings=3,
        hold_at_least_s=3600.0,
    )
    source = Outside(
        id="hand", tank=tank.id, parameter="alkalinity", per_day=peq(outside_dkh)
    )
    return replace(
        machine,
        tanks={tank.id: tank},
        guards={tank.id: guard},
        outside=(source,) if outside_dkh else (),
    )


def with_pump(machine: Machine, name: str, **fields: int) -> Machine:
    """The machine with another pump under a name."""
    pump: Pump = replace(machine.pumps[name], **fields)  # type: ignore[arg-type]  # whole numbers
    return replace(machine, pumps={**machine.pumps, name: pump})
