"""Names of elements as laboratories write them, and what they mean.

Floor 6. One subject: which analyte a text names. Laws here: pure; a name that is not
known is refused, never taken for its neighbour; the form in which an element is
expressed (as N, as S, as SiO2) belongs to the name; total phosphorus is kept apart from
phosphate, because a plasma counts organic and condensed phosphorus too.
Source: element names and symbols of IUPAC in both spellings, and the names the symbols
come from (Nomenclature of Inorganic Chemistry 2005, Table I, from memory); mass numbers
of natural isotopes: IUPAC, Isotopic Compositions of the Elements 2009, Berglund and
Wieser 2011, Pure Appl. Chem. 83:397-410.
"""

import re
import unicodedata
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cache

from slackwater.water.parameters import OTHER_SUBSTANCES, PARAMETERS

TOTAL_PHOSPHORUS = "total phosphorus"
# Shorter names are symbols, which are too like each other to be guessed.
SHORTEST_NEAR = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Analyte:
    """A parameter, the form its figure is expressed in, and a note on the method.

    `form` is empty for the form the parameter is kept in; `method` is not empty where
    another quantity than the parameter's own was measured.
    """

    parameter: str
    form: str = ""
    method: str = ""

    @property
    def key(self) -> tuple[str, str]:
        """What may stand in a report only once."""
        return self.parameter, self.method


_P = Analyte(parameter="phosphate", form="PO4-P", method=TOTAL_PHOSPHORUS)
_OTHERS: Mapping[Analyte, tuple[str, ...]] = {
    Analyte(parameter="alkalinity"): (
        *("kh", "alk", "total alkalinity", "carbonate hardness", "alkalinity (kh)"),
    ),
    Analyte(parameter="salinity"): ("practical salinity", "sal"),
    Analyte(parameter="temperature"): ("temp", "water temperature"),
    Analyte(parameter="ph"): ("ph value", "ph-value"),
    Analyte(parameter="sulfate"): ("sulphate",),
    Analyte(parameter="sulfate", form="S"): ("s", "sulfur", "sulphur", "so4-s"),
    Analyte(parameter="chloride"): ("chlorine",),
    Analyte(parameter="bromide"): ("bromine",),
    Analyte(parameter="fluoride"): ("fluorine",),
    Analyte(parameter="boron", form="B(OH)3"): ("b(oh)3", "h3bo3", "boric acid"),
    Analyte(parameter="nitrate", form="NO3-N"): (
        *("no3-n", "n-no3", "nitrate-n", "nitrate nitrogen", "nitrate as n"),
        *("nitrate-nitrogen", "nitrate (as n)", "no3 as n"),
    ),
    Analyte(parameter="phosphate"): ("orthophosphate", "ortho-phosphate", "o-po4"),
    Analyte(parameter="phosphate", form="PO4-P"): (
        *("po4-p", "p-po4", "phosphate-p", "phosphate phosphorus", "phosphate as p"),
        *("orthophosphate-p", "phosphate (as p)", "po4 as p"),
    ),
    _P: ("p", "phosphorus", "total phosphorus", "phosphorus (total)", "total p", "tp"),
    Analyte(parameter="silicon", form="SiO2"): ("sio2", "silica", "silicon dioxide"),
    Analyte(parameter="iodine"): ("total iodine", "iodine (total)"),
    Analyte(parameter="aluminium"): ("aluminum",),
    Analyte(parameter="caesium"): ("cesium",),
    # The names that the symbols come from.
    Analyte(parameter="sodium"): ("natrium",),
    Analyte(parameter="potassium"): ("kalium",),
    Analyte(parameter="iron"): ("ferrum",),
    Analyte(parameter="copper"): ("cuprum",),
    Analyte(parameter="silver"): ("argentum",),
    Analyte(parameter="tin"): ("stannum",),
    Analyte(parameter="antimony"): ("stibium",),
    Analyte(parameter="tungsten"): ("wolfram",),
    Analyte(parameter="mercury"): ("hydrargyrum",),
    Analyte(parameter="lead"): ("plumbum",),
}

# Symbol, lowest and highest mass number found in nature.
_NUCLIDES = """
    Li 6 7, Be 9 9, B 10 11, F 19 19, Na 23 23, Mg 24 26, Al 27 27, Si 28 30, P 31 31,
    S 32 36, Cl 35 37, K 39 41, Ca 40 48, Sc 45 45, Ti 46 50, V 50 51, Cr 50 54,
    Mn 55 55, Fe 54 58, Co 59 59, Ni 58 64, Cu 63 65, Zn 64 70, Ga 69 71, Ge 70 76,
    As 75 75, Se 74 82, Br 79 81, Rb 85 87, Sr 84 88, Y 89 89, Zr 90 96, Mo 92 100,
    Ag 107 109, Cd 106 116, Sn 112 124, Sb 121 123, I 127 127, Cs 133 133, Ba 130 138,
    La 138 139, Ce 136 142, Nd 142 150, W 180 186, Re 185 187, Hg 196 204, Tl 203 205,
    Pb 204 208, Bi 209 209, U 234 238
"""
ISOTOPES: Mapping[str, tuple[int, int]] = {
    symbol: (int(low), int(high))
    for symbol, low, high in (row.split() for row in _NUCLIDES.split(","))
}
_ISOTOPES = {symbol.casefold(): bounds for symbol, bounds in ISOTOPES.items()}

