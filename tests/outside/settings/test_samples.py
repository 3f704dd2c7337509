"""Every sample in `config/` reads, and its plan fits its own machine."""

import re
from pathlib import Path

import pytest

from slackwater.outside.approved import (
    machine_from,
    machine_text,
    plan_from,
    plan_text,
)
from slackwater.outside.settings import (
    file_digests,
    read_broker,
    read_machine,
    read_plan,
)
from slackwater.planning.ceilings import check

CONFIG = Path(__file__).resolve().parents[3] / "config"
SAMPLES = sorted(path.parent for path in CONFIG.glob("*/slackwater.toml"))


def test_has_the_five_samples() -> None:
    """A folder more is one more to keep."""
    expected = ["chemistry", "exchange", "relays", "smallest", "two-tanks"]
    assert expected == [sample.name for sample in SAMPLES]


@pytest.mark.parametrize("sample", SAMPLES, ids=lambda sample: sample.name)
def test_plan_fits_the_machine(sample: Path) -> None:
    """No cap, gap or budget of a sample is broken by its own plan."""
    machine = read_machine(sample)
    assert check(read_plan(sample, machine), machine) == []


@pytest.mark.parametrize("sample", SAMPLES, ids=lambda sample: sample.name)
def test_sample_survives_its_approval(sample: Path) -> None:
    """What a sample says can be written down and read back."""
    machine = read_machine(sample)
    plan = read_plan(sample, machine)
    assert machine == machine_from(machine_text(machine))
    assert plan == plan_from(plan_text(plan))


@pytest.mark.parametrize("sample", SAMPLES, ids=lambda sample: sample.name)
def test_sample_is_safe(sample: Path) -> None:
    """Samples shorten nothing, and say the cautions once."""
    assert read_machine(sample).shortened_timing == ()
    text = (sample / "slackwater.toml").read_text("utf-8")
    spoken = re.sub(r"\s*\n#\s*", " ", text)
    for word in ("eye protection", "drip loop", "licensed electrician", "children"):
        assert spoken.count(word) == 1, word


@pytest.mark.parametrize("sample", SAMPLES, ids=lambda sample: sample.name)
def test_sample_names_its_broker(sample: Path) -> None:
    """The wire's part of each sample reads as well."""
    assert read_broker(sample).host in ("localhost", "broker.example")


@pytest.mark.parametrize("sample", SAMPLES, ids=lambda sample: sample.name)
def test_what_a_sample_offers_reads_as_well(sample: Path, tmp_path: Path) -> None:
    """With every `#:` taken off, the machine still reads and the plan still fits."""
    for name in ("slackwater.toml", "plan.toml"):
        text = (sample / name).read_text("utf-8")
        (tmp_path / name).write_text(re.sub(r"(?m)^#: ?", "", text), "utf-8")
    machine = read_machine(tmp_path)
    assert [] == check(read_plan(tmp_path, machine), machine)


def test_the_chemistry_sample_offers_probes_and_switches(tmp_path: Path) -> None:
    """A pH probe, a mapped thermometer, a plug, a leak detector and a button."""
    text = (CONFIG / "chemistry" / "slackwater.toml").read_text("utf-8")
    (tmp_path / "slackwater.toml").write_text(re.sub(r"(?m)^#: ?", "", text), "utf-8")
    machine = read_machine(tmp_path)
    assert {"kh", "ph", "thermometer"} == set(machine.probes)
    roles = {switch.role for switch in machine.switches.values()}
    assert {"return-pump", "leak", "feeding"} == roles


SHAPES = {
    "smallest": (1, 2, 2, 0),
    "chemistry": (1, 4, 4, 1),
    "exchange": (1, 2, 2, 0),
    "relays": (1, 2, 2, 0),
    "two-tanks": (2, 8, 4, 2),
}


@pytest.mark.parametrize("sample", SAMPLES, ids=lambda sample: sample.name)
def test_sample_shows_what_it_promises(sample: Path) -> None:
    """Tanks, pumps, solutions and probes are as many as `config/README.md` says."""
    machine = read_machine(sample)
    counts = (
        len(machine.tanks),
        len(machine.pumps),
        len(machine.solutions),
        len(machine.probes),
    )
    assert SHAPES[sample.name] == counts


def test_digests_follow_the_bytes(tmp_path: Path) -> None:
    """One byte more in a file is another digest of that file alone."""
    for name in ("slackwater.toml", "plan.toml"):
        (tmp_path / name).write_bytes(b"a = 1\n")
    before = file_digests(tmp_path)
    (tmp_path / "plan.toml").write_bytes(b"a = 1\n\n")
    after = file_digests(tmp_path)
    assert before["slackwater.toml"] == after["slackwater.toml"]
    assert before["plan.toml"] != after["plan.toml"]
