"""What a person should know before touching a bottle.

Floor 1. One subject: hazard texts of salts. Laws here: a statement nobody looked up
again says "from memory"; the supplier's own sheet comes first.
Source: GHS hazard statements; cautions are common practice, no source.
"""

from collections.abc import Mapping

_DUST = "not classified (from memory); mind dust and slippery spills"
_TRACE = "lock up; keep trace stocks in the smallest useful volume"
_METAL = f"H302, H318, H410 (from memory); {_TRACE}"

ALWAYS = "eye protection; follow the supplier's safety sheet"

CAUTIONS: Mapping[str, str] = {
    "Na2CO3": "H319 (from memory); goggles; gives off heat when dissolved",
    "NaHCO3": _DUST,
    "NaOH": "H290 (from memory), H314; face shield and gloves; add the solid slowly to "
    "cold water, never the other way; never in aluminium",
    "Ca(OH)2": "H315, H318, H335; eye injury; never breathe the dust; limewater has "
    "pH 12.4",
    "CaCl2": "H319 (from memory); goggles; gives off much heat when dissolved; draws "
    "water, so keep it closed; corrodes steel",
    "MgCl2": _DUST,
    "MgSO4": _DUST,
    "KCl": _DUST,
    "NaCl": _DUST,
    "SrCl2": "H318 (from memory, suppliers differ); goggles",
    "KI": "H372, thyroid (from memory); dark, sealed, away from children",
    "NaF": f"H301, H315, H319 (from memory); {_TRACE}",
    "NaNO3": "H272, H319 (from memory); keep away from what can burn",
    "KNO3": "H272 (from memory); keep away from what can burn",
    "Ca(NO3)2": "H272, H318 (from memory); goggles; keep away from what can burn",
    "Na2B4O7": "H319, H360FD (from memory); gloves, no dust, away from children",
    "H3BO3": "H360FD (from memory); gloves, no dust, away from children",
    "CH3COOH": "H226, H290, H314 as concentrated acid (from memory); ventilate; takes "
    "alkalinity away until it is eaten; never with hypochlorite",
    "C2H5OH": "H225, H319 (from memory); no flames; ventilate",
    "FeCl3": "H290, H302, H315, H318 (from memory); acidic, goggles",
    "FeSO4": "H302, H315, H319 (from memory); goggles",
    "MnCl2": "H301, H318, H373, H411 (from memory); lock up",
    "ZnSO4": _METAL,
    "CuSO4": _METAL,
    "CoCl2": f"H302, H317, H334, H341, H350i, H360F, H410 (from memory); {_TRACE}",
    "NiCl2": "H301, H331, H315, H317, H334, H341, H350i, H360D, H372, H410 (from "
    f"memory); {_TRACE}",
    "LiCl": "H302, H315, H319 (from memory); goggles",
    "BaCl2": f"H301, H332 (from memory); poisonous; {_TRACE}",
}


def cautions_of(formula: str) -> str:
    """The caution for one salt, formula without crystal water."""
    known = CAUTIONS.get(formula, "no statement known here")
    return f"{formula}: {known}; {ALWAYS}"
