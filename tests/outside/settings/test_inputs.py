"""Switches, mapped probes and the limits on what they show."""

import math
from pathlib import Path

import pytest

from slackwater.errors import InputError
from slackwater.facts.limits import LIMITS, Role, Switch, WaterLimits
from slackwater.facts.tank import Machine
from slackwater.outside.settings.limit_model import LIMIT_BOUNDS
from tests.outside.settings.test_machine import machine_from_text
from tests.outside.settings.test_machine_refusals import findings_of
from tests.outside.settings.texts import MACHINE

RETURN = '\n[switch.return]\ntank = "reef"\nrole = "return-pump"\n'
PH = """
[probe.ph]
tank = "reef"
parameter = "ph"
unit = "pH"
period = "1 min"
resolution = "0.01 pH"
"""


def with_table(directory: Path, more: str) -> Machine:
    """The good machine with a table more."""
    return machine_from_text(directory, MACHINE + more)


def limits(directory: Path, line: str) -> WaterLimits:
    """The limits of the reef when one line is written into its table."""
    text = MACHINE.replace("[interlock.reef]\n", f"[interlock.reef]\n{line}\n")
    return machine_from_text(directory, text).limits["reef"]


def noted(directory: Path, text: str) -> list[str]:
    """What is wrong with a text, one line each; empty when nothing is."""
    try:
        machine_from_text(directory, text)
    except InputError as error:
        return [str(finding) for finding in error.findings]
    return []


def test_a_switch_needs_a_tank_and_a_role(tmp_path: Path) -> None:
    """All else has a default: the contract's payload, five minutes, a quarter more."""
    expected = Switch(
        id="return",
        tank="reef",
        role="return-pump",
        normal_on=True,
        hold_at_least_s=600.0,
    )
    found = with_table(tmp_path, RETURN).switches
    assert {"return": expected} == found
    assert (300.0, 900.0, 1500.0) == (
        expected.period_s,
        expected.grace_s,
        expected.silent_s,
    )


@pytest.mark.parametrize(
    ("role", "more", "normal_on", "hold_s"),
    [
        ("return-pump", "", True, 600.0),
        ("level", "", False, 600.0),
        ("leak", "", False, 60.0),
        ("feeding", "", False, 300.0),
        ("hands", "", False, 60.0),
        ("skimmer", "", True, 60.0),
        ("air", "", True, 60.0),
        ("power", 'pump = "carbonate"', False, 60.0),
        ("top-off", 'unit = "mL"\ntopic = "cellar/refill"', False, 60.0),
    ],
)
def test_each_role_knows_what_is_normal(
    tmp_path: Path, role: Role, more: str, normal_on: bool, hold_s: float
) -> None:
    """What runs all day is on; alarms and buttons are off."""
    text = f'\n[switch.x]\ntank = "reef"\nrole = "{role}"\n{more}\n'
    switch = with_table(tmp_path, text).switches["x"]
    assert (role, normal_on, hold_s) == (
        switch.role,
        switch.normal_on,
        switch.hold_at_least_s,
    )


def test_a_button_may_be_silent(tmp_path: Path) -> None:
    """It speaks when it is pressed; its last word counts for ever."""
    text = RETURN.replace("return-pump", "feeding") + 'period = "0 s"\n'
    assert math.inf == with_table(tmp_path, text).switches["return"].silent_s


def test_a_mapped_switch_speaks_its_own_words(tmp_path: Path) -> None:
    """Topic, pointer and words; a topic alone means that the payload is the word."""
    mapped = RETURN + (
        'topic = "cellar/plug"\non = ["ON", "1"]\noff = ["OFF", "0"]\nnormal = "off"\n'
    )
    switch = with_table(tmp_path, mapped).switches["return"]
    assert ("cellar/plug", "", ("ON", "1"), ("OFF", "0"), False) == (
        switch.topic,
        switch.pointer,
        switch.on,
        switch.off,
        switch.normal_on,
    )
    pointed = with_table(tmp_path, mapped + 'pointer = "/a~1b/0"\n')
    assert "/a~1b/0" == pointed.switches["return"].pointer


def test_a_counter_counts_in_its_unit(tmp_path: Path) -> None:
    """Whole microlitres in one unit of its running total."""
    text = '\n[switch.x]\ntank = "reef"\nrole = "top-off"\ntopic = "t"\nunit = "{}"\n'
    units = [
        with_table(tmp_path, text.format(unit)).switches["x"].unit_ul
        for unit in ("uL", "mL", "L")
    ]
    assert [1, 1_000, 1_000_000] == units


