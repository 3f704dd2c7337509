"""When a trace or contaminant is worth watching and when to act, and where it is from.

Floor 3. One subject: practice bands of what should hardly be there. Laws here: a
multiple of nature alone would turn every healthy report red, so that a laboratory's
quantification limit counts beside it; no band is science and each says so; what the
operator wrote down replaces it.
Units: micrograms per litre.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from slackwater.facts.tank import TraceLimits
from slackwater.water.parameters import PARAMETERS, TRACE_KINDS

NATURE_FACTOR = 10.0
LIMIT_FACTOR = 3.0
ACT_PER_WATCH = 2.5
# What laboratories commonly see, where one does not say: common practice, no source.
ASSUMED_LIMIT_UG_PER_L = 1.0

# Where a band comes from when the operator wrote it down.
OPERATOR = "the operator's file"

# Watch and act.
_STATED: Mapping[str, tuple[float, float]] = {
    "copper": (2.0, 4.0),
    "zinc": (8.0, 20.0),
    "nickel": (4.0, 8.0),
    "aluminium": (10.0, 30.0),
    "tin": (3.0, 10.0),
    "lead": (2.0, 5.0),
    "barium": (60.0, 120.0),
    "lithium": (600.0, 1200.0),
    "iodine": (80.0, 90.0),
}

_CORROSION = "corroded pump shafts, screws, carbide parts, Nd-Fe-B magnets"
_SALT_LOTS = "salt batches, rock"
_SOURCES: Mapping[str, str] = {
    "copper": "brass and bronze fittings, heaters, tap water, medication",
    "zinc": "galvanised parts, brass, rubber, tap water",
    "nickel": "stainless and plated parts, magnet coatings, salt",
    "lead": "solder, pigments, old pipe, batteries",
    "cadmium": "solder, pigments, old pipe, batteries",
    "silver": "solder, pigments, old pipe, batteries",
    "mercury": "broken thermometers and lamps, pigments, batteries",
    "chromium": "stainless steel",
    "selenium": "foods",
    "arsenic": "groundwater, iron adsorbent that is used up",
    "aluminium": "alumina phosphate adsorbent, ceramics, zeolite, clay, some rock",
    "tin": "PVC stabilisers, soldered joints, magnets",
    "titanium": _CORROSION,
    "tungsten": _CORROSION,
    "cobalt": _CORROSION,
    "neodymium": _CORROSION,
    "iron": _CORROSION,
    "manganese": "foods, rock, groundwater",
    "lanthanum": "phosphate remover",
    "antimony": "plastics and flame retardants",
    "barium": _SALT_LOTS,
    "lithium": _SALT_LOTS,
    "thallium": _SALT_LOTS,
    "beryllium": _SALT_LOTS,
    "uranium": _SALT_LOTS,
}
_UNKNOWN_SOURCES = "salt batches, rock, foods, a dosed solution"

# A metal part in the water is a likely source.
CORRODING = frozenset(
    {
        *("copper", "zinc", "nickel", "lead", "cadmium", "silver", "chromium", "tin"),
        *("titanium", "tungsten", "cobalt", "neodymium", "iron"),
    }
)


@dataclass(frozen=True, slots=True, kw_only=True)
class TraceBand:
    """From `watch` on it is looked at again, from `act` on something is done."""

    watch: float
    act: float
    source: str


def is_trace(parameter: str) -> bool:
    """Whether a parameter is judged in the three columns of traces."""
    return PARAMETERS[parameter].kind in TRACE_KINDS


def trace_band(
    parameter: str, limit: float | None, own: TraceLimits | None = None
) -> TraceBand:
    """The band of a trace or contaminant: the operator's own, else that of practice.

    Units: `limit` the laboratory's quantification limit, None where it states none.
    """
    if own is not None:
        return TraceBand(watch=own.watch, act=own.act, source=OPERATOR)
    stated = _STATED.get(parameter)
    if stated is not None:
        return TraceBand(
            watch=stated[0], act=stated[1], source="common practice, no source"
        )
    natural = PARAMETERS[parameter].natural or 0.0
    seen = ASSUMED_LIMIT_UG_PER_L if limit is None else limit
    watch = max(NATURE_FACTOR * natural, LIMIT_FACTOR * seen)
    assumed = ", limit assumed" if limit is None else ""
    return TraceBand(
        watch=watch,
        act=ACT_PER_WATCH * watch,
        source=f"larger of {NATURE_FACTOR:g} x nature and {LIMIT_FACTOR:g} x "
        f"quantification limit{assumed}; common practice, no source",
    )


def likely_sources(parameter: str) -> str:
    """Where it usually comes from. Source: common practice, no source."""
    return _SOURCES.get(parameter, _UNKNOWN_SOURCES)
