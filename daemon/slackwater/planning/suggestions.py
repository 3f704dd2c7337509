"""Figures for caps that nobody has stated.

Floor 3. One subject: what a keeper might write into the machine's configuration.
Laws here: a figure is only suggested where a cap is missing, never where one is too
low; each comes with its arithmetic; nothing is dosed from a suggestion.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction

from slackwater.facts.plan import Plan
from slackwater.facts.tank import Machine, Tank
from slackwater.planning.amounts import pico_word
from slackwater.planning.ceilings import Ceiling, ceilings
from slackwater.water.show import show_volume

# Room above what a plan needs: common practice, no source.
DOSE_ROOM = Fraction(12, 10)
DAY_ROOM = Fraction(11, 10)
UPTAKE_ROOM = Fraction(13, 10)
DOSE_DIGITS = 2
DAY_DIGITS = 3
# A node's budget comes free by one of these parts an hour after a power-up, and an
# hour must do for the largest dose.
BUDGET_PARTS = 24

# One degree of carbonate hardness is 10 mg/L of CaO, 56.077 g/mol, two equivalents.
_UEQ_PER_DKH = Fraction(20_000_000, 56_077)
# What a parameter may climb in a day, in micro-units per litre, which is pico-units
# per microlitre: common practice, no source.
NET_RISES: Mapping[str, Fraction] = {
    "alkalinity": Fraction(1, 2) * _UEQ_PER_DKH,
    "calcium": Fraction(15_000),
    "magnesium": Fraction(40_000),
    "potassium": Fraction(8_000),
    "strontium": Fraction(300),
    "iodine": Fraction(3),
    "nitrate": Fraction(1_000),
    "phosphate": Fraction(20),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Suggestion:
    """A figure for `key` of `[table]`.

    Units: `value` in microlitres, or for a parameter in pico-units for the whole
    tank, `unit` says which: ul, peq, pmol or pg.
    """

    table: str
    key: str
    value: int
    unit: str
    parameter: str
    arithmetic: str


def suggestions(plan: Plan, machine: Machine) -> list[Suggestion]:
    """A figure for each cap that the plan needs and the machine does not state.

    Shape: by tank, then table, then key; where several pumps ask for one figure, the
    largest. Raises: InputError when a line is at fault in itself.
    """
    asked = ceilings(plan, machine).all
    largest_ul = {one.pump: one.fits for one in asked if one.key == "most_per_dose"}
    found: dict[tuple[str, str], Suggestion] = {}
    for ceiling in asked:
        suggestion = (
            _effect_figure(ceiling, machine.tanks[ceiling.tank])
            if ceiling.parameter
            else _volume_figure(ceiling, largest_ul[ceiling.pump])
        )
        if suggestion is not None:
            key = suggestion.table, suggestion.key
            found[key] = max(
                suggestion, found.get(key, suggestion), key=lambda one: one.value
            )
    return list(found.values())


def net_rise_default(parameter: str, tank: Tank) -> int | None:
    """The common daily climb of a parameter for a tank, None where there is none.

    Units: pico-units for the whole tank. Source: common practice, no source.
    """
    rise = NET_RISES.get(parameter)
    return None if rise is None else int(rise * tank.net_ul)


def rounded_up(value: Fraction, digits: int) -> int:
    """The next whole number that ends in noughts after so many digits."""
    whole = -(-value.numerator // value.denominator)
    step: int = 10 ** max(0, len(str(whole)) - digits)
    return -(-whole // step) * step


def _volume_figure(ceiling: Ceiling, largest_ul: int) -> Suggestion | None:
    if ceiling.cap != 0:
        return None
    fits = ceiling.fits
    dose_ul = rounded_up(largest_ul * DOSE_ROOM, DOSE_DIGITS)
    day_ul = rounded_up(fits * DAY_ROOM, DAY_DIGITS)
    day_words = f"largest sum of doses {show_volume(fits)} * 1.1"
    largest = show_volume(largest_ul)
    node_words = f"largest dose {largest} * {BUDGET_PARTS}, an hour after power-up"
    figures = {
        "most_per_dose": (dose_ul, f"largest dose {show_volume(fits)} * 1.2"),
        "most_per_hour": (day_ul, day_words),
        "most_per_day": max(
            (day_ul, day_words), (dose_ul, f"room for a dose of {show_volume(dose_ul)}")
        ),
        "day_limit": max(
            (day_ul, day_words),
            (
                rounded_up(Fraction(BUDGET_PARTS * largest_ul), DAY_DIGITS),
                node_words,
            ),
        ),
    }
    value, words = figures[ceiling.key]
    return Suggestion(
        table=ceiling.table,
        key=ceiling.key,
        value=value,
        unit="ul",
        parameter="",
        arithmetic=f"{words}, rounded up to {show_volume(value)}",
    )


def _effect_figure(ceiling: Ceiling, tank: Tank) -> Suggestion | None:
    parameter = ceiling.parameter
    rise = net_rise_default(parameter, tank)
    if ceiling.key == "net_rise":
        if ceiling.cap is not None or rise is None:
            return None
        value, words = rise, f"common daily climb {rise}; common practice, no source"
    elif parameter in tank.caps:
        return None
    else:
        value, words = _gross(ceiling, tank, rise or 0)
    return Suggestion(
        table=ceiling.table,
        key=ceiling.key,
        value=value,
        unit=pico_word(parameter),
        parameter=parameter,
        arithmetic=words,
    )


def _gross(ceiling: Ceiling, tank: Tank, rise: int) -> tuple[int, str]:
    """The gross addition; a plan that wants more than its uptake is told so."""
    uptake = tank.uptake.get(ceiling.parameter)
    fits = ceiling.fits
    if uptake is None:
        value = -(-fits * DAY_ROOM.numerator // DAY_ROOM.denominator)
        return value, f"largest sum {fits} * 1.1, rounded up; no uptake is stated"
    value = int(uptake.estimate * UPTAKE_ROOM) + rise
    words = f"1.3 * uptake {uptake.estimate} + daily climb {rise}"
    if fits > value:
        words += f"; the plan asks for {fits} and would still be refused"
    return value, words
