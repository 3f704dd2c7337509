"""Worked examples of stock solutions and calcification, one test an example."""

from fractions import Fraction

import pytest

from slackwater.water.masses import molar_mass
from slackwater.water.parameters import PARAMETERS, amount_in_litres, concentration
from slackwater.water.solutions import (
    Portion,
    Stock,
    saturated_limewater,
    stock_from_recipe,
)
from slackwater.water.spellings import units_of
from slackwater.water.stoichiometry import (
    grams_of_salt,
    matched_calcium_chloride_grams_per_litre,
)
from slackwater.water.volume import net_volume_by_addition
from tests.water.checks import Example, agree, params

DKH = units_of(PARAMETERS["alkalinity"])["dKH"]
NAMES = {
    "Ca": "calcium",
    "Mg": "magnesium",
    "K": "potassium",
    "Sr": "strontium",
    "I": "iodine",
}
DAYS = 365.25


def stock(*weighed: tuple[str, Fraction]) -> Stock:
    """A pure stock of salts written with their crystal water."""
    portions = []
    for written, grams in weighed:
        formula, _, water = written.partition(".")
        hydrate = water or (
            "anhydrous" if formula in ("Na2CO3", "CaCl2", "MgCl2") else None
        )
        portions.append(
            Portion(
                formula=formula,
                hydrate=hydrate,
                grams_per_litre=grams,
                purity=Fraction(1),
            )
        )
    return stock_from_recipe(portions, coldest_celsius=Fraction(20), where="")


def dosed(example: Example, effect: int) -> int:
    """Pico-units of the example's dose."""
    return effect * int(example.exact("dose_mL") * 1000)


@pytest.mark.parametrize(
    "example", params("stock-na2co3", "stock-nahco3", "stock-naoh")
)
def test_an_alkalinity_stock_is_as_strong_as_its_equivalents(example: Example) -> None:
    """Equivalents a mole, over the molar mass."""
    made = stock((example.text("salt"), example.exact("grams_per_litre_of_solution")))
    effect = made.effects["alkalinity"]
    net_litres = example.exact("net_volume_L")
    rise = concentration("alkalinity", dosed(example, effect), net_litres)
    agree(
        example,
        {
            "stock_meq_per_mL": Fraction(effect, 10**6),
            "rise_meq_per_L": rise,
            "rise_dKH": rise / DKH,
            "mL_per_1_dKH": example.exact("dose_mL") * DKH / rise,
        },
    )


@pytest.mark.parametrize(
    "example",
    params("stock-cacl2", "stock-mg", "stock-kcl", "stock-srcl2", "stock-ki"),
)
def test_an_element_stock_is_as_strong_as_its_mass_fraction(example: Example) -> None:
    """Mass of salt times the mass fraction of the element."""
    grams = example.exact("grams_per_litre_of_solution")
    parameter = NAMES[example.text("element")]
    effect = stock((example.text("salt"), grams)).effects[parameter]
    amount = dosed(example, effect)
    rise = concentration(parameter, amount, example.exact("net_volume_L"))
    unit = "ug" if parameter == "iodine" else "mg"
    pico = 10**3 if parameter == "iodine" else 10**6
    agree(
        example,
        {
            f"stock_{unit}_per_mL": Fraction(effect, pico),
            f"rise_{unit}_per_L": rise,
            "mass_fraction": Fraction(effect, 10**6) / grams,
        },
    )


@pytest.mark.parametrize("example", params("limewater-"))
def test_limewater_is_as_strong_as_the_handbooks_say(example: Example) -> None:
    """Two tabulations differ by 4 to 5 percent; the mean is used."""
    made = saturated_limewater(example.exact("temperature_C"))
    alkalinity, calcium = made.effects["alkalinity"], made.effects["calcium"]
    volume_ul = int(example.exact("litres_dosed") * 10**6)
    net_litres = example.exact("net_volume_L")
    rise = concentration("alkalinity", alkalinity * volume_ul, net_litres)
    agree(
        example,
        {
            "solubility_g_per_L": Fraction(alkalinity, 2 * 10**6)
            * molar_mass("Ca(OH)2"),
            "stock_meq_per_L": Fraction(alkalinity, 10**3),
            "Ca_mg_per_L_in_stock": Fraction(calcium, 10**3),
            "rise_dKH": rise / DKH,
            "rise_Ca_mg_per_L": concentration(
                "calcium", calcium * volume_ul, net_litres
            ),
        },
    )


