"""`calibrate`: timed shots into a cylinder, and what they measured.

Floor 8. One subject: stage 0 of a pump. Laws here: liquid moves only after a person
said where the outlet hangs; a measurement that cannot be right is refused and nothing
is kept; what was not proven by sight is not written down as proven.
"""

import logging
import signal
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TypedDict, Unpack

import click

from slackwater.cli.commissioning import (
    hear_node,
    nothing_left_over,
    ready_pump,
    say,
)
from slackwater.cli.document import Answer
from slackwater.cli.opening import local_user
from slackwater.cli.questions import ask_ul
from slackwater.cli.readiness import PROOFS
from slackwater.cli.shell import Shell, verb
from slackwater.cli.typed import WORD_AT_MOST, typed_text, typed_ul
from slackwater.cli.width import error_columns, fitted
from slackwater.errors import Finding, InputError, RefusedError
from slackwater.facts.events import Calibrated
from slackwater.facts.reasons import Reason
from slackwater.facts.tank import Machine, Pump
from slackwater.outside.clock import SystemClock
from slackwater.pump.command import calibration_id, rate_in_force
from slackwater.service import logs
from slackwater.service.calibrating import Session, Shot
from slackwater.service.loop import stamp_of, take_news, write
from slackwater.service.wiring import Places
from slackwater.water.show import show_volume

SHOTS_AT_LEAST = 3
SPREAD_AT_MOST_PERCENT = 5.0
# Beyond these ratios to the last rate a slip is likelier than wear (hazard H57).
REFUSED_BELOW, REFUSED_ABOVE = 0.5, 2.0
AGAIN_BELOW, AGAIN_ABOVE = 0.8, 1.25
YES = frozenset({"y", "yes"})
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
    logs.set_up(terminal=sys.stderr.isatty(), level=logging.ERROR)
    by = typed_text(wishes["by"] or local_user(), "--by", WORD_AT_MOST)
    known, machine = ready_pump(shell, pump)
    volume_ul = _volume(known, wishes)
    _tell_ahead(machine)
    for ending in (signal.SIGTERM, signal.SIGHUP):
        signal.signal(ending, signal.default_int_handler)
    try:
        _ask_outlet(known)
        session = Session(
            Places(config=shell.config, state=shell.state), SystemClock(), by
        )
        with session, nothing_left_over(session.rig):
            asked = (wishes["shots"], volume_ul)
            event, measured = _session(session, known, asked, by)
    except (KeyboardInterrupt, click.Abort) as error:
        raise InputError(_broken_off(pump)) from error
    return _answer(event, measured)


def _tell_ahead(machine: Machine) -> None:
    """What will be asked at the end, while it can still be watched for."""
    say("When all has run you are asked what you saw. Watch for it:")
    for question in PROOFS.values():
        say(f"  {question}")
    timing = machine.timing
    say(
        f"The first run begins {timing.start_hold_off_s:.0f} s after the node was "
        f"heard, the next ones {timing.same_pump_gap_s:.0f} s apart; Ctrl-C ends it."
    )


def _session(
    session: Session, pump: Pump, asked: tuple[int, int], by: str
) -> tuple[Calibrated, Measured]:
    """Runs, what they measured, what was seen, and the entry that keeps it."""
    rig = session.rig
    hear_node(rig, pump.node, say)
    in_force = rate_in_force(rig.memory.state, pump)[0]
    measured = measure(session.shoot, pump, asked, in_force)
    beat = rig.sight.nodes[pump.node].beat
    event = Calibrated(
        **stamp_of(rig),
        pump=pump.id,
        rate_nl_per_s=measured.rate_nl_per_s,
        cal=calibration_id(pump.id, measured.rate_nl_per_s),
        shots=asked[0],
        spread_percent=round(measured.spread_percent, 2),
        proofs=tuple(name for name, ask in PROOFS.items() if _yes(ask)),
        by=by,
        hw=beat.hw,
        cfg=beat.cfg,
    )
    while not write(rig, [event]):
        take_news(rig)
    return event, measured


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
    if volume_ul <= 0:
        raise InputError(
            Finding(
                what=f'"{wishes["volume"]}" is nothing to measure',
                where="--volume",
                expected="more than 0 mL, as much as the cylinder shows well",
                do='Give what each run shall ask, like  --volume "2 mL"',
            )
        )
    total_ul = volume_ul * wishes["shots"]
    if total_ul > pump.per_calibration_ul:
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
    asked = fitted(f"{question} [yes/no]", error_columns())
    typed = str(click.prompt(asked, err=True)).strip().lower()
    return typed in YES


