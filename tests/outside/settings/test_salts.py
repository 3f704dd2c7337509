"""Strength of stocks, against a reference library and worked examples."""

import molmass
import pytest

from slackwater.errors import Finding, InputError
from slackwater.facts.tank import Solution
from slackwater.outside.settings.crossing import apart_map
from slackwater.outside.settings.machine_model import SolutionTable
from slackwater.outside.settings.mixing import solution_from
from slackwater.outside.settings.tables import Findings
from slackwater.water.masses import molar_mass
from slackwater.water.salts import SALTS, form_of


def solution(**keys: object) -> Solution:
    """The solution of one table."""
    findings = Findings("slackwater.toml")
    table = SolutionTable.model_validate(keys)
    return findings.settled(solution_from("stock", table, findings))


def stock(formula: str, hydrate: str, strength: str, purity: str = "100 %") -> Solution:
    """A solution of one salt."""
    return solution(formula=formula, hydrate=hydrate, strength=strength, purity=purity)


FORMS = [(formula, water) for formula, salt in SALTS.items() for water in salt.waters]


@pytest.mark.parametrize(("formula", "water"), FORMS)
def test_molar_masses_agree_with_a_reference_library(formula: str, water: int) -> None:
    """Oracle: molmass; conventional atomic weights agree within 200 ppm."""
    expected = molmass.Formula(formula).mass + water * molmass.Formula("H2O").mass
    found = float(SALTS[formula].grams_per_mol(water))
    assert pytest.approx(expected, rel=2e-4) == found


@pytest.mark.parametrize("formula", SALTS)
def test_ions_make_up_the_formula(formula: str) -> None:
    """The ions of a salt have the mass of its formula (oracle: molmass)."""
    salt = SALTS[formula]
    mass = sum(float(molar_mass(ion)) * count for ion, count in salt.ions.items())
    assert pytest.approx(molmass.Formula(formula).mass, rel=2e-4) == mass


# Grams per litre of finished solution; pico-units per microlitre. Source: mass balance
# with IUPAC conventional atomic weights, worked by hand.
STOCKS = [
    ("Na2CO3", "anhydrous", "100 g/L", "alkalinity", 1.887006e6),
    ("Na2CO3", "10H2O", "269.9721 g/L", "alkalinity", 1.887006e6),
    ("NaHCO3", "anhydrous", "42.003 g/L", "alkalinity", 0.5e6),
    ("NaOH", "anhydrous", "39.997 g/L", "alkalinity", 1.0e6),
    ("CaCl2", "2H2O", "500 g/L", "calcium", 136.31231e6),
    ("CaCl2", "2H2O", "138.7025 g/L", "calcium", 37.813715e6),
    ("CaCl2", "anhydrous", "100 g/L", "calcium", 36.1135e6),
    ("MgCl2", "6H2O", "100 g/L", "magnesium", 11.9555e6),
    ("MgSO4", "7H2O", "300 g/L", "magnesium", 29.584202e6),
    ("KCl", "anhydrous", "50 g/L", "potassium", 26.223373e6),
    ("SrCl2", "6H2O", "10 g/L", "strontium", 3.28645e6),
    ("KI", "anhydrous", "1 g/L", "iodine", 0.764467e6),
]


@pytest.mark.parametrize(
    ("formula", "hydrate", "strength", "parameter", "expected"), STOCKS
)
def test_strength_of_a_stock(
    formula: str, hydrate: str, strength: str, parameter: str, expected: float
) -> None:
    """What a microlitre adds follows from formula, water and grams per litre."""
    effects = stock(formula, hydrate, strength).effects
    assert pytest.approx(expected, rel=2e-4) == effects[parameter]


def test_counts_both_effects_of_a_salt() -> None:
    """Saturated limewater, 1.62 g/L, holds 43.7 meq/L and 0.876 g/L of calcium."""
    lime = stock("Ca(OH)2", "anhydrous", "1.62 g/L")
    assert pytest.approx(43_729, rel=2e-3) == lime.effects["alkalinity"]
    assert pytest.approx(876_000, rel=2e-3) == lime.effects["calcium"]
    assert lime.hydroxide


