"""Faults of one machine file that have nothing to do with each other, all in one run.

What is told of each alone is told of any two, and of all of them, and nothing else.
"""

from itertools import combinations
from pathlib import Path

import pytest

from slackwater.errors import InputError
from slackwater.outside.settings import read_machine
from tests.outside.settings.texts import MACHINE

MORE = """
[solution.mix]
salts = [
  { formula = "MgCl2", hydrate = "6H2O", strength = "100 g/L", purity = "99 %" },
  { formula = "MgSO4", hydrate = "7H2O", strength = "50 g/L", purity = "99 %" },
]

[solution.plain-water]
no_effects = true
fully_declared = true

[solution.new-water]
no_effects = true
fully_declared = true

[reservoir.mix]
content = "1 L"

[reservoir.waste]
content = "20 L"

[reservoir.fresh]
content = "20 L"

[node.plug]
day_limit = "50 mL"
longest_run = "20 s"

[relay.plug]
on_topic = "work/plug/do"
on_payload = '{"ms":{ms}}'
off_topic = "work/plug/do"
off_payload = "off"
state_topic = "work/plug/is"

[pump.mix]
tank = "reef"
node = "plug"
channel = "a"
solution = "mix"
reservoir = "mix"
rate = "30 mL/min"
smallest_dose = "0.4 mL"

[pump.drain]
tank = "reef"
node = "shelf"
channel = "c"
solution = "plain-water"
reservoir = "waste"
rate = "200 mL/min"
smallest_dose = "1.5 mL"

[pump.fill]
tank = "reef"
node = "shelf"
channel = "d"
solution = "new-water"
reservoir = "fresh"
rate = "201 mL/min"
smallest_dose = "1.6 mL"

[exchange.water]
tank = "reef"
drain = "drain"
fill = "fill"

[switch.counter]
tank = "reef"
role = "top-off"
unit = "mL"
topic = "cellar/counter"

[switch.skimmer]
tank = "reef"
role = "skimmer"
period = "6 min"
"""
WHOLE = MACHINE + MORE

# What stands in the file, what stands there instead, and what is told of it.
FAULTS = (
    ('site = "home"', 'site = "Home"', "site"),
    ('zone = "Europe/Berlin"', 'zone = "Europe/Berln"', "[tank.reef] zone"),
    ('net_volume = "300 L"', 'net_volume = "300"', "[tank.reef] net_volume"),
    ('"420 mg/L"', '"420"', "[tank.reef] targets.calcium"),
    ('net_rise = "0.5 dKH/day"', 'net_rise = "5 dKH/day"', "caps] alkalinity.net_rise"),
    ('calcium = { gross = "20 mg/L/day" }', "calcium = {}", "caps.calcium.gross"),
    ('low = "1.1 dKH/day"', 'low = "1.9 dKH/day"', "uptake] alkalinity.low"),
    ('act = "3 ug/L"', 'act = "0.5 ug/L"', "bands] copper.act"),
    ('return_flow = "1800 L/h"', 'return_flow = "1800"', "[tank.reef] return_flow"),
    ('"Na2CO3"', '"Na2C03"', "[solution.carbonate] formula"),
    ('purity = "99.5 %"', 'purity = "99.5"', "[solution.carbonate] purity"),
    ('["trace"]', '["tracy"]', "[solution.calcium] keep_apart_from"),
    ('"0.37 mg/L per mL in 100 L"', '"0.37"', "[solution.calcium] per_ml.calcium"),
    ("fully_declared = true\nkeep", "fully = true\nkeep", "[solution.calcium] fully"),
    ('"100 g/L", purity = "99 %"', '"100", purity = "99 %"', "salts.0.strength"),
    ('"MgSO4"', '"MgSO5"', "[solution.mix] salts.1 formula"),
    ('longest_run = "60 s"', 'longest_run = "60"', "[node.shelf] longest_run"),
    ("'{\"ms\":{ms}}'", "'on'", "[relay.plug] on_payload"),
    ('"work/plug/is"', '"slackwater/1/home/plug"', "state_topic"),
    ('node = "shelf"\nchannel = "a"', 'node = "s"\nchannel = "a"', "carbonate] node"),
    ('rate = "80 mL/min"', "rate = 80", "[pump.carbonate] rate"),
    ('most_per_hour = "10 mL"', 'most_per_hour = "10"', "carbonate] most_per_hour"),
    ('most_per_dose = "5 mL"', 'most_per_dose = "0.1 mL"', "carbonate] smallest_dose"),
    ('solution = "mix"', 'solution = "mux"', "[pump.mix] solution"),
    ('smallest_dose = "0.4 mL"', "smallest_dose = 0.4", "[pump.mix] smallest_dose"),
    ('channel = "d"', 'channel = "c"', "[pump.fill] channel"),
    ('rate = "201 mL/min"', 'rate = "201"', "[pump.fill] rate"),
    ('drain = "drain"', 'drain = "drane"', "[exchange.water] drain"),
    ('unit = "dKH"\nperiod', 'unit = "dHK"\nperiod', "[probe.kh] unit"),
    ('period = "15 min"', 'period = "15"', "[probe.kh] period"),
    ('resolution = "0.01 dKH"', 'resolution = "0.01"', "[probe.kh] resolution"),
    ('"9.7 dKH"', '"7.7 dKH"', "[interlock.reef] alkalinity_ceiling"),
    ('per_day = "0.4 dKH/day"', 'per_day = "0.4 dKH"', "[outside.lime] per_day"),
    ('role = "top-off"', 'role = "skimmer"', "[switch.counter] unit"),
    ('"cellar/counter"', '"slackwater/1/home/c"', "[switch.counter] topic"),
    ('period = "6 min"', 'period = "0 s"\non = ["off"]\ngrace = "9"', "skimmer] grace"),
    ('host = "localhost"', 'host = ""\nobserve_user = "x"', "[broker] observe"),
    ('apart_gap = "15 min"', 'apart_gap = "15"', "[timing] apart_gap"),
)
# What hangs on the site's name or on a parameter that is gone with its key.
HIDDEN = {("site", "state_topic"), ("site", "[switch.counter] topic")}