# Ions that are all there is of their element in sea water; a species such as S2- or
# Cr6+ is a part of it and not known by these names.
_IONS: Mapping[str, frozenset[str]] = {
    "+": frozenset({"na", "k", "li", "rb", "cs", "ag", "tl"}),
    "++": frozenset(
        {
            *("ca", "mg", "sr", "ba", "cu", "zn", "ni", "mn", "co", "pb", "cd", "hg"),
            "be",
        }
    ),
    "+++": frozenset({"al", "la", "ce", "sc", "y", "ga", "bi"}),
    "-": frozenset({"cl", "br", "f", "no3"}),
    "--": frozenset({"so4"}),
    "---": frozenset({"po4"}),
}

_DASHES = str.maketrans(dict.fromkeys("\u2010\u2011\u2012\u2013\u2014\u2212", "-"))
_CHARGES = tuple(
    re.compile(rf"(?P<base>.+?)\s*\(?{charge}\)?")
    for charge in (
        r"(?P<signs>\++|-+)",
        r"(?P<count>[1-3])(?P<signs>[+-])",
        r"(?P<signs>[+-])(?P<count>[1-3])",
    )
)
_MASS_FIRST = re.compile(r"([0-9]{1,3})[ -]?([a-z]{1,2})")
_MASS_LAST = re.compile(r"([a-z]{1,2})[ -]?([0-9]{1,3})")
# A line of an emission spectrum in nanometres, as in "Ca 317.933".
_WAVELENGTH = re.compile(r"([a-z]{1,2})[ -]?[1-8][0-9]{2}\.[0-9]{1,4}(?: ?nm)?")
_PAIR = re.compile(r"(.+?)\s*(?:[(\[]\s*(.+?)\s*[)\]]|(?:\s[-/]|[,:/])\s*(.+))")


def plain(text: str) -> str:
    """A name in one way of writing: small letters, one kind of dash, single spaces."""
    wide = unicodedata.normalize("NFKC", text).translate(_DASHES)
    return " ".join(wide.split()).casefold().removesuffix(":").strip()


def analyte_named(text: str) -> Analyte | None:
    """The analyte a text names, None when it names none or two different ones.

    Reads symbols, names, ions such as "Ca2+", isotopes such as "44Ca", spectral lines
    such as "Ca 317.933", and a symbol beside its name.
    """
    name = plain(text)
    for read in (_known, _ion, _isotope, _line, _pair):
        found = read(name)
        if found is not None:
            return found
    return None


@cache
def near_name(text: str) -> str:
    """The nearest name that is known, empty when none is near."""
    name = plain(text)
    if name in OTHER_SUBSTANCES:
        return ""
    # Another first letter, or a symbol, is another element: kalium is no gallium.
    alike = [
        known
        for known in _NAMES
        if len(known) >= SHORTEST_NEAR and known[:1] == name[:1]
    ]
    near = get_close_matches(name, alike, n=1, cutoff=0.75)
    return near[0] if near else ""


def _every_name() -> Iterator[tuple[str, Analyte]]:
    for item in PARAMETERS.values():
        if item.is_measured:
            yield plain(item.id), Analyte(parameter=item.id)
            yield plain(item.name), Analyte(parameter=item.id)
            if item.kind not in {"state", "alkalinity"}:
                yield plain(item.symbol), Analyte(parameter=item.id)
    for analyte, names in _OTHERS.items():
        for name in names:
            yield name, analyte


_NAMES: Mapping[str, Analyte] = dict(_every_name())


def _known(name: str) -> Analyte | None:
    return _NAMES.get(name)


def _ion(name: str) -> Analyte | None:
    # "NO3-" is nitrate with a sign, "SO42-" sulfate with a charge of two.
    for ending in _CHARGES:
        match = ending.fullmatch(name)
        if match is None:
            continue
        told = match.groupdict()
        charge = told["signs"] * int(told.get("count") or 1)
        if match["base"] in _IONS.get(charge, ()):
            return _known(match["base"])
    return None


def _isotope(name: str) -> Analyte | None:
    first, last = _MASS_FIRST.fullmatch(name), _MASS_LAST.fullmatch(name)
    if first:
        mass, symbol = first[1], first[2]
    elif last:
        symbol, mass = last[1], last[2]
    else:
        return None
    low, high = _ISOTOPES.get(symbol, (1, 0))
    return _known(symbol) if low <= int(mass) <= high else None


def _line(name: str) -> Analyte | None:
    match = _WAVELENGTH.fullmatch(name)
    return _known(match[1]) if match and match[1] in _ISOTOPES else None


def _pair(name: str) -> Analyte | None:
    """A symbol beside a name, when both mean the same."""
    match = _PAIR.fullmatch(name)
    if match:
        halves = match[1], match[2] or match[3]
    else:
        head, _, tail = name.partition(" ")
        halves = head, tail
    one, other = (_known(half) or _ion(half) for half in halves)
    return one if one == other else None
