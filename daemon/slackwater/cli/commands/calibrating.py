"""`calibrate`: timed shots into a cylinder, and what they measured.

Floor 8. One subject: stage 0 of a pump. Laws here: liquid moves only after a person
said where the outlet hangs; a measurement that cannot be right is refused and nothing
is kept; what was not proven by sight is not written down as proven.
"""

import logging
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TypedDict, Unpack

import click

from slackwater.cli.document import Answer
from slackwater.cli.opening import local_user
from slackwater.cli.readiness import PROOFS
from slackwater.cli.shell import Shell, verb
from slackwater.cli.typed import typed_ul
from slackwater.errors import Finding, InputError, RefusedError
from slackwater.facts.events import Calibrated
from slackwater.facts.reasons import Reason
from slackwater.facts.tank import Machine, Pump
from slackwater.outside.clock import SystemClock
from slackwater.outside.settings import read_machine
from slackwater.pump.command import calibration_id, rate_in_force
from slackwater.service import logs
from slackwater.service.calibrating import Session, Shot
from slackwater.service.chores import stamp_of
from slackwater.service.loop import take_news, write
from slackwater.service.wiring import Places
from slackwater.water.show import show_volume

SHOTS_AT_LEAST = 3
SPREAD_AT_MOST_PERCENT = 5.0
# Beyond these ratios to the last rate a slip is likelier than wear (hazard H57).
REFUSED_BELOW, REFUSED_ABOVE = 0.5, 2.0
AGAIN_BELOW, AGAIN_ABOVE = 0.8, 1.25
NL_PER_UL = 1000
MS_PER_S = 1000


Shoot = Callable[[str, int, Callable[[tuple[Reason, ...]], None]], Shot]


class Wishes(TypedDict):
    """The options of the verb."""

    shots: int
    volume: str
    by: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """What the shots came to."""

    rate_nl_per_s: int
    spread_percent: float
    ratio: float


@verb(
    "calibrate",
    epilog="This moves liquid. Wear eye protection; hang the outlet into a measuring "
    "cylinder, never into the tank. Questions are asked on standard error and answered "
    "line by line on standard input, so a script can answer them too.",
)
@click.argument("pump")
@click.option("--shots", default=3, show_default=True, help="How many runs, 3 or more.")
@click.option("--volume", default="2 mL", show_default=True, help="What each run asks.")
@click.option("--by", metavar="NAME", help="Who measures.  [default: the local user]")
def calibrate(shell: Shell, pump: str, **wishes: Unpack[Wishes]) -> Answer:
    """Measure what a pump really gives.

    Stage 0 of a pump: it needs no approval, has its own small cap, and its runs go
    into a cylinder. A new calibration needs a new approval.
    """
    logs.set_up(terminal=sys.stderr.isatty(), level=logging.WARNING)
    machine = read_machine(shell.config)
    known = _pump_of(machine, pump)
    volume_ul = _volume(known, wishes)
    _ask_outlet(known)
    by = wishes["by"] or local_user()
    places = Places(config=shell.config, state=shell.state)
    with Session(places, SystemClock(), by) as session:
        state = session.rig.memory.state
        in_force = rate_in_force(state, known)[0]
        measured = measure(session.shoot, known, (wishes["shots"], volume_ul), in_force)
        beat = session.rig.sight.nodes[known.node].beat
        proofs = tuple(name for name, ask in PROOFS.items() if _yes(ask))
        event = Calibrated(
            **stamp_of(session.rig),
            pump=pump,
            rate_nl_per_s=measured.rate_nl_per_s,
            cal=calibration_id(pump, measured.rate_nl_per_s),
            shots=wishes["shots"],
            spread_percent=round(measured.spread_percent, 2),
            proofs=proofs,
            by=by,
            hw=beat.hw,
            cfg=beat.cfg,
        )
        while not write(session.rig, [event]):
            take_news(session.rig)
    return _answer(event, measured)


def _pump_of(machine: Machine, pump: str) -> Pump:
    known = machine.pumps.get(pump)
    if known is None:
        raise InputError(
            Finding(
                what=f"there is no pump {pump!r}",
                where="calibrate PUMP",
                expected="one of " + ", ".join(sorted(machine.pumps)),
                do="Name the pump as slackwater.toml does.",
            )
        )
    return known


def _volume(pump: Pump, wishes: Wishes) -> int:
    """Microlitres of one shot, checked against the pump's own calibration cap."""
    volume_ul = typed_ul(wishes["volume"], "--volume")
    if wishes["shots"] < SHOTS_AT_LEAST:
        raise InputError(
            Finding(
                what=f"{wishes['shots']} shots were asked for",
                where="--shots",
                expected=f"{SHOTS_AT_LEAST} or more",
                do="Ask for more shots: fewer cannot show their spread.",
            )
        )
    total_ul = volume_ul * wishes["shots"]
    if not 0 < total_ul <= pump.per_calibration_ul:
        raise RefusedError(
            Finding(
                what=f"{wishes['shots']} shots of {show_volume(volume_ul)} are "
                f"{show_volume(total_ul)} together",
                where=f"slackwater.toml [pump.{pump.id}] most_per_calibration",
                expected=f"at most {show_volume(pump.per_calibration_ul)} in an hour",
                do="Ask for less, or raise the cap in the file.",
            )
        )
    return volume_ul


