"""What was said about the guards, folded.

Floor 2. One subject: bypasses, probes out of service, absence, treatments and top-off
sums in the state; and what a probe showed when a hand tested beside it. Laws
here: the newest word counts; nothing is kept that no interlock reads.
"""

from collections.abc import Callable, Mapping
from datetime import timedelta
from typing import Any

from slackwater.facts.entered import LevelEntered
from slackwater.facts.events import ReadingKept
from slackwater.facts.safeguards import (
    AwayDeclared,
    AwayEnded,
    BypassEnded,
    BypassGranted,
    ProbePutBack,
    ProbeTakenOut,
    TopOffSummed,
)
from slackwater.facts.state import Compared, State
from slackwater.facts.storing import STORE_FOLDS
from slackwater.facts.waters import HusbandryNoted, MeasurementKept, MeasurementStruck

# Kept readings come each half hour: one within this time stood beside the test.
BESIDE = timedelta(minutes=45)
# Days of top-off whose median is usual.
TOP_OFF_DAYS = 14


def fold_bypass_granted(state: State, event: BypassGranted) -> None:
    """The newest bypass of an interlock is the one that counts."""
    state.bypasses[event.interlock] = event


def fold_bypass_ended(state: State, event: BypassEnded) -> None:
    """The interlock counts again."""
    state.bypasses.pop(event.interlock, None)


def fold_probe_taken_out(state: State, event: ProbeTakenOut) -> None:
    """Hand tests stand in for the probe."""
    state.out_of_service[event.probe] = event


def fold_probe_put_back(state: State, event: ProbePutBack) -> None:
    """The probe counts again, and what it showed beside an older test does not."""
    state.out_of_service.pop(event.probe, None)
    state.compared.pop(event.probe, None)


def fold_away_declared(state: State, event: AwayDeclared) -> None:
    """The newest declaration takes the place of one before."""
    state.away = event


def fold_away_ended(state: State, _event: AwayEnded) -> None:
    """Corrections run again."""
    state.away = None


def fold_top_off(state: State, event: TopOffSummed) -> None:
    """Keep the sums of two weeks."""
    days = {**state.top_offs.get(event.switch, {}), event.day: event.volume_ul}
    kept = sorted(days)[-TOP_OFF_DAYS:]
    state.top_offs[event.switch] = {day: days[day] for day in kept}


def fold_husbandry(state: State, event: HusbandryNoted) -> None:
    """A treatment with an end holds until then; a later word replaces it."""
    if event.what == "treatment" and event.until is not None:
        state.treatments[event.tank] = event.until
    elif event.what == "probe_serviced":
        # What a probe showed before it was cleaned speaks no longer against it.
        for probe, compared in list(state.compared.items()):
            if compared.tank == event.tank:
                del state.compared[probe]


def nearest_shown(
    state: State, test: MeasurementKept | LevelEntered
) -> dict[str, float]:
    """What each probe of the parameter showed beside a test, canonical units."""
    found = {probe: _nearest(state, probe, test) for probe in state.readings}
    return {probe: one.value for probe, one in found.items() if one is not None}


def compare(state: State, event: MeasurementKept) -> None:
    """Remember what each probe of the parameter showed when a hand tested it."""
    if event.provenance != "hand" or event.censored:
        return
    for probe in state.readings:
        beside = _beside(state, probe, event)
        known = state.compared.get(probe)
        if beside is not None and (known is None or known.taken_at <= event.taken_at):
            state.compared[probe] = beside


def forget_compared(state: State, event: MeasurementStruck) -> None:
    """A test that was struck compared nothing."""
    for probe, known in list(state.compared.items()):
        if known.measurement == event.measurement:
            del state.compared[probe]


def _nearest(
    state: State, probe: str, test: MeasurementKept | LevelEntered
) -> ReadingKept | None:
    """The kept reading nearest to a test, when one stood beside it."""
    kept = [
        reading
        for reading in state.readings[probe]
        if (reading.tank, reading.parameter) == (test.tank, test.parameter)
        and abs(reading.taken_at - test.taken_at) <= BESIDE
    ]
    return min(
        kept, key=lambda reading: abs(reading.taken_at - test.taken_at), default=None
    )


def _beside(state: State, probe: str, test: MeasurementKept) -> Compared | None:
    nearest = _nearest(state, probe, test)
    if nearest is None:
        return None
    return Compared(
        tank=test.tank,
        measurement=test.id,
        taken_at=test.taken_at,
        tested=test.value,
        shown=nearest.value,
    )


SAFEGUARD_FOLDS: Mapping[type, Callable[[State, Any], None]] = {
    BypassGranted: fold_bypass_granted,
    BypassEnded: fold_bypass_ended,
    ProbeTakenOut: fold_probe_taken_out,
    ProbePutBack: fold_probe_put_back,
    AwayDeclared: fold_away_declared,
    AwayEnded: fold_away_ended,
    **STORE_FOLDS,
    TopOffSummed: fold_top_off,
    HusbandryNoted: fold_husbandry,
}
