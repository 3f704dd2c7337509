"""What grows by a plan, told and asked about.

Floor 8. One subject: the growth a person consents to. Laws here: each figure is told
with the plan it grows from and when that last counted; more than twice is asked about
again, more than five times wants the ratio itself.
"""

import re
from collections.abc import Iterator
from fractions import Fraction

import click

from slackwater.cli.amounts import effect_words
from slackwater.cli.consent import Proposal, ratio_words
from slackwater.cli.render import local_day, section
from slackwater.errors import Finding, RefusedError
from slackwater.facts.tank import Machine
from slackwater.planning.changes import Change, Growth
from slackwater.water.show import show_volume

# Beyond the first a person is asked twice, beyond the second for the ratio itself.
ASKS_TWICE = 2
ASKS_RATIO = 5
_RATIO = re.compile(r"[0-9]{1,9}(\.[0-9]{1,9})?")


def change_row(change: Change, machine: Machine) -> tuple[str, str, str, str]:
    """Subject, before, after and ratio of one change."""
    before, after = _amounts(change, machine)
    ratio = "new" if change.ratio is None else f"x {ratio_words(change.ratio)}"
    return _subject(change), before, after, ratio


def growth_lines(proposal: Proposal) -> Iterator[str]:
    """Growth that the comparison with the last approval hides; nothing for none."""
    told = [
        f"{_subject(growth.change)}: {_words(growth, proposal)}"
        for growth in proposal.growths
        if growth.change not in proposal.changes
    ]
    if told:
        yield section("Growth from what was in force before", "\n".join(told))


def ask_ratio(proposal: Proposal, typed: str | None) -> None:
    """Let a person confirm a large growth.

    Raises: RefusedError when the ratio is not confirmed.
    """
    ratio = proposal.ratio
    if ratio <= ASKS_TWICE:
        return
    of = _words(proposal.growths[0], proposal)
    if typed is None and ratio <= ASKS_RATIO:
        if click.confirm(f"This more than doubles a dose: {of}. Go on?", err=True):
            return
        raise RefusedError(_finding(f"the growth was not confirmed: {of}", ratio))
    if typed is None:
        what = f"the plan grows by more than {ASKS_RATIO} times: {of}"
        raise RefusedError(_finding(what, ratio))


def refuse_other_ratio(proposal: Proposal, typed: str | None) -> None:
    """Refuse a ratio that is not the one of the largest growth.

    Raises: RefusedError.
    """
    ratio = proposal.ratio
    if typed is None or _is_ratio(typed, ratio):
        return
    told = "nothing grows"
    if proposal.growths:
        told = _words(proposal.growths[0], proposal)
    raise RefusedError(_finding(f'"{typed}" is not the ratio: {told}', ratio))


def _words(growth: Growth, proposal: Proposal) -> str:
    """Such as: 288 mL a day, x 8.00 of the 36 mL of the plan of 2026-05-03."""
    change, machine = growth.change, proposal.files.machine
    before, after = _amounts(change, machine)
    zone = next(iter(machine.tanks.values())).zone
    day = local_day(growth.since.until, zone)
    ratio = ratio_words(change.ratio or Fraction(1))
    return f"{after} a day, x {ratio} of the {before} of the plan of {day}"


def _subject(change: Change) -> str:
    return change.pump or f"{change.tank} {change.parameter}"


def _amounts(change: Change, machine: Machine) -> tuple[str, str]:
    amounts = (change.before, change.after)
    tank = machine.tanks.get(change.tank)
    if change.pump or tank is None:
        before, after = (show_volume(amount) for amount in amounts)
    else:
        before, after = (
            effect_words(change.parameter, amount, tank) for amount in amounts
        )
    return before, after


def _is_ratio(typed: str, ratio: Fraction) -> bool:
    # Nothing that a few keys could turn into a number of millions of digits.
    if not _RATIO.fullmatch(typed.strip()):
        return False
    given = Fraction(typed.strip())
    # As it is shown, or rounded to one digit behind the point, or to none.
    return any(given == round(ratio, places) for places in (0, 1, 2))


def _finding(what: str, ratio: Fraction) -> Finding:
    return Finding(
        what=what,
        where="--ratio-checked",
        expected=f"--ratio-checked {ratio_words(ratio)}, the largest growth shown",
        do="Look at the line that grows; if it is right, give the option.",
    )