def test_adds_up_several_salts() -> None:
    """400 g/L MgCl2.6H2O, 60 g/L MgSO4.7H2O: mg/mL 53.739 Mg, 23.384 SO4, 139.50 Cl."""
    mixed = solution(
        salts=[
            {
                "formula": "MgCl2",
                "hydrate": "6H2O",
                "strength": "400 g/L",
                "purity": "100 %",
            },
            {
                "formula": "MgSO4",
                "hydrate": "7H2O",
                "strength": "60 g/L",
                "purity": "100 %",
            },
        ]
    )
    assert pytest.approx(53.738971e6, rel=2e-4) == mixed.effects["magnesium"]
    rest = [mixed.counter_ions["sulfate"], mixed.counter_ions["chloride"]]
    assert pytest.approx([23.383996e6, 139.501709e6], rel=2e-4) == rest
    assert mixed.ions == ("Cl", "Mg", "SO4")


def test_purity_weakens_a_stock() -> None:
    """A purity of 95 % is five hundredths less of everything."""
    full = stock("KCl", "anhydrous", "50 g/L").effects["potassium"]
    weak = stock("KCl", "anhydrous", "50 g/L", "95 %").effects["potassium"]
    assert pytest.approx(0.95 * full, abs=1) == weak


def test_mistaking_the_hydrate_costs_a_quarter() -> None:
    """Dihydrate taken for anhydrous is 24.5 % weaker (ratio of the molar masses)."""
    meant = stock("CaCl2", "anhydrous", "100 g/L").effects["calcium"]
    got = stock("CaCl2", "2H2O", "100 g/L").effects["calcium"]
    assert pytest.approx(-0.245089, abs=1e-4) == got / meant - 1


def test_needs_no_word_on_water_where_there_is_one_form() -> None:
    """Potassium chloride has no hydrate to confuse it with."""
    keys = {"formula": "KCl", "strength": "50 g/L", "purity": "100 %"}
    assert stock("KCl", "anhydrous", "50 g/L") == solution(**keys)


BAD = [
    ({"formula": "CaCO3"}, "the formula"),
    ({"formula": "cacl2"}, "the formula"),
    ({"formula": "CaCl2.2H2O"}, "the formula"),
    ({"hydrate": None}, "found nothing for the crystal water of CaCl2"),
    ({"hydrate": "7H2O"}, 'found "7H2O"'),
    ({"hydrate": "2h2o"}, 'found "2h2o"'),
    ({"strength": None}, "the key is missing"),
    ({"purity": None}, "the key is missing"),
    ({"hydroxide": True}, "hydroxide is given beside a formula"),
    ({"per_ml": {"calcium": "5 mg/mL"}}, "formula, per_ml are given"),
]


@pytest.mark.parametrize(("changes", "expected"), BAD)
def test_refuses_half_a_description(changes: dict[str, object], expected: str) -> None:
    """Formula, water, strength and purity are asked for, and only once."""
    good = {
        "formula": "CaCl2",
        "hydrate": "2H2O",
        "strength": "139 g/L",
        "purity": "99 %",
    }
    keys = {key: value for key, value in (good | changes).items() if value is not None}
    with pytest.raises(InputError) as caught:
        solution(**keys)
    assert expected in caught.value.findings[0].what


# Salt (its first form), or what a label says.
Described = str | dict[str, str]
IRON = {"iron": "1 mg/mL"}
SODA_LABEL = {"alkalinity": "1 meq/mL"}


def described(stock: Described) -> SolutionTable:
    """The table of a weak stock of one salt, or of a label that tells all."""
    if isinstance(stock, dict):
        return SolutionTable(per_ml=stock, fully_declared=True)
    form = form_of(SALTS[stock].waters[0])
    return SolutionTable.model_validate(
        {"formula": stock, "hydrate": form, "strength": "1 g/L", "purity": "100 %"}
    )


