"""What a plan would do to a tank beyond what its caps are checked for.

Floor 8. One subject: elements that leave their bounds, and rises beside the uptake that
tests show. Laws here: the same words in a check and in a rehearsal; each says the
figures that led to it; none of them refuses anything.
Source: the bounds are those at which an assessment warns, common practice, no source.
"""

from collections.abc import Iterator, Mapping

from slackwater.assessment.practice import DANGERS
from slackwater.cli.report.past import Interval
from slackwater.cli.report.words import day_words, level_words, rate_words
from slackwater.facts.tank import Machine
from slackwater.planning.daily import most_added
from slackwater.planning.timetable import Timetable
from slackwater.rehearsal.forecast import Band, Forecast
from slackwater.rehearsal.virtual_tank import canonical

# Alkalinity has a floor and a ceiling of the tank's own, and words of its own.
ELEMENTS = ("calcium", "magnesium")


def elements_beyond(machine: Machine, found: Forecast) -> Iterator[str]:
    """Calcium and magnesium that leave their bounds, with the uptake as believed."""
    zone = machine.tanks[found.tank].zone
    for band in found.bands:
        if band.parameter not in ELEMENTS:
            continue
        for beyond, place in _crossings(band):
            name = band.parameter
            yield (
                f"{found.tank} {name} would be {beyond} from "
                f"{day_words(found.times[place], zone)} on, and at "
                f"{level_words(name, band.same[-1])} in the end"
            )


def _crossings(band: Band) -> Iterator[tuple[str, int]]:
    """How a level would leave its bounds, and the place of the first such time."""
    danger = DANGERS[band.parameter]
    for bound, word, sign in ((danger.below, "below", -1), (danger.above, "above", 1)):
        if bound is None:
            continue
        places = [at for at, one in enumerate(band.same) if sign * (one - bound) > 0]
        if places:
            yield f"{word} {level_words(band.parameter, bound)}", places[0]


def rises_beside_tests(
    machine: Machine,
    timetable: Timetable,
    shown: Mapping[str, Mapping[str, Interval]],
) -> Iterator[str]:
    """Net-rise caps that hold by the file and not by the uptake that tests show.

    Shape: `shown` are the uptakes by tests of each tank, canonical a day.
    """
    for (tank_id, name), added in sorted(most_added(timetable).items()):
        tank, known = machine.tanks[tank_id], shown.get(tank_id, {}).get(name)
        cap, stated = tank.caps.get(name), tank.uptake.get(name)
        if known is None or cap is None or stated is None or cap.net_rise is None:
            continue
        low = canonical(tank, name, stated.low)
        rise = canonical(tank, name, added) - known.low
        allowed = canonical(tank, name, cap.net_rise)
        if known.low < low and rise > allowed:
            yield (
                f"{tank_id} {name} may rise by {rate_words(name, rise)} a day, for "
                f"tests show an uptake of {rate_words(name, known.low)} at least; "
                f"net_rise allows {rate_words(name, allowed)}, counted with the "
                f"{rate_words(name, low)} that the file states"
            )
