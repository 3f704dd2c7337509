"""The interlocks on inputs, in order: one row each.

Floor 3. One subject: the table. Laws here: everything that watches the water is in it;
nothing in it can be switched off by how the daemon runs; a row costs nothing where what
it needs is not configured.
"""

from functools import cache

from slackwater.facts.limits import Role
from slackwater.facts.reasons import Code
from slackwater.gate import acidity, alkaline, circumstances, climate, stores
from slackwater.gate.moment import ALKALINITY
from slackwater.gate.switches import (
    ROLES,
    clears_at,
    doubts_at,
    looks_at,
    return_refuses,
)
from slackwater.gate.watch import Clears, Doubts, Hears, Interlock


def _switch(role: Role, about: str, *, latched: bool = False) -> Interlock:
    clears: Clears | None = None if latched else clears_at(role)
    return Interlock(
        name=role,
        about=about,
        scope=ROLES[role][0],
        needs=role,
        looks=looks_at(role),
        clears=clears,
    )


def _silence(role: Role) -> Interlock:
    return Interlock(
        name=f"{role}-silent",
        about=f"The switch of the role {role} is not heard.",
        scope=ROLES[role][0],
        needs=role,
        doubts=doubts_at(role),
    )


def _too_much(
    code: Code, about: str, hears: Hears, *, needs: str = "", clears: Clears | None
) -> Interlock:
    """Too much alkalinity; its holds are called as their reason is."""
    return Interlock(
        name=code,
        about=about,
        scope=ALKALINITY,
        needs=needs,
        hears=hears,
        clears=clears,
    )


def _not_known(name: str, about: str, doubts: Doubts, needs: str = "") -> Interlock:
    """Alkalinity is low, or nobody knows it for sure."""
    return Interlock(
        name=f"alkalinity-{name}",
        about=about,
        scope=ALKALINITY,
        needs=needs,
        family=ALKALINITY_PROBES,
        doubts=doubts,
    )


