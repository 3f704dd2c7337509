"""Amounts whose unit depends on the parameter (hazard H43)."""

import pytest

from slackwater.outside.settings.amounts import Amounts
from slackwater.outside.settings.tables import Findings
from slackwater.water.parameters import PARAMETERS
from slackwater.water.spellings import units_of

# One degree of carbonate hardness in meq/L: 10 mg CaO a litre, two equivalents a mole.
# Source: definition of the German degree; IUPAC conventional atomic weights
# Ca 40.078, O 15.999.
MEQ_PER_DKH = 2 * 10 / (40.078 + 15.999)
# Source: IUPAC conventional atomic weights; CaCO3 100.086 g/mol, two equivalents.
MG_CACO3_PER_MEQ = 50.043


def level(parameter: str, text: str) -> float | None:
    """A level read, None when refused."""
    return Amounts(parameter=parameter, findings=Findings("f")).level("", text)


LEVELS = [
    ("alkalinity", "8 dKH", 8 * MEQ_PER_DKH),
    ("alkalinity", "2.85 meq/L", 2.85),
    ("alkalinity", "142.8 mg/L CaCO3", 142.8 / MG_CACO3_PER_MEQ),
    ("alkalinity", "142.8 ppm CaCO3", 142.8 / MG_CACO3_PER_MEQ),
    ("calcium", "420 mg/L", 420.0),
    ("calcium", "420000 ug/L", 420.0),
    ("iodine", "60 µg/L", 60.0),
    ("iodine", "0.06 mg/L", 60.0),
    ("temperature", "25 °C", 25.0),
    ("temperature", "77 °F", 25.0),
    ("nitrate", "0 mg/L", 0.0),
    ("ph", "8.1 pH", 8.1),
    # Source: TEOS-10 (library gsw), practical salinity of 1.0264 at 25 over 25 degC.
    ("salinity", "1.0264 SG 25/25", 35.0345),
    # Source: PSS-78, UNESCO Technical Papers in Marine Science 44.
    ("salinity", "53.0 mS/cm at 25 degC", 34.9473),
    ("salinity", "35 PSU", 35.0),
]


@pytest.mark.parametrize(("parameter", "text", "expected"), LEVELS)
def test_reads_levels(parameter: str, text: str, expected: float) -> None:
    """A level arrives in the canonical unit whatever unit was written."""
    assert pytest.approx(expected, rel=5e-5) == level(parameter, text)


UNITS = sorted({unit for item in PARAMETERS.values() for unit in units_of(item)})


@pytest.mark.parametrize("parameter", PARAMETERS)
def test_takes_only_the_units_of_its_parameter(parameter: str) -> None:
    """Each unit on each parameter is one of its own, or refused (H43)."""
    taken = {
        unit
        for unit in UNITS
        if Amounts(parameter=parameter, findings=Findings("f")).span("", f"1 {unit}")
        is not None
    }
    assert set(units_of(PARAMETERS[parameter])) == taken


@pytest.mark.parametrize(
    ("parameter", "text"),
    [
        ("alkalinity", "8 meq/L"),
        ("alkalinity", "142 dKH"),
        ("alkalinity", "2.9 dKH"),
        ("calcium", "8.4 mg/L"),
        ("calcium", "42 mg/L"),
        ("magnesium", "420 mg/L"),
        ("temperature", "77 °C"),
        ("salinity", "1.026 PSU"),
        ("salinity", "35 SG 25/25"),
        ("salinity", "1.0264 SG"),
        ("salinity", "1.0264"),
        ("salinity", "1.0264 SG 24/24"),
        ("salinity", "1.005 SG 25/25"),
        ("ph", "81 pH"),
        ("iodine", "60 mg/L"),
    ],
)
def test_refuses_levels_that_cannot_be(parameter: str, text: str) -> None:
    """A figure in the wrong field or unit is outside the plausible range."""
    assert level(parameter, text) is None


@pytest.mark.parametrize("parameter", PARAMETERS)
def test_scale_and_offset_agree_with_levels(parameter: str) -> None:
    """A probe's bare number becomes what the same text with its unit becomes."""
    item = PARAMETERS[parameter]
    amounts = Amounts(parameter=parameter, findings=Findings("f"))
    middle = (item.low + item.high) / 2
    for unit in units_of(item):
        linear = amounts.linear("", unit)
        assert linear is not None
        scale, offset = linear
        bare = (middle - offset) / scale
        assert pytest.approx(middle, rel=1e-6) == level(parameter, f"{bare:.9f} {unit}")


@pytest.mark.parametrize(
    ("text", "meq_per_litre"),
    [
        ("1 dKH/day", MEQ_PER_DKH),
        ("1 dKH/d", MEQ_PER_DKH),
        ("0.5 meq/L/day", 0.5),
        ("10 mg/L CaCO3/day", 10 / MG_CACO3_PER_MEQ),
        ("0 dKH/day", 0.0),
    ],
)
def test_reads_amounts_a_day(text: str, meq_per_litre: float) -> None:
    """A day's amount is counted for the whole tank, here 100 L, in pico-units."""
    amounts = Amounts(parameter="alkalinity", findings=Findings("f"))
    read = amounts.daily("", text, 100_000_000)
    assert read is not None
    assert pytest.approx(meq_per_litre * 100 * 10**9, rel=1e-5) == float(read)


def test_notes_each_refusal_where_it_stands() -> None:
    """A refusal names the place it was given, and nothing is read."""
    findings = Findings("slackwater.toml")
    amounts = Amounts(parameter="calcium", findings=findings)
    assert amounts.daily("[tank.reef] x", "5 dKH/day", 1_000_000) is None
    assert findings.count == 1
