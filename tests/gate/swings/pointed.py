"""Points that lie off a prediction by stated errors, for tests of what they show."""

from collections.abc import Sequence

from slackwater.gate.swings.limits import DKH
from slackwater.gate.swings.verdicts import Steady, Swing
from slackwater.gate.swings.votes import Point, judged

HOUR_S = 3600.0


def points(
    *errors_dkh: float, sd_dkh: float = 0.1, every_s: float = HOUR_S
) -> list[Point]:
    """One point an hour with these errors."""
    return [
        Point(at_s=place * every_s, error=error * DKH, sd=sd_dkh * DKH, bias=0.02 * DKH)
        for place, error in enumerate(errors_dkh)
    ]


def quiet(count: int) -> list[float]:
    """Errors of a tenth of the noise, up and down."""
    return [0.01 * (-1) ** place for place in range(count)]


def swing(of: Swing | Steady) -> Swing:
    """It must be one."""
    assert isinstance(of, Swing)
    return of


def shown(of: Sequence[Point]) -> list[tuple[float, float]]:
    """Levels that left 8 dKH as far as the errors say."""
    return [(point.at_s, 8.0 * DKH + point.error) for point in of]


def of_risen(*errors_dkh: float, sd_dkh: float = 0.1) -> Swing | Steady:
    """What is said of errors that the level itself shows."""
    of = points(*errors_dkh, sd_dkh=sd_dkh)
    return judged(of, shown(of))
