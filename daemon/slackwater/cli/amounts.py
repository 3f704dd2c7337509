"""Effects and caps written for people, documents and files.

Floor 8. One subject: figures at the command line. Laws here: an effect is a decimal in
the unit people use; a cap written for a file is never below the figure it stands for;
nothing here loads the settings, because a status does without them.
"""

from fractions import Fraction

from slackwater.facts.tank import Tank
from slackwater.water.parameters import concentration, parameter_named
from slackwater.water.show import show_figure
from slackwater.water.spellings import units_of

# More digits than any effect is known to.
EFFECT_DECIMALS = 6
CAP_DECIMALS = 4
SMALLEST_SHOWN = 0.001
UL_A_LITRE, UL_A_ML = 10**6, 1000


def display_unit(parameter: str) -> str:
    """The unit people use for a parameter, such as dKH."""
    return parameter_named(parameter, where="").display_unit


def change_of(parameter: str, pico: int, tank: Tank) -> Fraction:
    """What an amount changes in a tank, in the parameter's display unit, exact.

    Units: pico-units of the whole tank.
    """
    item = parameter_named(parameter, where="")
    litres = Fraction(tank.net_ul, UL_A_LITRE)
    change = concentration(parameter, pico, litres)
    return change / units_of(item)[item.display_unit]


def effect_decimal(parameter: str, pico: int, tank: Tank) -> str:
    """The same as a decimal string for a document."""
    return decimal(change_of(parameter, pico, tank), EFFECT_DECIMALS)


def effect_words(parameter: str, pico: int, tank: Tank) -> str:
    """The same with its unit for people; what is not 0 is never written as 0."""
    number = float(change_of(parameter, pico, tank))
    unit = display_unit(parameter)
    if number and abs(number) < SMALLEST_SHOWN:
        return f"{'-' if number < 0 else ''}<{SMALLEST_SHOWN} {unit}"
    return f"{show_figure(number)} {unit}"


def cap_words(parameter: str, pico: int, tank: Tank) -> str:
    """A daily cap as the machine file writes it, rounded up."""
    change = change_of(parameter, pico, tank) * 10**CAP_DECIMALS
    up = Fraction(-(-change.numerator // change.denominator), 10**CAP_DECIMALS)
    return f"{decimal(up, CAP_DECIMALS)} {display_unit(parameter)}/day"


def volume_words(volume_ul: int) -> str:
    """A volume as the machine file writes it, exact, in mL where it is one or more."""
    if volume_ul < UL_A_ML:
        return f"{volume_ul} uL"
    return f"{decimal(Fraction(volume_ul, UL_A_ML), 3)} mL"


def decimal(number: Fraction, places: int) -> str:
    """A decimal with at most so many places, rounded half to even."""
    whole = round(number * 10**places)
    sign = "-" if whole < 0 else ""
    digits = f"{abs(whole):0{places + 1}d}"
    text = f"{digits[:-places]}.{digits[-places:]}"
    return sign + text.rstrip("0").rstrip(".")
