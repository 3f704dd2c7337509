"""What is missing before pumps may be enabled.

Floor 8. One subject: the conditions of leaving shadow. Laws here: all of them are told
at once, each as one finding with its figures and the verb that meets it; time counts
only as proven time; what cannot be shown is missing.
"""

import re
from collections.abc import Iterator, Mapping
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

from slackwater.cli.measured_places import moved_pump
from slackwater.cli.opening import (
    Approved,
    approval_at,
    daemon_is_here,
    newest_approval,
)
from slackwater.cli.render import span
from slackwater.errors import Finding, RefusedError
from slackwater.facts.fold import UNQUIET
from slackwater.facts.plan import Plan
from slackwater.facts.reasons import Code
from slackwater.facts.state import State
from slackwater.facts.tank import Machine, Timing
from slackwater.facts.wear import is_unmeasured
from slackwater.pump.outcome import Stamp
from slackwater.service.auditing import audited

# What a person saw before a pump may run by itself, and how `calibrate` asks for it.
PROOFS = {
    "identity": "Did exactly this pump turn, as seen with your own eyes?",
    "cut-off": "Did you see the node stop a run by itself, at its own cut-off?",
    "lost-link": "Did a run end by itself with the network unplugged?",
}

_VERB = re.compile("`(slackwater [^`]+)`")
_CONSENT = "`slackwater rehearse --faults`, read it, then `slackwater approve`"

SHADOW = "shadow"

# A week of shadow says what there is to say.
AUDITED = timedelta(days=7)

# Holds by which the clock is doubted, and which `clock confirm` ends.
CLOCK_CODES = (Code.CLOCK_UNPROVEN, Code.CLOCK_JUMPED, Code.CLOCK_BEHIND)


def missing(
    state: State,
    stamp: Stamp,
    state_dir: Path,
    files: tuple[Plan, Machine] | None = None,
) -> list[Finding]:
    """Every condition that does not hold, empty when pumps may be enabled.

    `files` stand for the plan where none was approved yet.
    """
    approved = approval_at(state, stamp["at"])
    counts = approved is not None and stamp["at"] < approved.approval.expires_at
    nearest = approved or newest_approval(state)
    timing = Timing() if nearest is None else nearest.machine.timing
    # In the order in which a person meets them.
    return [
        *_pumps(state, nearest, files),
        *(() if counts else [_no_approval(state, stamp)]),
        *_shadow(state, stamp, state_dir, timing),
        *_unquiet(state, stamp, timing),
        *(_differences(state, stamp, state_dir) if counts else ()),
    ]


def new_tubes(state: State, plan: Plan) -> list[str]:
    """A warning for each pump of a plan whose tube is newer than its calibration."""
    return [
        f"{pump}: its tube was swapped after it was measured, so what it gives is not "
        f"known: slackwater calibrate {pump}."
        for pump in sorted({line.pump for line in plan.lines})
        if is_unmeasured(state, pump)
    ]


def in_short(finding: Finding) -> str:
    """What is missing in a few words: of a time how long it must be."""
    return f"{finding.expected} in shadow" if finding.where == SHADOW else finding.where


def verbs(finding: Finding) -> str:
    """The verbs that a finding tells to run, in their order; empty where none."""
    return ", then ".join(_VERB.findall(finding.do))


def shadow_ms(state: State, stamp: Stamp, state_dir: Path) -> int:
    """Proven milliseconds in shadow with an approval.

    What a running daemon has not written down yet counts while it holds the directory.
    """
    known_ms = state.shadow_ms
    if state.running and state.approvals and daemon_is_here(state_dir):
        known_ms += max(stamp["proven_ms"] - state.watch_ms, 0)
    return known_ms


def _shadow(
    state: State, stamp: Stamp, state_dir: Path, timing: Timing
) -> Iterator[Finding]:
    needed = timedelta(seconds=timing.shadow_stage_s)
    passed = timedelta(milliseconds=shadow_ms(state, stamp, state_dir))
    if passed < needed:
        yield Finding(
            what=f"the daemon ran in shadow for {span(passed)} of proven time",
            where=SHADOW,
            expected=f"at least {span(needed)}",
            do="Let `slackwater run` go on (the unit, where it is installed).",
        )