@pytest.mark.parametrize("example", params("mg-mix"))
def test_a_mixed_stock_adds_what_both_salts_hold(example: Example) -> None:
    """Chloride and sulfate are the salt left behind."""
    made = stock(
        ("MgCl2.6H2O", example.exact("MgCl2.6H2O_g_per_L")),
        ("MgSO4.7H2O", example.exact("MgSO4.7H2O_g_per_L")),
    )
    net_litres = example.exact("net_volume_L")
    sulfate = dosed(example, made.counter_ions["sulfate"])
    magnesium = dosed(example, made.effects["magnesium"])
    agree(
        example,
        {
            "Mg_mg_per_mL": Fraction(made.effects["magnesium"], 10**6),
            "SO4_mg_per_mL": Fraction(made.counter_ions["sulfate"], 10**6),
            "Cl_mg_per_mL": Fraction(made.counter_ions["chloride"], 10**6),
            "rise_Mg_mg_per_L": concentration("magnesium", magnesium, net_litres),
            "rise_SO4_mg_per_L": concentration("sulfate", sulfate, net_litres),
        },
    )


@pytest.mark.parametrize("example", params("molar-masses"))
def test_molar_masses_are_those_of_the_commission(example: Example) -> None:
    """One mass for every formula of the example."""
    agree(example, {formula: molar_mass(formula) for formula in example.expected})


@pytest.mark.parametrize("example", params("grams-ca", "grams-k"))
def test_a_rise_needs_so_many_grams_of_salt(example: Example) -> None:
    """Mass of the element over its mass fraction."""
    parameter = NAMES[example.text("element")]
    rise = example.exact("to_mg_per_L") - example.exact("from_mg_per_L")
    amount = amount_in_litres(parameter, rise, example.exact("net_volume_L"))
    formula, _, hydrate = example.text("salt").partition(".")
    agree(
        example,
        {
            "grams_of_salt": grams_of_salt(formula, hydrate or None, parameter, amount),
            "grams_of_element": Fraction(amount, 10**12),
        },
    )


@pytest.mark.parametrize("example", params("grams-alk"))
def test_a_rise_of_alkalinity_needs_so_many_grams(example: Example) -> None:
    """Three salts, three masses, the same equivalents."""
    rise = (example.exact("to_dKH") - example.exact("from_dKH")) * DKH
    amount = amount_in_litres("alkalinity", rise, example.exact("net_volume_L"))
    agree(
        example,
        {
            "meq": Fraction(amount, 10**9),
            "g_Na2CO3": grams_of_salt("Na2CO3", "anhydrous", "alkalinity", amount),
            "g_NaHCO3": grams_of_salt("NaHCO3", None, "alkalinity", amount),
            "g_NaOH": grams_of_salt("NaOH", None, "alkalinity", amount),
        },
    )


@pytest.mark.parametrize("example", params("matched-pair"))
def test_a_matched_pair_is_dosed_in_equal_volumes(example: Example) -> None:
    """Half a mole of calcium for each equivalent."""
    one = stock((example.text("alkalinity_stock_salt"), example.exact("g_per_L")))
    grams = matched_calcium_chloride_grams_per_litre(one.effects["alkalinity"], "2H2O")
    other = stock(("CaCl2.2H2O", grams))
    agree(
        example,
        {
            "CaCl2.2H2O_g_per_L": grams,
            "Ca_mg_per_mL": Fraction(other.effects["calcium"], 10**6),
        },
    )


@pytest.mark.parametrize("example", params("hydrate-error"))
def test_the_wrong_hydrate_makes_a_weak_stock(example: Example) -> None:
    """Crystal water weighed as salt is missing from the dose."""
    soda = example.id.endswith("soda")
    wet = molar_mass("Na2CO3.10H2O" if soda else "CaCl2.2H2O")
    ratio = wet / molar_mass("Na2CO3" if soda else "CaCl2")
    key = "ratio" if soda else "ratio_M_dihydrate_to_anhydrous"
    agree(example, {key: ratio, "strength_error_percent": 100 * (1 / ratio - 1)})


@pytest.mark.parametrize("example", params("net-volume-tracer"))
def test_a_known_addition_measures_the_water(example: Example) -> None:
    """Equivalents added, over the rise they made."""
    milliequivalents = example.exact("grams_added") * 1000 / molar_mass("NaHCO3")
    rise = example.exact("observed_rise_dKH") * DKH
    found = net_volume_by_addition(
        float(milliequivalents),
        float(rise),
        float(example.exact("sigma_test_dKH") * DKH),
    )
    agree(
        example,
        {"net_volume_L": found.litres, "relative_stderr": found.relative_error},
    )
