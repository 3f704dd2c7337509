"""What `slackwater.toml` becomes."""

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest

from slackwater.facts.tank import (
    Machine,
    Node,
    Pump,
    Reservoir,
    Solution,
    Timing,
    TraceLimits,
)
from slackwater.outside.settings import read_machine
from tests.outside.settings.texts import MACHINE

# One degree of carbonate hardness in meq/L: 10 mg CaO a litre, two equivalents a mole.
# Source: definition of the German degree; IUPAC conventional atomic weights
# Ca 40.078, O 15.999.
MEQ_PER_DKH = 2 * 10 / (40.078 + 15.999)


def machine_from_text(directory: Path, text: str) -> Machine:
    """The machine of one text."""
    (directory / "slackwater.toml").write_text(text, "utf-8")
    return read_machine(directory)


def changed(directory: Path, found: str, written: str) -> Machine:
    """The machine of the good text with one change."""
    assert found in MACHINE
    return machine_from_text(directory, MACHINE.replace(found, written, 1))


def test_reads_a_pump_with_all_its_ceilings(tmp_path: Path) -> None:
    """80 mL a minute are 1 333 333 nL a second; caps are whole microlitres."""
    expected = Pump(
        id="carbonate",
        tank="reef",
        node="shelf",
        channel="a",
        solution="carbonate",
        reservoir="carbonate",
        rate_nl_per_s=1_333_333,
        smallest_dose_ul=300,
        per_dose_ul=5_000,
        per_day_ul=80_000,
        per_hour_ul=10_000,
        per_calibration_ul=60_000,
    )
    assert expected == machine_from_text(tmp_path, MACHINE).pumps["carbonate"]


def test_takes_a_missing_cap_for_zero(tmp_path: Path) -> None:
    """A pump without ceilings may give nothing (H45)."""
    pump = machine_from_text(tmp_path, MACHINE).pumps["calcium"]
    assert (
        pump.per_dose_ul,
        pump.per_day_ul,
        pump.per_hour_ul,
        pump.per_calibration_ul,
    ) == (0, 0, None, 0)


def test_reads_node_and_reservoirs(tmp_path: Path) -> None:
    """What a node limits and a bottle holds arrives in whole units."""
    machine = machine_from_text(tmp_path, MACHINE)
    node = Node(
        id="shelf",
        day_limit_ul=250_000,
        cut_limit_ms=60_000,
        hardware_id="7c2f90b1",
        config_id="0f3a77c2",
    )
    bottle = Reservoir(id="calcium", content_ul=5_000_000, low_ul=500_000)
    assert (node, bottle) == (machine.nodes["shelf"], machine.reservoirs["calcium"])


def test_knows_a_node_that_signs(tmp_path: Path) -> None:
    """Naming a key file says that the node signs."""
    machine = changed(
        tmp_path, 'longest_run = "60 s"', 'longest_run = "60 s"\nkey_file = "k"'
    )
    assert machine.nodes["shelf"].signed


def test_reads_the_tank(tmp_path: Path) -> None:
    """Volume, zone and the time of three turns: 3 x 300 L at 1800 L/h are 30 min."""
    tank = machine_from_text(tmp_path, MACHINE).tanks["reef"]
    assert (
        tank.id,
        tank.name,
        tank.net_ul,
        tank.zone,
        tank.turnover_s,
    ) == ("reef", "The reef", 300_000_000, "Europe/Berlin", 1800.0)


def test_turns_targets_into_canonical_units(tmp_path: Path) -> None:
    """8.2 dKH are 2.9245 meq/L."""
    targets = machine_from_text(tmp_path, MACHINE).tanks["reef"].targets
    assert pytest.approx(8.2 * MEQ_PER_DKH, rel=1e-5) == targets["alkalinity"]
    assert targets["calcium"] == 420.0


def test_counts_caps_for_the_whole_tank(tmp_path: Path) -> None:
    """20 mg/L in 300 L are 6 g; 2 dKH in 300 L are 214 meq, rounded down."""
    caps = machine_from_text(tmp_path, MACHINE).tanks["reef"].caps
    assert caps["calcium"].gross == 6 * 10**12
    assert caps["calcium"].net_rise is None
    expected_peq = 2.0 * MEQ_PER_DKH * 300 * 10**9
    assert pytest.approx(expected_peq, rel=1e-5) == caps["alkalinity"].gross


def test_counts_uptake_for_the_whole_tank(tmp_path: Path) -> None:
    """1.4 and 1.1 dKH a day in 300 L."""
    uptake = machine_from_text(tmp_path, MACHINE).tanks["reef"].uptake["alkalinity"]
    expected = [rise * MEQ_PER_DKH * 300 * 10**9 for rise in (1.4, 1.1)]
    assert pytest.approx(expected, rel=1e-5) == [uptake.estimate, uptake.low]


