"""What one parameter needs a day, and what is done about its distance from target.

Floor 3. One subject: maintenance and correction. Laws here: a change smaller than its
own uncertainty is not proposed; a correction has an end; nothing below 0 is dosed; a
value that is old, disputed or missing corrects nothing.
Units: canonical per day.
Source: dead-bands and time constants after Kalman 1960 with limits of common practice.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from math import ceil

from slackwater.facts.proposal import Evidence, Ground, Grounded
from slackwater.facts.reasons import Figure
from slackwater.water.limits import LONGEST_RAMP_DAYS, Limits

# Two-sided 90 %: the change must be larger than what chance alone would show.
SURE = 1.645
# Below this share of the dose a change is not worth a person's consent.
SMALL_SHARE = 0.03
LEVEL_SURE = 1.5
# Floating point: 0.3 / 0.1 is a hair above 3.
EPSILON = 1e-9


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
    if abs(want - now) < max(SURE * evidence.uptake_sd, SMALL_SHARE * now):
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
    if abs(away) <= max(limits.dead_band, LEVEL_SURE * evidence.level_sd):
        return _none(Ground.NEAR_TARGET, figures)
    rate = min(limits.rise_per_day, most_per_day) if away > 0 else limits.rise_per_day
    if rate <= 0:
        return _none(Ground.CAPPED, figures)
    days = max(ceil(abs(away) / rate - EPSILON), ceil(limits.tau_days))
    figures = {**figures, "days": days, "per_day": away / days}
    if days > LONGEST_RAMP_DAYS:
        return _none(Ground.RAMP_TOO_LONG, figures)
    why = Ground.CORRECTION_UP if away > 0 else Ground.CORRECTION_DOWN
    retest = Grounded(ground=Ground.RETEST, figures={"after_days": days // 2})
    return Correction(
        per_day=away / days,
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
