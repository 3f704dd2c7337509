"""What can be measured or dosed, as one table.

Floor 1. One subject: parameters. Laws here: a parameter has one canonical unit and one
id; amounts are whole pico-units (peq, pg, pmol); a parameter that is only measured has
no amount.
Source: natural values at practical salinity 35 and 25 degC from the works named in each
row, per-kilogram values times 1.02334 kg/L (TEOS-10). Plausible windows and decimals
are common practice, no source.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from difflib import get_close_matches
from fractions import Fraction
from typing import Literal

from slackwater.errors import Finding, InputError, OutOfRangeError

Kind = Literal[
    "alkalinity", "major", "trace", "nutrient", "carbon", "state", "contaminant"
]
Number = Fraction | Decimal | int | float
# Written much like something that is kept, and no slip: nitrite is no nitrate.
OTHER_SUBSTANCES = frozenset(
    {
        *("nitrite", "sulfite", "sulphite", "sulfide", "sulphide", "phosphite"),
        *("chlorite", "chlorate", "bromate", "iodate", "silicate"),
    }
)
# What a laboratory sees in micrograms and what should hardly be there.
TRACE_KINDS: frozenset[Kind] = frozenset({"trace", "contaminant"})

# Pico-units in one canonical unit: of milli-equivalents, milligrams, millimoles, and of
# micrograms; nothing is dosed of states and contaminants.
_PICO: Mapping[Kind, int] = {
    "alkalinity": 10**9,
    "major": 10**9,
    "nutrient": 10**9,
    "carbon": 10**9,
    "trace": 10**6,
    "state": 0,
    "contaminant": 0,
}
_UNITS: Mapping[Kind, str] = {
    "major": "mg/L",
    "nutrient": "mg/L",
    "trace": "ug/L",
    "contaminant": "ug/L",
}
# A confirmed reading may leave its window, but never by more than this factor (common
# practice, no source): the major ions of a sea that animals live in stay near nature's.
_FAR: Mapping[Kind, float] = {"major": 2.0}
_FAR_ELSE = 10.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Parameter:
    """One thing that can be measured or dosed.

    Units: `low`, `high`, `never_below`, `never_above` and `natural` canonical, bounds
    inclusive; `pico_per_unit` pico-units in one canonical unit, 0 when not dosed. A
    reading outside low..high needs a confirmation, one outside never_below..never_above
    is refused. Of `carbon`, which nobody measures, `high` is the most a day.
    """

    id: str
    name: str
    symbol: str
    kind: Kind
    canonical_unit: str
    display_unit: str
    low: float
    high: float
    never_below: float
    never_above: float
    decimals: int
    natural: float | None
    source: str
    from_memory: bool = False

    @property
    def pico_per_unit(self) -> int:
        """Pico-units in one canonical unit."""
        return _PICO[self.kind]

    @property
    def is_dosed(self) -> bool:
        """Whether a solution can add it."""
        return self.pico_per_unit > 0

    @property
    def is_measured(self) -> bool:
        """Whether a test or a probe shows it."""
        return self.kind != "carbon"


_MILLERO = (
    "Millero et al. 2008, Deep-Sea Res. I 55:50-72, Reference Composition, Table 4"
)
_BRULAND = "Bruland 1983, Chemical Oceanography vol. 8, mean"
_QUINBY = "Quinby-Hunt and Turekian 1983, Eos 64:130-131"
_MBARI = "Johnson, periodic table of elements in the ocean"
_LI = "Li 1991, Geochim. Cosmochim. Acta 55:3223-3240"
_NOZAKI = "Nozaki 1997, Eos 78:221"
_BROECKER = "Broecker and Peng 1982, Tracers in the Sea"
_CHEN = "Chen et al. 1986, Earth Planet. Sci. Lett. 80:241"
_KLEYPAS = "Kleypas et al. 1999, Am. Zool. 39:146-159, surface water over reefs"
_PRACTICE = "common practice, no source"

# A row is the id, symbol and kind, the window, decimals, natural value and source.
_Row = tuple[str, str, Kind, tuple[float, float], int, float, str]
_ROWS: tuple[_Row, ...] = (
    ("calcium", "Ca", "major", (250, 700), 0, 421.7, _MILLERO),
    ("magnesium", "Mg", "major", (800, 2000), 0, 1313.7, _MILLERO),
    ("potassium", "K", "major", (200, 700), 0, 408.42, _MILLERO),
    ("strontium", "Sr", "major", (2, 30), 2, 8.133, _MILLERO),
    ("sulfate", "SO4", "major", (1500, 4500), 0, 2775.7, _MILLERO),
    ("sodium", "Na", "major", (6000, 14000), 0, 11033.0, _MILLERO),
    ("chloride", "Cl", "major", (11000, 25000), 0, 19804.0, _MILLERO),
    ("bromide", "Br", "major", (10, 200), 1, 68.86, _MILLERO),
    ("boron", "B", "major", (1, 20), 2, 4.592, _MILLERO),
    ("fluoride", "F", "major", (0.1, 5), 2, 1.328, _MILLERO),
    ("nitrate", "NO3", "nutrient", (0, 200), 2, 0.0155, _KLEYPAS),
    ("phosphate", "PO4", "nutrient", (0, 10), 3, 0.0123, _KLEYPAS),
    ("silicon", "Si", "nutrient", (0, 20), 3, 2.87, f"{_BRULAND}, mostly deep water"),
    ("iodine", "I", "trace", (0, 500), 1, 61.4, _QUINBY),
    ("lithium", "Li", "trace", (0, 5000), 0, 182.2, _QUINBY),
    ("rubidium", "Rb", "trace", (0, 1000), 0, 122.0, _BRULAND),
    ("molybdenum", "Mo", "trace", (0, 200), 1, 10.8, _BRULAND),
    ("vanadium", "V", "trace", (0, 100), 2, 1.56, _BRULAND),
    ("barium", "Ba", "trace", (0, 500), 1, 14.1, _BRULAND),
    ("nickel", "Ni", "trace", (0, 100), 2, 0.491, _QUINBY),
    ("zinc", "Zn", "trace", (0, 500), 2, 0.399, _QUINBY),
    ("copper", "Cu", "trace", (0, 200), 2, 0.26, _BRULAND),
    ("chromium", "Cr", "trace", (0, 100), 2, 0.213, _BRULAND),
    ("manganese", "Mn", "trace", (0, 200), 2, 0.0281, _BRULAND),
    ("iron", "Fe", "trace", (0, 200), 2, 0.0409, _QUINBY),
    ("cobalt", "Co", "trace", (0, 50), 3, 0.00121, _BRULAND),
    ("selenium", "Se", "trace", (0, 100), 2, 0.137, _BRULAND),
    ("uranium", "U", "contaminant", (0, 100), 2, 3.31, _CHEN),
    ("caesium", "Cs", "contaminant", (0, 100), 3, 0.299, _BRULAND),
    ("rhenium", "Re", "contaminant", (0, 100), 3, 0.008, _LI),
    ("arsenic", "As", "contaminant", (0, 200), 2, 1.76, _BRULAND),
    ("aluminium", "Al", "contaminant", (0, 2000), 1, 0.552, _BRULAND),
    ("antimony", "Sb", "contaminant", (0, 100), 2, 0.15, _BRULAND),
    ("lead", "Pb", "contaminant", (0, 200), 2, 0.00276, _MBARI),
    ("tin", "Sn", "contaminant", (0, 500), 2, 0.000486, _BROECKER),
    ("mercury", "Hg", "contaminant", (0, 100), 3, 0.00103, _BRULAND),
    ("cadmium", "Cd", "contaminant", (0, 100), 3, 0.0805, _BRULAND),
    ("silver", "Ag", "contaminant", (0, 100), 3, 0.00276, _BRULAND),
    ("titanium", "Ti", "contaminant", (0, 200), 2, 0.00686, _MBARI),
    ("tungsten", "W", "contaminant", (0, 200), 2, 0.0113, _BROECKER),
    ("thallium", "Tl", "contaminant", (0, 100), 3, 0.0125, _BRULAND),
    ("lanthanum", "La", "contaminant", (0, 500), 2, 0.00426, _BRULAND),
    ("cerium", "Ce", "contaminant", (0, 100), 3, 0.00287, _BRULAND),
    (
        "neodymium",
        "Nd",  # codespell:ignore
        "contaminant",
        (0, 100),
        3,
        0.00295,
        _BRULAND,
    ),
    ("scandium", "Sc", "contaminant", (0, 100), 3, 0.00069, _BRULAND),
    ("yttrium", "Y", "contaminant", (0, 100), 3, 0.0136, _BRULAND),
    ("zirconium", "Zr", "contaminant", (0, 100), 3, 0.0153, _NOZAKI),
    ("beryllium", "Be", "contaminant", (0, 100), 3, 0.000184, _BRULAND),
    ("bismuth", "Bi", "contaminant", (0, 100), 3, 3.07e-05, _NOZAKI),
    ("gallium", "Ga", "contaminant", (0, 100), 3, 0.0017, _LI),
    ("germanium", "Ge", "contaminant", (0, 100), 3, 0.0052, _BRULAND),
)
# Natural values nobody looked up again.
_FROM_MEMORY = frozenset({_KLEYPAS, _NOZAKI})

_SPECIAL = (
    Parameter(
        id="alkalinity",
        name="alkalinity",
        symbol="KH",
        kind="alkalinity",
        canonical_unit="meq/L",
        display_unit="dKH",
        low=1.069,
        high=5.71,
        # 1 and 30 dKH: beyond lies no reef but a stock; common practice, no source.
        never_below=0.357,
        never_above=10.7,
        decimals=2,
        natural=2.358,
        source=_MILLERO,
    ),
    Parameter(
        id="carbon",
        name="organic carbon",
        symbol="C",
        kind="carbon",
        canonical_unit="mmol/L",
        display_unit="mmol/L",
        low=0.0,
        high=0.3,
        never_below=0.0,
        never_above=3.0,
        decimals=3,
        natural=None,
        source=_PRACTICE,
    ),
    Parameter(
        id="salinity",
        name="salinity",
        symbol="S",
        kind="state",
        canonical_unit="1",
        display_unit="PSU",
        low=20.0,
        high=42.0,
        # The range of the practical salinity scale itself.
        never_below=2.0,
        never_above=42.0,
        decimals=2,
        natural=35.0,
        source="Fofonoff and Millard 1983, UNESCO Tech. Papers Mar. Sci. 44",
    ),
    Parameter(
        id="temperature",
        name="temperature",
        symbol="t",
        kind="state",
        canonical_unit="degC",
        display_unit="degC",
        low=10.0,
        high=35.0,
        never_below=-2.0,
        never_above=45.0,
        decimals=1,
        natural=None,
        source=_PRACTICE,
    ),
    Parameter(
        id="ph",
        name="pH",
        symbol="pH",
        kind="state",
        canonical_unit="1",
        display_unit="pH",
        low=6.5,
        high=9.5,
        # Beyond no fish lives; common practice, no source.
        never_below=4.0,
        never_above=11.0,
        decimals=2,
        natural=None,
        source=_PRACTICE,
    ),
)


def _all_parameters() -> Iterator[Parameter]:
    yield from _SPECIAL
    for identity, symbol, kind, (low, high), decimals, natural, source in _ROWS:
        yield Parameter(
            id=identity,
            name=identity,
            symbol=symbol,
            kind=kind,
            canonical_unit=_UNITS[kind],
            display_unit=_UNITS[kind],
            low=low,
            high=high,
            never_below=low / _FAR.get(kind, _FAR_ELSE),
            never_above=high * _FAR.get(kind, _FAR_ELSE),
            decimals=decimals,
            natural=natural,
            source=source,
            from_memory=source in _FROM_MEMORY,
        )


PARAMETERS: Mapping[str, Parameter] = {item.id: item for item in _all_parameters()}


# What people also call them, in small letters.
_MEANT: Mapping[str, str] = {
    **{item.symbol.lower(): name for name, item in PARAMETERS.items()},
    **{item.name.lower(): name for name, item in PARAMETERS.items()},
    "alk": "alkalinity",
    "no3": "nitrate",
    "po4": "phosphate",
    "temp": "temperature",
    "natrium": "sodium",
    "kalium": "potassium",
    "sulphate": "sulfate",
    "aluminum": "aluminium",
    "cesium": "caesium",
}


def parameter_named(identity: str, *, where: str) -> Parameter:
    """The parameter of an id.

    Raises: InputError with the nearest ids when there is none.
    """
    item = PARAMETERS.get(identity)
    if item is not None:
        return item
    near = _near(identity.strip().lower())
    hint = f'Did you mean "{near}"? ' if near else ""
    finding = Finding(
        what=f"the parameter {identity[:60]!r} is unknown",
        where=where,
        expected=f"one of {', '.join(PARAMETERS)}",
        do=f"{hint}Use one of these names.",
    )
    raise InputError(finding)


def _near(word: str) -> str:
    """The id that a symbol, a name or a slip of the pen stands for; else empty."""
    meant = _MEANT.get(word)
    if meant is not None:
        return meant
    if word in OTHER_SUBSTANCES:
        return ""
    # A slip seldom hits the first letter: kalium is no gallium.
    alike = [name for name in PARAMETERS if name[:1] == word[:1]]
    near = get_close_matches(word, alike, n=1)
    return near[0] if near else ""


def amount_in_litres(identity: str, concentration: Number, litres: Number) -> int:
    """Whole pico-units in a volume of water at a concentration.

    Units: concentration canonical; result pico-units, rounded half to even.
    Range: any finite concentration, negative for a fall; litres above 0.
    Raises: InputError for a parameter without amounts, OutOfRangeError for a volume not
    above 0 or a number not finite.
    """
    pico = _pico_of(identity)
    return round(_exact(concentration) * _exact_litres(litres) * pico)


def concentration(identity: str, amount_pico: int, litres: Number) -> Fraction:
    """The concentration that an amount makes in a volume of water.

    Units: result canonical, exact. Range: litres above 0.
    Raises: InputError for a parameter without amounts, OutOfRangeError for a volume not
    above 0 or not finite.
    """
    pico = _pico_of(identity)
    return Fraction(amount_pico) / (_exact_litres(litres) * pico)


def _pico_of(identity: str) -> int:
    item = parameter_named(identity, where="")
    if item.is_dosed:
        return item.pico_per_unit
    finding = Finding(
        what=f"{item.name} is measured, not dosed",
        where="",
        expected="a parameter that a solution can add",
        do="Use an alkalinity, major, nutrient, trace or carbon parameter.",
    )
    raise InputError(finding)


def _exact_litres(litres: Number) -> Fraction:
    exact = _exact(litres)
    if exact > 0:
        return exact
    raise OutOfRangeError(_not_usable(litres, "a volume above 0 litres"))


def _exact(number: Number) -> Fraction:
    try:
        return Fraction(number)
    except (ValueError, OverflowError) as error:
        raise OutOfRangeError(_not_usable(number, "a finite number")) from error


def _not_usable(number: Number, expected: str) -> Finding:
    return Finding(
        what=f"found {number}", where="", expected=expected, do="Check the figure."
    )
