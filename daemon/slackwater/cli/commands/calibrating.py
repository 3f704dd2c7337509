"""`calibrate`: timed shots into a cylinder or onto a scale, and what they measured.

Floor 8. One subject: stage 0 of a pump. Laws here: liquid moves only after a person
said where the outlet hangs; a measurement that cannot be right is refused and nothing
is kept; what was not proven by sight is not written down as proven.
"""

import logging
import signal
import sys
from dataclasses import replace
from typing import Unpack

import click

from slackwater.cli.commissioning import (
    hear_node,
    nothing_left_over,
    ready_pump,
    say,
)
from slackwater.cli.document import Answer
from slackwater.cli.opening import local_user, newest_approval
from slackwater.cli.read_off import AGAIN, BACK
from slackwater.cli.readiness import PROOFS
from slackwater.cli.runs_asked import (
    PULSES,
    SHOTS,
    WITHIN_PERCENT,
    Asked,
    series_of,
    within,
)
from slackwater.cli.series import Series
from slackwater.cli.shell import Shell, verb
from slackwater.cli.shooting import Measured, is_yes, measure, prime
from slackwater.cli.typed import WORD_AT_MOST, typed_text
from slackwater.cli.weighing import typed_density
from slackwater.errors import Finding, InputError, RefusedError
from slackwater.facts.events import Calibrated
from slackwater.facts.rolling import HOUR_MS
from slackwater.facts.tank import Machine, Node, Pump
from slackwater.outside.clock import SystemClock
from slackwater.planning.daily import fullest_day_ul
from slackwater.pump.command import (
    calibration_id,
    offset_in_force,
    pulse_ul,
    rate_in_force,
)
from slackwater.pump.flow import Flow
from slackwater.service import logs
from slackwater.service.calibrating import Session
from slackwater.service.loop import stamp_of, take_news, write
from slackwater.service.standing import only_one_measures
from slackwater.service.wiring import Places
from slackwater.water.show import show_volume

NL_PER_UL = 1000


class Wishes(Asked):
    """The options of the verb."""

    density: str | None
    by: str | None


@verb(
    "calibrate",
    epilog="This moves liquid. Wear eye protection; hang the outlet into a measuring "
    "cylinder or a cup on a scale, never into the tank. Questions come on standard "
    "error and are answered line by line on standard input, so a script can answer: "
    "the outlet; the hose, a volume for each priming and then yes; each run, with "
    f'--runs as many as that, where "{AGAIN}" instead of a reading lets the run flow '
    f'once more and "{BACK}" reads the run before anew; a change by more than a fifth, '
    "where there is one; and "
    "the three things that were seen. --json gives rate, offset and smallest dose with "
    "their intervals, what each run gave, the spread, how well the flow is known, and "
    "what was not proven.",
)
@click.argument("pump")
@click.option(
    "--runs",
    type=int,
    metavar="N",
    help="How many runs, 3 or more.  [default: as many as the flow needs to be known "
    f"within {WITHIN_PERCENT:g} %]",
)
@click.option(
    "--shots",
    type=int,
    metavar="N",
    help="How many shots a run is; they flow into one cylinder and are measured "
    f"together.  [default: {SHOTS}, fewer where the cap of the hour asks for it, "
    f"{PULSES} behind a relay]",
)
@click.option(
    "--volume",
    multiple=True,
    metavar="VOLUME",
    help="What a shot asks; give it twice or more, the runs take turns.  [default: "
    "what flows in 1 s, and in 3 s]",
)
@click.option(
    "--density",
    metavar="DENSITY",
    help='How heavy the solution is, like "1.05 kg/L", if shots are weighed.',
)
@click.option("--by", metavar="NAME", help="Who measures.  [default: the local user]")
def calibrate(shell: Shell, pump: str, **wishes: Unpack[Wishes]) -> Answer:
    """Measure what a pump really gives.

    Stage 0 of a pump: it needs no approval, has its own small cap, and its runs go
    into a cylinder. A run is some shots of one length, collected and measured together:
    empty the cylinder after each run, not after each shot. Short and long shots tell
    the rate apart from what start and stop take away, and how small a dose may be. It
    goes on until the flow is known well enough; at 30 mL/min that takes about 100 mL
    of a steady pump and 200 mL of one whose shots differ by 5 %, if
    most_per_calibration lets it flow, and counts against the node's limit of the day;
    what the plan gives in a day is left to it. A new
    calibration needs a new approval; one approval covers all pumps that were calibrated
    before it. The daemon is stopped meanwhile; pumps stay enabled, but for one that was
    never measured as it is, which goes through shadow first.
    """
    logs.set_up(terminal=sys.stderr.isatty(), level=logging.ERROR)
    by = typed_text(wishes["by"] or local_user(), "--by", WORD_AT_MOST)
    grams_per_litre = typed_density(wishes["density"], "--density")
    known, machine = ready_pump(shell, pump)
    series = replace(series_of(known, machine, wishes), grams_per_litre=grams_per_litre)
    for ending in (signal.SIGTERM, signal.SIGHUP):
        signal.signal(ending, signal.default_int_handler)
    places = Places(config=shell.config, state=shell.state)
    try:
        with only_one_measures(shell.state):
            _tell_ahead(known, machine)
            _ask_outlet(known)
            session = Session(places, SystemClock(), by)
            with session, nothing_left_over(session.rig):
                series = _fitting(session, known, series, wishes)
                event, measured = _session(session, known, series, by)
    except (KeyboardInterrupt, click.Abort) as error:
        raise InputError(_broken_off(pump)) from error
    return _answer(event, measured, one_length=series.one_length)