def measure(
    shoot: Shoot, pump: Pump, asked: tuple[int, int], in_force_nl_per_s: int
) -> Measured:
    """Run, ask after each run what the cylinder shows, and judge what was typed.

    Shape: `asked` is how many runs, and microlitres of each.
    Raises: InputError for what is no volume; RefusedError when the shots contradict
    each other or the rate in force, or when nobody is sure of a large change.
    """
    return _judged(_run(shoot, pump, asked, in_force_nl_per_s), in_force_nl_per_s)


def _run(
    shoot: Shoot, pump: Pump, asked: tuple[int, int], in_force_nl_per_s: int
) -> list[tuple[Shot, int]]:
    """Run and measure shot by shot: how each ended, and what the cylinder showed.

    A slip ends it at once, before more liquid is spent on what cannot be kept.
    """
    shots, volume_ul = asked
    ran: list[tuple[Shot, int]] = []
    for number in range(1, shots + 1):
        say(f"Shot {number} of {shots}: {show_volume(volume_ul)} …")
        shot = shoot(pump.id, volume_ul, _tell_wait)
        question = "Measured in the cylinder (for example 2.05 mL)"
        ul = ask_ul(question, f"shot {number}")
        _refuse_far(ul, shot, in_force_nl_per_s)
        ran.append((shot, ul))
    return ran


def _refuse_far(ul: int, shot: Shot, in_force_nl_per_s: int) -> None:
    """Refuse one measurement that cannot be right, whatever the others say."""
    if shot.ran_ms <= 0:
        raise RefusedError(_not_kept("a run has no run time", "a reported run time"))
    if ul <= 0:
        raise RefusedError(_not_kept("a shot gave nothing", "a volume in the cylinder"))
    ratio = ul * NL_PER_UL * MS_PER_S / shot.ran_ms / in_force_nl_per_s
    if not REFUSED_BELOW <= ratio <= REFUSED_ABOVE:
        what = (
            f"{show_volume(ul)} in {shot.ran_ms / MS_PER_S:.1f} s is {ratio:.2f} times "
            "the rate in force"
        )
        raise RefusedError(
            _not_kept(what, f"between {REFUSED_BELOW:g} and {REFUSED_ABOVE:g} times")
        )


def _tell_wait(reasons: tuple[Reason, ...]) -> None:
    for reason in reasons:
        say(f"  waits: {reason.text}")


def _judged(ran: Sequence[tuple[Shot, int]], in_force_nl_per_s: int) -> Measured:
    """The mean rate, its spread, and its ratio to the rate in force."""
    rates = [ul * NL_PER_UL * MS_PER_S / shot.ran_ms for shot, ul in ran]
    total_ms = sum(shot.ran_ms for shot, _ in ran)
    mean = sum(ul for _, ul in ran) * NL_PER_UL * MS_PER_S / total_ms
    spread = 100 * (max(rates) - min(rates)) / mean
    if spread > SPREAD_AT_MOST_PERCENT:
        what = f"the shots differ by {spread:.1f} %"
        raise RefusedError(_not_kept(what, f"{SPREAD_AT_MOST_PERCENT:.0f} % or less"))
    ratio = mean / in_force_nl_per_s
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
        do="No rate was kept. Look at the decimal point of what was typed; free the "
        "tube of air, prime, and measure again.",
    )


def _broken_off(pump: str) -> Finding:
    return Finding(
        what=f"calibrating {pump} was broken off",
        where="standard input",
        expected="an answer to each question",
        do="No rate was kept; what ran is on record, and a run that waited will not "
        "begin. Start again.",
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
