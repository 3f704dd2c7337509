"""Single slips that `slackwater.toml` refuses (hazards H42, H43, H45)."""

from pathlib import Path

import pytest

from slackwater.errors import Finding, InputError
from slackwater.outside.settings import read_machine
from tests.outside.settings.texts import MACHINE


def refused(directory: Path, text: str) -> InputError:
    """The refusal of a machine file."""
    (directory / "slackwater.toml").write_text(text, "utf-8")
    with pytest.raises(InputError) as caught:
        read_machine(directory)
    return caught.value


def findings_of(directory: Path, text: str) -> list[str]:
    """Everything that is wrong with a machine file, one text each."""
    return [str(finding) for finding in refused(directory, text).findings]


VOLUMES = "uL, mL, ml, L, l, US gal"
FLOWS = ", ".join(
    f"{volume}/{time}"
    for volume in VOLUMES.split(", ")
    for time in ("s", "min", "h", "d")
)

# What stands in the good text, what is written instead, and the whole first finding.
WHOLE = [
    (
        'rate = "80 mL/min"',
        "rate = 80",
        Finding(
            where="slackwater.toml [pump.carbonate] rate",
            what="found 80 without a unit",
            expected=f"a flow from 0.1 mL/min to 2 L/min in one of {FLOWS}",
            do='Write number and unit as text, like "2 L/min".',
        ),
    ),
    (
        'rate = "80 mL/min"',
        'rtae = "80 mL/min"',
        Finding(
            where="slackwater.toml [pump.carbonate] rate",
            what="the key is missing",
            expected="nominal flow, until a calibration is recorded",
            do='Add a line like  rate = "80 mL/min"',
        ),
    ),
    (
        'zone = "Europe/Berlin"',
        'zone = "Europe/Berln"',
        Finding(
            where="slackwater.toml [tank.reef] zone",
            what='the time zone "Europe/Berln" is unknown',
            expected='a zone of the time-zone table, like "Europe/Berlin"',
            do='Did you mean "Europe/Berlin"? Use the zone the tank stands in.',
        ),
    ),
    (
        'net_volume = "300 L"',
        'net_volume = "300 ML"',
        Finding(
            where="slackwater.toml [tank.reef] net_volume",
            what='"300 ML" has the unknown unit "ML"',
            expected=f"a volume from 1 L to 10000 L in one of {VOLUMES}",
            do='Did you mean "mL"? Use one of the spellings exactly.',
        ),
    ),
    (
        'tank = "reef"\nnode',
        'tank = "reaf"\nnode',
        Finding(
            where="slackwater.toml [pump.carbonate] tank",
            what='there is no tank "reaf"',
            expected="one of reef",
            do='Did you mean "reef"? Mend the name or add [tank.reaf].',
        ),
    ),
]


@pytest.mark.parametrize(("found", "written", "expected"), WHOLE)
def test_tells_the_whole_story(
    tmp_path: Path, found: str, written: str, expected: Finding
) -> None:
    """A finding names file, table, key, the slip, what is accepted and what to do."""
    assert found in MACHINE
    text = MACHINE.replace(found, written, 1)
    assert expected == refused(tmp_path, text).findings[0]


