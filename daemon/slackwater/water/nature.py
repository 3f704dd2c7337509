"""What natural sea water holds, row by row, each with its source.

Floor 1. One subject: natural levels. Laws here: a level that `parameters` carries is
taken from there; what keeps its proportion to salinity is judged at S = 35, alkalinity,
nutrients and contaminants are judged as they are.
Units: at practical salinity 35 and 25 degC, per-kilogram values times 1.02334 kg/L
(TEOS-10).
Source: the works named in `parameters` and below; a figure nobody looked up again says
"from memory".
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from slackwater.water.parameters import PARAMETERS, parameter_named
from slackwater.water.ranges import finite
from slackwater.water.seawater import normalised

_MILLERO = PARAMETERS["calcium"].source
_BRULAND = PARAMETERS["copper"].source

# Judged at S = 35: constancy of composition (Marcet, Dittmar). Four more elements keep
# their proportion in the sea and are contaminants in a tank: judged as they are.
NORMALISED = frozenset(
    {
        *("sodium", "magnesium", "calcium", "potassium", "strontium", "chloride"),
        *("sulfate", "bromide", "boron", "fluoride", "lithium", "rubidium"),
        *("molybdenum", "uranium"),
    }
)
_CONSERVATIVE = NORMALISED | {"caesium", "rhenium", "tungsten", "thallium"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Natural:
    """One row: a level, as its source prints it, and what to know about it.

    `parameter` is the id whose level it is, empty for another form of one, or for what
    nobody measures in a tank.
    """

    symbol: str
    name: str
    parameter: str
    value: float
    unit: str
    source: str
    printed: str
    note: str
    from_memory: bool
    conservative: bool


# By parameter: the figure as printed, and a note.
_PRINTED: Mapping[str, tuple[str, str]] = {
    "chloride": ("19352.7 mg/kg; 545.92 mmol/kg", ""),
    "sodium": ("10781.5 mg/kg; 468.96 mmol/kg", ""),
    "magnesium": ("1283.72 mg/kg; 52.817 mmol/kg", ""),
    "calcium": ("412.085 mg/kg; 10.282 mmol/kg", "varies by 1 % with depth"),
    "potassium": ("399.106 mg/kg; 10.208 mmol/kg", ""),
    "sulfate": ("2712.35 mg/kg; 28.237 mmol/kg", ""),
    "bromide": ("0.84207 mmol/kg", ""),
    "strontium": ("7.947 mg/kg", "surface water holds 1-2 % less"),
    "boron": (
        "0.4151 mmol/kg",
        "ratio of Uppstrom 1974; Lee et al. 2010 give 4 % more",
    ),
    "fluoride": ("68.3 umol/kg", ""),
    "alkalinity": (
        "2304 umol/kg",
        "HCO3 + 2 CO3 + B(OH)4 + OH; the ocean has 2250-2450; managed in a tank",
    ),
    "nitrate": ("0.25 umol/L", "at most about 3.3 umol/L over reefs"),
    "phosphate": ("0.13 umol/L", "at most about 0.54 umol/L over reefs"),
    "silicon": ("100 (1-180) umol/kg", "warm surface water 1-5 umol/kg"),
    "lithium": ("178 ug/kg", "26 umol/kg is also common"),
    "rubidium": ("1.4 umol/kg", "120-124 ug/kg in other compilations"),
    "iodine": ("60 ug/kg", "iodate and iodide, of which warm surface water has more"),
    "molybdenum": ("0.11 umol/kg", "Collier 1985: 107 nmol/kg (from memory)"),
    "uranium": ("3.238 ng/g at S = 35", ""),
    "vanadium": ("30 (20-35) nmol/kg", "surface water holds 10-15 % less"),
    "barium": (
        "100 (32-150) nmol/kg",
        "judge a reef against the surface, 4.5-6.3 ug/L",
    ),
    "arsenic": ("23 (15-25) nmol/kg", "mostly arsenate"),
    "nickel": ("480 ng/kg", "surface 0.12 ug/L; a pollutant when raised"),
    "zinc": ("390 ng/kg", "surface 0.003 ug/L; a pollutant when raised"),
    "copper": ("4 (0.5-6) nmol/kg", "0.12-0.15 ug/kg elsewhere; a pollutant"),
    "chromium": ("4 (2-5) nmol/kg", "mostly Cr(VI)"),
    "manganese": ("0.5 (0.2-3) nmol/kg", "highest at the surface"),
    "iron": ("40 ng/kg", "poor surface water 0.001-0.02 ug/L"),
    "cobalt": ("0.02 (0.01-0.1) nmol/kg", ""),
    "selenium": ("1.7 (0.5-2.3) nmol/kg", ""),
    "caesium": ("2.2 nmol/kg", ""),
    "rhenium": ("8 ng/L", "Broecker and Peng 1982: half of it"),
    "aluminium": ("20 (5-40) nmol/kg", "varies a thousandfold by basin"),
    "antimony": ("1.2 nmol/kg", "nearly in proportion to salinity"),
    "lead": ("13 pmol/kg", "Bruland 1983: 10 (5-175) pmol/kg; from human hands"),
    "tin": ("4 pmol/kg", ""),
    "mercury": ("5 (2-10) pmol/kg", "clean modern data near 1 (from memory)"),
    "cadmium": ("0.7 (0.001-1.1) nmol/kg", "surface 0.0001-0.01 ug/L"),
    "silver": ("25 (0.5-35) pmol/kg", "surface about 0.0001 ug/L"),
    "titanium": ("140 pmol/kg", "an older 1 ug/L is contamination"),
    "tungsten": ("60 pmol/kg", "an older 0.1 ug/L is nine times too high"),
    "thallium": ("60 pmol/kg", "Flegal and Patterson 1985: 12-16 ng/kg"),
    "lanthanum": ("30 (13-37) pmol/kg", "raised by lanthanum phosphate removers"),
    "cerium": ("20 (16-26) pmol/kg", "deep Pacific a quarter (from memory)"),
    "neodymium": ("20 (12-25) pmol/kg", "magnets are a source in a tank"),
    "scandium": ("15 (8-20) pmol/kg", ""),
    "yttrium": ("0.15 nmol/kg", ""),
    "zirconium": ("15 ng/kg", "McKelvey and Orians 1993: 12-300 pmol/kg"),
    "beryllium": ("20 (4-30) pmol/kg", ""),
    "bismuth": ("0.03 ng/kg", "Bruland 1983: 0.015-0.24 pmol/kg"),
    "gallium": ("1.7 ng/L", ""),
    "germanium": ("70 (7-115) pmol/kg", "follows silicon"),
}
_DEEP = "mean of all depths; warm surface water holds a hundredth"

# The same things in other forms and units, and what nobody tests: symbol and name,
# level and unit, source, the figure as printed, note.
_FORMS: tuple[tuple[str, str, float, str, str, str, str], ...] = (
    ("S", "sulfur", 926.42, "mg/L", _MILLERO, "28.237 mmol/kg", "of sulfate"),
    ("B(OH)3", "boric acid", 26.26, "mg/L", _MILLERO, "0.4151 mmol/kg", "the boron"),
    (
        *("C", "dissolved inorganic carbon", 24.17, "mg/L", _MILLERO),
        *("1.966 mmol/kg", "set by gas exchange and life"),
    ),
    ("Alk", "alkalinity", 2304.0, "umol/kg", _MILLERO, "2304 umol/kg", ""),
    ("Alk_dKH", "alkalinity", 6.612, "dKH", _MILLERO, "2304 umol/kg", ""),
    ("N", "nitrate as N", 0.43, "mg/L", _BRULAND, "30 (0.1-45) umol/kg", _DEEP),
    ("NO3", "nitrate", 1.9, "mg/L", _BRULAND, "30 (0.1-45) umol/kg", _DEEP),
    ("P", "phosphate as P", 0.0729, "mg/L", _BRULAND, "2.3 (1-3.5) umol/kg", _DEEP),
    ("PO4", "phosphate", 0.224, "mg/L", _BRULAND, "2.3 (1-3.5) umol/kg", _DEEP),
)
_CONSERVATIVE_FORMS = frozenset({"S", "B(OH)3"})
# Where the symbol of a parameter stands for a row of another depth or unit already.
_SYMBOLS = {
    "alkalinity": "Alk_meq",
    "nitrate": "NO3_reef",
    "phosphate": "PO4_reef",
}


def times_nature(identity: str, level: float) -> float | None:
    """How many times the natural level a level is, None where nature has none.

    Units: canonical, at S = 35 for what `NORMALISED` lists.
    Raises: InputError for an unknown parameter, OutOfRangeError for no number.
    """
    natural = parameter_named(identity, where="").natural
    finite("the level", level)
    return level / natural if natural else None


def level_to_judge(identity: str, level: float, salinity: float) -> float:
    """A level as it is held against nature: at S = 35 where that says more.

    Units: canonical. Range: S 2..42.
    Raises: InputError for an unknown parameter, OutOfRangeError outside the range.
    """
    at_standard = normalised(level, salinity)
    item = parameter_named(identity, where="")
    return at_standard if item.id in NORMALISED else finite("the level", level)


def _parameters() -> Iterator[Natural]:
    for identity, (printed, note) in _PRINTED.items():
        item = PARAMETERS[identity]
        yield Natural(
            symbol=_SYMBOLS.get(identity, item.symbol),
            name=item.name,
            parameter=identity,
            value=item.natural or 0.0,
            unit=item.canonical_unit,
            source=item.source,
            printed=printed,
            note=note,
            from_memory=item.from_memory,
            conservative=identity in _CONSERVATIVE,
        )


def _other_forms() -> Iterator[Natural]:
    for symbol, name, value, unit, source, printed, note in _FORMS:
        yield Natural(
            symbol=symbol,
            name=name,
            parameter="",
            value=value,
            unit=unit,
            source=source,
            printed=printed,
            note=note,
            from_memory=False,
            conservative=symbol in _CONSERVATIVE_FORMS,
        )


NATURAL: Mapping[str, Natural] = {
    row.symbol: row for row in (*_parameters(), *_other_forms())
}
