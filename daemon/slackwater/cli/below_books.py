"""A bottle that is said to hold far less than the books allow, and is asked about.

Floor 8. One subject: what nobody can have drawn, told once more before it is believed.
Laws here: a first reading of a bottle whose fill nobody told, and a refill, put the
books right and hide what ran out, so both are asked about; before anything was drawn
the file alone speaks, which says what a bottle can hold and not what it held.
"""

from collections.abc import Iterator

from slackwater.cli.bottles import given, rises_words
from slackwater.errors import Finding
from slackwater.facts.inventory import stock
from slackwater.facts.state import State
from slackwater.facts.tank import Machine
from slackwater.gate.losses import least_ul
from slackwater.water.show import show_volume


def first_reading(
    machine: Machine, state: State, reservoir: str, volume_ul: int
) -> Iterator[Finding]:
    """A finding for a first level far below what the file and all doses leave."""
    if reservoir in state.fills:
        # The interval from that fill tells it, and holds the pumps.
        return
    for short_ul in _short(machine, state, reservoir, volume_ul):
        books = show_volume(volume_ul + short_ul)
        yield Finding(
            what=f"{show_volume(volume_ul)} is {show_volume(short_ul)} less than the "
            f"books say of {reservoir}, and nobody told yet what it was filled with",
            where="VOLUME",
            expected=f"about {books}: what the machine file says, less all doses",
            do=f"{_look(machine, reservoir, short_ul)}, and tell `slackwater refill "
            f"{reservoir} --content '{books}'`, then this level again: its pumps are "
            "held from then on. If it never was so full, add --confirm; nothing was "
            "written.",
        )


def small_refill(
    machine: Machine, state: State, reservoir: str, volume_ul: int
) -> Iterator[Finding]:
    """A finding for a fill that holds far less than was left before."""
    for short_ul in _short(machine, state, reservoir, volume_ul):
        books = show_volume(volume_ul + short_ul)
        yield Finding(
            what=f"{show_volume(volume_ul)} is {show_volume(short_ul)} less than was "
            f"left in {reservoir} by the books before it was filled",
            where="--content",
            expected=f"{books} or more",
            do=f"{_look(machine, reservoir, short_ul)}, and tell what is in it with "
            f"`slackwater level {reservoir} VOLUME`, before anything else. If it was "
            "poured out, or was another bottle, add --confirm; nothing was written.",
        )


def _short(
    machine: Machine, state: State, reservoir: str, volume_ul: int
) -> Iterator[int]:
    """How much is missing, where that is more than levels and books may be off."""
    pumps = [pump for pump in machine.pumps.values() if pump.reservoir == reservoir]
    drawn = any(state.drawn_ul.get(pump.id) for pump in pumps)
    if reservoir not in state.fills and not drawn:
        return
    before = stock(machine, state, reservoir)
    short_ul = before.left_ul - volume_ul
    if volume_ul < before.low_ul and short_ul > least_ul(machine, reservoir):
        yield short_ul


def _look(machine: Machine, reservoir: str, short_ul: int) -> str:
    """What a person does at once if that much ran out, and what it did."""
    effects = "".join(
        f" (all of it in {one.tank.id} raises {rises})"
        for one in given(machine, reservoir, short_ul)
        if (rises := rises_words(one))
    )
    return (
        f"If that much ran out{effects}: close the outlet, look for a siphon or a "
        "leak, `slackwater hold`, test the water"
    )