BAD = [
    # Above all tables.
    ('site = "home"', 'site = "Home"', 'site: found "Home"'),
    ('site = "home"', "site = 5", "site: found 5; expected text in quotes"),
    ('site = "home"', 'site = "a/b"', 'site: found "a/b"'),
    ('site = "home"', 'sight = "home"', 'Did you mean "site"?'),
    ("[node.shelf]", "[nodes.shelf]", 'Did you mean "node"?'),
    # Tank.
    ("[tank.reef]\n", "[tank.Reef]\n", "cannot be used; expected 1 to 32"),
    ("[tank.reef]\n", '[tank."a b"]\n', "cannot be used; expected 1 to 32"),
    ("[tank.reef]\n", f"[tank.{'a' * 33}]\n", "cannot be used; expected 1 to 32"),
    ('"300 L"', '"0 L"', '"0 L" is outside the bounds'),
    ('"300 L"', '"-300 L"', '"-300 L" is outside the bounds'),
    ('"300 L"', '"1e400 L"', '"1e400 L" does not begin with a plain number'),
    ('"300 L"', '"nan L"', '"nan L" does not begin with a plain number'),
    ('"300 L"', '"inf L"', '"inf L" does not begin with a plain number'),
    ('"300 L"', '"0.3 L"', '"0.3 L" is outside the bounds'),
    ('"300 L"', '"300000 L"', '"300000 L" is outside the bounds'),
    ('"300 L"', '"300"', '"300" has no unit'),
    ('"300 L"', '"300 gal"', 'has the unknown unit "gal"'),
    ('"300 L"', '"300 litres"', 'has the unknown unit "litres"'),
    ('"300 L"', '"300 L "', 'has the unknown unit "L "'),
    ('"300 L"', '" 300 L"', "does not begin with a plain number"),
    ('"300 L"', '"300,5 L"', "does not begin with a plain number"),
    ('"300 L"', '"1_000 L"', "does not begin with a plain number"),
    ('"300 L"', '"٣٠٠ L"', "does not begin with a plain number"),
    ('"300 L"', '"' + "9" * 100 + ' L"', "does not begin with a plain number"),
    ('"300 L"', '"1 m x 1 m x 1 m"', '"1 m x 1 m x 1 m" is not a box of water'),
    ('"300 L"', '"1 m x 1 m x 9 m less 101 %"', '"101 %" is outside the range'),
    ('"300 L"', '"1 m x 1 m x 1 inch less 0 %"', 'has the unknown unit "inch"'),
    ('"300 L"', '"99 m x 9 m x 9 m less 0 %"', 'less 0 %" is outside the bounds'),
    ('"300 L"', '"1 cm x 1 cm x 1 cm less 0 %"', 'less 0 %" is outside the bounds'),
    ('"300 L"', "300", "found 300 without a unit"),
    ('"300 L"', "nan", "found nan without a unit"),
    ('"300 L"', "inf", "found inf without a unit"),
    ('"300 L"', "1e400", "found inf without a unit"),
    ('"300 L"', '["300 L"]', "found a list without a unit"),
    ('zone = "Europe/Berlin"', 'zone = "localtime"', 'zone "localtime" is unknown'),
    ('zone = "Europe/Berlin"', 'zone = "Europe"', 'zone "Europe" is unknown'),
    ('zone = "Europe/Berlin"', 'zone = "../etc"', 'zone "../etc" is unknown'),
    ('zone = "Europe/Berlin"', 'zone = ""', 'zone "" is unknown'),
    ('"The reef"', '"a\\nb"', "name: found"),
    ('"The reef"', '"' + "a" * 201 + '"', "name: found"),
    ('"8.2 dKH"', '"8.2"', "targets.alkalinity: "),
    ('"8.2 dKH"', '"8.2 dkh"', 'Did you mean "dKH"?'),
    ('"8.2 dKH"', '"8.2 mg/L"', 'has the unknown unit "mg/L"'),
    ('"8.2 dKH"', "8.2", "targets.alkalinity: found 8.2; expected text in quotes"),
    ('"8.2 dKH"', '"82 dKH"', "targets.alkalinity: "),
    ('"8.2 dKH"', '"6 dKH"', "targets.alkalinity: the target 6 dKH is unusual"),
    ('"8.2 dKH"', '"11.5 dKH"', "the target 11.5 dKH is unusual"),
    ('"420 mg/L"', '"420 dKH"', 'has the unknown unit "dKH"'),
    ('"420 mg/L"', '"420 ug/L"', "targets.calcium: "),
    ('calcium = "420', 'kalcium = "420', 'Did you mean "calcium"?'),
    ('calcium = "420 mg/L"', 'salinity = "1.0264"', '"1.0264" has no unit'),
    ('calcium = "420 mg/L"', 'salinity = "1.0264 SG"', 'unknown unit "SG"'),
    ('calcium = "420 mg/L"', 'salinity = "1.0264 PSU"', "is no salinity"),
    ('calcium = "420 mg/L"', 'salinity = "53 mS/cm"', 'unknown unit "mS/cm"'),
    ('"99.5 %"', '"99.5 %"\ncoldest = "20"', 'coldest: "20" has no unit'),
    ('"99.5 %"', '"99.5 %"\ncoldest = 20', "coldest: found 20; expected text"),
    ('strength = "100 g/L"', 'strength = "190 g/L"', "of what may be dissolved at 20"),
    ('"1800 L/h"', '"1800 L"', 'has the unknown unit "L"'),
    ('"1800 L/h"', '"0 L/h"', "return_flow: "),
    # Caps and uptake.
    ('"2.0 dKH/day"', '"2.0 dKH"', 'gross: found "2.0 dKH"'),
    ('"2.0 dKH/day"', '"-2.0 dKH/day"', '"-2.0 dKH/day" is negative'),
    ('"2.0 dKH/day"', '"nan dKH/day"', "does not begin with a plain number"),
    ('"2.0 dKH/day"', '"200 dKH/day"', "is more than a tank can hold"),
    ('"2.0 dKH/day"', '"2.0 mg/L/day"', 'has the unknown unit "mg/L"'),
    ('"2.0 dKH/day"', '"2.0 dKH/week"', 'gross: found "2.0 dKH/week"'),
    ('"2.0 dKH/day"', "2.0", "gross: found 2.0; expected text in quotes"),
    ('"0.5 dKH/day" }', '"1.1 dKH/day" }', "is faster than animals stand"),
    ("net_rise =", "netrise =", 'Did you mean "net_rise"?'),
    ('gross = "2.0 dKH/day", ', "", "caps.alkalinity.gross: the key is missing"),
    ("calcium = { gross", "calzium = { gross", 'Did you mean "calcium"?'),
    ("calcium = { gross", "temperature = { gross", "is not a parameter that can be"),
    ('low = "1.1', 'low = "1.5', "is more than the estimate"),
    (', low = "1.1 dKH/day"', "", "uptake.alkalinity.low: the key is missing"),
    # Own bands.
    ('act = "3 ug/L"', 'act = "1 ug/L"', 'act "1 ug/L" is not above watch "1 ug/L"'),
    ('watch = "1 ug/L"', 'watch = "0 ug/L"', "watch above nothing, and act above"),
    ('act = "3 ug/L"', 'act = "3"', '[tank.reef.bands] copper.act: "3" has no unit'),
    ('act = "3 ug/L"', "act = 3", "bands.copper.act: found 3; expected text"),
    ('act = "3 ug/L"', 'act = "3000 mg/L"', "copper.act: "),
    (', act = "3 ug/L"', "", "bands.copper.act: the key is missing"),
    ("copper = { w", "calcium = { w", '"calcium" is not a parameter of the traces'),
    ("copper = { w", "coper = { w", 'Did you mean "copper"?'),
    # Solutions.
    ('formula = "Na2CO3"\n', "", "[solution.carbonate]: nothing says what it does"),
    ("no_effects = true", "", "[solution.trace]: nothing says what it does"),
    ("no_effects = true", "no_effects = false", "nothing says what it does"),
    (
        "no_effects = true",
        'no_effects = true\nper_ml = { calcium = "1 mg/mL" }',
        "[solution.trace]: per_ml, no_effects are given",
    ),
    (
        "no_effects = true",
        'no_effects = true\nstrength = "5 g/L"',
        "strength is given without formula",
    ),
    (
        'per_ml = { calcium = "0.37 mg/L per mL in 100 L" }',
        "per_ml = {}",
        "per_ml: fou",
    ),
    ('"0.37 mg/L per mL in 100 L"', '"0.37 mg/L"', 'has the unknown unit "mg/L"'),
    ('"0.37 mg/L per mL in 100 L"', '"0.37 mg/L per mL"', "has the unknown unit"),
    ('"0.37 mg/L per mL in 100 L"', '"0 mg/mL"', "not what a millilitre can hold"),
    ('"0.37 mg/L per mL in 100 L"', '"-1 mg/mL"', '"-1 mg/mL" is negative'),
    ('"0.37 mg/L per mL in 100 L"', '"2000 mg/mL"', "not what a millilitre can hold"),
    ('"0.37 mg/L per mL in 100 L"', '"5 mg/L per mL in 100 hL"', 'unknown unit "hL"'),
    ('"0.37 mg/L per mL in 100 L"', '"5 meq/mL"', 'unknown unit "meq/mL"'),
    ("fully_declared = true", 'fully_declared = "yes"', "expected true or false"),
    ('["trace"]', '["tracer"]', 'keep_apart_from: there is no solution "tracer"'),
    ('["trace"]', '"trace"', "expected a list in [brackets]"),
    # Reservoirs and nodes.
    ('content = "5 L"', 'content = "5 kg"', 'has the unknown unit "kg"'),
    ('longest_run = "60 s"', 'longest_run = "60"', '"60" has no unit'),
    ('longest_run = "60 s"', 'longest_run = "60 S"', 'Did you mean "s"?'),
    ('longest_run = "60 s"', 'longest_run = "1 h"', '"1 h" is outside the bounds'),
    ('"0f3a77c2"', '"0F3A77C2"', "config_id: found"),
    ('"7c2f90b1"', '"' + "7" * 33 + '"', "hardware_id: found"),
    # Pumps.
    ('channel = "b"', 'channel = "a"', "channel a of node shelf drives"),
    ('channel = "a"', "channel = 1", "channel: found 1; expected text in quotes"),
    ('channel = "a"', 'channel = "A+"', 'channel: found "A+"; expected 1 to 32'),
    ('node = "shelf"', 'node = "self"', 'there is no node "self"'),
    ('solution = "carbonate"', 'solution = "soda"', 'there is no solution "soda"'),
    ('reservoir = "calcium"', 'reservoir = "jar"', 'there is no reservoir "jar"'),
    (
        'reservoir = "calcium"',
        'reservoir = "carbonate"',
        "[reservoir.carbonate]: pumps draw calcium, carbonate from it",
    ),
    ('"80 mL/min"', '"80 mL"', 'has the unknown unit "mL"'),
    ('"80 mL/min"', '"80 ML/min"', 'Did you mean "mL/min"?'),
    ('"80 mL/min"', '"80 mL/m"', 'has the unknown unit "mL/m"'),
    ('"80 mL/min"', '"80 L/min"', '"80 L/min" is outside the bounds'),
    ('"0.3 mL"', '"0 mL"', '"0 mL" is outside the bounds'),
    ('"5 mL"', '"0.2 mL"', "smallest_dose is more than most_per_dose"),
    ('"5 mL"', '"90 mL"', "most_per_dose is more than most_per_day"),
    ('"5 mL"', '"-5 mL"', '"-5 mL" is outside the bounds'),
    ('"80 mL"', '"80 mL/day"', 'has the unknown unit "mL/day"'),
    # Probe, interlock, outside source.
    ('parameter = "alkalinity"\nunit', 'parameter = "kh"\nunit', '"kh" is not a par'),
    ('unit = "dKH"', 'unit = "mg/L"', "[probe.kh] unit: "),
    ('"15 min"\nres', '"15"\nres', 'period: "15" has no unit'),
    ('"0.01 dKH"', '"0.01"', 'resolution: "0.01" has no unit'),
    (
        '"0.01 dKH"',
        '"0.01 dKH"\nlow = "9 dKH"\nhigh = "8 dKH"',
        "low is not below high",
    ),
    ("[interlock.reef]", "[interlock.reaf]", 'there is no tank "reaf"'),
    ('"9.7 dKH"', '"12.5 dKH"', "alkalinity_ceiling: "),
    ('"9.7 dKH"', '"8.1 dKH"', "is not above the target"),
    ('"9.7 dKH"', '"9.7 dKH"\nalkalinity_floor = "8.2 dKH"', "is not below the target"),
    ('"9.7 dKH"', '"9.7 dKH"\nalkalinity_rise = "2 dKH"', "is outside the bounds"),
    ('"9.7 dKH"', '"9.7 dKH"\ngood_readings = 0', "good_readings: found 0"),
    ('"9.7 dKH"', '"9.7 dKH"\nhold_at_least = "0 s"', '"0 s" is outside the bounds'),
    ('"0.4 dKH/day"', '"0.4 dKH"', '[outside.lime] per_day: found "0.4 dKH"'),
    # Broker and timing.
    ('host = "localhost"', 'host = ""', "[broker] host: found"),
    ('host = "localhost"', 'host = "a b"', '[broker] host: found "a b"'),
    ('host = "localhost"', "port = 0", "[broker] port: found 0"),
    ('host = "localhost"', "port = 70000", "[broker] port: found 70000"),
    ('host = "localhost"', 'port = "1883"', "expected a whole number"),
    ('host = "localhost"', 'prefix = "a/#"', '[broker] prefix: found "a/#"'),
    ('host = "localhost"', 'observe_user = "me"', "observe_password_file is not"),
    ('host = "localhost"', 'password = "secret"', 'nobody reads the key "password"'),
    ('apart_gap = "15 min"', 'apart_gap = "0 s"', '"0 s" is outside the bounds'),
    ('apart_gap = "15 min"', "apart_gap = 900", "found 900 without a unit"),
    ('apart_gap = "15 min"', 'deadline = "31 s"', '"31 s" is outside the bounds'),
    ('apart_gap = "15 min"', 'beat_fresh = "21 s"', '"21 s" is outside the bounds'),
    ('apart_gap = "15 min"', 'lateness_share = "26 %"', "is outside the bounds"),
    ('apart_gap = "15 min"', 'apart_gab = "15 min"', 'Did you mean "apart_gap"?'),
    # Grammar.
    ('site = "home"', "site = home", "the text is not TOML"),
    ('site = "home"', 'site = "home"\nsite = "home"', "stands there twice"),
    ("[broker]", "[tank.reef]", "stands there twice"),
    ('tank = "reef"\nnode', 'tank = "reef"\ntank = "reef"\nnode', "stands there twice"),
    ('site = "home"', "site = " + "[" * 5000, "nested too deeply"),
    ('site = "home"', "site = " + "9" * 5000, "a number is too long to read"),
]


