"""Physical quantities: what is accepted, what is refused."""

import subprocess
import sys
from collections.abc import Callable
from fractions import Fraction

import pint
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from slackwater.errors import InputError, OutOfRangeError
from slackwater.water.spellings import INNER, PHYSICAL, Physical, told_units
from slackwater.water.units import (
    parse,
    parse_conductivity_ms_per_cm,
    parse_duration_ms,
    parse_duration_s,
    parse_flow_ul_per_s,
    parse_length_mm,
    parse_mass_grams,
    parse_share,
    parse_stock_grams_per_litre,
    parse_temperature_celsius,
    parse_volume_ul,
)

KINDS: list[Physical] = list(PHYSICAL)
REGISTRY: pint.UnitRegistry[Fraction] = pint.UnitRegistry(non_int_type=Fraction)
SPELLINGS = [(kind, unit) for kind in KINDS for unit in PHYSICAL[kind]]
PREFIXES = ("k", "M", "G", "m", "u", "n", "c", "d", "da", "h", "µ", "kilo", "milli")
READERS: list[Callable[..., object]] = [
    parse_volume_ul,
    parse_length_mm,
    parse_temperature_celsius,
    parse_duration_s,
    parse_duration_ms,
    parse_flow_ul_per_s,
    parse_mass_grams,
    parse_stock_grams_per_litre,
    parse_conductivity_ms_per_cm,
    parse_share,
]
NOT_NUMBERS = [
    *("NaN", "nan", "inf", "-inf", "Infinity", "1e400", "1e3", "1E3", "1e-3", "0x10"),
    *("1,000", "1,5", "1 000", "1_000", "1'000", "1.", ".5", "1.5.2", "--1", "+1", ""),
    *(" 1", "٣", "\uff11", "½", "1/2", "9" * 13, "0." + "1" * 13, "one"),
]


# Volume factors: NIST SP 811 (2008), B.8 and B.9; all exact.
@pytest.mark.parametrize(
    ("text", "kind", "expected"),
    [
        ("300 L", "volume", Fraction(300_000_000)),
        ("2 mL", "volume", Fraction(2_000)),
        ("2ml", "volume", Fraction(2_000)),
        ("1 US gallon", "volume", Fraction("3785411.784")),
        ("1 imperial gallon", "volume", Fraction(4_546_090)),
        ("7 μL", "volume", Fraction(7)),
        ("12 in", "length", Fraction("304.8")),
        ("1 ft", "length", Fraction("304.8")),
        ("77 degF", "temperature", Fraction(25)),
        ("-40 °F", "temperature", Fraction(-40)),
        ("25.5 °C", "temperature", Fraction("25.5")),
        ("15 min", "duration", Fraction(900)),
        ("2 days", "duration", Fraction(172_800)),
        ("80 mL/min", "flow", Fraction(4_000, 3)),
        ("1800 L/h", "flow", Fraction(500_000)),
        ("1 lb", "mass", Fraction("453.59237")),
        ("1 oz", "mass", Fraction("28.349523125")),
        ("100 g/L", "stock", Fraction(100)),
        ("5 mg/mL", "stock", Fraction(5)),
        ("99.5 %", "share", Fraction("0.995")),
        ("53 mS/cm", "conductivity", Fraction(53)),
        ("5.3 S/m", "conductivity", Fraction(53)),
        ("53000 uS/cm", "conductivity", Fraction(53)),
    ],
)
def test_quantities_are_exact(text: str, kind: Physical, expected: Fraction) -> None:
    """Each quantity arrives in the inner unit of its kind without rounding."""
    assert expected == parse(text, kind, where="")


def test_a_volume_is_whole_microlitres_rounded_down() -> None:
    """79.3 US gallons are 300183154.47 microlitres."""
    assert 300_183_154 == parse_volume_ul("79.3 US gallon", where="")


def test_durations_come_in_seconds_and_in_milliseconds() -> None:
    """Seconds are a number, milliseconds are whole and rounded down."""
    seconds = parse_duration_s("0.2505 s", where="")
    assert (0.2505, 250) == (seconds, parse_duration_ms("0.2505 s", where=""))


@pytest.mark.parametrize(
    ("reader", "text"),
    [
        (parse_volume_ul, "0 L"),
        (parse_volume_ul, "0.9 uL"),
        (parse_volume_ul, "1000000.000001 L"),
        (parse_length_mm, "0 m"),
        (parse_flow_ul_per_s, "0 mL/s"),
        (parse_mass_grams, "0 g"),
        (parse_stock_grams_per_litre, "0 g/L"),
        (parse_conductivity_ms_per_cm, "0 mS/cm"),
        (parse_duration_s, "0 s"),
        (parse_duration_s, "3661 d"),
        (parse_duration_ms, "0.9 ms"),
        (parse_share, "100.1 %"),
        (parse_temperature_celsius, "-273.16 degC"),
    ],
)
def test_a_quantity_out_of_range_is_refused(
    reader: Callable[..., object], text: str
) -> None:
    """Nothing at, more than all, or colder than cold."""
    with pytest.raises(OutOfRangeError, match=r"here: .*outside the range"):
        reader(text, where="here")