def _tell_ahead(pump: Pump, machine: Machine) -> None:
    """What will be asked at the end, while it can still be watched for."""
    say("When all has run you are asked what you saw. Watch for it:")
    for question in PROOFS.values():
        say(f"  {question}")
    apart = ""
    if machine.nodes[pump.node].relay is not None:
        apart = f"the next ones {machine.rest_s(pump):.0f} s apart, "
    say(
        f"The first shot begins {machine.timing.start_hold_off_s:.0f} s after the node "
        f"was heard, {apart}at most {show_volume(pump.per_calibration_ul)} flow in an "
        "hour; Ctrl-C ends it."
    )


def _session(
    session: Session, pump: Pump, series: Series, by: str
) -> tuple[Calibrated, Measured]:
    """Runs, what they measured, what was seen, and the entry that keeps it."""
    rig = session.rig
    state = rig.memory.state
    series = replace(
        series,
        rate_nl_per_s=rate_in_force(state, pump)[0],
        offset_nl=offset_in_force(state, pump),
    )
    measured = measure(session.shoot, series, lambda: _room_ul(session, pump))
    flow, beat = measured.flow, rig.sight.nodes[pump.node].beat
    event = Calibrated(
        **stamp_of(rig),
        pump=pump.id,
        rate_nl_per_s=flow.rate_nl_per_s,
        cal=calibration_id(pump.id, flow.rate_nl_per_s, flow.offset_nl),
        shots=measured.shots,
        spread_percent=round(flow.spread_percent, 2),
        proofs=tuple(name for name, ask in PROOFS.items() if is_yes(ask)),
        by=by,
        hw=beat.hw,
        cfg=beat.cfg,
        offset_nl=flow.offset_nl,
        rate_interval_nl_per_s=(flow.rate_low_nl_per_s, flow.rate_high_nl_per_s),
        offset_interval_nl=(flow.offset_low_nl, flow.offset_high_nl),
        smallest_ul=least_ul(flow, rig.setup.machine.nodes[pump.node]),
        runs=tuple((run.ran_ms, run.volume_ul) for run in measured.runs),
        shots_each=series.shots,
        node=pump.node,
        channel=pump.channel,
    )
    while not write(rig, [event]):
        take_news(rig)
    return event, measured


def least_ul(flow: Flow, node: Node) -> int:
    """The least volume that a pump gives reliably: a pulse, where it knows no other.

    Microlitres. A dose that is shortened to less than that would never be given.
    """
    relay = node.relay
    if relay is None or not relay.always_ms:
        return flow.smallest_ul
    whole_ul = pulse_ul(relay.always_ms, flow.rate_nl_per_s, flow.offset_nl)
    return max(flow.smallest_ul, whole_ul)


def _fitting(session: Session, pump: Pump, series: Series, wishes: Asked) -> Series:
    """The series as it fits what may flow, once the node was heard and the hose full.

    Raises: RefusedError for a silent node, or where not even the first runs fit.
    """
    hear_node(session.rig, pump.node, say)
    prime(session.shoot, pump.id)
    rig = session.rig
    relay = rig.setup.machine.nodes[pump.node].relay
    if series.one_length and relay is not None and not wishes["volume"]:
        # A pulse gives what it gives: less must not be asked for.
        rate_nl_per_s, _ = rate_in_force(rig.memory.state, pump)
        offset_nl = offset_in_force(rig.memory.state, pump)
        whole_ul = pulse_ul(relay.always_ms, rate_nl_per_s, offset_nl)
        series = replace(series, volumes_ul=(whole_ul,))
    room_ul = _room_ul(session, pump)
    fitting = within(series, pump, room_ul, may_shrink=wishes["shots"] is None)
    if fitting.shots < series.shots:
        say(
            f"No more than {show_volume(room_ul)} may flow now: {fitting.shots} of "
            f"{series.shots} shots a run, so it will be known less well."
        )
    return fitting


