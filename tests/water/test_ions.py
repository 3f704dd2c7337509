"""Which solutions must never meet."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from slackwater.water.ions import IONS, ions_of, needs_longer_gap, why_apart
from slackwater.water.parameters import PARAMETERS
from slackwater.water.salts import SALTS

SALT_NAMES = st.sampled_from(list(SALTS))
CARBONATE, BICARBONATE, CAUSTIC = ("Na", "CO3"), ("Na", "HCO3"), ("Na", "OH")
CALCIUM, MAGNESIUM, EPSOM = ("Ca", "Cl"), ("Mg", "Cl"), ("Mg", "SO4")
STRONTIUM, BARIUM, PHOSPHATE = ("Sr", "Cl"), ("Ba", "Cl"), ("Na", "HPO4")


# Pairs and products: CRC Handbook of Chemistry and Physics, solubility products at
# 25 degC, where the reason does not say "from memory".
@pytest.mark.parametrize(
    ("one", "other", "reason"),
    [
        (CALCIUM, CARBONATE, "CaCO3, Ksp 3.36e-9"),
        (CALCIUM, BICARBONATE, "CaCO3, Ksp 3.36e-9"),
        (CALCIUM, CAUSTIC, "CaCO3, Ksp 3.36e-9"),
        (CALCIUM, EPSOM, "gypsum, Ksp 3.14e-5"),
        (STRONTIUM, EPSOM, "SrSO4"),
        (BARIUM, EPSOM, "BaSO4, Ksp 1.08e-10"),
        (STRONTIUM, CARBONATE, "SrCO3"),
        (BARIUM, CARBONATE, "BaCO3, Ksp 2.58e-9"),
        (MAGNESIUM, CAUSTIC, "Mg(OH)2, Ksp 5.61e-12"),
        (MAGNESIUM, CARBONATE, "MgCO3, Ksp 2.38e-6"),
        (CALCIUM, PHOSPHATE, "Ca3(PO4)2, Ksp 2.07e-33"),
        (CALCIUM, ("Na", "F"), "CaF2, Ksp 3.45e-11"),
        (MAGNESIUM, PHOSPHATE, "phosphates"),
        (MAGNESIUM, ("Na", "F"), "fluorides"),
        (("Fe", "Cl"), CARBONATE, "Fe(OH)3, Ksp 2.79e-39"),
        (("Mn", "Cl"), CAUSTIC, "metal hydroxides"),
        (("Zn", "SO4"), PHOSPHATE, "metal hydroxides"),
        (("Cu", "SO4"), ("K", "I"), "Ksp 1.27e-12"),
        (("Li", "Cl"), CARBONATE, "Li2CO3"),
    ],
)
def test_pairs_that_fall_out_are_kept_apart(
    one: tuple[str, ...], other: tuple[str, ...], reason: str
) -> None:
    """H46: the sentence names both ions and the solid."""
    sentence = why_apart(one, other)
    assert sentence is not None
    assert reason in sentence


def test_the_sentence_names_the_ions() -> None:
    """A person reads which two met."""
    expected = "calcium and carbonate fall out (CaCO3, Ksp 3.36e-9)"
    assert expected == why_apart(CARBONATE, CALCIUM)


@pytest.mark.parametrize(
    ("one", "other"),
    [
        (CALCIUM, MAGNESIUM),
        (CALCIUM, STRONTIUM),
        (CARBONATE, BICARBONATE),
        (CARBONATE, CAUSTIC),
        (MAGNESIUM, EPSOM),
        (("K", "I"), CALCIUM),
        (("K", "NO3"), PHOSPHATE),
        ((), CALCIUM),
        ((), ()),
    ],
)
def test_pairs_that_stay_dissolved_are_free(
    one: tuple[str, ...], other: tuple[str, ...]
) -> None:
    """Nothing is known against these."""
    assert why_apart(one, other) is None


@given(one=SALT_NAMES, other=SALT_NAMES)
def test_order_does_not_matter(one: str, other: str) -> None:
    """Both orders give the same answer."""
    ions = (tuple(SALTS[one].ions), tuple(SALTS[other].ions))
    assert why_apart(*ions) == why_apart(*reversed(ions))


def test_only_a_hydroxide_wants_the_longer_gap() -> None:
    """A plume of hydroxide lasts."""
    assert needs_longer_gap(CAUSTIC)
    assert not needs_longer_gap(CARBONATE)


@pytest.mark.parametrize("formula", IONS)
def test_an_ion_moves_known_parameters_or_is_salt(formula: str) -> None:
    """Every ion counts once: as an effect or as what is left behind."""
    ion = IONS[formula]
    assert all(PARAMETERS[identity].is_dosed for identity in ion.moves)
    assert bool(ion.moves) != bool(ion.rest)
    assert not ion.rest or ion.rest in PARAMETERS


@pytest.mark.parametrize(
    ("parameters", "expected"),
    [
        (("calcium",), ("Ca",)),
        (("sulfate", "magnesium"), ("Mg", "SO4")),
        (("alkalinity",), ("B4O7", "CO3", "HCO3", "HPO4", "OH")),
        (("vanadium",), ()),
        ((), ()),
    ],
)
def test_a_label_stands_for_every_ion_it_may_mean(
    parameters: tuple[str, ...], expected: tuple[str, ...]
) -> None:
    """Which base raises alkalinity is not on the label, so each of them counts."""
    assert expected == ions_of(parameters)


@given(formula=SALT_NAMES)
def test_the_effects_of_a_salt_lead_back_to_its_ions(formula: str) -> None:
    """No ion of a recipe is missing from what its label would stand for."""
    ions = SALTS[formula].ions
    moved = {name for ion in ions for name in (*IONS[ion].moves, IONS[ion].rest)}
    assert set(ions) <= set(ions_of(moved - {""}))


def test_every_ion_stands_in_a_salt() -> None:
    """No ion is left over."""
    used = {ion for salt in SALTS.values() for ion in salt.ions}
    assert used == set(IONS)
