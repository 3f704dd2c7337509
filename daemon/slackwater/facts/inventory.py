"""What is left in a reservoir, by the books.

Floor 2. One subject: content less what was drawn since the last fill. Laws here: what
is believed to have flowed counts, calibration runs too; a reservoir whose fill nobody
wrote down counts from what the machine file says.
"""

from slackwater.facts.state import State
from slackwater.facts.tank import Machine


def left_ul(machine: Machine, state: State, reservoir: str) -> int:
    """Microlitres left, never below nothing."""
    fill = state.fills.get(reservoir)
    content_ul = machine.reservoirs[reservoir].content_ul
    before: dict[str, int] = {}
    if fill is not None:
        content_ul, before = fill.content_ul, fill.drawn_ul
    drawn_ul = sum(
        state.drawn_ul.get(pump.id, 0) - before.get(pump.id, 0)
        for pump in machine.pumps.values()
        if pump.reservoir == reservoir
    )
    return max(content_ul - drawn_ul, 0)