def _room_ul(session: Session, pump: Pump) -> int:
    """What may still flow by the cap of the hour, and by the node's limit of the day.

    What the approved plan gives in a day is left to it.
    """
    rig = session.rig
    given = rig.memory.state.charges.get(f"calibrate/{pump.id}")
    since_ms = stamp_of(rig)["proven_ms"] - HOUR_MS
    flowed_ul = 0 if given is None else given.since(since_ms)
    room_ul = pump.per_calibration_ul - int(flowed_ul)
    channel = rig.sight.nodes[pump.node].beat.channels.get(pump.channel)
    if channel is None:
        return room_ul
    approved, daily_ul = newest_approval(rig.memory.state), 0
    if approved is not None:
        fullest = fullest_day_ul(approved.plan, approved.machine)
        daily_ul = fullest.get(pump.id, 0)
    return min(room_ul, channel.budget_ul - daily_ul)


def _ask_outlet(pump: Pump) -> None:
    question = f"Does the outlet of {pump.id} hang in a cylinder, out of the tank?"
    if not is_yes(question):
        raise RefusedError(
            Finding(
                what="the outlet is not in a cylinder",
                where=f"pump {pump.id}",
                expected="the outlet out of the tank, over a cylinder or a scale",
                do="Nothing has run. Move the outlet, then calibrate.",
            )
        )


def _broken_off(pump: str) -> Finding:
    return Finding(
        what=f"calibrating {pump} was broken off",
        where="standard input",
        expected="an answer to each question",
        do="No rate was kept; what ran is on record, and a run that waited will not "
        "begin. Start again.",
    )


def _answer(event: Calibrated, measured: Measured, *, one_length: bool) -> Answer:
    missing = [name for name in PROOFS if name not in event.proofs]
    return Answer(
        fields={
            "pump": event.pump,
            "rate_nl_per_s": event.rate_nl_per_s,
            "rate_interval_nl_per_s": list(event.rate_interval_nl_per_s or ()),
            "offset_nl": event.offset_nl,
            "offset_interval_nl": list(event.offset_interval_nl or ()),
            "smallest_ul": event.smallest_ul,
            "calibration": event.cal,
            "within_percent": round(measured.flow.within_percent, 2),
            "wanted_percent": WITHIN_PERCENT,
            "shots": event.shots,
            "runs": [
                {
                    "shots": run.shots,
                    "ran_ms": run.ran_ms,
                    "measured_ul": run.volume_ul,
                }
                for run in measured.runs
            ],
            "measured_ul": measured.volume_ul,
            "spread_percent": event.spread_percent,
            "ratio": round(measured.ratio, 4),
            "proofs": list(event.proofs),
            "missing_proofs": missing,
        },
        text=words_of(event, measured, missing, one_length=one_length),
    )


def words_of(
    event: Calibrated, measured: Measured, missing: list[str], *, one_length: bool
) -> str:
    """What a person reads of a calibration; `missing` are the proofs that are."""
    flow = measured.flow
    low, high = map(_ml_per_min, (flow.rate_low_nl_per_s, flow.rate_high_nl_per_s))
    sure = "" if flow.within_percent <= WITHIN_PERCENT else ", less sure than wanted"
    return (
        f"{event.pump}: {_ml_per_min(event.rate_nl_per_s):.2f} mL/min (95 %: "
        f"{low:.2f} to {high:.2f}) from {event.shots} shots in {len(event.runs)} runs, "
        f"{show_volume(measured.volume_ul)} in all; spread {event.spread_percent:.1f} "
        f"%, {measured.ratio:.3f} times the rate before.\n"
        "What doses as large as these shots give on the average is known to "
        f"±{flow.within_percent:.2f} %{sure} (±{WITHIN_PERCENT:g} %).\n"
        + (_pulse_words(measured) if one_length else _start_words(event, flow))
        + f"Calibration {event.cal} is on record; it needs a new approval, one for all "
        "pumps calibrated before it. Then start the daemon again.\n"
        + (
            f"Not proven, so not enough to enable: {', '.join(missing)}.\n"
            if missing
            else ""
        )
    )


def _start_words(event: Calibrated, flow: Flow) -> str:
    start = "loses" if flow.offset_nl < 0 else "adds"
    return (
        f"Each start and stop {start} {abs(flow.offset_nl) / NL_PER_UL:.0f} µL "
        f"(95 %: {flow.offset_low_nl / NL_PER_UL:+.0f} to "
        f"{flow.offset_high_nl / NL_PER_UL:+.0f} µL); runs make up for it.\n"
        f"Smallest reliable dose: {show_volume(event.smallest_ul)}.\n"
    )


def _pulse_words(measured: Measured) -> str:
    """A relay with one pulse knows no smaller dose, and has no start to make up for."""
    each_ul = round(measured.volume_ul / measured.shots)
    return f"Each dose is one pulse and gives {show_volume(each_ul)}.\n"


def _ml_per_min(rate_nl_per_s: int) -> float:
    return rate_nl_per_s * 60 / NL_PER_UL / NL_PER_UL