def _ask_outlet(pump: Pump) -> None:
    question = f"Does the outlet of {pump.id} hang in a cylinder, out of the tank?"
    if not _yes(question):
        raise RefusedError(
            Finding(
                what="the outlet is not in a cylinder",
                where=f"pump {pump.id}",
                expected="the outlet out of the tank, over a measuring cylinder",
                do="Nothing has run. Move the outlet, then calibrate.",
            )
        )


def _yes(question: str) -> bool:
    typed = str(click.prompt(f"{question} [yes/no]", err=True)).strip().lower()
    return typed in {"y", "yes"}


def measure(
    shoot: Shoot, pump: Pump, asked: tuple[int, int], in_force_nl_per_s: int
) -> Measured:
    """Run, ask after each run what the cylinder shows, and judge what was typed.

    Shape: `asked` is how many runs, and microlitres of each.
    Raises: InputError for what is no volume; RefusedError when the shots contradict
    each other or the rate in force, or when nobody is sure of a large change.
    """
    return _judged(_run(shoot, pump, asked), in_force_nl_per_s)


def _run(shoot: Shoot, pump: Pump, asked: tuple[int, int]) -> list[tuple[Shot, int]]:
    """Run and measure shot by shot: how each ended, and what the cylinder showed."""
    shots, volume_ul = asked
    ran: list[tuple[Shot, int]] = []
    for number in range(1, shots + 1):
        click.echo(f"Shot {number} of {shots}: {show_volume(volume_ul)} …", err=True)
        shot = shoot(pump.id, volume_ul, _tell_wait)
        typed = click.prompt("Measured in the cylinder (for example 2.05 mL)", err=True)
        ran.append((shot, typed_ul(str(typed), f"shot {number}")))
    return ran


def _tell_wait(reasons: tuple[Reason, ...]) -> None:
    for reason in reasons:
        click.echo(f"  waits: {reason.text}", err=True)


def _judged(ran: Sequence[tuple[Shot, int]], in_force_nl_per_s: int) -> Measured:
    """The mean rate, its spread, and its ratio to the rate in force."""
    if any(shot.ran_ms <= 0 for shot, _ in ran):
        raise RefusedError(_not_kept("a run has no run time", "a reported run time"))
    if any(ul <= 0 for _, ul in ran):
        raise RefusedError(_not_kept("a shot gave nothing", "a volume in the cylinder"))
    rates = [ul * NL_PER_UL * MS_PER_S / shot.ran_ms for shot, ul in ran]
    total_ms = sum(shot.ran_ms for shot, _ in ran)
    mean = sum(ul for _, ul in ran) * NL_PER_UL * MS_PER_S / total_ms
    spread = 100 * (max(rates) - min(rates)) / mean
    if spread > SPREAD_AT_MOST_PERCENT:
        what = f"the shots differ by {spread:.1f} %"
        raise RefusedError(_not_kept(what, f"{SPREAD_AT_MOST_PERCENT:.0f} % or less"))
    ratio = mean / in_force_nl_per_s
    if not REFUSED_BELOW <= ratio <= REFUSED_ABOVE:
        what = f"the rate is {ratio:.2f} times the one in force"
        raise RefusedError(_not_kept(what, "between 0.5 and 2 times"))
    if not AGAIN_BELOW <= ratio <= AGAIN_ABOVE and not _yes(
        f"The rate is {ratio:.2f} times the one in force. Measured twice, and sure?"
    ):
        raise RefusedError(_not_kept("a large change was not confirmed", "yes"))
    return Measured(rate_nl_per_s=int(mean), spread_percent=spread, ratio=ratio)


def _not_kept(what: str, expected: str) -> Finding:
    return Finding(
        what=what,
        where="calibration",
        expected=expected,
        do="Nothing was kept. Free the tube of air, prime, and measure again.",
    )


def _answer(event: Calibrated, measured: Measured) -> Answer:
    per_min = event.rate_nl_per_s * 60 / NL_PER_UL / NL_PER_UL
    missing = [name for name in PROOFS if name not in event.proofs]
    text = (
        f"{event.pump}: {per_min:.2f} mL/min from {event.shots} shots, spread "
        f"{event.spread_percent:.1f} %, {measured.ratio:.3f} times the rate before.\n"
        f"Calibration {event.cal} is on record; it needs a new approval.\n"
    )
    if missing:
        text += f"Not proven, so not enough to enable: {', '.join(missing)}.\n"
    return Answer(
        fields={
            "pump": event.pump,
            "rate_nl_per_s": event.rate_nl_per_s,
            "calibration": event.cal,
            "shots": event.shots,
            "spread_percent": event.spread_percent,
            "ratio": round(measured.ratio, 4),
            "proofs": list(event.proofs),
            "missing_proofs": missing,
        },
        text=text,
    )
