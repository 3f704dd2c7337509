"""What one parameter needs a day, and what is done about its distance from target.

Floor 3. One subject: maintenance and correction. Laws here: a change smaller than its
own uncertainty is not proposed; a correction has an end; nothing below 0 is dosed; a
value that is old, disputed or missing corrects nothing.
Units: canonical per day.
Source: `water.ramps` and `water.limits`, common practice, no source.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from math import ceil

from slackwater.facts.proposal import Evidence, Ground, Grounded
from slackwater.facts.reasons import Figure
from slackwater.water.limits import LONGEST_RAMP_DAYS, Limits
from slackwater.water.ramps import LEVEL_SDS, dead_band, ramp


@dataclass(frozen=True, slots=True, kw_only=True)
class Correction:
    """So much more (or, negative, less) a day for so many days; 0 days: none."""

    grounds: tuple[Grounded, ...]
    per_day: float = 0.0
    days: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Want:
    """What one parameter should get a day.

    `maintenance` from all sources together; `changed` False: it is the present amount.
    """

    maintenance: float
    changed: bool
    grounds: tuple[Grounded, ...]


def maintenance(evidence: Evidence, now: float) -> Want:
    """The daily amount that replaces what is used up.

    Range: `now`, the present amount a day from all sources, 0 or more.
    """
    if evidence.no_dose:
        return Want(maintenance=0.0, changed=now > 0, grounds=_plain(evidence.no_dose))
    if evidence.uptake is None or not evidence.enough:
        return _unknown(evidence, now)
    want = max(evidence.uptake, 0.0)
    if now == 0 and not evidence.falls:
        return Want(maintenance=0.0, changed=False, grounds=_plain((Ground.NEW_TANK,)))
    figures = {
        "uptake_per_day": want,
        "sd_per_day": evidence.uptake_sd,
        "now_per_day": now,
    }
    if abs(want - now) < dead_band(now, evidence.uptake_sd):
        kept = Grounded(ground=Ground.UNCERTAIN, figures=figures)
        return Want(maintenance=now, changed=False, grounds=(kept,))
    why = Ground.NET_BALANCE if evidence.net_balance else Ground.UPTAKE
    grounds = (Grounded(ground=why, figures=figures),)
    return Want(maintenance=want, changed=True, grounds=grounds)


def _unknown(evidence: Evidence, now: float) -> Want:
    why = Ground.LITTLE_EVIDENCE if now > 0 else Ground.NEW_TANK
    figures = {
        "uptake_per_day": evidence.uptake,
        "sd_per_day": evidence.uptake_sd if evidence.uptake is not None else None,
    }
    grounds = (Grounded(ground=why, figures=figures),)
    return Want(maintenance=now, changed=False, grounds=grounds)


def correction(evidence: Evidence, limits: Limits, most_per_day: float) -> Correction:
    """The ramp to the target, or none with its grounds.

    Range: `most_per_day` is the net rise a day the machine allows, 0 or more.
    """
    against = _against(evidence)
    if against:
        return Correction(grounds=against)
    level, target = evidence.level or 0.0, evidence.target or 0.0
    away = target - level
    figures: dict[str, Figure] = {
        "level": level,
        "level_sd": evidence.level_sd,
        "target": target,
    }
    if abs(away) <= max(limits.dead_band, LEVEL_SDS * evidence.level_sd):
        return _none(Ground.NEAR_TARGET, figures)
    rate = min(limits.rise_per_day, most_per_day) if away > 0 else limits.rise_per_day
    if rate <= 0:
        return _none(Ground.CAPPED, figures)
    if abs(away) > LONGEST_RAMP_DAYS * rate:
        figures = {**figures, "days": ceil(abs(away) / rate)}
        return _none(Ground.RAMP_TOO_LONG, figures)
    shortest = ramp(level, target, min(rate, abs(away) / limits.tau_days))
    days = shortest.days
    figures = {**figures, "days": days, "per_day": shortest.step}
    why = Ground.CORRECTION_UP if away > 0 else Ground.CORRECTION_DOWN
    after = {"after_days": shortest.retest_after_days}
    retest = Grounded(ground=Ground.RETEST, figures=after)
    return Correction(
        per_day=shortest.step,
        days=days,
        grounds=(Grounded(ground=why, figures=figures), retest),
    )


def _none(ground: Ground, figures: Mapping[str, Figure]) -> Correction:
    return Correction(grounds=(Grounded(ground=ground, figures=figures),))


def _against(evidence: Evidence) -> tuple[Grounded, ...]:
    if evidence.no_dose or evidence.blocked:
        return _plain((*evidence.no_dose, *evidence.blocked))
    if evidence.target is None:
        return _plain((Ground.NO_TARGET,))
    if evidence.level is None:
        return _plain((Ground.NO_VALUE,))
    if not evidence.fresh:
        return _plain((Ground.TOO_OLD,))
    return ()


def _plain(grounds: tuple[Ground, ...]) -> tuple[Grounded, ...]:
    return tuple(Grounded(ground=ground) for ground in grounds)
