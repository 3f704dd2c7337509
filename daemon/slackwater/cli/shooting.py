"""Timed shots and what a person reads off a cylinder or a scale.

Floor 8. One subject: the dialogue of measuring a pump. Laws here: a measurement that
cannot be right ends it at once, before more liquid is spent on what cannot be kept;
nobody is taken to be sure of a large change who does not say so.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

import click

from slackwater.cli.commissioning import say
from slackwater.cli.questions import ask_ul, ask_ul_or
from slackwater.cli.weighing import measured_ul
from slackwater.cli.width import error_columns, fitted
from slackwater.errors import Finding, RefusedError
from slackwater.facts.reasons import Reason
from slackwater.pump.flow import Flow, MeasuredShot, flow_of, not_kept
from slackwater.service.calibrating import Shot
from slackwater.water.show import show_volume

# Beyond these ratios to the last rate a slip is likelier than wear (hazard H57).
REFUSED_BELOW, REFUSED_ABOVE = 0.5, 2.0
AGAIN_BELOW, AGAIN_ABOVE = 0.8, 1.25
YES = frozenset({"y", "yes"})
NL_PER_UL = 1000
MS_PER_S = 1000

Shoot = Callable[[str, int, Callable[[tuple[Reason, ...]], None]], Shot]


@dataclass(frozen=True, slots=True, kw_only=True)
class Series:
    """The shots to be taken of one pump, and the calibration in force so far.

    Units: microlitres of each shot in order; nanolitres per second and nanolitres;
    `grams_per_litre` of what flows, 0 where it is not weighed. `one_length` says that
    the pump knows no other run.
    """

    pump: str
    volumes_ul: tuple[int, ...]
    rate_nl_per_s: int
    offset_nl: int = 0
    grams_per_litre: int = 0
    one_length: bool = False

    def expected_ul(self, ran_ms: int) -> float:
        """What a run gives by the calibration in force, microlitres."""
        return (self.rate_nl_per_s * ran_ms / MS_PER_S + self.offset_nl) / NL_PER_UL


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """What the shots came to; `ratio` of the rate to the one in force before."""

    flow: Flow
    shots: tuple[MeasuredShot, ...]
    ratio: float


def is_yes(question: str) -> bool:
    """Whether a person answers with a plain yes."""
    asked = fitted(f"{question} [yes/no]", error_columns())
    typed = str(click.prompt(asked, err=True)).strip().lower()
    return typed in YES


def prime(shoot: Shoot, pump: str) -> None:
    """Fill the hose until a person says that it is full.

    Raises: InputError for what is neither a yes nor a volume; whatever the run raises.
    """
    question = "Is the hose full to its end, without bubbles? [yes, or how much to "
    question += "pump first, like 3 mL]"
    while (volume_ul := ask_ul_or(question, "hose", "yes")) is not None:
        say(f"Priming {show_volume(volume_ul)} …")
        shoot(pump, volume_ul, _tell_wait)


def measure(shoot: Shoot, series: Series) -> Measured:
    """Run, ask after each run what was measured, and judge what was typed.

    Raises: InputError for what is no volume; RefusedError when the shots contradict
    each other or the calibration in force, or when nobody is sure of a large change.
    """
    shots = tuple(_run(shoot, series))
    flow = flow_of(shots, one_length=series.one_length)
    if isinstance(flow, Finding):
        raise RefusedError(flow)
    ratio = flow.rate_nl_per_s / series.rate_nl_per_s
    if not REFUSED_BELOW <= ratio <= REFUSED_ABOVE:
        raise RefusedError(_far(f"the rate is {ratio:.2f} times the one in force"))
    if not AGAIN_BELOW <= ratio <= AGAIN_ABOVE and not is_yes(
        f"The rate is {ratio:.2f} times the one in force. Measured twice, and sure?"
    ):
        raise RefusedError(not_kept("a large change was not confirmed", "yes"))
    return Measured(flow=flow, shots=shots, ratio=ratio)


def _run(shoot: Shoot, series: Series) -> list[MeasuredShot]:
    """Run and measure shot by shot; a slip ends it before the next run."""
    ran: list[MeasuredShot] = []
    count = len(series.volumes_ul)
    for number, volume_ul in enumerate(series.volumes_ul, start=1):
        say(f"Shot {number} of {count}: {show_volume(volume_ul)} …")
        shot = shoot(series.pump, volume_ul, _tell_wait)
        found_ul = ask_ul(
            _question(series),
            f"shot {number}",
            partial(measured_ul, grams_per_litre=series.grams_per_litre),
        )
        _refuse_far(found_ul, shot, series)
        ran.append(MeasuredShot(ran_ms=shot.ran_ms, volume_ul=found_ul))
    return ran


def _question(series: Series) -> str:
    if series.grams_per_litre:
        return "Weighed or measured (for example 2.15 g or 2.05 mL)"
    return "Measured in the cylinder (for example 2.05 mL)"


def _refuse_far(found_ul: int, shot: Shot, series: Series) -> None:
    """Refuse one measurement that cannot be right, whatever the others say."""
    if shot.ran_ms <= 0:
        raise RefusedError(not_kept("a run has no run time", "a reported run time"))
    if found_ul <= 0:
        raise RefusedError(not_kept("a shot gave nothing", "a volume in the cylinder"))
    ratio = found_ul / max(series.expected_ul(shot.ran_ms), 1.0)
    if not REFUSED_BELOW <= ratio <= REFUSED_ABOVE:
        what = (
            f"{show_volume(found_ul)} in {shot.ran_ms / MS_PER_S:.1f} s is "
            f"{ratio:.2f} times what the calibration in force gives"
        )
        raise RefusedError(_far(what))


def _far(what: str) -> Finding:
    return not_kept(what, f"between {REFUSED_BELOW:g} and {REFUSED_ABOVE:g} times")


def _tell_wait(reasons: Sequence[Reason]) -> None:
    for reason in reasons:
        say(f"  waits: {reason.text}")
