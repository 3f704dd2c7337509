"""`volume`: how much water there really is.

Floor 8. One subject: the net volume. Laws here: a volume comes with its error; two ways
that disagree are not averaged; a rise too small to tell is refused; a file that says
something else is told so and stays as it is.
"""

import re
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from math import inf
from textwrap import fill
from typing import TypedDict, Unpack

import click

from slackwater.cli.document import Answer
from slackwater.cli.render import NARROWEST
from slackwater.cli.shell import Shell, verb
from slackwater.cli.standards import difference_words
from slackwater.cli.subject import only_tank
from slackwater.errors import Finding, InputError
from slackwater.outside.settings import read_machine
from slackwater.outside.settings.documents import MACHINE_FILE
from slackwater.water.boxes import parse_boxes_ul
from slackwater.water.levels import parse_difference, parse_level
from slackwater.water.parameters import PARAMETERS, Kind, parameter_named
from slackwater.water.show import show_figure, show_level
from slackwater.water.units import parse_mass_grams, parse_volume_ul
from slackwater.water.volume import (
    LEAST_RISE_SDS,
    NetVolume,
    addition_for,
    combined,
    net_volume_by_addition,
    net_volume_by_geometry,
    rock_litres,
    sand_litres,
)

UL_A_LITRE = 1_000_000
GRAMS_A_KG = 1000
HALF_WIDTH_95 = 1.96
WHOLE_LITRES_FROM = 100
# What is added by the kind of parameter: in the unit of its level without the litre
# first, and what one of each other unit is in that.
_ADDITIONS: Mapping[Kind, Mapping[str, float]] = {
    "alkalinity": {"meq": 1.0, "eq": 1e3},
    "major": {"mg": 1.0, "g": 1e3},
    "nutrient": {"mg": 1.0, "g": 1e3},
    "trace": {"ug": 1.0, "mg": 1e3, "g": 1e6},
}
# A figure as people write one; Python would read 1_0 and nan as well.
_FIGURE = re.compile(r"[0-9]+(\.[0-9]+)?")


class Glass(TypedDict):
    """What was measured."""

    box: tuple[str, ...]
    sump: str | None
    rock: str | None
    sand: str | None
    equipment: str | None
    added: str | None
    before: str | None
    after: str | None
    error: str | None
    tank: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class _Filed:
    """The net volume a file gives a tank, and how far what was found is from it."""

    tank: str
    litres: float
    found: NetVolume

    @property
    def differs(self) -> bool:
        """Whether they are further apart than the error of what was found."""
        apart = abs(self.litres - self.found.litres)
        return apart > HALF_WIDTH_95 * self.found.sd_litres


@verb(
    "volume",
    epilog="Examples: slackwater volume --box '120 cm x 60 cm x 50 cm less 0 %' --rock "
    "'25 kg' --sand '20 L' --sump '60 L'; or by an addition: slackwater volume "
    "--added 'alkalinity 200 meq' --before '7.2 dKH' --after '8.9 dKH' --error "
    "'0.1 dKH'. Add soda slowly over hours; wear eye protection.",
)
@click.option(
    "--box",
    multiple=True,
    metavar="BOX",
    help="Inside measures up to the water line; may be repeated.",
)
@click.option("--sump", metavar="VOLUME", help="Running water in the sump and pipes.")
@click.option("--rock", metavar="MASS", help="Rock, weighed dry.")
@click.option("--sand", metavar="VOLUME", help="The whole bed of sand.")
@click.option("--equipment", metavar="VOLUME", help="What pumps and gear displace.")
@click.option(
    "--added",
    metavar="'PARAMETER AMOUNT'",
    help="A known addition: 'alkalinity 200 meq' or 'calcium 4 g'.",
)
@click.option("--before", metavar="LEVEL", help="Test before the addition.")
@click.option("--after", metavar="LEVEL", help="Test after it was mixed in.")
@click.option("--error", metavar="LEVEL", help="What one test is good to.")
@click.option(
    "--tank",
    metavar="ID",
    help="Compare with net_volume of this tank in slackwater.toml.  "
    "[default: the only one]",
)
def volume(shell: Shell, **glass: Unpack[Glass]) -> Answer:
    """Find how much water there really is.

    By measures, by an addition, or by both. Says so when slackwater.toml reckons with
    another volume than what was found allows.
    """
    found = {
        name: estimate
        for name, estimate in (
            ("geometry", _by_geometry(glass)),
            ("addition", _by_addition(glass)),
        )
        if estimate is not None
    }
    if not found:
        raise InputError(
            Finding(
                what="nothing was measured",
                where="volume",
                expected="--box, or --added with --before, --after and --error",
                do="Measure the glass, or make a known addition.",
            )
        )
    both = combined(list(found.values()))
    filed = _filed(shell, glass["tank"], both)
    return Answer(
        fields={
            "ways": {name: _document(one) for name, one in found.items()},
            "net_volume": _document(both),
            "configured": None if filed is None else _filed_document(filed),
        },
        text="\n".join(
            [
                *(f"By {name}: {_words(one)}." for name, one in found.items()),
                *((f"Together: {_words(both)}.",) if len(found) > 1 else ()),
                f'For the file:  net_volume = "{_filed_figure(both.litres)} L"',
                "When in doubt take the smaller figure: doses are divided by it.",
                *(() if filed is None else (_filed_words(filed),)),
            ]
        ),
    )