# What is not known of alkalinity, taken together.
ALKALINITY_PROBES = "alkalinity-probes"
FAMILIES = {
    ALKALINITY_PROBES: "Alkalinity is low or not known: all interlocks that say so."
}
WATCHES: tuple[Interlock, ...] = (
    _too_much(
        Code.ALKALINITY_CEILING,
        "Alkalinity is above its ceiling.",
        alkaline.ceiling_hears,
        needs=ALKALINITY,
        clears=alkaline.ceiling_clears,
    ),
    _too_much(
        Code.ALKALINITY_CLIMB,
        "Alkalinity climbs faster than allowed.",
        alkaline.climb_hears,
        needs=ALKALINITY,
        clears=None,
    ),
    _too_much(
        Code.ALKALINITY_SWING_UP,
        "Alkalinity swings upward: more than is explained.",
        alkaline.verdict_hears(Code.ALKALINITY_SWING_UP),
        clears=None,
    ),
    _too_much(
        Code.ALKALINITY_DOSE_FAULT,
        "Alkalinity rose as if a dose had come twice.",
        alkaline.verdict_hears(Code.ALKALINITY_DOSE_FAULT),
        clears=None,
    ),
    _not_known(
        "unknown",
        "No alkalinity probe can be believed.",
        alkaline.unknown_doubts,
        ALKALINITY,
    ),
    _not_known(
        "floor",
        "Alkalinity is below its floor.",
        alkaline.floor_doubts,
        ALKALINITY,
    ),
    _not_known(
        "spread",
        "Two alkalinity probes disagree.",
        alkaline.spread_doubts,
        ALKALINITY,
    ),
    _not_known(
        "fall",
        "Alkalinity falls faster than it should.",
        alkaline.fall_doubts,
        ALKALINITY,
    ),
    _not_known(
        "out",
        "No alkalinity probe is in service, and no test stands in.",
        alkaline.out_doubts,
        ALKALINITY,
    ),
    _not_known(
        "stood-in",
        "No alkalinity probe is in service, and tests stand in.",
        alkaline.stood_in_doubts,
        ALKALINITY,
    ),
    _not_known(
        "against-test",
        "A hand test contradicts an alkalinity probe.",
        alkaline.against_doubts,
        ALKALINITY,
    ),
    _not_known(
        "swing-down",
        "Alkalinity swings downward: less than is explained.",
        alkaline.verdict_doubts("swing-down"),
    ),
    _not_known(
        "probe-fault",
        "An alkalinity probe contradicts its own habits.",
        alkaline.verdict_doubts("probe-fault"),
    ),
    _not_known(
        "dose-lost",
        "Alkalinity fell as if a dose had not come.",
        alkaline.verdict_doubts("dose-fault"),
    ),
    Interlock(
        name="ph-hydroxide",
        about="pH is above the limit for hydroxide.",
        scope="hydroxide",
        needs="ph",
        looks=acidity.hydroxide_looks,
        clears=acidity.hydroxide_clears,
    ),
    Interlock(
        name="ph-carbonate",
        about="pH is above the limit for carbonate.",
        scope="carbonate",
        needs="ph",
        looks=acidity.carbonate_looks,
        clears=acidity.carbonate_clears,
    ),
    Interlock(
        name="ph-rise",
        about="pH rises too fast within an hour.",
        scope="raising",
        needs="ph",
        looks=acidity.rise_looks,
        clears=acidity.rise_clears,
    ),
    Interlock(
        name="ph-jump",
        about="pH rose too far right after a dose.",
        scope="raising",
        needs="ph",
        looks=acidity.jump_looks,
        clears=acidity.jump_clears,
    ),
    Interlock(
        name="ph-unknown",
        about="pH is not known: hydroxide waits.",
        scope="hydroxide",
        needs="ph",
        refuses=acidity.unknown_refuses,
    ),
    Interlock(
        name="temperature-far",
        about="Too hot or too cold for any dose.",
        scope="water",
        needs="temperature",
        looks=climate.heat_looks,
        clears=climate.heat_clears,
    ),
    Interlock(
        name="temperature",
        about="Too warm or too cool for corrections and carbon.",
        scope="extras",
        needs="temperature",
        looks=climate.warmth_looks,
        clears=climate.warmth_clears,
    ),
    Interlock(
        name="temperature-unknown",
        about="The temperature is not known.",
        scope="water",
        needs="temperature",
        doubts=climate.temperature_doubts,
    ),
    Interlock(
        name="salinity-far",
        about="Salinity is too far off for any dose.",
        scope="water",
        needs="salinity",
        looks=climate.far_looks,
        clears=climate.far_clears,
    ),
    Interlock(
        name="salinity",
        about="Salinity is too far off for mineral corrections.",
        scope="minerals",
        needs="salinity",
        looks=climate.off_looks,
        clears=climate.off_clears,
    ),
    Interlock(
        name="salinity-unknown",
        about="Salinity is not known.",
        scope="water",
        needs="salinity",
        doubts=climate.salinity_doubts,
    ),
    _switch("return-pump", "The return pump is off."),
    _switch("level", "The water level is wrong."),
    _switch("leak", "Water was found where none should be.", latched=True),
    _switch("feeding", "The tank is being fed."),
    _switch("hands", "Hands are in the tank."),
    _switch("skimmer", "The skimmer is off: no carbon."),
    _switch("air", "The air is off: no carbon."),
    _switch("power", "A pump draws power while it rests.", latched=True),
    Interlock(
        name="top-off",
        about="Much more limewater than usual: no carbonate.",
        scope="raising",
        needs="top-off",
        looks=circumstances.top_off_looks,
        clears=circumstances.top_off_clears,
    ),
    Interlock(
        name="return-pump-silent",
        about="The return pump is not heard: nobody knows that it runs.",
        scope="water",
        needs="return-pump",
        refuses=return_refuses,
    ),
    *(
        _silence(role)
        for role in ("level", "leak", "feeding", "hands", "skimmer", "air")
    ),
    Interlock(
        name="salinity-test",
        about="The newest test found salinity too far off.",
        scope="water",
        refuses=climate.test_refuses,
    ),
    Interlock(
        name="alkalinity-test",
        about="The newest test found alkalinity above its ceiling.",
        scope="alkalinity",
        refuses=circumstances.alkalinity_refuses,
    ),
    Interlock(
        name="nutrients",
        about="The newest tests found too little nitrate or phosphate for carbon.",
        scope="carbon",
        refuses=circumstances.nutrients_refuse,
    ),
    Interlock(
        name="treatment",
        about="The tank is being treated.",
        scope="treated",
        refuses=circumstances.treatment_refuses,
    ),
    Interlock(
        name="calibration",
        about="A pump's calibration is too old for corrections.",
        scope="corrections",
        refuses=stores.calibration_refuses,
        ends_runs=False,
    ),
    Interlock(
        name="pump-drift",
        about="A pump gives far more or less than is believed.",
        scope="pump",
        refuses=stores.drift_refuses,
        ends_runs=False,
    ),
    Interlock(
        name="bottle-lost",
        about="A bottle lost far more than was drawn from it.",
        scope="pump",
        refuses=stores.loss_refuses,
        ends_runs=False,
    ),
    Interlock(
        name="reservoir-empty",
        about="A bottle does not hold the dose any more.",
        scope="pump",
        refuses=stores.empty_refuses,
        ends_runs=False,
    ),
    Interlock(
        name="reservoir-low",
        about="A bottle is nearly empty: no corrections.",
        scope="corrections",
        refuses=stores.low_refuses,
        ends_runs=False,
    ),
    Interlock(
        name="reservoir-old",
        about="A solution is older than it keeps: no corrections.",
        scope="corrections",
        refuses=stores.old_refuses,
        ends_runs=False,
    ),
)
BY_NAME = {row.name: row for row in WATCHES}


@cache
def refusing(configured: frozenset[str]) -> tuple[Interlock, ...]:
    """Rows that refuse, as far as what they need is there."""
    return tuple(row for row in _there(configured) if row.refuses is not None)


@cache
def looking(configured: frozenset[str]) -> tuple[Interlock, ...]:
    """Rows that raise holds, as far as what they need is there."""
    return tuple(row for row in _there(configured) if row.looks is not None)


@cache
def hearing(configured: frozenset[str]) -> tuple[Interlock, ...]:
    """Rows that raise holds with news of the water, as far as it is there."""
    return tuple(row for row in _there(configured) if row.hears is not None)


@cache
def doubting(configured: frozenset[str]) -> tuple[Interlock, ...]:
    """Rows that shorten, as far as what they need is there."""
    return tuple(row for row in _there(configured) if row.doubts is not None)


def _there(configured: frozenset[str]) -> tuple[Interlock, ...]:
    return tuple(row for row in WATCHES if not row.needs or row.needs in configured)
