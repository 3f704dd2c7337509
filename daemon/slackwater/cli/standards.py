"""A kit tried on a reference standard, and by how much it is off.

Floor 8. One subject: the bias of a kit. Laws here: what is found is stored beside what
was expected, and no earlier test is changed by it.
Units: levels canonical.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

from slackwater.cli.amounts import decimal, display_unit
from slackwater.cli.measuring import RECORD, About
from slackwater.cli.moments import Wall, typed_moment
from slackwater.cli.typed import new_id
from slackwater.cli.typed_levels import Typed, settled, typed_levels
from slackwater.errors import Finding, InputError
from slackwater.facts.waters import StandardChecked
from slackwater.ledger.codec import timestamp
from slackwater.pump.outcome import Stamp
from slackwater.water.parameters import parameter_named
from slackwater.water.show import show_level
from slackwater.water.spellings import units_of

_PERCENT = 100
# A kit that is further off than this is thrown away, not corrected.
USELESS_SHARE = 0.30
_DECIMALS = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Trial:
    """What a standard holds, as NAME=VALUE, and what the kit found in it."""

    standard: str
    found: str | None


def standard_of(trial: Trial, about: About, zone: str, stamp: Stamp) -> StandardChecked:
    """The entry for a kit on its standard.

    Raises: InputError with everything that is wrong or missing.
    """
    checked = about.checked()
    settled(_missing(trial, checked))
    taken_at = typed_moment(about.at, Wall(zone=zone, now=stamp["at"]))
    name = trial.standard.partition("=")[0]
    words = [trial.standard, f"{name}={trial.found}"]
    expected, found = typed_levels(words, RECORD, confirmed=about.confirmed)
    if expected.censored or found.censored:
        raise InputError(_no_level(trial))
    if not about.confirmed:
        settled(_useless(expected, found))
    return StandardChecked(
        **stamp,
        id=new_id("k"),
        parameter=expected.parameter,
        method=checked.method,
        lot=checked.lot,
        expected=expected.level,
        found=found.level,
        taken_at=taken_at,
        by=checked.by,
        note=checked.note,
    )


def bias_words(check: StandardChecked) -> str:
    """By how much the kit is off, for people."""
    off = difference_words(check.parameter, abs(check.found - check.expected))
    which = f"{check.method} {check.lot}".strip()
    if check.found == check.expected:
        return f"The kit ({which}) reads the standard right."
    is_high = check.found > check.expected
    side, told = ("high", "less") if is_high else ("low", "more")
    return (
        f"The kit ({which}) reads {off} too {side}{_share_words(check)}.\nTests by it "
        f"count as so much {told}; of several trials their mean."
    )


def _share_words(check: StandardChecked) -> str:
    """The bias as a part of the standard; of pure water there is none."""
    if not check.expected:
        return ""
    share = abs(check.found - check.expected) / check.expected * _PERCENT
    return f", {share:.1f} % of {show_level(check.parameter, check.expected)}"


def difference_words(parameter: str, change: float) -> str:
    """A difference of two levels in the unit people use."""
    unit = display_unit(parameter)
    factor = units_of(parameter_named(parameter, where=""))[unit]
    return f"{decimal(Fraction(change) / factor, _DECIMALS)} {unit}"


def standard_document(check: StandardChecked) -> dict[str, object]:
    """The trial for a document; levels as decimal strings, canonical."""
    return {
        "id": check.id,
        "parameter": check.parameter,
        "unit": parameter_named(check.parameter, where="").canonical_unit,
        "method": check.method,
        "lot": check.lot,
        "expected": str(check.expected),
        "found": str(check.found),
        "bias": str(check.found - check.expected),
        "taken_at": timestamp(check.taken_at),
        "by": check.by,
        "note": check.note,
    }


def _useless(expected: Typed, found: Typed) -> Iterator[Finding]:
    """A finding for a kit so far off that it is likelier a slip of the hand."""
    if abs(found.level - expected.level) <= USELESS_SHARE * expected.level:
        return
    yield Finding(
        what=f"{show_level(found.parameter, found.level)} is over "
        f"{USELESS_SHARE:.0%} away from the standard",
        where=f"{RECORD} --found",
        expected=f"near {show_level(expected.parameter, expected.level)}",
        do="Try the kit again with a fresh standard, or take another one. If it is "
        "right, add --confirm; nothing was written.",
    )


def _missing(trial: Trial, about: About) -> list[Finding]:
    wanted = {
        "--found": (trial.found, 'what the kit showed, as in "7.3 dKH"'),
        "--method": (about.method, "the kit's method, as it is named with each test"),
    }
    missing = {name: told for name, (given, told) in wanted.items() if not given}
    if not missing:
        return []
    verb = "is" if len(missing) == 1 else "are"
    return [
        Finding(
            what=f"{' and '.join(missing)} {verb} missing",
            where="--standard",
            expected="; ".join(missing.values()),
            do="A bias belongs to one method and lot; nothing was written.",
        )
    ]


def _no_level(trial: Trial) -> Finding:
    return Finding(
        what=f'"{trial.standard}" found as "{trial.found}" is no level',
        where="--standard",
        expected="two levels, neither of them below a limit",
        do="Take a standard that the kit can read; nothing was written.",
    )
