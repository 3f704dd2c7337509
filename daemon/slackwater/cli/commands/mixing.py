"""`recipe`: from what a tank needs a day to grams, a label and a keeping time.

Floor 8. One subject: a working solution. Laws here: nothing is read from the ledger and
nothing is written; crystal water, purity and the coldest place are asked for; a bottle
that would harm when it runs empty is said so.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import TypedDict, Unpack

import click

from slackwater.assessment.trace_bands import is_trace, trace_band
from slackwater.cli.amounts import effect_words
from slackwater.cli.document import Answer
from slackwater.cli.shell import Shell, verb
from slackwater.errors import Finding, InputError
from slackwater.facts.tank import Pump, Tank
from slackwater.outside.settings import read_machine
from slackwater.water.cautions import cautions_of
from slackwater.water.levels import parse_rate
from slackwater.water.parameters import amount_in_litres, parameter_named
from slackwater.water.recipes import (
    Jar,
    Need,
    Recipe,
    days_between,
    harmless_bottle_ul,
    recipe_for,
    side_effects,
)
from slackwater.water.show import show_figure, show_volume
from slackwater.water.solutions import (
    BOTTLE_WARNING_DKH,
    Portion,
    Stock,
    emptied_bottle_dkh,
    stock_from_recipe,
)
from slackwater.water.units import (
    parse_share,
    parse_stock_grams_per_litre,
    parse_temperature_celsius,
    parse_volume_ul,
)

UL_A_LITRE = 1_000_000
# How long a stock keeps its strength: caustic draws carbon dioxide, carbon ferments,
# iodide and iron age in the light. Common practice, no source.
_KEEPS_DAYS = {"alkalinity": 180, "carbon": 90, "iodine": 90, "iron": 60}
_CAUSTIC_DAYS = 30
# A household balance shows hundredths of a gram and is good to a few of them: common
# practice, no source.
COARSE_GRAMS = Fraction(1, 2)
_OTHERWISE_DAYS = 365
# Digits of what is weighed, measured or written on a label.
_WEIGHED = 4


class Kitchen(TypedDict):
    """What is at hand."""

    salt: str
    hydrate: str | None
    purity: str
    pump: str | None
    volume: str | None
    smallest: str | None
    doses: int
    coldest: str
    make: str
    stock: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class _Mixed:
    """A working solution with all that is told of it; `per_day` canonical."""

    parameter: str
    need: Need
    jar: Jar
    recipe: Recipe
    tank: Tank
    pump: Pump | None
    per_day: float
    make_ul: int
    bottle: Stock
    keeps_days: int
    stock_ml: Fraction | None


@verb(
    "recipe",
    epilog="Example: slackwater recipe manganese '0.3 ug/L/day' --salt MnCl2 "
    "--hydrate 4H2O --volume '250 L' --smallest '0.5 mL'. Wear eye protection and "
    "gloves; add salt to water, never water to salt; never mix two stocks; lock up "
    "trace salts, away from children. Follow the supplier's safety sheet.",
)
@click.argument("parameter")
@click.argument("per_day", metavar="AMOUNT_A_DAY")
@click.option(
    "--salt", required=True, metavar="FORMULA", help="Without crystal water: CaCl2."
)
@click.option("--hydrate", metavar="FORM", help="Crystal water, or anhydrous: 2H2O.")
@click.option(
    "--purity",
    default="99 %",
    show_default=True,
    metavar="SHARE",
    help="What the jar says.",
)
@click.option("--pump", metavar="ID", help="Take tank and smallest dose from there.")
@click.option("--volume", metavar="VOLUME", help="Net volume, without --pump.")
@click.option("--smallest", metavar="VOLUME", help="Smallest reliable dose, likewise.")
@click.option(
    "--doses",
    type=click.IntRange(1, 96),
    default=4,
    show_default=True,
    help="How many doses a day.",
)
@click.option(
    "--coldest",
    default="15 °C",
    show_default=True,
    metavar="TEMPERATURE",
    help="Where the bottle stands.",
)
@click.option(
    "--make",
    default="1 L",
    show_default=True,
    metavar="VOLUME",
    help="How much to make, finished.",
)
@click.option(
    "--stock",
    metavar="STRENGTH",
    help="Dilute a stock of this strength, like '50 g/L', instead of weighing.",
)
def recipe(
    shell: Shell, parameter: str, per_day: str, **kitchen: Unpack[Kitchen]
) -> Answer:
    """Make a solution that a pump can dose.

    From the pump's smallest reliable dose, the net volume and the wanted amount a day.
    """
    mixed = _mix(shell, parameter, per_day, kitchen)
    return Answer(fields=_fields(mixed), text="\n".join(_lines(mixed)))


def _mix(shell: Shell, parameter: str, per_day: str, kitchen: Kitchen) -> _Mixed:
    item = parameter_named(parameter, where="PARAMETER")
    rate = parse_rate(per_day, item.id, where="AMOUNT_A_DAY")
    tank, smallest_ul, pump = _place(shell, kitchen)
    litres = Fraction(tank.net_ul, UL_A_LITRE)
    need = Need(
        parameter=item.id,
        amount_pico_per_day=_amount_pico(item.id, rate, litres),
        doses_per_day=kitchen["doses"],
        smallest_dose_ul=smallest_ul,
    )
    jar = Jar(
        formula=kitchen["salt"],
        purity=parse_share(kitchen["purity"], where="--purity"),
        hydrate=kitchen["hydrate"],
    )
    coldest = parse_temperature_celsius(kitchen["coldest"], where="--coldest")
    with _told_at("--salt, --hydrate"):
        made = recipe_for(need, jar, coldest)
    portion = Portion(
        formula=jar.formula,
        grams_per_litre=made.grams_per_litre,
        purity=jar.purity,
        hydrate=jar.hydrate,
    )
    bottle = stock_from_recipe((portion,), coldest_celsius=coldest, where="--salt")
    make_ul = parse_volume_ul(kitchen["make"], where="--make")
    return _Mixed(
        parameter=item.id,
        need=need,
        jar=jar,
        recipe=made,
        tank=tank,
        pump=pump,
        per_day=float(rate),
        make_ul=make_ul,
        bottle=bottle,
        keeps_days=_CAUSTIC_DAYS
        if bottle.hydroxide
        else _KEEPS_DAYS.get(item.id, _OTHERWISE_DAYS),
        stock_ml=_diluted_ml(kitchen["stock"], made, make_ul),
    )


def _amount_pico(parameter: str, rate: Fraction, litres: Fraction) -> int:
    with _told_at("PARAMETER"):
        return amount_in_litres(parameter, rate, litres)


@contextmanager
def _told_at(where: str) -> Iterator[None]:
    """What the water refuses is told at a place: it knows no options."""
    try:
        yield
    except InputError as error:
        raise InputError(
            replace(one, where=one.where or where) for one in error.findings
        ) from error


def _place(shell: Shell, kitchen: Kitchen) -> tuple[Tank, int, Pump | None]:
    """The tank and the smallest dose, by the pump or as they were said."""
    if kitchen["pump"] is not None:
        machine = read_machine(shell.config)
        pump = machine.pumps.get(kitchen["pump"])
        if pump is None:
            raise InputError(
                _wrong(
                    f"there is no pump {kitchen['pump']!r}",
                    "--pump",
                    f"one of {', '.join(sorted(machine.pumps))}",
                    "Name a pump as the configuration does.",
                )
            )
        return machine.tanks[pump.tank], pump.smallest_dose_ul, pump
    if kitchen["volume"] is None or kitchen["smallest"] is None:
        raise InputError(
            _wrong(
                "it is not known how much water there is, or what the pump can give",
                "--volume, --smallest",
                "--pump ID, or both --volume and --smallest",
                "Add for example  --volume '250 L' --smallest '0.5 mL'.",
            )
        )
    net_ul = parse_volume_ul(kitchen["volume"], where="--volume")
    smallest_ul = parse_volume_ul(kitchen["smallest"], where="--smallest")
    return Tank(id="tank", name="tank", net_ul=net_ul, zone="UTC"), smallest_ul, None


def _diluted_ml(stock: str | None, made: Recipe, make_ul: int) -> Fraction | None:
    """Millilitres of a stronger stock for what is to be made."""
    if stock is None:
        return None
    grams = parse_stock_grams_per_litre(stock, where="--stock")
    if grams < made.grams_per_litre:
        raise InputError(
            _wrong(
                f"the stock has {show_figure(grams, _WEIGHED)} g/L",
                "--stock",
                f"at least {show_figure(made.grams_per_litre, _WEIGHED)} g/L",
                "Use a stronger stock, more doses a day, or weigh the salt.",
            )
        )
    return Fraction(make_ul, 1000) * made.grams_per_litre / grams


def _wrong(what: str, where: str, expected: str, do: str) -> Finding:
    return Finding(what=what, where=where, expected=expected, do=do)


def _grams(mixed: _Mixed) -> Fraction:
    return mixed.recipe.grams_per_litre * Fraction(mixed.make_ul, UL_A_LITRE)


def _form(mixed: _Mixed) -> str:
    hydrate = mixed.jar.hydrate
    return mixed.jar.formula + (
        f"·{hydrate}" if hydrate and hydrate != "anhydrous" else ""
    )


def _lines(mixed: _Mixed) -> Iterator[str]:
    made, need = mixed.recipe, mixed.need
    dose_ul = int(made.dose_ul)
    if mixed.stock_ml is None:
        yield (
            f"Weigh {show_figure(_grams(mixed), _WEIGHED)} g of {_form(mixed)} "
            f"({float(mixed.jar.purity) * 100:g} %),"
        )
        yield f"dissolve it, then fill up to {show_volume(mixed.make_ul)}."
        if _grams(mixed) < COARSE_GRAMS:
            yield (
                "That is too little for a household balance: weigh for a stronger "
                "stock, and dilute it with --stock."
            )
    else:
        yield (
            f"Measure {show_figure(mixed.stock_ml, _WEIGHED)} mL of the stock and fill "
            f"up to {show_volume(mixed.make_ul)}."
        )
    yield (
        f"One dose is {show_volume(dose_ul)}, {need.doses_per_day} a day; the smallest "
        f"reliable one is {show_volume(need.smallest_dose_ul)}."
    )
    if dose_ul < need.smallest_dose_ul:
        every = days_between(
            need.amount_pico_per_day,
            int(made.strength_pico_per_ul),
            need.smallest_dose_ul,
        )
        yield f"That is too little for the pump: give one dose every {every} days."
    yield from _too_much(mixed, dose_ul)
    if made.limited_by_solubility:
        yield "No more dissolves where the bottle stands (nine tenths of the limit)."
    for name, share in side_effects(mixed.jar, mixed.parameter).items():
        adds = effect_words(name, int(share * need.amount_pico_per_day), mixed.tank)
        yield f"It also brings {adds} of {name} a day; it counts in its own cap."
    yield from ("", *_bottle_lines(mixed))
    yield f"Cautions: {cautions_of(mixed.jar.formula)}"
    yield ""
    yield "For the label:"
    yield (
        f"  {_form(mixed)}  {show_figure(made.grams_per_litre, _WEIGHED)} g/L  for "
        f"{mixed.parameter}"
    )
    keeps = f"keeps {mixed.keeps_days} days"
    yield f"  made on ____-__-__   {keeps}   {cautions_short(mixed)}"


def _too_much(mixed: _Mixed, dose_ul: int) -> Iterator[str]:
    """What the pump's own ceilings, or the animals, do not stand."""
    pump, doses = mixed.pump, mixed.need.doses_per_day
    if pump and (dose_ul > pump.per_dose_ul or dose_ul * doses > pump.per_day_ul):
        yield (
            f"[pump.{pump.id}] allows {show_volume(pump.per_dose_ul)} a dose and "
            f"{show_volume(pump.per_day_ul)} a day: that is more. Give it in more "
            "doses (--doses), or choose a stronger salt."
        )
    if is_trace(mixed.parameter):
        yield _blind_line(mixed)