def test_reads_the_own_bands_of_traces(tmp_path: Path) -> None:
    """In micrograms per litre, whatever unit was written; none when left out."""
    read = machine_from_text(tmp_path, MACHINE).tanks["reef"].bands
    small = changed(tmp_path, 'act = "3 ug/L"', 'act = "0.003 mg/L"')
    none = changed(tmp_path, 'copper = { watch = "1 ug/L", act = "3 ug/L" }', "")

    assert {"copper": TraceLimits(watch=1.0, act=3.0)} == read
    assert read == small.tanks["reef"].bands
    assert {} == none.tanks["reef"].bands


def test_reads_a_solution_by_its_label(tmp_path: Path) -> None:
    """0.37 mg/L from 1 mL in 100 L are 37 mg in the millilitre."""
    expected = Solution(
        id="calcium",
        name="calcium",
        effects={"calcium": 37_000_000},
        origin="label or measurement",
    )
    assert expected == machine_from_text(tmp_path, MACHINE).solutions["calcium"]


LABELS = [
    ("calcium", "37 mg/mL", 37 * 10**6),
    ("calcium", "37000 ug/mL", 37 * 10**6),
    ("calcium", "37000 µg/mL", 37 * 10**6),
    ("calcium", "0.37 mg/L per mL in 100 L", 37 * 10**6),
    ("calcium", "3.7 mg/L per mL in 10 L", 37 * 10**6),
    ("calcium", "0.0000001 mg/mL", 1),
    ("alkalinity", "1.887 meq/mL", 1_887_000),
    ("alkalinity", "0.01887 meq/L per mL in 100 L", 1_887_000),
]


@pytest.mark.parametrize(("parameter", "text", "expected"), LABELS)
def test_reads_every_way_of_a_label(
    tmp_path: Path, parameter: str, text: str, expected: int
) -> None:
    """Whatever a label says becomes pico-units per microlitre, never rounded down."""
    old = 'calcium = "0.37 mg/L per mL in 100 L"'
    machine = changed(tmp_path, old, f'{parameter} = "{text}"')
    assert {parameter: expected} == machine.solutions["calcium"].effects


def test_reads_a_label_in_degrees(tmp_path: Path) -> None:
    """0.05 dKH from 1 mL in 100 L are 5 dKH litres, 1.7833 meq, in the millilitre."""
    old = 'calcium = "0.37 mg/L per mL in 100 L"'
    machine = changed(tmp_path, old, 'alkalinity = "0.05 dKH per mL in 100 L"')
    expected = pytest.approx(5 * MEQ_PER_DKH * 10**6, rel=1e-5)
    assert expected == machine.solutions["calcium"].effects["alkalinity"]


def test_doubts_what_is_not_declared(tmp_path: Path) -> None:
    """Without a word on it, only a formula counts as fully declared."""
    machine = machine_from_text(tmp_path, MACHINE)
    expected = {"calcium": True, "carbonate": True, "trace": False}
    assert expected == {
        name: solution.fully_declared for name, solution in machine.solutions.items()
    }


def test_keeps_solutions_apart(tmp_path: Path) -> None:
    """Carbonate falls out with calcium; the keeper wants calcium away from traces."""
    apart = machine_from_text(tmp_path, MACHINE).apart
    expected = {
        "calcium": ("carbonate", "trace"),
        "carbonate": ("calcium",),
        "trace": ("calcium",),
    }
    assert expected == apart


def test_keeps_a_doubtful_solution_from_all_of_its_tank(tmp_path: Path) -> None:
    """What is in the bottle is unknown, so nothing may follow it closely."""
    machine = changed(tmp_path, 'solution = "calcium"', 'solution = "trace"')
    assert machine.apart["trace"] == ("calcium", "carbonate")


def test_gives_every_gap_both_ways(tmp_path: Path) -> None:
    """The first and the second of a pair never matter."""
    apart = machine_from_text(tmp_path, MACHINE).apart
    pairs = {(one, other) for one, others in apart.items() for other in others}
    assert pairs == {(other, one) for one, other in pairs}


def test_reads_a_probe(tmp_path: Path) -> None:
    """A probe's bare numbers are turned into canonical units by its scale."""
    probe = machine_from_text(tmp_path, MACHINE).probes["kh"]
    assert pytest.approx(MEQ_PER_DKH, rel=1e-5) == probe.scale
    assert pytest.approx(0.01 * MEQ_PER_DKH, rel=1e-5) == probe.resolution
    assert (probe.offset, probe.period_s) == (0.0, 900.0)
    assert probe.low < 2.9 < probe.high


