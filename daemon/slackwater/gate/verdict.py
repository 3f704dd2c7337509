"""May this dose run now? The one gate.

Floor 3. One subject: granted, shortened or refused. Laws here: all reasons are
collected before anything is refused; a dose is shortened first and then held to the
caps; nothing outside this function may grant.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date

from slackwater.facts.making import maker
from slackwater.facts.reasons import Code, Reason, because
from slackwater.facts.reliable import measured_smallest_ul, smallest_dose_ul
from slackwater.gate.caps import over_caps, too_close
from slackwater.gate.exchanges import filled, filled_ul, half_refuses, role_of
from slackwater.gate.interlocks import refusals
from slackwater.gate.moment import Ask, Moment
from slackwater.gate.resuming import WHOLE
from slackwater.gate.shortening import Share, share_of, thin


@dataclass(frozen=True, slots=True, kw_only=True)
class Granted:
    """The dose may run with this volume; `reasons` say why it is less than asked."""

    volume_ul: int
    effects: Mapping[str, int]
    reasons: tuple[Reason, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Refused:
    """The dose may not run now; `final` when waiting cannot help."""

    reasons: tuple[Reason, ...] = field(default_factory=tuple)
    final: bool = False


Verdict = Granted | Refused

_granted = maker(Granted)


def may_dose(moment: Moment, ask: Ask, day: date) -> Verdict:
    """Decide one dose; `day` is the tank's local date at this moment."""
    reasons = refusals(moment, ask)
    share = share_of(moment, ask)
    role = role_of(moment, ask)
    if role:
        halves = half_refuses(moment, ask, share, day)
        reasons += [one for one in halves if one not in reasons]
    if role == "fill":
        share, volume_ul = filled(moment, ask), filled_ul(moment, ask)
    else:
        volume_ul = _volume(moment, ask, share)
    if volume_ul > 0:
        reasons += over_caps(moment, ask, volume_ul, day)
    reasons += too_close(moment, ask)
    if reasons:
        is_final = any(one.code is Code.EXCHANGE_NOTHING for one in reasons)
        return Refused(reasons=tuple(reasons), final=is_final)
    if volume_ul <= 0:
        return Refused(
            reasons=(*share.reasons, _too_small(moment, ask, share)), final=True
        )
    return _granted(
        volume_ul=volume_ul,
        effects=effects_of(ask, volume_ul),
        reasons=share.reasons if volume_ul < ask.dose.volume_ul else (),
    )


def effects_of(ask: Ask, volume_ul: int) -> dict[str, int]:
    """What a volume of the pump's solution adds to its tank, pico-units."""
    effects = ask.pump.effects
    return (
        {rule.parameter: rule.per_ul * volume_ul for rule in effects} if effects else {}
    )


def _volume(moment: Moment, ask: Ask, share: Share) -> int:
    state, pump, asked_ul = moment.state, ask.pump.pump, ask.dose.volume_ul
    if share.ppm >= WHOLE:
        # Even the whole dose of a plan may lie below what was measured since.
        is_reliable = ask.line is None or asked_ul >= measured_smallest_ul(state, pump)
        return asked_ul if is_reliable else 0
    smallest_ul = smallest_dose_ul(state, pump)
    return thin(asked_ul, share.ppm, ask.dose.ordinal, smallest_ul)


def _too_small(moment: Moment, ask: Ask, share: Share) -> Reason:
    return because(
        Code.TOO_SMALL,
        share_percent=share.ppm // 10_000,
        smallest_ul=smallest_dose_ul(moment.state, ask.pump.pump),
    )
