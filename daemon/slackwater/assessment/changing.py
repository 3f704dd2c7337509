"""How many water changes reach a limit, and what else they move.

Floor 3. One subject: water changes as a remedy. Laws here: a change is never so large
that it jolts alkalinity; new water that nobody tested is taken as nature and said so;
what cannot be reached is said, not counted.
Units: canonical levels; fractions of the net water.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from math import floor

from slackwater.assessment.picture import Picture
from slackwater.assessment.practice import ALKALINITY, MEQ_PER_L_IN_DKH
from slackwater.errors import OutOfRangeError
from slackwater.water.parameters import PARAMETERS
from slackwater.water.show import show_figure, show_level
from slackwater.water.water_changes import (
    after_changes,
    changes_to_reach,
    step_of_change,
)

# Common practice, no source.
USUAL_FRACTION = 0.15
SMALLEST_FRACTION = 0.05
MOST_ALKALINITY_STEP = 0.3 * MEQ_PER_L_IN_DKH
MOST_CHANGES = 40
DAYS_BETWEEN = 2
_MOVED = (ALKALINITY, "calcium", "magnesium", "salinity")


@dataclass(frozen=True, slots=True, kw_only=True)
class Changing:
    """Equal changes that bring a level below a limit.

    `count` None where no number of changes does; `moves` what one change moves of
    other levels whose figure in the new water is known; `new_is_tested` that the new
    water was tested for this.
    """

    fraction: float
    litres: float
    count: int | None
    new_level: float
    new_is_tested: bool
    reached: float | None
    moves: Mapping[str, float]

    @property
    def words(self) -> str:
        """The plan in one sentence."""
        tested = "" if self.new_is_tested else " (new water taken as natural)"
        if self.count is None:
            return (
                "water changes with this new water do not get there: test the new "
                f"water and the salt{tested}"
            )
        moved = ", ".join(
            f"{name} by {_signed(name, step)}" for name, step in self.moves.items()
        )
        also = f"; each also moves {moved}" if moved else ""
        litres = show_figure(self.litres, 2)
        return (
            f"{self.count} water change{'s' if self.count > 1 else ''} of "
            f"{100 * self.fraction:.0f} % ({litres} L), {DAYS_BETWEEN} days "
            f"apart{tested}{also}"
        )


def new_water(picture: Picture) -> Mapping[str, float]:
    """What the newest tested new water holds; empty where none was tested."""
    for change in reversed(picture.history.changes):
        if change.levels:
            return change.levels
    return {}


def changing(parameter: str, level: float, limit: float, picture: Picture) -> Changing:
    """The water changes that bring a level to a limit."""
    new = new_water(picture)
    natural = PARAMETERS[parameter].natural or 0.0
    new_level = new.get(parameter, natural)
    moves: dict[str, float] = {}
    fraction = _fraction(new, picture)
    for name in _MOVED:
        here = picture.fresh(name)
        if name in new and here is not None:
            moves[name] = step_of_change(here, new[name], fraction)
    count = _count(level, limit, new_level, fraction)
    return Changing(
        fraction=fraction,
        litres=fraction * picture.litres,
        count=count,
        new_level=new_level,
        new_is_tested=parameter in new,
        reached=None
        if count is None
        else after_changes(level, new_level, fraction, count),
        moves=moves,
    )


def _fraction(new: Mapping[str, float], picture: Picture) -> float:
    """The usual part, or less where the new water's alkalinity is far off."""
    here = picture.fresh(ALKALINITY)
    if here is None or ALKALINITY not in new or here == new[ALKALINITY]:
        return USUAL_FRACTION
    gentle = MOST_ALKALINITY_STEP / abs(new[ALKALINITY] - here)
    # Whole percents, rounded down: a person measures it out.
    return max(
        min(USUAL_FRACTION, floor(100 * gentle) / 100),
        SMALLEST_FRACTION,
    )


def _count(level: float, limit: float, new: float, fraction: float) -> int | None:
    try:
        # A level at the limit is not below it yet.
        count = max(changes_to_reach(level, limit, new, fraction), 1)
    except OutOfRangeError:
        return None
    return count if count <= MOST_CHANGES else None


def _signed(parameter: str, step: float) -> str:
    shown = show_level(parameter, abs(step))
    return f"{'-' if step < 0 else '+'}{shown}"