def test_reads_a_probe_with_its_own_range(tmp_path: Path) -> None:
    """What to believe of a probe can be narrowed."""
    old = 'resolution = "0.01 dKH"'
    machine = changed(tmp_path, old, f'{old}\nlow = "2 meq/L"\nhigh = "4 meq/L"')
    probe = machine.probes["kh"]
    assert (probe.low, probe.high) == (2.0, 4.0)


def test_fills_the_guard_with_defaults(tmp_path: Path) -> None:
    """Floor 6.5, rise and fall 0.8, spread 0.5, hysteresis 0.2 dKH; 3 readings, 1 h.

    Common practice, no source.
    """
    guard = machine_from_text(tmp_path, MACHINE).guards["reef"]
    figures = [guard.floor, guard.rise, guard.fall, guard.spread, guard.hysteresis]
    expected = [value * MEQ_PER_DKH for value in (6.5, 0.8, 0.8, 0.5, 0.2)]
    assert pytest.approx(expected, rel=1e-5) == figures
    assert (guard.good_readings, guard.hold_at_least_s) == (3, 3600.0)


@pytest.mark.parametrize(
    ("target", "ceiling"), [("8.2", 9.7), ("6.5", 8.0), ("10.5", 12.0), ("11", 12.0)]
)
def test_puts_the_ceiling_above_the_target(
    tmp_path: Path, target: str, ceiling: float
) -> None:
    """Target + 1.5 dKH, at most 12 (common practice, no source)."""
    text = MACHINE.replace('"8.2 dKH"', f'"{target} dKH"').replace(
        'alkalinity_ceiling = "9.7 dKH"', 'alkalinity_floor = "6.0 dKH"'
    )
    guard = machine_from_text(tmp_path, text).guards["reef"]
    assert pytest.approx(ceiling * MEQ_PER_DKH, rel=1e-5) == guard.ceiling


def test_guards_a_tank_without_an_interlock_table(tmp_path: Path) -> None:
    """Alkalinity is aimed at, so there is a guard whether asked for or not."""
    text = MACHINE.replace('[interlock.reef]\nalkalinity_ceiling = "9.7 dKH"\n', "")
    machine = machine_from_text(tmp_path, text)
    ceiling = pytest.approx(9.7 * MEQ_PER_DKH, rel=1e-5)
    assert ceiling == machine.guards["reef"].ceiling


def test_reads_an_outside_source(tmp_path: Path) -> None:
    """0.4 dKH a day in 300 L, rounded up."""
    (source,) = machine_from_text(tmp_path, MACHINE).outside
    expected = pytest.approx(0.4 * MEQ_PER_DKH * 300 * 10**9, rel=1e-5)
    assert expected == source.per_day
    assert (
        source.id,
        source.tank,
        source.parameter,
    ) == ("lime", "reef", "alkalinity")


def test_has_the_safe_timing_by_default(tmp_path: Path) -> None:
    """Without a word the timing is the one of the records, and nothing is shortened."""
    machine = changed(tmp_path, '[timing]\napart_gap = "15 min"', "")
    assert (Timing(), (), False) == (
        machine.timing,
        machine.shortened_timing,
        machine.clock_confirmed,
    )


TIMINGS = [
    ('apart_gap = "5 s"', {"apart_gap_s": 5.0}, ("apart_gap",)),
    ('apart_gap = "20 min"', {"apart_gap_s": 1200.0}, ()),
    ('hydroxide_gap = "8 s"', {"hydroxide_gap_s": 8.0}, ("hydroxide_gap",)),
    ('same_pump_gap = "2 s"', {"same_pump_gap_s": 2.0}, ("same_pump_gap",)),
    ('start_hold_off = "3 s"', {"start_hold_off_s": 3.0}, ("start_hold_off",)),
    ("start_beats = 1", {"start_beats": 1}, ("start_beats",)),
    ('shadow_stage = "0 s"', {"shadow_stage_s": 0.0}, ("shadow_stage",)),
    (
        'quiet_before_enable = "0 s"',
        {"quiet_before_enable_s": 0.0},
        ("quiet_before_enable",),
    ),
    ('lateness = "20 s"', {"lateness_s": 20.0}, ("lateness",)),
    ('lateness_share = "10 %"', {"lateness_share": 0.1}, ("lateness_share",)),
    ('deadline = "10 s"', {"deadline_s": 10.0}, ("deadline",)),
    ('beat_fresh = "20 s"', {"beat_fresh_s": 20.0}, ("beat_fresh",)),
    ("starts_allowed = 50", {"starts_allowed": 50}, ("starts_allowed",)),
    ('starts_within = "60 s"', {"starts_within_s": 60.0}, ("starts_within",)),
    ('base_for = "20 d"', {"base_for_s": 1_728_000.0}, ("base_for",)),
    ('approval_lasts = "30 d"', {"approval_lasts_s": 2_592_000.0}, ("approval_lasts",)),
    ('half_stage = "3 d"', {"half_stage_s": 259_200.0}, ()),
    ('approval_grace = "0 s"', {"approval_grace_s": 0.0}, ("approval_grace",)),
    ('node_silence = "60 s"', {"node_silence_s": 60.0}, ("node_silence",)),
    ('free_space = "1 MB"', {"free_space_bytes": 10**6}, ("free_space",)),
    ('free_space = "1 GB"', {"free_space_bytes": 10**9}, ()),
]


