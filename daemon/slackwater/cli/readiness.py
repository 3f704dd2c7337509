"""What is missing before pumps may be enabled.

Floor 8. One subject: the conditions of leaving shadow. Laws here: each condition gives
one finding with its figures; time counts only as proven time; what cannot be shown is
missing.
"""

from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

from slackwater.cli.opening import Approved, approval_at, daemon_is_here
from slackwater.cli.render import span
from slackwater.errors import Finding
from slackwater.facts.fold import UNQUIET
from slackwater.facts.reasons import Code
from slackwater.facts.state import State
from slackwater.pump.outcome import Stamp
from slackwater.service.auditing import audited

# What a person saw before a pump may run by itself, and how `calibrate` asks for it.
PROOFS = {
    "identity": "Did exactly this pump turn, as seen with your own eyes?",
    "cut-off": "Did you see the node stop a run by itself, at its own cut-off?",
    "lost-link": "Did a run end by itself with the network unplugged?",
}

# A week of shadow says what there is to say.
AUDITED = timedelta(days=7)

# Holds by which the clock is doubted, and which `clock confirm` ends.
CLOCK_CODES = (Code.CLOCK_UNPROVEN, Code.CLOCK_JUMPED, Code.CLOCK_BEHIND)


def missing(state: State, stamp: Stamp, state_dir: Path) -> list[Finding]:
    """Every condition that does not hold, empty when pumps may be enabled."""
    approved = approval_at(state, stamp["at"])
    if approved is None or stamp["at"] >= approved.approval.expires_at:
        return [_no_approval(state), *_unquiet(state, stamp, approved)]
    return [
        *_shadow(state, stamp, state_dir, approved),
        *_unquiet(state, stamp, approved),
        *_differences(state, stamp, state_dir),
        *_pumps(state, approved),
    ]


def shadow_ms(state: State, stamp: Stamp, state_dir: Path) -> int:
    """Proven milliseconds in shadow with an approval.

    What a running daemon has not written down yet counts while it holds the directory.
    """
    known_ms = state.shadow_ms
    if state.running and state.approvals and daemon_is_here(state_dir):
        known_ms += max(stamp["proven_ms"] - state.watch_ms, 0)
    return known_ms


def _shadow(
    state: State, stamp: Stamp, state_dir: Path, approved: Approved
) -> Iterator[Finding]:
    needed = timedelta(seconds=approved.machine.timing.shadow_stage_s)
    passed = timedelta(milliseconds=shadow_ms(state, stamp, state_dir))
    if passed < needed:
        yield Finding(
            what=f"the daemon ran in shadow for {span(passed)} of proven time",
            where="shadow",
            expected=f"at least {span(needed)}",
            do="Let `slackwater run` go on.",
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


def _unquiet(
    state: State, stamp: Stamp, approved: Approved | None
) -> Iterator[Finding]:
    open_ids = [name for name, h in state.holds.items() if h.reason.code in UNQUIET]
    if open_ids:
        yield Finding(
            what=f"a clock or ledger hold stands: {', '.join(sorted(open_ids))}",
            where="holds",
            expected="none",
            do="Settle it and release it.",
        )
        return
    if state.unquiet_ms is None or approved is None:
        return
    needed = timedelta(seconds=approved.machine.timing.quiet_before_enable_s)
    passed = timedelta(milliseconds=stamp["proven_ms"] - state.unquiet_ms)
    if passed < needed:
        yield Finding(
            what=f"the last clock or ledger hold ended {span(passed)} ago",
            where="holds",
            expected=f"at least {span(needed)} without one",
            do="Wait; find out why it came.",
        )


def _pumps(state: State, approved: Approved) -> Iterator[Finding]:
    used = {line.pump for line in approved.plan.lines}
    for pump in sorted(used):
        known = state.calibrations.get(pump)
        unproven = [name for name in PROOFS if known and name not in known.proofs]
        if known is None or unproven:
            yield Finding(
                what=f"its calibration does not prove {', '.join(unproven)}"
                if known
                else "the pump is not commissioned",
                where=f"pump {pump}",
                expected=f"a calibration that proves {', '.join(PROOFS)}",
                do=f"Run `slackwater calibrate {pump}`.",
            )
        elif known.cal != approved.approval.calibrations.get(pump):
            yield Finding(
                what=f"calibration {known.cal} is newer than the approval",
                where=f"pump {pump}",
                expected="the calibration that was approved",
                do="Run `slackwater approve` again.",
            )


def _no_approval(state: State) -> Finding:
    waiting = [
        one.approval.takes_over_at for one in state.approvals if one.approval.serial
    ]
    found = "no approval is in force"
    if waiting:
        found += f"; the last one counts from {max(waiting):%Y-%m-%dT%H:%M:%SZ}"
    return Finding(
        what=found,
        where="approval",
        expected="an approval in force",
        do="Run `slackwater approve`, or wait until it takes over.",
    )