@pytest.mark.parametrize(
    ("reader", "text", "expected"),
    [
        (parse_volume_ul, "1 uL", 1),
        (parse_volume_ul, "1000000 L", 10**12),
        (parse_duration_s, "3660 d", 316_224_000.0),
        (parse_duration_ms, "1 ms", 1),
        (parse_share, "0 %", 0),
        (parse_share, "100 %", 1),
        (parse_temperature_celsius, "-273.15 degC", Fraction("-273.15")),
        (parse_length_mm, "0.1 mm", Fraction("0.1")),
    ],
)
def test_the_ends_of_a_range_belong_to_it(
    reader: Callable[..., object], text: str, expected: object
) -> None:
    """Bounds are inclusive."""
    assert expected == reader(text, where="")


@pytest.mark.parametrize("number", NOT_NUMBERS)
def test_what_is_no_plain_number_is_refused(number: str) -> None:
    """H42: no exponent, comma, mark, word, NaN or infinity becomes a quantity."""
    for kind, unit in SPELLINGS:
        with pytest.raises(InputError) as refused:
            parse(f"{number} {unit}", kind, where="")
        assert 1 == len(refused.value.findings)


@pytest.mark.parametrize("reader", READERS)
@pytest.mark.parametrize("value", [5, 5.0, True, None, ["5 mL"], "5", "5 ", "5.0"])
def test_a_bare_number_is_refused(reader: Callable[..., object], value: object) -> None:
    """H43: a number without its unit is never guessed at."""
    with pytest.raises(InputError):
        reader(value, where="")


@pytest.mark.parametrize("kind", [kind for kind in KINDS if kind != "temperature"])
def test_a_negative_quantity_is_refused(kind: Physical) -> None:
    """Only temperatures go below 0."""
    unit = next(iter(PHYSICAL[kind]))
    with pytest.raises(InputError, match="negative"):
        parse(f"-1 {unit}", kind, where="")


def mutations(unit: str) -> set[str]:
    """Slips of the hand around one spelling."""
    cases = {
        f"{unit[:at]}{unit[at].swapcase()}{unit[at + 1 :]}" for at in range(len(unit))
    }
    shorter = {f"{unit[:at]}{unit[at + 1 :]}" for at in range(len(unit))}
    prefixed = {f"{prefix}{unit}" for prefix in PREFIXES}
    around = {
        unit.upper(),
        unit.lower(),
        f"{unit}s",
        f"{unit} ",
        f"{unit}.",
        f"{unit}\n",
    }
    powers = {f"{unit}2", f"{unit}^2", f"{unit}**2", f"{unit}*{unit}", f"1/{unit}"}
    return (cases | shorter | prefixed | around | powers) - {""}


@pytest.mark.parametrize(("kind", "unit"), SPELLINGS)
def test_every_slip_of_a_spelling_is_refused(kind: Physical, unit: str) -> None:
    """H43: each prefix, case and missing letter, unless it is a spelling itself."""
    slips = sorted(mutations(unit) - set(PHYSICAL[kind]))
    assert slips
    for slip in slips:
        with pytest.raises(InputError):
            parse(f"5 {slip}", kind, where="")


def test_a_capital_letter_is_asked_about() -> None:
    """A thousand million times too much is a shift key away."""
    with pytest.raises(InputError, match=r'unit "ML".*Did you mean "mL"') as refused:
        parse_volume_ul("5 ML", where="[pump] per_day")
    assert "[pump] per_day" == refused.value.findings[0].where


def test_a_finding_names_every_spelling() -> None:
    """Whoever is refused sees what would have been accepted, micro as a letter."""
    with pytest.raises(InputError) as refused:
        parse_volume_ul("5 gallon", where="")
    expected = refused.value.findings[0].expected
    told = [unit for unit in PHYSICAL["volume"] if unit.isascii()]
    assert expected.endswith(f"in one of {', '.join(told)}")


def test_a_long_text_is_cut_and_control_characters_are_shown() -> None:
    """A pasted page does not hide the sentence."""
    with pytest.raises(InputError) as refused:
        parse_volume_ul("1\n" + "x" * 500, where="")
    what = refused.value.findings[0].what
    assert (True, False) == (len(what) < 120, "\n" in what)