@pytest.mark.parametrize(("written", "fields", "shortened"), TIMINGS)
def test_lists_what_is_shorter_or_weaker(
    tmp_path: Path, written: str, fields: dict[str, float], shortened: tuple[str, ...]
) -> None:
    """Each key reaches its record, and is listed when it is below or beyond safe."""
    machine = changed(tmp_path, 'apart_gap = "15 min"', written)
    expected = replace(Timing(), **fields)  # type: ignore[arg-type] # a table of fields
    assert expected == machine.timing
    assert shortened == machine.shortened_timing


def test_lists_a_clock_that_is_trusted_on_a_word(tmp_path: Path) -> None:
    """A clock confirmed in the file is listed like a shortened time."""
    machine = changed(tmp_path, 'apart_gap = "15 min"', "clock_confirmed = true")
    assert (
        machine.clock_confirmed,
        machine.shortened_timing,
    ) == (True, ("clock_confirmed",))


def test_takes_an_unusual_target_with_a_reason(tmp_path: Path) -> None:
    """6.45 dKH stand when somebody wrote down why."""
    text = MACHINE.replace('"8.2 dKH"', '"6.45 dKH"').replace(
        'alkalinity_ceiling = "9.7 dKH"', 'alkalinity_floor = "6 dKH"'
    )
    text = text.replace("return_flow", 'target_reason = "low nutrients"\nreturn_flow')
    target = machine_from_text(tmp_path, text).tanks["reef"].targets["alkalinity"]
    assert pytest.approx(6.45 * MEQ_PER_DKH, rel=1e-5) == target


def test_reads_salinity_off_any_instrument(tmp_path: Path) -> None:
    """1.0264 at 25 over 25 degC is 35.03 of practical salinity (TEOS-10, gsw)."""
    machine = changed(tmp_path, 'calcium = "420 mg/L"', 'salinity = "1.0264 SG 25/25"')
    target = machine.tanks["reef"].targets["salinity"]
    assert pytest.approx(35.0345, abs=0.005) == target


# An inch is 25.4 mm exactly (NIST SP 811, B.8): 1000 cubic inches are 16.387064 L.
@pytest.mark.parametrize(
    ("written", "net_ul"),
    [
        ("40 in x 20 in x 25 in less 10 %", 294_967_152),
        ("100 cm x 60 cm x 50 cm less 0 %", 300_000_000),
        ("1 m x 0.6 m x 40 cm less 10 % + 60 cm x 40 cm x 35 cm less 0 %", 300_000_000),
    ],
)
def test_reads_water_by_its_inside_measures(
    tmp_path: Path, written: str, net_ul: int
) -> None:
    """Boxes of water, less what rock and sand take, in whole microlitres."""
    machine = changed(tmp_path, '"300 L"', f'"{written}"')
    assert net_ul == machine.tanks["reef"].net_ul


EQUIVALENTS = [
    ('"300 L"', '"300000 mL"'),
    ('"300 L"', '"300.000 l"'),
    ('"5 mL"', '"5000 uL"'),
    ('"5 mL"', '"5000 µL"'),
    ('"5 mL"', '"5000 \u03bcL"'),
    ('"80 mL/min"', '"4.8 L/h"'),
    ('"60 s"', '"1 min"'),
    ('"15 min"', '"900 s"'),
    ('"1800 L/h"', '"30 L/min"'),
    ('"0.37 mg/L per mL in 100 L"', '"37 mg/mL"'),
    ("[broker]", "# a word on the broker\n[broker]"),
    ('tank = "reef"\nnode = "shelf"', 'node = "shelf"\ntank = "reef"'),
]


@pytest.mark.parametrize(("found", "written"), EQUIVALENTS)
def test_gives_equal_machines_for_equal_meaning(
    tmp_path: Path, found: str, written: str
) -> None:
    """Units, order and comments change nothing that is approved."""
    assert machine_from_text(tmp_path, MACHINE) == changed(tmp_path, found, written)


def test_reads_us_gallons(tmp_path: Path) -> None:
    """100 US gallons are 378.5411784 L exactly (NIST SP 811), rounded down."""
    litres = Fraction("3.785411784") * 100
    machine = changed(tmp_path, '"300 L"', '"100 US gal"')
    assert int(litres * 10**6) == machine.tanks["reef"].net_ul
