"""What is wrong in both files is told in one run, and nothing that only follows."""

from pathlib import Path

import pytest

from tests.cli.run_program import CONFIG, SMALLEST, Outcome, run

VERBS = ("check", "rehearse", "approve")
ZONE = ('zone = "Europe/Berlin"', 'zone = "Europe/Berlln"')
RATE = ('rate = "30 mL/min"', 'rate = "30"')
NO_DOSES = ("doses = 12", "doses = 0")
SODA = 'plan.toml [[line]] 1 ("carbonate")'

Slips = tuple[tuple[str, str], ...]


def spoiled(folder: Path, machine: Slips, plan: Slips, of: Path = SMALLEST) -> Path:
    """A copy of a sample with these texts in the place of others, each once."""
    for name, slips in (("slackwater.toml", machine), ("plan.toml", plan)):
        text = (of / name).read_text("utf-8")
        for old, new in slips:
            assert old in text, old
            text = text.replace(old, new, 1)
        (folder / name).write_text(text, "utf-8")
    return folder


def told(config: Path, verb: str = "check") -> Outcome:
    """What a verb says of the files, as a document."""
    state = config / "state"
    return run(verb, "--config", config, "--state", state, "--json")


def places(config: Path) -> list[str]:
    """Where something is wrong, in the order it is told, of files that are refused."""
    found = told(config)
    assert 2 == found.code
    assert all(one["what"] and one["expected"] and one["do"] for one in found.errors)
    return [one["where"] for one in found.errors]


@pytest.mark.parametrize("verb", VERBS)
def test_faults_of_both_files_are_told_in_one_run(tmp_path: Path, verb: str) -> None:
    """By every verb that reads both, with the exit code of a bad configuration."""
    found = told(spoiled(tmp_path, (ZONE, RATE), (NO_DOSES,)), verb)
    assert 2 == found.code
    assert [
        "slackwater.toml [tank.reef] zone",
        "slackwater.toml [pump.carbonate] rate",
        f"{SODA} doses",
    ] == sorted(
        (one["where"] for one in found.errors),
        key=lambda where: ("plan" in where, "zone" not in where),
    )


@pytest.mark.parametrize(
    ("old", "new", "where"),
    [
        ('net_volume = "200 L"', 'net_volume = "200"', "[tank.reef] net_volume"),
        ('"Na2CO3"', '"Na2C03"', "[solution.carbonate] formula"),
        ('content = "2 L"', "content = 2", "[reservoir.carbonate] content"),
        ('longest_run = "30 s"', 'longest_run = "30"', "[node.shelf] longest_run"),
        (*RATE, "[pump.carbonate] rate"),
        ('solution = "carbonate"', 'solution = "soda"', "[pump.carbonate] solution"),
        ('tank = "reef"\nnode', 'tank = "reaf"\nnode', "[pump.carbonate] tank"),
        ('smallest_dose = "0.5 mL"', "", "[pump.carbonate] smallest_dose"),
        ("[node.shelf]", "[node.Shelf]", '[node."Shelf"]'),
        ("[reservoir.calcium]", "[reservoir.Calcium]", '[reservoir."Calcium"]'),
        ("[broker]", '[timing]\napart_gap = "5"\n\n[broker]', "[timing] apart_gap"),
    ],
)
def test_a_fault_of_the_machine_is_none_of_the_plan(
    tmp_path: Path, old: str, new: str, where: str
) -> None:
    """A line may name what stands in the file, whatever is wrong with its table."""
    config = spoiled(tmp_path, ((old, new),), ())
    assert [f"slackwater.toml {where}"] == places(config)


def test_a_tank_whose_id_cannot_be_used_is_told_once(tmp_path: Path) -> None:
    """Not at each pump and line that means it."""
    tables = (("[tank.reef]", "[tank.Reef]"),)
    parts = tuple((f"[tank.reef.{key}]", f"[tank.Reef.{key}]") for key in ("caps",))
    uptake = (("[tank.reef.uptake]", "[tank.Reef.uptake]"),)
    config = spoiled(tmp_path, (*tables, *parts, *uptake), ())
    assert ['slackwater.toml [tank."Reef"]'] == places(config)


def test_a_plan_is_judged_beside_a_file_that_is_not_toml(tmp_path: Path) -> None:
    """As far as it goes without knowing a name; the other way round as well."""
    broken = (("[pump.carbonate]", "[pump.carbonate"),)
    config = spoiled(tmp_path, broken, (NO_DOSES, ('"36 mL"', '"36"')))
    expected = {"slackwater.toml", f"{SODA} doses", f"{SODA} per_day"}
    assert expected == set(places(config))
    config = spoiled(tmp_path, (ZONE,), (("[[line]]", "[[line"),))
    assert ["slackwater.toml [tank.reef] zone", "plan.toml"] == places(config)


def test_a_directory_that_is_not_there_is_told_once(tmp_path: Path) -> None:
    """And files that are not there each by their name."""
    assert ["slackwater.toml"] == places(tmp_path / "nowhere")
    assert ["slackwater.toml", "plan.toml"] == places(tmp_path)


def test_a_pair_at_fault_is_no_fault_of_its_exchange(tmp_path: Path) -> None:
    """Nor is a pump of it."""
    for old, new in (
        ('settle = "1 min"', 'settle = "1"'),
        ('fill = "water-in"', 'fill = "water-on"'),
        ('solution = "new-water"\n', 'solution = "old-water"\n'),
    ):
        config = spoiled(tmp_path, ((old, new),), (), CONFIG / "exchange")
        (where,) = places(config)
        assert where.startswith("slackwater.toml"), where
