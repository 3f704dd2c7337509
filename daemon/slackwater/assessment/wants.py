"""What one parameter needs a day, and what is done about its distance from target.

Floor 3. One subject: maintenance and correction. Laws here: a change smaller than its
own uncertainty is not proposed; a correction has an end; nothing below 0 is dosed; a
value that is old, disputed or missing corrects nothing.
Units: canonical per day.
Source: `water.ramps` and `water.limits`, common practice, no source.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from math import ceil, copysign, inf

from slackwater.assessment.records import HALF_WIDTH_90
from slackwater.facts.proposal import Evidence, Ground, Grounded
from slackwater.facts.reasons import Figure
from slackwater.water.limits import LONGEST_RAMP_DAYS, Limits
from slackwater.water.ramps import (
    LEVEL_SDS,
    Ramp,
    Return,
    dead_band,
    ramp,
    returning_ramp,
)

# So sure a change needs no level that shows it too.
SURE_SDS = 3.0
# What is used up now is known where its error is smaller than this part of it.
KNOWN_SHARE = 0.15


@dataclass(frozen=True, slots=True, kw_only=True)
class Correction:
    """So much more (or, negative, less) a day for so many days; 0 days: none."""

    grounds: tuple[Grounded, ...]
    per_day: float = 0.0
    days: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Given:
    """What is given a day without any correction, and how much more the machine allows.

    Range: both 0 or more. `by` is what allows no more, in words.
    """

    dose: float
    most: float
    by: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Want:
    """What one parameter should get a day.

    `maintenance` from all sources together; `changed` False: it is the present amount.
    `barred`: more is used up, and something forbids to give it.
    """

    maintenance: float
    changed: bool
    grounds: tuple[Grounded, ...]
    barred: bool = False


def maintenance(evidence: Evidence, now: float, limits: Limits) -> Want:
    """The daily amount that replaces what is used up.

    Range: `now`, the present amount a day from all sources, 0 or more.
    """
    if evidence.no_dose:
        held = _held(evidence, evidence.no_dose)
        return Want(maintenance=0.0, changed=now > 0, grounds=held)
    if evidence.uptake is None or not (evidence.enough or evidence.wide):
        return _unknown(evidence, now)
    uptake, sd = evidence.lasting
    want = max(uptake, 0.0)
    if not evidence.enough and abs(want - now) <= SURE_SDS * sd:
        return _unknown(evidence, now)
    if now == 0 and not evidence.falls:
        return Want(maintenance=0.0, changed=False, grounds=_plain((Ground.NO_FALL,)))
    figures = {**_used(evidence, want), "sd_per_day": sd, "now_per_day": now}
    kept = _keeps(evidence, want - now, dead_band(now, sd), limits)
    if kept is not None:
        told = Grounded(ground=kept, figures=figures)
        return Want(maintenance=now, changed=False, grounds=(told,))
    why = Ground.NET_BALANCE if evidence.net_balance else Ground.UPTAKE
    if not evidence.enough:
        # The end of the interval that lies nearer to the present dose.
        why = Ground.SURE_PART
        want = max(want + copysign(HALF_WIDTH_90 * sd, now - want), 0.0)
    grounds = (Grounded(ground=why, figures=figures),)
    return Want(maintenance=want, changed=True, grounds=grounds)


def _used(evidence: Evidence, want: float) -> dict[str, Figure]:
    """The uptake that is replaced; where it follows the level, that of now beside."""
    if evidence.at_target is None:
        return {"uptake_per_day": want}
    return {"at_target_per_day": want, "at_level_per_day": evidence.uptake}


def _keeps(
    evidence: Evidence, more: float, band: float, limits: Limits
) -> Ground | None:
    """What speaks for the present dose: chance, or a level that says nothing yet."""
    _, sd = evidence.lasting
    if abs(more) < band:
        return Ground.UNCERTAIN
    if evidence.return_days is None or abs(more) > SURE_SDS * sd:
        return None
    if evidence.level is None or evidence.target is None:
        return None
    away = evidence.target - evidence.level
    shows = away * more > 0 and abs(away) > _dead_band(evidence, limits)
    return None if shows else Ground.LEVEL_HOLDS


def _unknown(evidence: Evidence, now: float) -> Want:
    why = Ground.LITTLE_EVIDENCE if now > 0 else Ground.NO_FALL
    figures = {
        "uptake_per_day": evidence.uptake,
        "sd_per_day": evidence.uptake_sd if evidence.uptake is not None else None,
    }
    grounds = (Grounded(ground=why, figures=figures),)
    return Want(maintenance=now, changed=False, grounds=grounds)


def correction(
    evidence: Evidence, limits: Limits, given: Given, tolerance: float = 1.0
) -> Correction:
    """The ramp to the target, or none with its grounds.

    Range: `tolerance` in dead-bands.
    """
    against = _against(evidence)
    if against:
        return Correction(grounds=against)
    level, target = evidence.level or 0.0, evidence.target or 0.0
    away = target - level
    figures: dict[str, Figure] = {
        evidence.level_name: level,
        "level_sd": evidence.level_sd,
        "target": target,
    }
    if abs(away) <= tolerance * _dead_band(evidence, limits):
        figures["corrected_beyond"] = _dead_band(evidence, limits)
        return _near(abs(away), tolerance * limits.dead_band, figures)
    if _moves_knowably(evidence):
        return _returning(evidence, limits, given, figures)
    left = away - evidence.uncredited if away > 0 else away
    if left != away:
        # All of it may still be there: what was made good is made good once.
        figures["came_since"] = evidence.uncredited
        if left <= tolerance * _dead_band(evidence, limits):
            return _none(Ground.CAME_SINCE, figures)
    return _led_evenly(left, limits, given, figures)


def _near(away: float, band: float, figures: Mapping[str, Figure]) -> Correction:
    """Why so small a distance is left: it is small, or only not known to be more."""
    ground = Ground.NEAR_TARGET if away <= band else Ground.WITHIN_ERROR
    return _none(ground, figures)


def _led_evenly(
    away: float, limits: Limits, given: Given, figures: Mapping[str, Figure]
) -> Correction:
    """The ramp over a distance, as fast as limits and machine allow."""
    rate = min(limits.rise_per_day, given.most) if away > 0 else limits.rise_per_day
    if rate <= 0:
        return _none(Ground.CAPPED, {**figures, "cap": given.by or None})
    if abs(away) > LONGEST_RAMP_DAYS * rate:
        told = _none(Ground.RAMP_TOO_LONG, {**figures, "days": ceil(abs(away) / rate)})
        by_cap = Grounded(ground=Ground.CAPPED, figures={"cap": given.by})
        is_capped = bool(given.by) and rate < limits.rise_per_day
        return replace(told, grounds=(*told.grounds, *[by_cap] * is_capped))
    return _led(ramp(0.0, away, min(rate, abs(away) / limits.tau_days)), figures)


def _returning(
    evidence: Evidence, limits: Limits, given: Given, figures: Mapping[str, Figure]
) -> Correction:
    """The ramp of a level that moves by itself; none where it is back soon enough."""
    own, away = _own(evidence, given.dose), _away(evidence)
    left = away - own.per_day * own.lasts(limits.tau_days)
    found = returning_ramp(away, limits.rise_per_day, own, limits.tau_days)
    if abs(left) <= _dead_band(evidence, limits) or found.step * away <= 0:
        back = {
            "uptake_per_day": evidence.uptake,
            "by_itself_per_day": own.per_day,
            "return_days": round(own.days),
        }
        return _none(Ground.RETURNS, {**figures, **back})
    if away > 0 and given.most <= 0:
        return _none(Ground.CAPPED, {**figures, "cap": given.by or None})
    most = given.most if away > 0 else inf
    return _led(replace(found, step=max(min(found.step, most), -given.dose)), figures)


def _away(evidence: Evidence) -> float:
    """How far the level is below its target."""
    return (evidence.target or 0.0) - (evidence.level or 0.0)


def _moves_knowably(evidence: Evidence) -> bool:
    """Whether it is known what the level does by itself."""
    if evidence.return_days is None or evidence.uptake is None:
        return False
    return evidence.enough or evidence.uptake_sd < KNOWN_SHARE * evidence.uptake


def _own(evidence: Evidence, dose: float) -> Return:
    """What the level does by itself under the dose that is decided."""
    by_itself = dose - (evidence.uptake or 0.0)
    return Return(per_day=by_itself, days=evidence.return_days or 1.0)


def _led(shortest: Ramp, figures: Mapping[str, Figure]) -> Correction:
    figures = {**figures, "days": shortest.days, "per_day": shortest.step}
    why = Ground.CORRECTION_UP if shortest.step > 0 else Ground.CORRECTION_DOWN
    after = {"after_days": shortest.retest_after_days}
    retest = Grounded(ground=Ground.RETEST, figures=after)
    return Correction(
        per_day=shortest.step,
        days=shortest.days,
        grounds=(Grounded(ground=why, figures=figures), retest),
    )


def rest(evidence: Evidence, limits: Limits, dose: float) -> Correction:
    """Less, or nothing, until a level that is too high should be at its target again.

    Range: `dose` is the lasting amount a day, above 0.
    """
    own = _own(evidence, dose)
    found = returning_ramp(_away(evidence), limits.rise_ceiling, own, 1.0)
    told = {"level": evidence.level, "target": evidence.target, "days": found.days}
    if found.step >= 0:
        return _none(Ground.RETURNS, told)
    return Correction(
        per_day=max(found.step, -dose),
        days=found.days,
        grounds=(Grounded(ground=Ground.RESTS, figures=told),),
    )


def _dead_band(evidence: Evidence, limits: Limits) -> float:
    return max(limits.dead_band, LEVEL_SDS * evidence.level_sd)


def _none(ground: Ground, figures: Mapping[str, Figure]) -> Correction:
    return Correction(grounds=(Grounded(ground=ground, figures=figures),))


def _against(evidence: Evidence) -> tuple[Grounded, ...]:
    if evidence.no_dose or evidence.blocked:
        return _held(evidence, (*evidence.no_dose, *evidence.blocked))
    if evidence.target is None:
        return _plain((Ground.NO_TARGET,))
    if evidence.level is None:
        return _plain((Ground.NO_VALUE,))
    if not evidence.fresh:
        return _plain((Ground.TOO_OLD,))
    return ()


def _held(evidence: Evidence, grounds: tuple[Ground, ...]) -> tuple[Grounded, ...]:
    """Grounds against a dose, each once, the first with what is behind them."""
    first, *others = dict.fromkeys(grounds)
    figures: dict[str, Figure] = {}
    if evidence.why:
        figures["why"] = " ".join(evidence.why)
    return (Grounded(ground=first, figures=figures), *_plain(tuple(others)))


def _plain(grounds: tuple[Ground, ...]) -> tuple[Grounded, ...]:
    return tuple(Grounded(ground=ground) for ground in grounds)
