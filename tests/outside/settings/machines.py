"""A small machine and its files, as ground for the tests of the settings."""

from pathlib import Path

from slackwater.facts.tank import Machine, Node, Pump, Reservoir, Solution, Tank


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