def _filed_figure(litres: float) -> str:
    """Whole litres; of a small tank three digits, for half a litre is much there."""
    return show_figure(litres) if litres < WHOLE_LITRES_FROM else f"{litres:.0f}"


def _filed(shell: Shell, tank: str | None, found: NetVolume) -> _Filed | None:
    """What the file says; None where there is none, or where it does not say which.

    Raises: InputError when a tank was named that cannot be read there.
    """
    # A file that is not there, not for this user or at fault is a matter for `check`.
    with suppress(*(() if tank else (InputError, OSError))):
        machine = read_machine(shell.config)
        name = only_tank(machine, tank)
        litres = machine.tanks[name].net_ul / UL_A_LITRE
        return _Filed(tank=name, litres=litres, found=found)
    return None


def _filed_words(filed: _Filed) -> str:
    said = f'{MACHINE_FILE} says net_volume = "{filed.litres:g} L" for {filed.tank}'
    if not filed.differs:
        return fill(f"{said}: that agrees.", NARROWEST)
    share = filed.litres / filed.found.litres
    return "\n" + fill(
        f"{said}, and {filed.found.litres:.1f} L were found: further apart than the "
        f"error of what was found. What a dose is reckoned to change, it changes by "
        f"{share:.2f} times as much. Measure once more; if it is right, put the figure "
        "into the file, then `slackwater check`, `rehearse` and `approve` again. Until "
        "then the old figure counts.",
        NARROWEST,
    )


def _filed_document(filed: _Filed) -> dict[str, object]:
    return {
        "tank": filed.tank,
        "litres": filed.litres,
        "differs": filed.differs,
    }


def _by_geometry(glass: Glass) -> NetVolume | None:
    if not glass["box"]:
        return None
    filled = [parse_boxes_ul(text, where="--box") / UL_A_LITRE for text in glass["box"]]
    displaced = []
    if glass["sump"]:
        filled.append(parse_volume_ul(glass["sump"], where="--sump") / UL_A_LITRE)
    if glass["rock"]:
        grams = parse_mass_grams(glass["rock"], where="--rock")
        displaced.append(rock_litres(float(grams) / GRAMS_A_KG))
    if glass["sand"]:
        bed = parse_volume_ul(glass["sand"], where="--sand") / UL_A_LITRE
        displaced.append(sand_litres(bed))
    if glass["equipment"]:
        gear = parse_volume_ul(glass["equipment"], where="--equipment")
        displaced.append(gear / UL_A_LITRE)
    try:
        return net_volume_by_geometry(filled, displaced)
    except InputError as wrong:
        raise InputError(_no_room(sum(filled), sum(displaced))) from wrong


def _no_room(filled_litres: float, displaced_litres: float) -> Finding:
    return Finding(
        what=f"what lies in the water takes {displaced_litres:.1f} L of "
        f"{filled_litres:.1f} L",
        where="--rock, --sand, --equipment",
        expected="less than the glass holds",
        do="Check the figures and their units: rock in kg, sand in L.",
    )


