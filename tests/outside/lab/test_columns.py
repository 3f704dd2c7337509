"""Heads of columns."""

import pytest

from slackwater.outside.lab.columns import (
    Header,
    Role,
    header_in,
    looks_like_figure,
    near_role,
    role_named,
)


@pytest.mark.parametrize(
    "text",
    [
        "Ca [mg/L]",
        "Ca (mg/L)",
        "Ca, mg/L",
        "Ca mg/L",
        "Ca in mg/L",
        "Ca_mg/L",
        " Ca [ mg/L ]",
    ],
)
def test_a_unit_is_taken_off_the_head(text: str) -> None:
    """In brackets of two kinds, behind a comma, a space, "in" or a low line."""
    assert Header(name="Ca", unit="mg/L") == header_in(text)


@pytest.mark.parametrize(
    ("text", "header"),
    [
        ("Calcium (Ca)", Header(name="Calcium (Ca)")),
        ("Calcium (Ca) [mg/L]", Header(name="Calcium (Ca)", unit="mg/L")),
        ("Ca [mg/dL]", Header(name="Ca", unit="mg/dL")),
        ("Ca (mg/dL)", Header(name="Ca", unit="mg/dL")),
        ("KH (dKH)", Header(name="KH", unit="dKH")),
        ("Alkalinity dKH", Header(name="Alkalinity", unit="dKH")),
        ("NO3 [mg/L as N]", Header(name="NO3", unit="mg/L as N")),
        ("Boron (mg/L B(OH)3)", Header(name="Boron", unit="mg/L B(OH)3")),
        ("pH", Header(name="pH")),
        ("Measured pH", Header(name="Measured pH")),
        ("", Header(name="")),
    ],
)
def test_what_is_no_unit_stays_in_the_name(text: str, header: Header) -> None:
    """Square brackets and a slash always mean a unit, known or not."""
    assert header == header_in(text)


@pytest.mark.parametrize(
    ("names", "role"),
    [
        (("Element", "ANALYTE", "Parameter", "symbol", "Determinand"), Role.ELEMENT),
        (("Value", "Result", "Conc.", "Value 2", "Replicate B", "rep. 3"), Role.VALUE),
        (("Unit", "Units", "UOM"), Role.UNIT),
        (("LOD", "Detection limit", "MDL"), Role.DETECTION),
        (("LOQ", "Reporting limit", "Limit of quantification"), Role.QUANTIFICATION),
        (("Sampling date", "Date sampled", "Collected:"), Role.SAMPLED),
        (("SD", "Std. Dev.", "standard deviation"), Role.SD),
        (("Uncertainty (k=2)",), Role.TWICE_SD),
    ],
)
def test_common_heads_are_known(names: tuple[str, ...], role: Role) -> None:
    """In any case, with or without a colon."""
    assert {role} == {role_named(name) for name in names}


@pytest.mark.parametrize(
    "name",
    ["Date", "Sample 2", "Uncertainty", "Reference", "Status", "Range", "", "No."],
)
def test_what_could_mean_several_things_is_not_known(name: str) -> None:
    """A bare date, a second sample, an uncertainty of unknown width."""
    assert None is role_named(name)


def test_a_slip_in_a_head_has_a_near_part() -> None:
    """To be offered, never taken."""
    assert Role.VALUE is near_role("Resultt")
    assert None is near_role("zzzz")


def test_a_figure_looks_like_one() -> None:
    """Alone or with a known unit; an isotope does not."""
    assert all(map(looks_like_figure, ["405", "<0,3", "35 PSU", "1 290"]))
    assert not any(map(looks_like_figure, ["44Ca", "Ca", "", "n.d.", "5 apples"]))
