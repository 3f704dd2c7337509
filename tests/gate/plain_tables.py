"""What the plain judge knows of the invented tank: lines, inputs and limits.

It imports nothing of the daemon. Figures are those of the reference chapter on limits:
common practice, no source. Times are seconds, shares parts of one.
"""

DAY, HOUR, MINUTE = 86_400.0, 3_600.0, 60.0
KEPT_S = 26 * HOUR
ROUNDING = 1e-9
BASE = 0.8

# What each line of the invented tank is.
LINES: dict[str, frozenset[str]] = {
    "lye": frozenset({"alkaline", "hydroxide"}),
    "soda": frozenset({"alkaline", "carbonate"}),
    "mild": frozenset({"alkaline"}),
    "calcium": frozenset({"mineral"}),
    "raise": frozenset({"mineral", "correction"}),
    "iodine": frozenset({"mineral", "trace"}),
    "food": frozenset({"carbon"}),
    "plain": frozenset(),
}
# Period and resolution of each probe, and how long equal values mean nothing.
PROBES = {
    "ph": ("ph", 300.0, 0.01, 6 * HOUR),
    "ph2": ("ph", 300.0, 0.01, 6 * HOUR),
    "warm": ("temperature", 300.0, 0.1, DAY),
    "warm2": ("temperature", 300.0, 0.1, DAY),
    "salt": ("salinity", 300.0, 0.01, DAY),
    "kh": ("alkalinity", 300.0, 0.01, 0.0),
    "kh2": ("alkalinity", 300.0, 0.01, 0.0),
}
SPREAD = {"ph": 0.2, "temperature": 1.0, "salinity": 1.0}
# Normal state, seconds it must be well, and what it stops, by role.
SWITCHES = {
    "return-pump": (True, 600.0, "all"),
    "level": (False, 600.0, "all"),
    "leak": (False, None, "all"),
    "feeding": (False, 300.0, "all"),
    "hands": (False, 60.0, "all"),
    "skimmer": (True, 60.0, "carbon"),
    "air": (True, 60.0, "carbon"),
    # At the pump of the soda.
    "power": (False, None, "carbonate"),
}
# Whose silence shortens; that of the return pump stops, and power at rest has none.
SHORTENS = frozenset(SWITCHES) - {"return-pump", "power"}
SILENT_S = 2 * 300.0 + 900.0
CEILING_DKH, HYSTERESIS_DKH = 9.7, 0.2
BOTTLE_LOW_UL, DOSE_UL = 100_000, 2_000
# A twentieth of its 5 L.
BOTTLE_LOST_UL = 250_000
# Top-off: whole days that make a usual one, and how many are remembered.
USUAL_DAYS, DAYS_KEPT, TOO_MUCH = 7, 14, 1.5


def reached(kinds: frozenset[str], scope: str) -> bool:
    """Whether a scope means a line of these kinds."""
    if scope == "all":
        return True
    if scope == "raising":
        return bool(kinds & {"hydroxide", "carbonate"})
    if scope == "extras":
        return bool(kinds & {"correction", "carbon"})
    if scope == "treated":
        return bool(kinds & {"correction", "carbon", "trace"})
    if scope == "mineral correction":
        return {"mineral", "correction"} <= kinds
    return scope in kinds