def test_a_mapped_probe_is_scaled(tmp_path: Path) -> None:
    """A bare number in hundredths, at a place in a larger payload."""
    mapped = PH + 'topic = "cellar/water"\npointer = "/ph"\nscale = "0.01"\n'
    probe = with_table(tmp_path, mapped).probes["ph"]
    assert ("cellar/water", "/ph") == (probe.topic, probe.pointer)
    assert pytest.approx((0.01, 0.0)) == (probe.scale, probe.offset)


def test_a_probe_of_the_contract_is_not_mapped(tmp_path: Path) -> None:
    """No topic and no pointer."""
    probe = with_table(tmp_path, PH).probes["ph"]
    assert ("", None, 1.0) == (probe.topic, probe.pointer, probe.scale)


@pytest.mark.parametrize(
    ("parameter", "unit", "expected_s"),
    [
        ("alkalinity", "dKH", 0.0),
        ("ph", "pH", 21_600.0),
        ("temperature", "degC", 86_400.0),
        ("salinity", "PSU", 86_400.0),
    ],
)
def test_equal_readings_are_frozen_after_a_time_of_their_kind(
    tmp_path: Path, parameter: str, unit: str, expected_s: float
) -> None:
    """Alkalinity goes by chance alone; a heated tank stands still for hours."""
    text = PH.replace('"ph"', f'"{parameter}"').replace('pH"', f'{unit}"')
    assert expected_s == with_table(tmp_path, text).probes["ph"].frozen_after_s
    text += 'frozen_after = "1 h"\n'
    assert 3600.0 == with_table(tmp_path, text).probes["ph"].frozen_after_s


SLIPS = [
    (RETURN.replace("return-pump", "pump"), "[switch.return] role"),
    (RETURN.replace('"reef"', '"reaf"'), 'there is no tank "reaf"'),
    (RETURN + 'topic = "a/+"\n', "one topic, without + and #"),
    (RETURN + 'topic = "$SYS/x"\n', "not beginning with $"),
    (RETURN + 'topic = ""\n', "one topic"),
    (RETURN + 'topic = "a\\tb"\n', "one line of text"),
    (RETURN + 'topic = "slackwater/1/home/x"\n', "one of the daemon's own topics"),
    (PH + 'topic = "slackwater/1/home/x"\n', "[probe.ph] topic: "),
    (RETURN + 'pointer = "state"\n', "[switch.return] pointer"),
    (RETURN + 'pointer = "/a~2"\n', "[switch.return] pointer"),
    (RETURN + 'on = ["x"]\noff = ["x"]\n', "x means on and off"),
    (RETURN + "on = []\n", "[switch.return] on"),
    (RETURN + 'on = [""]\n', "[switch.return] on"),
    (RETURN + 'pump = "carbonate"\n', "pump is given for the role return-pump"),
    (RETURN + 'unit = "mL"\n', "unit is given for the role return-pump"),
    (RETURN.replace("return-pump", "power"), "pump is missing for the role power"),
    (
        RETURN.replace("return-pump", "power") + 'pump = "no"\n',
        'there is no pump "no"',
    ),
    (
        RETURN.replace("return-pump", "top-off") + 'unit = "mL"\n',
        "no payload for a counter",
    ),
    (
        RETURN.replace("return-pump", "top-off") + 'topic = "t"\n',
        "unit is missing for the role top-off",
    ),
    (RETURN + 'period = "0 s"\n', "that may be silent proves nothing"),
    (RETURN + 'period = "2 d"\n', '"2 d" is outside the bounds'),
    (RETURN + 'grace = "2 d"\n', '"2 d" is outside the bounds'),
    (PH + 'scale = "0.01"\n', "a scale is given for the payload of the contract"),
    (PH + 'topic = "t"\nscale = "0"\n', "[probe.ph] scale"),
    (PH + 'topic = "t"\nscale = "-1"\n', "[probe.ph] scale"),
    (PH + 'frozen_after = "25 h"\n', '"25 h" is outside the bounds'),
]


@pytest.mark.parametrize(("more", "expected"), SLIPS)
def test_refuses_a_slip(tmp_path: Path, more: str, expected: str) -> None:
    """One slip in a table more is told in the words of its place."""
    findings = findings_of(tmp_path, MACHINE + more)
    assert [text for text in findings if expected in text], findings


