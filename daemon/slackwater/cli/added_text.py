"""What a hand addition leaves of a day, in lines for people.

Floor 8. One subject: an addition beside the caps and the plan, as text and document.
Laws here: what the daemon will hold back is said with its figures and its end; of far
too much the first thing to do is told.
Units: amounts whole pico-units of the whole tank.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from slackwater.cli.amounts import effect_decimal, effect_words
from slackwater.cli.correcting import STRIKE
from slackwater.cli.render import local, table
from slackwater.cli.room import DAY, HeldBack, Room
from slackwater.facts.tank import Tank
from slackwater.facts.waters import AddedByHand
from slackwater.water.parameters import parameter_named
from slackwater.water.show import show_volume


@dataclass(frozen=True, slots=True, kw_only=True)
class Counted:
    """What an addition that counts takes from the plan; whether there is one."""

    back: Sequence[HeldBack]
    is_planned: bool


def far_too_much(entry: AddedByHand, left: Sequence[Room]) -> Iterator[str]:
    """What to do first where more went in than a whole day allows."""
    over = [room.parameter for room in left if room.charged > room.gross > 0]
    if over:
        names = ", ".join(over)
        yield f"More {names} than a day allows: see `slackwater first-aid overdose`."
        yield (
            f"If it was mistyped: slackwater added {STRIKE} {entry.id} --why 'mistyped'"
        )


def added_lines(
    entry: AddedByHand, tank: Tank, left: Sequence[Room], told: Counted | None
) -> Iterator[str]:
    """What was written down, what the caps leave, and what is held back for it.

    Shape: `told` is None for what counts no more.
    """
    what = f"{show_volume(entry.volume_ul)} of {entry.solution}"
    if not entry.solution:
        what = ", ".join(
            f"{effect_words(name, amount, tank)} of {name}"
            for name, amount in entry.effects.items()
        )
    at = local(entry.given_at, tank.zone)
    yield f"Written down for {tank.id}, {at}: {what} by hand ({entry.id})."
    if told is None:
        yield "It is over 24 hours ago: it counts against no cap any more."
        return
    rows = [
        (
            room.parameter,
            effect_words(room.parameter, entry.effects[room.parameter], tank),
            effect_words(room.parameter, room.charged, tank),
            effect_words(room.parameter, room.most, tank) if room.gross else "none",
            effect_words(room.parameter, max(room.left, 0), tank),
        )
        for room in left
    ]
    heads = ("parameter", ">added", ">in 24 h now", ">cap", ">still free")
    yield table(heads, rows)
    for room in left:
        yield from _tighter(room, tank)
    free_at = local(entry.given_at + DAY, tank.zone)
    for one in told.back:
        yield (
            f"Held back: {one.pump} gives {show_volume(one.fits_ul)} at most of the "
            f"{show_volume(one.planned_ul)} planned for the next 24 hours "
            f"({one.parameter}). What was added comes free at {free_at}."
        )
    if not told.back:
        yield (
            "Everything planned for the next 24 hours still fits."
            if told.is_planned
            else "No plan doses within the next 24 hours."
        )


def _tighter(room: Room, tank: Tank) -> Iterator[str]:
    """Why less may come in than the cap on what is poured in says."""

    def words(amount: int) -> str:
        return effect_words(room.parameter, amount, tank)

    cap, uptake = tank.caps.get(room.parameter), tank.uptake.get(room.parameter)
    whys = []
    if room.is_net and cap is not None and cap.net_rise is not None:
        beside = f" beside an uptake of {words(uptake.low)}" if uptake else ""
        whys.append(f"it may climb by {words(cap.net_rise)} a day{beside}")
    if room.gross and room.outside:
        whys.append(f"{words(room.outside)} a day come from elsewhere")
    if whys:
        yield (
            f"The cap on {room.parameter} is {words(room.most)} and not "
            f"{words(room.gross)} a day: {', and '.join(whys)}."
        )


def room_document(room: Room, tank: Tank) -> dict[str, object]:
    """What a cap leaves, for a document; amounts as decimal strings."""
    return {
        "parameter": room.parameter,
        "unit": parameter_named(room.parameter, where="").display_unit,
        "in_24_h": effect_decimal(room.parameter, room.charged, tank),
        "cap": effect_decimal(room.parameter, room.gross, tank),
        "most": effect_decimal(room.parameter, room.most, tank),
        "left": effect_decimal(room.parameter, room.left, tank),
    }


def back_document(one: HeldBack) -> dict[str, object]:
    """What a pump will not give, for a document."""
    return {
        "pump": one.pump,
        "parameter": one.parameter,
        "fits_ul": one.fits_ul,
        "planned_ul": one.planned_ul,
    }