def _blind_line(mixed: _Mixed) -> str:
    """How long a trace may be dosed with no test: none of it counts as used up."""
    band = trace_band(mixed.parameter, None, mixed.tank.bands.get(mixed.parameter))
    watch, act = show_figure(band.watch), show_figure(band.act)
    natural = parameter_named(mixed.parameter, where="").natural or 0.0
    if natural + mixed.per_day >= band.watch:
        return (
            f"A day of it reaches what is watched in sea water ({watch} ug/L; acted on "
            f"from {act}): dose no contaminant."
        )
    return (
        "None of it counts as used up until tests show it: from natural sea water, "
        f"{show_figure(natural)} ug/L, it reaches {act} ug/L, where dosing of it ends, "
        f"after {int((band.act - natural) / mixed.per_day)} days. Send a sample before."
    )


def cautions_short(mixed: _Mixed) -> str:
    """The hazard in the few words a label has room for."""
    return cautions_of(mixed.jar.formula).partition(";")[0].partition(": ")[2]


def _bottle_lines(mixed: _Mixed) -> Iterator[str]:
    litres = Fraction(mixed.tank.net_ul, UL_A_LITRE)
    rise = emptied_bottle_dkh(mixed.bottle, mixed.make_ul, litres)
    most = harmless_bottle_ul(mixed.bottle, litres)
    if not rise or most is None:
        return
    yield (
        f"A bottle of {show_volume(mixed.make_ul)} that ran empty at once would lift "
        f"alkalinity by {show_figure(rise, 2)} dKH."
    )
    if rise > BOTTLE_WARNING_DKH:
        yield (
            f"That harms: keep bottles to {show_volume(most // 1000 * 1000)}, or hang "
            "the outlet above the water line with a siphon break."
        )


def _fields(mixed: _Mixed) -> dict[str, object]:
    litres = Fraction(mixed.tank.net_ul, UL_A_LITRE)
    made = mixed.recipe
    return {
        "parameter": mixed.parameter,
        "salt": _form(mixed),
        "grams": float(_grams(mixed)),
        "grams_per_litre": float(made.grams_per_litre),
        "stock_ml": None if mixed.stock_ml is None else float(mixed.stock_ml),
        "make_ul": mixed.make_ul,
        "dose_ul": int(made.dose_ul),
        "doses_per_day": mixed.need.doses_per_day,
        "smallest_dose_ul": mixed.need.smallest_dose_ul,
        "limited_by_solubility": made.limited_by_solubility,
        "keeps_days": mixed.keeps_days,
        "emptied_bottle_dkh": float(
            emptied_bottle_dkh(mixed.bottle, mixed.make_ul, litres)
        ),
        "cautions": cautions_of(mixed.jar.formula),
    }
