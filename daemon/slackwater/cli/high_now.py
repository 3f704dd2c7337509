"""A test above the level at which dosing stops, said where it is recorded.

Floor 8. One subject: a warning beside what was recorded. Laws here: it is the gate that
stops, and nothing of it is loaded to say so; an older test than the newest visit stops
nothing, and nothing is said of it.
"""

from collections.abc import Iterator, Sequence

from slackwater.cli.subject import Subject
from slackwater.facts.state import State
from slackwater.facts.waters import ONE_WATER, MeasurementKept
from slackwater.water.show import show_level

ALKALINITY = "alkalinity"


def high_lines(
    kept: Sequence[MeasurementKept], subject: Subject, state: State
) -> Iterator[str]:
    """A line for each test of alkalinity above the ceiling of its tank.

    Range: `state` has the tests in it; without a machine there is no ceiling.
    """
    machine = subject.machine
    guard = None if machine is None else machine.guards.get(subject.tank)
    newest = state.levels.get(f"{subject.tank}/{ALKALINITY}")
    if guard is None or newest is None:
        return
    for one in kept:
        is_high = one.parameter == ALKALINITY and one.value > guard.ceiling
        if is_high and newest.taken_at - one.taken_at <= ONE_WATER:
            shown, ceiling = (
                show_level(ALKALINITY, level) for level in (one.value, guard.ceiling)
            )
            yield (
                f"Mind: {shown} lies above {ceiling}, where dosing stops: what raises "
                "alkalinity is held now, while this test counts and no sound probe "
                "says less (`slackwater why`). Test again: within 30 minutes the "
                "highest counts, later the newest."
            )