@pytest.mark.parametrize(("found", "written", "expected"), BAD)
def test_refuses_a_slip(
    tmp_path: Path, found: str, written: str, expected: str
) -> None:
    """One slip in a good file is told, and told in the words of its place."""
    assert found in MACHINE
    findings = findings_of(tmp_path, MACHINE.replace(found, written, 1))
    assert findings[0].startswith("slackwater.toml")
    assert [text for text in findings if expected in text]


@pytest.mark.parametrize("zone", ["PST", "CEST", "BST", "pdt"])
def test_no_zone_is_guessed_from_an_abbreviation(tmp_path: Path, zone: str) -> None:
    """The nearest spelling, MST for PST, would be wrong by an hour."""
    text = MACHINE.replace('zone = "Europe/Berlin"', f'zone = "{zone}"')
    (finding,) = refused(tmp_path, text).findings
    assert finding.what == f'the time zone "{zone}" is unknown'
    assert "Did you mean" not in finding.do
    assert 'named like "Europe/Vienna"' in finding.do


def test_a_zone_in_the_wrong_case_is_no_abbreviation(tmp_path: Path) -> None:
    """It is the very zone, written otherwise."""
    text = MACHINE.replace('zone = "Europe/Berlin"', 'zone = "utc"')
    (finding,) = refused(tmp_path, text).findings
    assert finding.do.startswith('Did you mean "UTC"? ')


@pytest.mark.parametrize("salt", ["Na2CO3", "na2co3", "CaCl2.2H2O"])
def test_a_salt_that_stands_for_a_parameter_is_told_the_form_of_a_recipe(
    tmp_path: Path, salt: str
) -> None:
    """Who weighed a salt in needs no list of all that can be dosed."""
    label = f'per_ml = {{ "{salt}" = "80 g/L" }}'
    text = MACHINE.replace("no_effects = true", label)
    (finding,) = refused(tmp_path, text).findings
    assert finding.what == f'"{salt}" is a salt, not a parameter'
    assert '"Na2CO3, anhydrous, 80 g/L, 99 %"' in finding.expected
    assert len(finding.expected) < 250