@pytest.mark.parametrize(
    ("one", "other", "apart"),
    [
        ("CaCl2", "Na2CO3", True),
        ("CaCl2", "NaHCO3", True),
        ("CaCl2", "NaOH", True),
        ("CaCl2", "MgSO4", True),
        ("SrCl2", "MgSO4", True),
        ("SrCl2", "Na2CO3", True),
        ("MgCl2", "NaOH", True),
        ("MgCl2", "Na2CO3", True),
        ("CaCl2", "KH2PO4", True),
        ("MgCl2", "CaCl2", False),
        ("KCl", "Na2CO3", False),
        ("KCl", "CaCl2", False),
        ("MgCl2", "MgSO4", False),
        (SODA_LABEL, "CaCl2", True),
        (SODA_LABEL, IRON, True),
        ({"calcium": "10 mg/mL"}, {"fluoride": "1 mg/mL"}, True),
        ({"calcium": "10 mg/mL"}, {"sulfate": "1 mg/mL"}, True),
        (SODA_LABEL, "KI", False),
        (IRON, "CaCl2", False),
    ],
)
def test_keeps_apart_what_falls_out(
    one: Described, other: Described, apart: bool
) -> None:
    """Pairs with a small solubility product (CRC Handbook) stay apart, both ways."""
    findings = Findings("slackwater.toml")
    tables = {"one": described(one), "other": described(other)}
    solutions = {
        name: findings.settled(solution_from(name, table, findings))
        for name, table in tables.items()
    }
    expected = {"one": ("other",), "other": ("one",)} if apart else {}
    assert expected == apart_map(solutions, tables, ())


def refusal(**keys: object) -> Finding:
    """The one finding about a solution."""
    with pytest.raises(InputError) as caught:
        solution(**keys)
    (finding,) = caught.value.findings
    return finding


SODA = {"formula": "NaHCO3", "strength": "70 g/L", "purity": "100 %"}


# Sodium bicarbonate: 9.6 g per 100 g of water at 20 degC, 6.9 at 0 degC, from memory.
@pytest.mark.parametrize(
    "keys",
    [
        {"strength": "83 g/L"},
        {"strength": "83 g/L", "coldest": "20 °C"},
        {"coldest": "5 °C"},
        {"coldest": "41 °F"},
        {"strength": "86 g/L", "purity": "97 %"},
    ],
)
def test_refuses_what_would_fall_out_in_the_cold(keys: dict[str, str]) -> None:
    """Nine tenths of what dissolves at the coldest place is the most."""
    finding = refusal(**(SODA | keys))
    assert "slackwater.toml [solution.stock]" == finding.where
    assert "of what may be dissolved at" in finding.what
    assert finding.expected.startswith("at most 90 % of what dissolves at the coldest")


@pytest.mark.parametrize(
    "keys",
    [{}, {"strength": "82 g/L"}, {"strength": "88 g/L", "coldest": "25 °C"}],
)
def test_takes_what_stays_dissolved(keys: dict[str, str]) -> None:
    """The same salt, a little less or a little warmer."""
    assert solution(**(SODA | keys)).effects["alkalinity"] > 0


@pytest.mark.parametrize(
    "coldest", ["-1 °C", "45 °C", "20", "20 C", "nan °C", "1e400 °C", ""]
)
def test_refuses_a_shelf_nobody_can_mean(coldest: str) -> None:
    """A temperature has its unit and lies within the tables."""
    with pytest.raises(InputError):
        solution(**SODA, coldest=coldest)


def test_asks_for_no_shelf_where_nothing_was_weighed() -> None:
    """A label cannot be checked, so a temperature beside it is a slip."""
    finding = refusal(per_ml={"calcium": "5 mg/mL"}, coldest="15 °C")
    assert "slackwater.toml [solution.stock] coldest" == finding.where


def test_refuses_salts_that_fall_out_in_their_own_bottle() -> None:
    """Calcium and sulfate make gypsum (Ksp 3.14e-5, CRC Handbook)."""
    salts = [
        {
            "formula": formula,
            "hydrate": "anhydrous",
            "strength": "10 g/L",
            "purity": "99 %",
        }
        for formula in ("CaCl2", "MgSO4")
    ]
    finding = refusal(salts=salts)
    assert "gypsum" in finding.what


def test_hands_on_the_cautions_of_a_salt() -> None:
    """The keeper's own words come first, then what is known of the salt."""
    soda = solution(
        formula="NaOH", strength="10 g/L", purity="99 %", cautions=["top shelf"]
    )
    assert ("top shelf", "NaOH: H290") == (soda.cautions[0], soda.cautions[1][:10])