def told(directory: Path, *faults: tuple[str, str, str]) -> list[str]:
    """Everything that is said of the file with these faults in it."""
    text = WHOLE
    for old, new, _ in faults:
        assert 1 <= text.count(old), old
        text = text.replace(old, new, 1)
    (directory / "slackwater.toml").write_text(text, "utf-8")
    try:
        read_machine(directory)
    except InputError as error:
        return [str(finding) for finding in error.findings]
    return []


def test_the_file_without_them_is_sound(tmp_path: Path) -> None:
    """Or what follows would say nothing."""
    assert [] == told(tmp_path)


@pytest.mark.parametrize("fault", FAULTS, ids=lambda fault: fault[2])
def test_one_fault_is_told_by_its_name(
    tmp_path: Path, fault: tuple[str, str, str]
) -> None:
    """And no other place is blamed for it."""
    table = fault[2].partition("]")[0].rpartition("[")[2]
    findings = told(tmp_path, fault)
    assert [one for one in findings if fault[2] in one]
    assert findings == [one for one in findings if table in one]


def test_any_two_faults_are_told_together(tmp_path: Path) -> None:
    """Neither hides the other, and nothing is said that only follows from both."""
    alone = {fault: set(told(tmp_path, fault)) for fault in FAULTS}
    wrong = [
        (one[2], other[2], found ^ (alone[one] | alone[other]))
        for one, other in combinations(FAULTS, 2)
        if (one[2], other[2]) not in HIDDEN
        and (found := set(told(tmp_path, one, other))) != alone[one] | alone[other]
    ]
    assert [] == wrong


def test_all_faults_are_told_in_one_run(tmp_path: Path) -> None:
    """A person mends the file once, and not a fault at a time."""
    faults = [fault for fault in FAULTS if fault[2] != "site"]
    expected = {one for fault in faults for one in told(tmp_path, fault)}
    assert expected == set(told(tmp_path, *faults))


@pytest.mark.parametrize(
    ("old", "new", "where"),
    [
        ('hydrate = "anhydrous"', "hydrate = 5", "[solution.carbonate] hydrate"),
        ('formula = "Na2CO3"\n', "", "[solution.carbonate]"),
        (
            'tank = "reef"\nnode = "shelf"\nchannel = "c"',
            'tank = "rf"\nnode = "shelf"\nchannel = "c"',
            "[pump.drain] tank",
        ),
        ('tank = "reef"\ndrain', 'tank = "rf"\ndrain', "[exchange.water] tank"),
        ("[pump.fill]", "[pump.Fill]", '[pump."Fill"]'),
    ],
)
def test_one_slip_is_told_at_one_place(
    tmp_path: Path, old: str, new: str, where: str
) -> None:
    """What only follows from it is not told as well."""
    (found,) = told(tmp_path, (old, new, where))
    assert found.startswith(f"slackwater.toml {where}: ")
