"""Limits that may be left out, where no other limit covers what they would hold.

Floor 8. One subject: what a file leaves open. Laws here: it is said and refuses
nothing; a wider limit covers a narrower one as long as what it lets through is no
faster than animals stand, which is also the most that a file may state.
Source: `water.limits`, common practice, no source.
"""

from collections.abc import Iterator

from slackwater.assessment.knobs import level_per_pico
from slackwater.cli.amounts import effect_words
from slackwater.cli.checked import Checked
from slackwater.errors import Finding
from slackwater.facts.tank import Machine, Tank
from slackwater.planning.ceilings import Ceiling
from slackwater.water.limits import limits_of
from slackwater.water.parameters import PARAMETERS
from slackwater.water.show import show_volume


def unlimited(checked: Checked) -> Iterator[Finding]:
    """A caution for each limit that nobody stated and that nothing covers."""
    for one in checked.ceilings:
        if one.cap is None:
            yield from (
                _net(one, checked.machine)
                if one.parameter
                else _hour(one, checked.machine)
            )


def _net(one: Ceiling, machine: Machine) -> Iterator[Finding]:
    """A climb in a day that only `gross` bounds."""
    tank = machine.tanks[one.tank]
    cap = tank.caps.get(one.parameter)
    if cap is None or not _too_fast(tank, one.parameter, cap.gross):
        return
    climb = effect_words(one.parameter, cap.gross, tank)
    fits = effect_words(one.parameter, max(one.fits, 0), tank)
    yield Finding(
        what=f"no net_rise is stated: it may climb by all that gross allows, {climb} "
        "in a day, once nothing takes it up",
        where=f"[{one.table}] net_rise",
        expected=f"a limit of its own; this plan takes {fits}",
        do="State net_rise beside gross, with room for a dose that comes late.",
    )


def _hour(one: Ceiling, machine: Machine) -> Iterator[Finding]:
    """A volume in an hour that only the day of a pump bounds."""
    pump, tank = machine.pumps[one.pump], machine.tanks[one.tank]
    adds = {}
    for name, per_ul in sorted(machine.solutions[pump.solution].effects.items()):
        cap = tank.caps.get(name)
        most = min(pump.per_day_ul * per_ul, cap.gross if cap else 0)
        if _too_fast(tank, name, most):
            adds[name] = effect_words(name, most, tank)
    if adds:
        told = ", ".join(f"{name} +{words}" for name, words in adds.items())
        yield Finding(
            what="no most_per_hour is stated: all that a day may bring could come in "
            f"one hour, {told}",
            where=f"[{one.table}] most_per_hour",
            expected="a limit of its own; this plan takes "
            f"{show_volume(one.fits)} an hour",
            do="State most_per_hour, with room for a dose that comes late.",
        )


def _too_fast(tank: Tank, parameter: str, amount: int) -> bool:
    """Whether so much within a day is more than a file may state as a climb."""
    item = PARAMETERS[parameter]
    target = tank.targets.get(parameter) or item.natural or item.high
    most = limits_of(parameter, target).rise_ceiling
    return amount * level_per_pico(tank, parameter) > most
