"""A small machine and its files, as ground for the tests of the settings."""

from dataclasses import replace
from datetime import date
from pathlib import Path

from slackwater.facts.limits import Switch, WaterLimits
from slackwater.facts.plan import Group, Plan, PlanLine, Window
from slackwater.facts.relays import Relay
from slackwater.facts.tank import (
    AlkalinityGuard,
    EffectCap,
    Machine,
    Node,
    Outside,
    Probe,
    Pump,
    Reservoir,
    Solution,
    Tank,
    TraceLimits,
    Uptake,
)


def small_machine() -> Machine:
    """Two pumps on the tank "reef" and one on "frags", nothing else."""
    return Machine(
        site="home",
        tanks={
            name: Tank(id=name, name=name, net_ul=300_000_000, zone="Europe/Berlin")
            for name in ("frags", "reef")
        },
        solutions={
            name: Solution(id=name, name=name) for name in ("calcium", "carbonate")
        },
        reservoirs={"bottle": Reservoir(id="bottle", content_ul=5_000_000)},
        nodes={"shelf": Node(id="shelf", day_limit_ul=250_000, cut_limit_ms=60_000)},
        pumps={
            name: Pump(
                id=name,
                tank=tank,
                node="shelf",
                channel=channel,
                solution=solution,
                reservoir="bottle",
                rate_nl_per_s=1_333_333,
                smallest_dose_ul=300,
            )
            for name, tank, channel, solution in (
                ("calcium", "reef", "b", "calcium"),
                ("carbonate", "reef", "a", "carbonate"),
                ("far", "frags", "c", "carbonate"),
            )
        },
    )


def write_plan(directory: Path, text: str) -> Path:
    """Write the plan file and give back its directory."""
    (directory / "plan.toml").write_text(text, "utf-8")
    return directory


def full_machine() -> Machine:
    """A machine in which every field holds something other than its default."""
    small = small_machine()
    tank = Tank(
        id="reef",
        name="The reef",
        net_ul=300_000_000,
        zone="Europe/Berlin",
        targets={"alkalinity": 2.9},
        caps={"alkalinity": EffectCap(gross=2 * 10**17, net_rise=5 * 10**16)},
        uptake={"alkalinity": Uptake(estimate=15 * 10**10, low=12 * 10**10)},
        turnover_s=1800.0,
        bands={"copper": TraceLimits(watch=1.0, act=3.0)},
    )
    carbonate = Solution(
        id="carbonate",
        name="Carbonate",
        effects={"alkalinity": 1_887_000},
        counter_ions={"sodium": 43_000},
        ions=("CO3", "Na"),
        hydroxide=True,
        bicarbonate=True,
        fully_declared=False,
        cautions=("caustic",),
        origin="formula",
    )
    return replace(
        small,
        tanks={"reef": tank},
        solutions={"carbonate": carbonate},
        nodes={
            "shelf": replace(
                small.nodes["shelf"],
                hardware_id="7c2f90b1",
                config_id="0f3a77c2",
                signed=True,
                relay=Relay(
                    on_topic="workshop/do",
                    on_payload="{ms}",
                    off_topic="workshop/do",
                    off_payload="none",
                    state_topic="workshop/is",
                    pointer="/at",
                    on=("yes",),
                    off=("no",),
                    ask_topic="workshop/ask",
                    ask_payload="now",
                    always_ms=60_000,
                ),
            )
        },
        reservoirs={
            "bottle": replace(
                small.reservoirs["bottle"], low_ul=500_000, keeps_s=86_400.0
            )
        },
        pumps={
            "carbonate": replace(
                small.pumps["carbonate"],
                per_dose_ul=5_000,
                per_day_ul=80_000,
                per_hour_ul=10_000,
                per_calibration_ul=60_000,
            )
        },
        probes={
            "kh": Probe(
                id="kh",
                tank="reef",
                parameter="alkalinity",
                unit="dKH",
                scale=0.356652,
                offset=0.5,
                period_s=900.0,
                resolution=0.0036,
                low=1.1,
                high=5.7,
                topic="cellar/kh",
                pointer="/value",
                frozen_after_s=60.0,
            )
        },
        switches={
            "return": Switch(
                id="return",
                tank="reef",
                role="return-pump",
                normal_on=True,
                on=("ON", "1"),
                off=("OFF",),
                topic="cellar/return",
                pointer="/state",
                pump="carbonate",
                period_s=60.0,
                grace_s=120.0,
                hold_at_least_s=600.0,
                unit_ul=1000,
            )
        },
        limits={"reef": WaterLimits(ph_hydroxide=8.4, good_readings=2)},
        guards={
            "reef": AlkalinityGuard(
                ceiling=3.4,
                floor=2.3,
                rise=0.28,
                fall=0.29,
                spread=0.18,
                hysteresis=0.07,
                good_readings=3,
                hold_at_least_s=3600.0,
            )
        },
        outside=(
            Outside(
                id="lime",
                tank="reef",
                parameter="alkalinity",
                per_day=10**10,
                line="carbonate",
                volume_ul=36_000,
            ),
        ),
        apart={"carbonate": ("calcium",)},
        shortened_timing=("apart_gap",),
        clock_confirmed=True,
    )


def full_plan() -> Plan:
    """A plan in which every field holds something other than its default."""
    line = PlanLine(
        id="carbonate",
        tank="reef",
        solution="carbonate",
        pump="carbonate",
        per_day_ul=42_000,
        count=24,
        windows=(Window(start_minute=480, end_minute=1200),),
        times_minute=(450, 1170),
        every_days=2,
        weekdays=("mon", "thu"),
        first_day=date(2026, 5, 10),
        last_day=date(2026, 5, 20),
        group="pair",
        purpose="correction",
        note="after the test",
    )
    return Plan(
        name="spring",
        starts=date(2026, 5, 3),
        lines=(line, replace(line, id="second")),
        groups={"pair": Group(id="pair", ratio={"carbonate": 2, "second": 3})},
    )
