"""Names of elements, against the names and isotopes of a reference library."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from molmass import ELEMENTS

from slackwater.outside.lab.names import (
    ISOTOPES,
    SHORTEST_NEAR,
    TOTAL_PHOSPHORUS,
    Analyte,
    analyte_named,
    near_name,
    plain,
)
from slackwater.water.parameters import PARAMETERS

SYMBOLS = sorted(ISOTOPES)
SULFUR = Analyte(parameter="sulfate", form="S")
NITROGEN = Analyte(parameter="nitrate", form="NO3-N")
PHOSPHORUS = Analyte(parameter="phosphate", form="PO4-P", method=TOTAL_PHOSPHORUS)
# Half a part in 10 000 of the atoms: what the library lists below is not natural.
RARE = 5e-5


@pytest.mark.parametrize("symbol", SYMBOLS)
def test_symbol_and_english_name_mean_the_same(symbol: str) -> None:
    """Names from the library (molmass), which takes them from IUPAC."""
    name = ELEMENTS[symbol].name
    assert analyte_named(symbol) is not None
    assert analyte_named(symbol) == analyte_named(name)


@pytest.mark.parametrize("symbol", SYMBOLS)
def test_mass_numbers_are_those_found_in_nature(symbol: str) -> None:
    """Lowest and highest mass number of the library's natural isotopes."""
    found = [
        mass
        for mass, isotope in ELEMENTS[symbol].isotopes.items()
        if isotope.abundance > RARE
    ]
    assert (min(found), max(found)) == ISOTOPES[symbol]


@given(st.sampled_from(SYMBOLS), st.integers(4, 300))
def test_an_isotope_is_its_element_and_no_other_number_is(
    symbol: str, mass: int
) -> None:
    """Before or behind the symbol, with or without a dash; up to 3 it is a charge."""
    low, high = ISOTOPES[symbol]
    expected = analyte_named(symbol) if low <= mass <= high else None
    for text in (f"{mass}{symbol}", f"{mass}-{symbol}", f"{symbol}{mass}"):
        assert expected == analyte_named(text)
    assert expected == analyte_named(f"{symbol}-{mass}")


@given(st.sampled_from(sorted(PARAMETERS)), st.sampled_from([str.upper, str.title]))
def test_case_and_spaces_do_not_matter(identity: str, change: object) -> None:
    """Every parameter that is measured is known by its own id."""
    assert callable(change)
    item = PARAMETERS[identity]
    found = analyte_named(f"  {change(identity)}\t: ")
    assert (identity if item.is_measured else None) == (found and found.parameter)


@pytest.mark.parametrize(
    ("names", "analyte"),
    [
        (("Ca2+", "Ca\u00b2\u207a", "Ca++", "Ca 2+", "Ca(2+)", "Ca+2"), "calcium"),
        (("Na+", "K+", "Cl-", "Br\u207b", "F-"), ""),
        (("SO4", "SO42-", "SO\u2084\u00b2\u207b", "SO4--", "sulphate"), "sulfate"),
        (("NO3-", "NO3", "nitrate", "Nitrate (NO3)"), "nitrate"),
        (("PO43-", "PO4 3-", "orthophosphate", "PO4"), "phosphate"),
        (("aluminum", "Aluminium", "Al", "Aluminium (Al)"), "aluminium"),
        (("cesium", "caesium", "Cs", "133Cs"), "caesium"),
        (("Ca 317.933", "Ca 317.933 nm", "Ca-393.4"), "calcium"),
        (("Calcium (Ca)", "Ca - Calcium", "Calcium, Ca", "Ca Calcium"), "calcium"),
        (("KH", "alk", "total alkalinity", "Carbonate hardness"), "alkalinity"),
        (("pH", "pH value", "PH"), "ph"),
        (("Salinity", "sal"), "salinity"),
    ],
)
def test_common_spellings_mean_one_parameter(
    names: tuple[str, ...], analyte: str
) -> None:
    """In their own form; the second row only has to be known."""
    found = {analyte_named(name) for name in names}
    assert None not in found
    if analyte:
        assert {Analyte(parameter=analyte)} == found


@pytest.mark.parametrize(
    ("names", "analyte"),
    [
        (("S", "sulfur", "Sulphur", "34S", "SO4-S"), SULFUR),
        (("NO3-N", "nitrate-N", "N-NO3", "Nitrate nitrogen"), NITROGEN),
        (("P", "phosphorus", "31P", "total phosphorus", "P 213.617"), PHOSPHORUS),
        (("PO4-P", "phosphate-P"), Analyte(parameter="phosphate", form="PO4-P")),
        (("SiO2", "silica"), Analyte(parameter="silicon", form="SiO2")),
        (("B(OH)3", "boric acid", "H3BO3"), Analyte(parameter="boron", form="B(OH)3")),
    ],
)
def test_a_form_belongs_to_the_name(names: tuple[str, ...], analyte: Analyte) -> None:
    """Sulfur is not sulfate, and total phosphorus is not phosphate."""
    assert {analyte} == {analyte_named(name) for name in names}
    assert PHOSPHORUS.key != Analyte(parameter="phosphate").key


@pytest.mark.parametrize(
    "name",
    [
        *("", "Xx", "Au", "S2-", "Cr6+", "I-", "iodide", "Ca3+", "Ca12", "N", "NO2"),
        *("Calcium (Mg)", "silicate", "CO2", "T", "ammonium", "Ca;Mg", "carbon", "12"),
    ],
)
def test_what_is_not_known_is_not_guessed(name: str) -> None:
    """Species, other elements, two that differ, and what could be several things."""
    assert None is analyte_named(name)


def test_a_slip_has_a_near_name() -> None:
    """To be asked about, never taken."""
    assert "calcium" == near_name("calcum")
    assert "" == near_name("zzzz")


@given(st.text(max_size=20))
def test_any_text_has_one_way_of_writing(text: str) -> None:
    """Written once more it stays the same, and no name raises."""
    assert plain(text).removesuffix(":").strip() == plain(plain(text))
    analyte_named(text)


@pytest.mark.parametrize(
    ("name", "symbol"),
    [
        ("Natrium", "Na"),
        ("KALIUM", "K"),
        ("ferrum", "Fe"),
        ("cuprum", "Cu"),
        ("argentum", "Ag"),
        ("stannum", "Sn"),
        ("stibium", "Sb"),
        ("wolfram", "W"),
        ("hydrargyrum", "Hg"),
        ("plumbum", "Pb"),
    ],
)
def test_the_name_a_symbol_comes_from_is_known(name: str, symbol: str) -> None:
    """IUPAC, Nomenclature of Inorganic Chemistry 2005, Table I, from memory."""
    assert analyte_named(symbol) is not None
    assert analyte_named(symbol) == analyte_named(name)


@pytest.mark.parametrize("name", ["Nitrite", "nitrite:", "Chlorate", "Silicate"])
def test_another_substance_has_no_near_name(name: str) -> None:
    """A line to copy must not turn nitrite into nitrate."""
    assert "" == near_name(name)


@pytest.mark.parametrize("name", ["Bor", "Chlor", "Galium", "Jod", "Silber", "Kupfer"])
def test_a_near_name_is_never_another_element(name: str) -> None:
    """The first letter stays, and no symbol is offered: bor is no bromide."""
    near = near_name(name)
    assert not near or near[0] == name[0].lower()
    assert not near or len(near) >= SHORTEST_NEAR