def _by_addition(glass: Glass) -> NetVolume | None:
    texts = {name: glass[name] for name in ("added", "before", "after", "error")}
    if not any(texts.values()):
        return None
    lacking = [f"--{name}" for name, text in texts.items() if not text]
    if lacking:
        raise InputError(
            Finding(
                what=f"{', '.join(lacking)} is not given",
                where="volume",
                expected="--added, --before, --after and --error together",
                do="Give all four.",
            )
        )
    name, _, amount = str(texts["added"]).partition(" ")
    item = parameter_named(name, where="--added")
    added = _amount(item.id, amount)
    before, after = (
        float(parse_level(texts[key], item.id, where=f"--{key}", confirmed=True))
        for key in ("before", "after")
    )
    error = float(parse_difference(texts["error"], item.id, where="--error"))
    if not error:
        raise InputError(_no_error())
    if after <= before:
        raise InputError(_no_rise(item.id, before, after))
    try:
        return net_volume_by_addition(added, after - before, error)
    except InputError as wrong:
        found = _too_small(item.id, added, after - before, error)
        raise InputError(found) from wrong


def _no_error() -> Finding:
    return Finding(
        what="no test is without an error",
        where="--error",
        expected="what one test is good to, above 0",
        do="Write what the kit's leaflet says, or half a step of its scale.",
    )


def _no_rise(parameter: str, before: float, after: float) -> Finding:
    return Finding(
        what=f"{show_level(parameter, after)} is no rise from "
        f"{show_level(parameter, before)}",
        where="--after",
        expected="a level above that of --before",
        do="Check which test was made first. If both are right, wait until the water "
        "has mixed and test again; add nothing more before.",
    )


def _too_small(parameter: str, added: float, rise: float, error: float) -> Finding:
    """A rise that tests cannot tell; a figure only where the rise says anything."""
    do = "Take the mean of several tests before and after"
    if rise >= error:
        needed = float(f"{addition_for(added / rise, error):.2g}")
        do += (
            f", or make an addition of about {needed:.0f} {_unit(parameter)} in all, "
            "over several hours and within your caps"
        )
    return Finding(
        what=f"a rise of {difference_words(parameter, rise)}, where one test is good "
        f"to {difference_words(parameter, error)}",
        where="--after",
        expected=f"a rise of {difference_words(parameter, LEAST_RISE_SDS * error)} or "
        "more",
        do=f"{do}.",
    )


def _unit(parameter: str) -> str:
    return next(iter(_ADDITIONS[PARAMETERS[parameter].kind]))


def _amount(parameter: str, text: str) -> float:
    """An addition in the unit of the parameter's level, without the litre."""
    factors = _ADDITIONS.get(PARAMETERS[parameter].kind)
    if factors is None:
        raise InputError(_no_tracer(parameter))
    number, _, unit = text.strip().partition(" ")
    factor = factors.get(unit.strip())
    amount = float(number) * (factor or 0.0) if _FIGURE.fullmatch(number) else 0.0
    if not 0 < amount < inf:
        raise InputError(
            Finding(
                what=f"found {text[:40]!r}",
                where="--added",
                expected=f"a number above 0 with one of {', '.join(factors)}",
                do="Write for example  --added 'alkalinity 200 meq'.",
            )
        )
    return amount


def _no_tracer(parameter: str) -> Finding:
    known = (item.id for item in PARAMETERS.values() if item.kind in _ADDITIONS)
    return Finding(
        what=f"no addition of {parameter} shows a volume",
        where="--added",
        expected=f"what a solution adds and a test shows: {', '.join(known)}",
        do="Write for example  --added 'alkalinity 200 meq'.",
    )


def _words(one: NetVolume) -> str:
    half = HALF_WIDTH_95 * one.sd_litres
    return f"{one.litres:.1f} L, give or take {half:.1f} L (95 %)"


def _document(one: NetVolume) -> dict[str, float]:
    return {
        "litres": round(one.litres, 2),
        "sd_litres": round(one.sd_litres, 2),
        "low_95": round(one.litres - HALF_WIDTH_95 * one.sd_litres, 2),
        "high_95": round(one.litres + HALF_WIDTH_95 * one.sd_litres, 2),
    }
