"""What the machine's file could say better about a tank, after its tests.

Floor 3. One subject: figures a person may write down. Laws here: nothing is applied; an
uptake is only named where the tests say more than the file does, a cap only where it
held a proposal back; each figure comes with what it is made of.
Units: canonical per day.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from slackwater.assessment.knobs import level_per_pico
from slackwater.assessment.practice import ALKALINITY
from slackwater.assessment.records import HALF_WIDTH_90, Assessment, UptakeFound
from slackwater.facts.proposal import Change, Ground, Proposal
from slackwater.facts.tank import EffectCap, Machine, Tank
from slackwater.water.limits import limits_of
from slackwater.water.parameters import PARAMETERS
from slackwater.water.ramps import UPTAKE_ROOM

# Stated and tested uptake contradict each other where they differ by more than this
# part of what is stated and by more than chance: common practice, no source.
APART_SHARE = 0.2
# A plan's sum is held to a cap with one dose more, which may begin late.
LATE_DOSE_SHARE = 13 / 12
HOURS = 24


@dataclass(frozen=True, slots=True, kw_only=True)
class UptakeToState:
    """An uptake that tests found; `stated` what the file says, None for nothing.

    `half_width` of its 90 % interval.
    """

    parameter: str
    estimate: float
    half_width: float
    low: float
    stated: float | None
    tests: int
    span_days: float


@dataclass(frozen=True, slots=True, kw_only=True)
class CapToState:
    """A cap that is `gross` = 1.3 x `uptake` + `net_rise`, in place of `stated`.

    `hours_to_ceiling` from the target, at that gross, if uptake stopped; None where
    there is no target or ceiling.
    """

    parameter: str
    gross: float
    net_rise: float
    uptake: float
    stated: float
    hours_to_ceiling: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class UptakeApart:
    """An uptake that tests show and one that the file states, far from each other.

    `half_width` of the 90 % interval of `shown`, which is that at the level of now;
    `at_target` None where it does not follow the level. `why_not` is what keeps the
    tests from being gone by, empty where nothing does.
    """

    parameter: str
    shown: float
    half_width: float
    at_target: float | None
    stated: float
    tests: int
    span_days: float
    why_not: tuple[str, ...]


def uptakes_apart(assessment: Assessment, tank: Tank) -> tuple[UptakeApart, ...]:
    """The uptakes of which tests and the file say what cannot both be true.

    Shape: in order of parameter. A stated one is that at the target, and so is held
    against it.
    """
    return tuple(
        UptakeApart(
            parameter=name,
            shown=max(found.per_day, 0.0),
            half_width=HALF_WIDTH_90 * found.sd_per_day,
            at_target=found.at_target_per_day,
            stated=stated,
            tests=found.tests,
            span_days=found.span_days,
            why_not=found.why_not,
        )
        for name, found in sorted(assessment.uptakes.items())
        if (stated := _stated(tank, name)) is not None and _is_apart(found, stated)
    )


def _is_apart(found: UptakeFound, stated: float) -> bool:
    shown, sd = found.per_day, found.sd_per_day
    if found.at_target_per_day is not None:
        shown, sd = found.at_target_per_day, found.at_target_sd
    return abs(shown - stated) > max(HALF_WIDTH_90 * sd, APART_SHARE * stated)


def uptakes_to_state(assessment: Assessment, tank: Tank) -> tuple[UptakeToState, ...]:
    """The uptakes that differ from the file by more than their 90 % interval.

    Shape: in order of parameter; empty when the file says what the tests say.
    """
    return tuple(
        UptakeToState(
            parameter=name,
            estimate=max(found.per_day, 0.0),
            half_width=HALF_WIDTH_90 * found.sd_per_day,
            low=found.low_per_day,
            stated=_stated(tank, name),
            tests=found.tests,
            span_days=found.span_days,
        )
        for name, found in sorted(assessment.uptakes.items())
        if PARAMETERS[name].is_dosed and _says_more(found, _stated(tank, name))
    )


def caps_to_state(
    proposal: Proposal, assessment: Assessment, machine: Machine
) -> tuple[CapToState, ...]:
    """The caps that held a proposal back and could be wider by the tank's own use.

    Shape: in order of parameter. What must not be wider for its climb a day is not
    named, because an uptake that is stated moves it.
    """
    tank = machine.tanks[proposal.tank]
    held = {
        parameter
        for change in proposal.changes
        for parameter in _held(change, machine, tank)
    }
    found = (_cap(name, assessment, machine, tank) for name in sorted(held))
    return tuple(one for one in found if one is not None)


def _stated(tank: Tank, parameter: str) -> float | None:
    stated = tank.uptake.get(parameter)
    if stated is None:
        return None
    return stated.estimate * level_per_pico(tank, parameter)


def _says_more(found: UptakeFound, stated: float | None) -> bool:
    if not found.enough or found.frozen:
        return False
    if stated is None:
        return True
    return abs(found.per_day - stated) > HALF_WIDTH_90 * found.sd_per_day


def _held(change: Change, machine: Machine, tank: Tank) -> Iterator[str]:
    """The parameters whose gross cap a change would need more of."""
    effects = machine.solutions[change.solution].effects
    for one in change.grounds:
        wanted_ul = one.figures.get("wanted_ul")
        if one.ground is not Ground.CAPPED or not isinstance(wanted_ul, int | float):
            continue
        for parameter, per_ul in effects.items():
            cap = tank.caps.get(parameter)
            if cap and wanted_ul * per_ul * LATE_DOSE_SHARE > cap.gross:
                yield parameter


def _cap(
    parameter: str, assessment: Assessment, machine: Machine, tank: Tank
) -> CapToState | None:
    uptake = _uptake(parameter, assessment, tank)
    if uptake is None:
        return None
    per_pico = level_per_pico(tank, parameter)
    cap = tank.caps[parameter]
    net_rise = _net_rise(parameter, cap, tank)
    gross = UPTAKE_ROOM * uptake + net_rise
    if gross <= cap.gross * per_pico:
        return None
    return CapToState(
        parameter=parameter,
        gross=gross,
        net_rise=net_rise,
        uptake=uptake,
        stated=cap.gross * per_pico,
        hours_to_ceiling=_hours(parameter, gross, machine, tank),
    )


def _uptake(parameter: str, assessment: Assessment, tank: Tank) -> float | None:
    found: Mapping[str, UptakeFound] = assessment.uptakes
    if parameter in found and found[parameter].enough:
        return max(found[parameter].per_day, 0.0)
    return _stated(tank, parameter)


def _net_rise(parameter: str, cap: EffectCap, tank: Tank) -> float:
    if cap.net_rise is not None:
        return cap.net_rise * level_per_pico(tank, parameter)
    item = PARAMETERS[parameter]
    return limits_of(parameter, item.natural or item.high).rise_per_day


def _hours(parameter: str, gross: float, machine: Machine, tank: Tank) -> float | None:
    guard, target = machine.guards.get(tank.id), tank.targets.get(parameter)
    if parameter != ALKALINITY or guard is None or target is None:
        return None
    return max(guard.ceiling - target, 0.0) / gross * HOURS