def test_the_defaults_of_the_file_are_those_of_the_record(tmp_path: Path) -> None:
    """Common practice, no source: the figures stand once in the record.

    0.7 dKH is 0.2496567 meq/L by the IUPAC weights of calcium and oxygen.
    """
    found = machine_from_text(tmp_path, MACHINE).limits["reef"]
    for key in WaterLimits.__dataclass_fields__:
        expected = pytest.approx(getattr(LIMITS, key), rel=1e-5)
        assert expected == getattr(found, key), key


@pytest.mark.parametrize("key", LIMIT_BOUNDS)
def test_each_limit_reaches_its_bounds_and_not_beyond(tmp_path: Path, key: str) -> None:
    """The lowest and the highest text are taken, or only clash with another key."""
    _, _, low, high = LIMIT_BOUNDS[key]
    for text in (low, high):
        written = f'[interlock.reef]\n{key} = "{text}"\n'
        spoiled = MACHINE.replace("[interlock.reef]\n", written)
        assert [] == [f for f in noted(tmp_path, spoiled) if "is above" not in f]
    number, unit = high.split()
    beyond = f'[interlock.reef]\n{key} = "{float(number) * 1.05:g} {unit}"\n'
    findings = findings_of(tmp_path, MACHINE.replace("[interlock.reef]\n", beyond))
    assert [text for text in findings if f"[interlock.reef] {key}" in text]


@pytest.mark.parametrize(
    "lines",
    [
        'ph_hydroxide = "8.6 pH"\nph_carbonate = "8.5 pH"',
        'temperature_cold = "22 degC"',
        'temperature_cool = "27 degC"\ntemperature_warm = "25 degC"',
        'temperature_warm = "31 degC"\ntemperature_hot = "30 degC"',
        'salinity_off = "2 PSU"\nsalinity_far = "1 PSU"',
    ],
)
def test_the_milder_limit_is_not_beyond_the_harder(tmp_path: Path, lines: str) -> None:
    """Crossed thresholds are told with both figures."""
    text = MACHINE.replace("[interlock.reef]\n", f"[interlock.reef]\n{lines}\n")
    assert "is above" in findings_of(tmp_path, text)[0]


def test_one_limit_written_changes_that_one(tmp_path: Path) -> None:
    """The others keep their defaults; degrees Fahrenheit are converted."""
    found = limits(tmp_path, 'temperature_hot = "86 degF"')
    assert pytest.approx(30.0) == found.temperature_hot
    assert LIMITS.temperature_warm == found.temperature_warm


@pytest.mark.parametrize(
    ("more", "expected"),
    [
        ("", (500_000, 0.0)),
        ('low = "1 L"', (1_000_000, 0.0)),
        ('low = "0 mL"\nkeeps = "90 d"', (0, 7_776_000.0)),
    ],
)
def test_a_reservoir_is_low_at_a_tenth(
    tmp_path: Path, more: str, expected: tuple[int, float]
) -> None:
    """Unless the file says otherwise; how long it keeps is said or not known."""
    text = MACHINE.replace('content = "5 L"', f'content = "5 L"\n{more}', 1)
    found = machine_from_text(tmp_path, text).reservoirs["carbonate"]
    assert expected == (found.low_ul, found.keeps_s)


def test_only_a_label_says_that_it_is_bicarbonate(tmp_path: Path) -> None:
    """A formula knows by itself; hydroxide and bicarbonate alone is one too many."""
    label = 'per_ml = { alkalinity = "0.3 dKH per mL in 100 L" }\nbicarbonate = true'
    text = MACHINE.replace("no_effects = true", label)
    assert machine_from_text(tmp_path, text).solutions["trace"].bicarbonate
    both = MACHINE.replace("no_effects = true", f"{label}\nhydroxide = true")
    assert "hydroxide and bicarbonate alone" in findings_of(tmp_path, both)[0]
    formula = MACHINE.replace(
        'purity = "99.5 %"', 'purity = "99.5 %"\nbicarbonate = true'
    )
    assert "beside a formula" in findings_of(tmp_path, formula)[0]


def test_what_a_solution_wants_is_said_with_its_cautions(tmp_path: Path) -> None:
    """To be stirred, rinsed, kept dark; each by itself, none unless it is stated."""
    label = 'per_ml = { alkalinity = "0.3 dKH per mL in 100 L" }'
    for key, word in (
        ("stir", "stir it"),
        ("rinse", "slackwater flush"),
        ("light_sensitive", "dark"),
    ):
        text = MACHINE.replace("no_effects = true", f"{label}\n{key} = true")
        found = machine_from_text(tmp_path, text).solutions["trace"]
        (said,) = found.cautions
        assert word in said
        assert (key == "light_sensitive") is found.light_sensitive