def _differences(state: State, stamp: Stamp, state_dir: Path) -> Iterator[Finding]:
    """Where the shadow run did not do what the plan asks for, and nobody says why."""
    since = stamp["at"] - AUDITED
    if state.stage_since is not None:
        since = max(since, state.stage_since)
    if since >= stamp["at"]:
        return
    found = audited(state_dir, (since, stamp["at"]), stamp["at"])
    if found.departures:
        first = found.departures[0]
        yield Finding(
            what=f"the shadow run departs {len(found.departures)} times from what was "
            f"approved, first in {first.dose}: {first.what}",
            where="audit",
            expected="no difference that nobody explains",
            do="See `slackwater audit`; it is a fault of the program: report it.",
        )


def _unquiet(state: State, stamp: Stamp, timing: Timing) -> Iterator[Finding]:
    open_ids = [name for name, h in state.holds.items() if h.reason.code in UNQUIET]
    if open_ids:
        yield Finding(
            what=f"a clock or ledger hold stands: {', '.join(sorted(open_ids))}",
            where="holds",
            expected="none",
            do="See `slackwater why`, settle it, then `slackwater release HOLD`.",
        )
        return
    if state.unquiet_ms is None:
        return
    needed = timedelta(seconds=timing.quiet_before_enable_s)
    passed = timedelta(milliseconds=stamp["proven_ms"] - state.unquiet_ms)
    if passed < needed:
        yield Finding(
            what=f"the last clock or ledger hold ended {span(passed)} ago",
            where="holds",
            expected=f"at least {span(needed)} without one",
            do="Wait; `slackwater ledger` says why it came.",
        )


def unproven(state: State, pump: str) -> Finding | None:
    """What the newest calibration of a pump does not prove; None when it proves all."""
    known = state.calibrations.get(pump)
    lacking = [name for name in PROOFS if known and name not in known.proofs]
    if known is not None and not lacking:
        return None
    return Finding(
        what=f"its calibration does not prove {', '.join(lacking)}"
        if known
        else "the pump is not commissioned",
        where=f"pump {pump}",
        expected=f"a calibration that proves {', '.join(PROOFS)}",
        do=f"Run `slackwater calibrate {pump}`.",
    )


def refuse_unproven(state: State, plan: Plan, calibrations: Mapping[str, str]) -> None:
    """Refuse, while pumps are enabled, what enabling would refuse of new calibrations.

    `calibrations` are those approved before, by pump.
    Raises: RefusedError.
    """
    if state.stage != "live":
        return
    found = [
        lacking
        for pump in sorted({line.pump for line in plan.lines})
        if (known := state.calibrations.get(pump)) is not None
        and known.cal != calibrations.get(pump)
        and (lacking := unproven(state, pump)) is not None
    ]
    if found:
        raise RefusedError(found)


def _pumps(
    state: State, approved: Approved | None, files: tuple[Plan, Machine] | None
) -> Iterator[Finding]:
    plan = approved.plan if approved else files[0] if files else None
    if plan is None and not state.calibrations:
        yield _no_pump()
    used = state.calibrations if plan is None else {one.pump for one in plan.lines}
    for pump in sorted(used):
        known, lacking = state.calibrations.get(pump), unproven(state, pump)
        if lacking is not None:
            yield lacking
        elif known is None or approved is None:
            continue
        elif moved := moved_pump(known, approved.machine, pump):
            measure = f"Run `slackwater calibrate {pump}`, then {_CONSENT}."
            yield replace(moved, do=measure)
        elif known.cal != approved.approval.calibrations.get(pump):
            yield Finding(
                what=f"calibration {known.cal} is newer than the approval",
                where=f"pump {pump}",
                expected="the calibration that was approved",
                do=f"Run {_CONSENT}.",
            )


def _no_pump() -> Finding:
    return Finding(
        what="no pump is commissioned",
        where="pumps",
        expected=f"for each of the plan a calibration that proves {', '.join(PROOFS)}",
        do="Run `slackwater calibrate PUMP` for each.",
    )


def _no_approval(state: State, stamp: Stamp) -> Finding:
    last = state.approvals[-1].approval if state.approvals else None
    found, do = "no plan is approved", f"Run {_CONSENT}."
    if last is not None and last.takes_over_at > stamp["at"]:
        found = f"the approved plan counts from {last.takes_over_at:%Y-%m-%dT%H:%M:%SZ}"
        do = "Wait, or take it over at once with `slackwater approve --now`."
    elif last is not None:
        found = f"the approval expired at {last.expires_at:%Y-%m-%dT%H:%M:%SZ}"
    return Finding(what=found, where="approval", expected="an approval in force", do=do)