@given(
    pair=st.sampled_from(SPELLINGS),
    number=st.decimals(0, 10**6, places=3, allow_nan=False),
)
@settings(deadline=None)
def test_what_is_accepted_is_exact_and_linear(
    pair: tuple[Physical, str], number: object
) -> None:
    """A number in a unit is the number times one of the unit."""
    kind, unit = pair
    zero = parse(f"0 {unit}", kind, where="")
    one = parse(f"1 {unit}", kind, where="") - zero
    found = parse(f"{number:f} {unit}", kind, where="")
    assert Fraction(str(number)) * one + zero == found


@given(text=st.text(max_size=20), kind=st.sampled_from(KINDS))
@settings(deadline=None)
def test_any_text_is_refused_or_ends_in_a_spelling(text: str, kind: Physical) -> None:
    """Nothing escapes but an InputError, nothing passes but a listed unit."""
    try:
        found = parse(text, kind, where="")
    except InputError:
        return
    assert any(text.endswith(unit) for unit in PHYSICAL[kind])
    assert isinstance(found, Fraction)


@given(
    number=st.from_regex(r"[0-9+.,eE_'-]{1,8}", fullmatch=True),
    pair=st.sampled_from(SPELLINGS),
)
@settings(deadline=None)
def test_a_number_is_read_as_it_is_written_or_not_at_all(
    number: str, pair: tuple[Physical, str]
) -> None:
    """What passes is plain decimal notation."""
    kind, unit = pair
    try:
        parse(f"{number} {unit}", kind, where="")
    except InputError:
        return
    assert number.removeprefix("-").replace(".", "", 1).isdigit()


def test_a_million_microlitre_doses_sum_exactly() -> None:
    """H35: 24 doses of 0.1 mL are 2.4 mL, and a million of them 100 L."""
    dose_ul = parse_volume_ul("0.1 mL", where="")
    sums = (sum([dose_ul] * 24), sum([dose_ul] * 10**6))
    volumes = ("2.4 mL", "100 L")
    assert sums == tuple(parse_volume_ul(text, where="") for text in volumes)


@pytest.mark.parametrize(("kind", "unit"), SPELLINGS)
def test_a_unit_is_what_pint_says_it_is(kind: Physical, unit: str) -> None:
    """Each factor, ours by definition or not, is that of pint's own file (oracle)."""
    quantity = REGISTRY.Quantity(Fraction(7), PHYSICAL[kind][unit])
    expected = Fraction(quantity.to(INNER[kind]).magnitude)
    assert expected == parse(f"7 {unit}", kind, where="")


@pytest.mark.parametrize(
    ("text", "kind"), [("79 US gal", "volume"), ("24 in", "length")]
)
def test_only_what_is_no_power_of_ten_loads_pint(text: str, kind: Physical) -> None:
    """A household that measures in litres does not wait for the library."""
    metric = [
        ("300 L", "volume"),
        ("60 cm", "length"),
        ("25 degC", "temperature"),
        ("80 mL/min", "flow"),
        ("53 mS/cm", "conductivity"),
    ]
    script = (
        "import slackwater.water.units as u;"
        f"[u.parse(text, kind, where='') for text, kind in {metric!r}];"
        "before = 'pint' in sys.modules;"
        f"u.parse({text!r}, {kind!r}, where='');"
        "print(before, 'pint' in sys.modules)"
    )
    assert "False True" == _printed_by(script)


@pytest.mark.parametrize(
    "module",
    ["show", "parameters", "spellings", "salts", "ions", "seawater", "units", "levels"],
)
def test_no_module_loads_pint_at_import(module: str) -> None:
    """Every verb starts fast."""
    script = f"import sys, slackwater.water.{module}; print('pint' in sys.modules)"
    assert "False" == _printed_by(script)


@pytest.mark.parametrize(
    ("spellings", "told"),
    [
        (("mg/L", "ug/L", "\u00b5g/L", "\u03bcg/L"), "mg/L, ug/L"),
        (("\u00b5S/cm", "mS/cm"), "\u00b5S/cm, mS/cm"),
        (("degC", "\u00b0C"), "degC, \u00b0C"),
    ],
)
def test_people_are_told_one_of_three_signs_for_micro(
    spellings: tuple[str, ...], told: str
) -> None:
    """Two of them look the same on a screen; one that stands alone stays."""
    assert told == told_units(spellings)


def _printed_by(script: str) -> str:
    command = [
        sys.executable,
        "-c",
        f"import sys; sys.path[:0] = {sys.path!r}; {script}",
    ]
    done = subprocess.run(command, check=True, capture_output=True, text=True)
    return done.stdout.strip()
