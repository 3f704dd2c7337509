"""What the gate itself would refuse or shorten for, where no row of its own tells it.

Floor 4. One subject: the gate's reasons as conditions. Laws here: whatever interlock
there is, now or later, wakes somebody; what passes by itself, or what a person does
with his own hands in the tank, wakes nobody.
"""

from collections.abc import Iterable, Iterator
from dataclasses import replace
from datetime import timedelta

from slackwater.alarms.conditions import Condition, ask_of, of_lines, of_pumps
from slackwater.alarms.holds import CAUSES
from slackwater.facts.alarms import Cause
from slackwater.facts.reasons import Code, Reason
from slackwater.gate.exchanges import half_refuses, role_of
from slackwater.gate.interlocks import refusals
from slackwater.gate.moment import ALKALINITY, Ask, Moment
from slackwater.gate.shortening import share_of

# Gone in a moment, or caps that a plan keeps by itself.
PASSING = frozenset(
    {
        Code.START_HOLD_OFF,
        Code.NODE_SETTLING,
        Code.NODE_BUSY,
        Code.NODE_SILENT,
        Code.OPEN_INTENT,
        Code.GROUP,
        Code.TOO_SMALL,
        Code.EXCHANGE_WAITS,
        Code.CAP_DAY,
        Code.CAP_ROLLING,
        Code.CAP_HOUR,
    }
)
# Whoever came back may need a day to say so. Common practice, no source.
BACK_WITHIN = timedelta(days=1)
# A person did it and knows of it.
BY_HAND = frozenset(
    {
        Code.FEEDING,
        Code.HANDS_IN,
        Code.TREATMENT,
        Code.AWAY,
        Code.HALVED,
        Code.OLD_DOSER,
        Code.PROBE_STOOD_IN,
    }
)
# Seen by `machinery`, `paper` and `water` with more than the gate says.
TOLD = frozenset(
    {
        *(code for code in CAUSES if code is not Code.PUMP_CHANGED),
        Code.NO_PLAN,
        Code.APPROVAL_EXPIRED,
        Code.CALIBRATION_CHANGED,
        Code.CALIBRATION_OLD,
        Code.PUMP_FAR_OFF,
        Code.BOTTLE_LOST,
        Code.LINK_DOWN,
        Code.NODE_ABSENT,
        Code.NODE_FAULT,
        Code.NODE_BUDGET,
        Code.NODE_IDENTITY,
        Code.CLOCK_UNPROVEN,
        Code.CLOCK_BEHIND,
        Code.ALKALINITY_MISSING,
        Code.ALKALINITY_STALE,
        Code.ALKALINITY_FROZEN,
        Code.ALKALINITY_SPREAD,
        Code.ALKALINITY_LOW,
        Code.ALKALINITY_FALL,
        Code.ALKALINITY_SWING_DOWN,
        Code.ALKALINITY_PROBE_FAULT,
        Code.RESERVOIR_LOW,
        Code.RESERVOIR_EMPTY,
        Code.RESUMING,
    }
)
# What is told of a switch that is not heard.
SILENT = frozenset({str(Code.SWITCH_UNKNOWN), str(Code.RETURN_UNKNOWN)})
QUIET = PASSING | BY_HAND | TOLD
# Of an alkalinity probe `water` tells them; of any other nothing else does.
OF_PROBES = frozenset(
    {
        Code.PROBE_MISSING,
        Code.PROBE_STALE,
        Code.PROBE_FROZEN,
        Code.PROBE_REFUSED,
        Code.PROBES_APART,
    }
)


def refused(
    moment: Moment, spoiled: frozenset[str] = frozenset()
) -> Iterator[Condition]:
    """A condition for each reason that nothing else tells.

    `spoiled` names switches and counters that talk nonsense; what follows from that
    is told of them by that name.
    """
    for name in sorted(spoiled & moment.machine.switches.keys()):
        tank = moment.machine.switches[name].tank
        yield Condition(cause=Cause.INPUT_SPOILED, about=name, tanks=(tank,))
    for one in _by_the_gate(moment):
        switch = str(one.figures.get("switch", ""))
        if one.about in SILENT and switch in spoiled:
            yield replace(one, cause=Cause.INPUT_SPOILED, about=switch)
        else:
            yield one


def _by_the_gate(moment: Moment) -> Iterator[Condition]:
    held = [hold.reason for hold in moment.state.holds.values()]
    for rule in moment.rules.lines.values():
        ask = ask_of(moment, rule)
        if ask is None:
            continue
        share = share_of(moment, ask)
        found = refusals(moment, ask)
        if role_of(moment, ask) == "drain":
            found += half_refuses(moment, ask, share, ask.dose.local_day)
        stops = [one for one in found if one not in held]
        yield from told_of(moment, ask, stops, share=0.0)
        yield from told_of(moment, ask, share.reasons, share=share.ppm / 1_000_000)


def told_of(
    moment: Moment, ask: Ask, reasons: Iterable[Reason], *, share: float
) -> Iterator[Condition]:
    """What these reasons mean; `share` is what is left of a dose, 0 for nothing."""
    pump = ask.pump.pump
    for reason in reasons:
        if _is_quiet(moment, reason) or _is_told_by_water(moment, reason):
            continue
        figures = {**reason.figures, "reason": str(reason.code)}
        what = (Cause.HELD, str(reason.code))
        if reason.code is Code.PUMP_CHANGED:
            # Also held for, where an approval found it; here the gate did.
            yield of_pumps(moment, (Cause.PUMP_CHANGED, pump.id), [pump])
            continue
        if share <= 0.0:
            yield of_lines(moment, what, [ask.dose.id], **figures)
        else:
            yield Condition(
                cause=Cause.HELD,
                about=str(reason.code),
                tanks=(pump.tank,),
                share=share,
                figures=figures,
            )


def _is_quiet(moment: Moment, reason: Reason) -> bool:
    """Whether nobody is woken for it; an absence is over when its last day is."""
    away = moment.state.away
    if reason.code is Code.AWAY and away is not None:
        return moment.now.utc < away.until + BACK_WITHIN
    return reason.code in QUIET


def _is_told_by_water(moment: Moment, reason: Reason) -> bool:
    if reason.code not in OF_PROBES:
        return False
    shown = reason.figures.get("probe", reason.figures.get("probes", ""))
    probes = [moment.machine.probes.get(name) for name in str(shown).split(", ")]
    return all(one is not None and one.parameter == ALKALINITY for one in probes)
