"""The runs of a calibration, as they were asked for and as they are where nobody asked.

Floor 8. One subject: how many runs of how many shots of which lengths. Laws here: runs
that could not tell the rate apart from start and stop, or that the pump's own small cap
cannot hold, are refused before anything flows.
"""

from dataclasses import replace
from typing import TypedDict

from slackwater.cli.series import RUNS_AT_MOST, RUNS_FIRST, Series
from slackwater.cli.typed import typed_ul
from slackwater.errors import Finding, InputError, RefusedError
from slackwater.facts.tank import Machine, Pump
from slackwater.pump.command import pulse_ul
from slackwater.pump.flow import RUNS_AT_LEAST
from slackwater.water.show import show_volume

# The longest of the asked volumes over the shortest: runs then differ enough, whatever
# start and stop take away.
TWICE = 2
# Shots of one second and of three, where nobody asks for others: a start takes up to
# 0.4 s away, and the less a shot gives, the more of them average out.
SHOT_S = (1, 3)
# Shots that are collected and measured together; what one of them scatters, up to 5 %,
# is less than 1 % of their mean. More shots cost liquid and time but no reading, and
# no more than a cylinder of 50 mL takes. A relay gives few pulses and rests long.
SHOTS, PULSES = 20, 3
# A steady pump is known after so many runs; where the cap of the hour is too small for
# them, fewer shots each must do. The rest of the cap is for filling the hose.
RUNS_OF_A_STEADY, CAP_PERCENT = 6, 90
# A relay gives 24 pulses a day (command contract); the rest of them is for priming.
RELAY_RUNS_AT_MOST = 6
# Of pumps whose shots and doses are each up to 5 % off, 95 in 100 are then booked
# within 1 % over a day of 48 doses; at 0.75 % it is 94, and at 0.4 % it would be 96,
# for twice the liquid: `python -m tests.bench.booked`.
WITHIN_PERCENT = 0.6
NL_PER_UL = 1000


class Asked(TypedDict):
    """What was said of the runs; nothing of what was left open."""

    runs: int | None
    shots: int | None
    volume: tuple[str, ...]


def series_of(pump: Pump, machine: Machine, wishes: Asked) -> Series:
    """The runs that were asked for, checked against the pump's own calibration cap.

    Raises: InputError for too few, or lengths too near each other; RefusedError when
    the cap is less than they take.
    """
    relay = machine.nodes[pump.node].relay
    one_length = relay is not None and relay.always_ms > 0
    _refuse_few(wishes["runs"], "--runs", RUNS_AT_LEAST)
    _refuse_few(wishes["shots"], "--shots", 1)
    asked_ul = {_volume(text) for text in wishes["volume"]}
    if not asked_ul and relay is not None and one_length:
        asked_ul = {pulse_ul(relay.always_ms, pump.rate_nl_per_s)}
    typed = sorted(asked_ul or {_flows_in(pump, shot_s) for shot_s in SHOT_S})
    if typed[-1] < TWICE * typed[0] and not one_length:
        raise InputError(_one_length(typed))
    series = Series(
        pump=pump.id,
        volumes_ul=tuple(typed),
        rate_nl_per_s=pump.rate_nl_per_s,
        shots=wishes["shots"] or 1,
        runs=wishes["runs"],
        within_percent=WITHIN_PERCENT,
        most_runs=RUNS_AT_MOST if relay is None else RELAY_RUNS_AT_MOST,
        one_length=one_length,
    )
    if wishes["shots"] is None:
        usual = SHOTS if relay is None else PULSES
        fits = _shots_that_fit(series, pump.per_calibration_ul)
        series = replace(series, shots=min(usual, fits))
    _refuse_over_cap(pump, series)
    return series


def within(series: Series, pump: Pump, room_ul: int, *, may_shrink: bool) -> Series:
    """The series as it fits what may still flow; `may_shrink` where nobody said how.

    Raises: RefusedError when not even its first runs do.
    """
    fitting = series
    if may_shrink:
        single = replace(series, shots=1)
        fits = min(series.shots, _shots_that_fit(single, room_ul))
        fitting = replace(series, shots=fits)
    runs = RUNS_FIRST if series.runs is None else series.runs
    total_ul = fitting.total_ul(runs)
    if total_ul > room_ul:
        raise RefusedError(
            Finding(
                what=f"{runs} runs are {show_volume(total_ul)} together",
                where=f"pump {pump.id}",
                expected=f"at most {show_volume(max(room_ul, 0))} now: what its cap of "
                "the hour and its node's limit of the day leave beside the plan",
                do="Nothing was measured. Wait, or ask for less with --runs, --shots "
                "or --volume.",
            )
        )
    return fitting


def _shots_that_fit(single: Series, room_ul: int) -> int:
    """As many shots a run as there is room for, one at least; of single shots."""
    runs = RUNS_OF_A_STEADY if single.runs is None else single.runs
    fits = room_ul * CAP_PERCENT // 100 // single.total_ul(runs)
    return max(fits, 1)


def _flows_in(pump: Pump, shot_s: int) -> int:
    """What a pump gives in a shot of this length, on a step that reads well."""
    volume_ul = pump.rate_nl_per_s * shot_s // NL_PER_UL
    step_ul = int(10 ** max(len(str(volume_ul)) - 2, 0))
    return max(volume_ul // step_ul * step_ul, 1)


def _refuse_few(count: int | None, option: str, least: int) -> None:
    if count is not None and count < least:
        raise InputError(
            Finding(
                what=f"{count} of them were asked for",
                where=option,
                expected=f"{least} or more",
                do="Ask for more: too few cannot show how far they differ.",
            )
        )


def _refuse_over_cap(pump: Pump, series: Series) -> None:
    runs = RUNS_FIRST if series.runs is None else series.runs
    total_ul = series.total_ul(runs)
    if total_ul > pump.per_calibration_ul:
        raise RefusedError(
            Finding(
                what=f"{runs} runs are {show_volume(total_ul)} together",
                where=f"slackwater.toml [pump.{pump.id}] most_per_calibration",
                expected=f"at most {show_volume(pump.per_calibration_ul)} in an hour",
                do="Ask for less with --runs, --shots or --volume, or raise the cap in "
                "the file.",
            )
        )


def _volume(text: str) -> int:
    volume_ul = typed_ul(text, "--volume")
    if volume_ul > 0:
        return volume_ul
    raise InputError(
        Finding(
            what=f'"{text}" is nothing to measure',
            where="--volume",
            expected="more than 0 mL, as much as the cylinder shows well",
            do='Give what the shots shall ask, like  --volume "1 mL" --volume "3 mL"',
        )
    )


def _one_length(typed: list[int]) -> Finding:
    volumes = " and ".join(show_volume(volume_ul) for volume_ul in typed)
    return Finding(
        what=f"all shots ask about the same, {volumes}",
        where="--volume",
        expected="two volumes or more, the largest at least twice the smallest",
        do='Give two, like  --volume "1 mL" --volume "3 mL" : runs of one length '
        "cannot tell what start and stop take away.",
    )
