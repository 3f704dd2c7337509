"""Ions, what each one moves in the tank, and which of them fall out together.

Floor 1. One subject: ions of stock solutions. Laws here: an ion counts for every
parameter it moves; sodium, chloride and sulfate are the salt that is left behind; two
solutions that hold a pair of the table must never meet. Aluminium and silver, which
fall out with the same partners, are contaminants: no salt here holds them.
Source: alkalinity by the definition of Dickson 1981 (equivalents taken up to pH 4.5);
solubility products at 25 degC from the CRC Handbook of Chemistry and Physics, the
others from memory.
"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from fractions import Fraction

from slackwater.water.masses import molar_mass


@dataclass(frozen=True, slots=True, kw_only=True)
class Ion:
    """One kind of ion or dissolved molecule.

    Units: `moves` grams (`equivalents` for alkalinity, moles for carbon) that one mole
    adds to each parameter; `rest` the parameter whose salt it is.
    """

    formula: str
    name: str
    moves: Mapping[str, Fraction] = field(default_factory=dict)
    rest: str = ""


def _element(formula: str, name: str, parameter: str) -> Ion:
    return Ion(formula=formula, name=name, moves={parameter: molar_mass(formula)})


def _base(formula: str, name: str, equivalents: int) -> Ion:
    return Ion(formula=formula, name=name, moves={"alkalinity": Fraction(equivalents)})


_PO4 = molar_mass("PO4")
_B = molar_mass("B")

IONS: Mapping[str, Ion] = {
    item.formula: item
    for item in (
        _base("CO3", "carbonate", 2),
        _base("HCO3", "bicarbonate", 1),
        _base("OH", "hydroxide", 1),
        _element("Ca", "calcium", "calcium"),
        _element("Mg", "magnesium", "magnesium"),
        _element("K", "potassium", "potassium"),
        _element("Sr", "strontium", "strontium"),
        _element("Br", "bromide", "bromide"),
        _element("F", "fluoride", "fluoride"),
        _element("I", "iodide", "iodine"),
        _element("NO3", "nitrate", "nitrate"),
        # One equivalent for each step down to H2PO4, and the mass counts as PO4.
        Ion(
            formula="HPO4",
            name="phosphate",
            moves={"phosphate": _PO4, "alkalinity": Fraction(1)},
        ),
        Ion(formula="H2PO4", name="phosphate", moves={"phosphate": _PO4}),
        # In water B4O7 becomes two B(OH)3 and two B(OH)4, so two equivalents.
        Ion(
            formula="B4O7",
            name="borate",
            moves={"boron": 4 * _B, "alkalinity": Fraction(2)},
        ),
        Ion(formula="H3BO3", name="boric acid", moves={"boron": _B}),
        # Its acid takes alkalinity away until it is eaten; that is never credited.
        Ion(formula="CH3COOH", name="acetic acid", moves={"carbon": Fraction(2)}),
        Ion(formula="C2H5OH", name="ethanol", moves={"carbon": Fraction(2)}),
        _element("Fe", "iron", "iron"),
        _element("Mn", "manganese", "manganese"),
        _element("Zn", "zinc", "zinc"),
        _element("Cu", "copper", "copper"),
        _element("Co", "cobalt", "cobalt"),
        _element("Ni", "nickel", "nickel"),
        _element("Li", "lithium", "lithium"),
        _element("Ba", "barium", "barium"),
        Ion(formula="MoO4", name="molybdate", moves={"molybdenum": molar_mass("Mo")}),
        Ion(formula="Na", name="sodium", rest="sodium"),
        Ion(formula="Cl", name="chloride", rest="chloride"),
        Ion(formula="SO4", name="sulfate", rest="sulfate"),
    )
}

# In sea water bicarbonate and hydroxide become carbonate too.
_CARBONATES = ("CO3", "HCO3", "OH")
_METALS = ("Fe", "Mn", "Zn", "Cu", "Co", "Ni")
_PHOSPHATES = ("HPO4", "H2PO4")


@dataclass(frozen=True, slots=True, kw_only=True)
class _Clash:
    cations: tuple[str, ...]
    anions: tuple[str, ...]
    solid: str


_CLASHES = (
    _Clash(cations=("Ca",), anions=_CARBONATES, solid="CaCO3, Ksp 3.36e-9"),
    _Clash(cations=("Mg",), anions=("OH",), solid="Mg(OH)2, Ksp 5.61e-12"),
    _Clash(cations=("Mg",), anions=_CARBONATES, solid="MgCO3, Ksp 2.38e-6"),
    _Clash(cations=("Sr",), anions=_CARBONATES, solid="SrCO3, Ksp 5.6e-10 from memory"),
    _Clash(cations=("Ba",), anions=_CARBONATES, solid="BaCO3, Ksp 2.58e-9"),
    _Clash(cations=("Ca",), anions=("SO4",), solid="gypsum, Ksp 3.14e-5"),
    _Clash(cations=("Sr",), anions=("SO4",), solid="SrSO4, Ksp 3.44e-7 from memory"),
    _Clash(cations=("Ba",), anions=("SO4",), solid="BaSO4, Ksp 1.08e-10"),
    _Clash(cations=("Ca",), anions=_PHOSPHATES, solid="Ca3(PO4)2, Ksp 2.07e-33"),
    _Clash(
        cations=("Mg", "Sr", "Ba"), anions=_PHOSPHATES, solid="phosphates, from memory"
    ),
    _Clash(cations=("Ca",), anions=("F",), solid="CaF2, Ksp 3.45e-11"),
    _Clash(cations=("Mg", "Sr", "Ba"), anions=("F",), solid="fluorides, from memory"),
    _Clash(
        cations=_METALS,
        anions=(*_CARBONATES, *_PHOSPHATES, "B4O7"),
        solid="metal hydroxides, carbonates and phosphates; Fe(OH)3, Ksp 2.79e-39",
    ),
    _Clash(
        cations=("Cu", "Fe"),
        anions=("I",),
        solid="iodine and copper iodide, Ksp 1.27e-12",
    ),
    # Lithium carbonate and phosphate are the sparing salts of lithium.
    _Clash(cations=("Li",), anions=("CO3", *_PHOSPHATES), solid="Li2CO3, from memory"),
)


def why_apart(ions_one: Collection[str], ions_other: Collection[str]) -> str | None:
    """Why two solutions must never meet, or None when nothing is known against it.

    Shape: ions as in `IONS`; what they name beyond it is not judged. Either order
    gives the same sentence.
    """
    for clash in _CLASHES:
        for cation in clash.cations:
            for anion in clash.anions:
                if _meet(cation, anion, ions_one, ions_other):
                    names = f"{IONS[cation].name} and {IONS[anion].name}"
                    return f"{names} fall out ({clash.solid})"
    return None


def ions_of(parameters: Collection[str]) -> tuple[str, ...]:
    """Ions that may stand behind parameters a label names, sorted.

    A label says "alkalinity" and not which base, so every base counts.
    """
    return tuple(
        sorted(
            formula
            for formula, ion in IONS.items()
            if ion.rest in parameters or set(ion.moves) & set(parameters)
        )
    )


def needs_longer_gap(ions: Collection[str]) -> bool:
    """Whether a solution holds a hydroxide, after which others wait longer."""
    return "OH" in ions


def _meet(
    cation: str, anion: str, one: Collection[str], other: Collection[str]
) -> bool:
    return (cation in one and anion in other) or (cation in other and anion in one)
