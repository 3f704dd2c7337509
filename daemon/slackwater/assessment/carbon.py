"""How much organic carbon a tank should get a day.

Floor 3. One subject: a carbon source. Laws here: it goes up by one small step a week,
only while nitrate or phosphate stand above their targets and both are known; it ends at
once when either is low or the water is warm; nobody measures carbon itself.
Units: mmol C/L a day. All figures are common practice, no source.
"""

from collections.abc import Mapping

from slackwater.assessment.wants import Want
from slackwater.facts.proposal import Evidence, Ground, Grounded
from slackwater.facts.reasons import Figure
from slackwater.water.limits import limits_of
from slackwater.water.nutrients import (
    CARBON_CAP,
    CARBON_HOTTEST_CELSIUS,
    CARBON_LEAST_NITRATE,
    CARBON_LEAST_PHOSPHATE,
    CARBON_STEP_A_WEEK,
)

STEP_DAYS = 7
# Below these a carbon source takes what animals need, mg/L.
LOWEST: Mapping[str, float] = {
    "nitrate": CARBON_LEAST_NITRATE,
    "phosphate": CARBON_LEAST_PHOSPHATE,
}


def carbon(evidence: Mapping[str, Evidence], now: float, same_days: float) -> Want:
    """The daily carbon, from the nutrients.

    Range: `now` 0 or more; `same_days` how long the present amount has been given.
    """
    stop = _stop(evidence)
    if stop:
        return Want(maintenance=0.0, changed=now > 0, grounds=(stop,))
    nutrients = [evidence.get(name) for name in LOWEST]
    if not all(one and one.fresh and one.level is not None for one in nutrients):
        kept = Grounded(ground=Ground.TOO_OLD)
        return Want(maintenance=now, changed=False, grounds=(kept,))
    high = any(one and _is_high(one) for one in nutrients)
    figures = {"now_per_day": now, "same_days": int(same_days)}
    if not high:
        kept = Grounded(ground=Ground.NEAR_TARGET, figures=figures)
        return Want(maintenance=now, changed=False, grounds=(kept,))
    if now >= CARBON_CAP or (now > 0 and same_days < STEP_DAYS):
        kept = Grounded(ground=Ground.CARBON_WAITS, figures=figures)
        return Want(maintenance=now, changed=False, grounds=(kept,))
    step = Grounded(ground=Ground.CARBON_STEP, figures=figures)
    return Want(
        maintenance=min(now + CARBON_STEP_A_WEEK, CARBON_CAP),
        changed=True,
        grounds=(step,),
    )


def _stop(evidence: Mapping[str, Evidence]) -> Grounded | None:
    for name, lowest in LOWEST.items():
        found = evidence.get(name)
        if found and found.fresh and found.level is not None and found.level < lowest:
            figures: dict[str, Figure] = {f"{name}_mg_per_l": round(found.level, 3)}
            return Grounded(ground=Ground.CARBON_STOPS, figures=figures)
    warm = evidence.get("temperature")
    if warm and warm.fresh and (warm.level or 0.0) > CARBON_HOTTEST_CELSIUS:
        figures = {"celsius": warm.level}
        return Grounded(ground=Ground.CARBON_STOPS, figures=figures)
    return None


def _is_high(found: Evidence) -> bool:
    if found.target is None or found.level is None:
        return False
    return found.level > found.target + limits_of(found.parameter, 1.0).dead_band
