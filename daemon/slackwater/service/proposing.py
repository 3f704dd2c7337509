"""A proposal that the caps of the machine allow, on every day of the year.

Floor 7. One subject: proposing until it fits. Laws here: the caps decide, never the
proposal; what does not fit comes down, and says so; a plan that still has findings is
given with them and never hidden.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

from slackwater.assessment.knobs import per_day_ul
from slackwater.assessment.proposal import Asked, propose
from slackwater.errors import Finding
from slackwater.facts.proposal import Proposal
from slackwater.facts.tank import Machine
from slackwater.planning.ceilings import Ceiling, ceilings
from slackwater.planning.ceilings import check as check_plan
from slackwater.planning.faults import line_faults

# Each round brings a pump below the cap it broke; more rounds than this never did.
ROUNDS = 12
# A hair below, so that rounding cannot bring it back above.
BELOW = 0.998


@dataclass(frozen=True, slots=True, kw_only=True)
class Fitted:
    """A proposal, and what `check` still says of its plan (empty: nothing)."""

    proposal: Proposal
    findings: tuple[Finding, ...]


def propose_fitting(asked: Asked) -> Fitted:
    """The proposal for a tank, brought under every cap as `check` sums them up.

    Raises: KeyError when the machine has no such tank.
    """
    proposal = _proposed(asked, ROUNDS)
    findings = tuple(check_plan(proposal.plan, asked.machine))
    return Fitted(proposal=proposal, findings=findings)


def _proposed(asked: Asked, rounds: int) -> Proposal:
    proposal = propose(asked)
    broken = _broken(proposal, asked.machine) if rounds else ()
    lower = _lower(proposal, broken, asked.machine)
    if not lower:
        return proposal
    lowered = replace(asked, most_ul={**asked.most_ul, **lower})
    return _proposed(lowered, rounds - 1)


def _broken(proposal: Proposal, machine: Machine) -> tuple[Ceiling, ...]:
    if line_faults(proposal.plan, machine):
        return ()
    found = ceilings(proposal.plan, machine).broken
    return tuple(one for one in found if one.tank == proposal.tank)


def _lower(
    proposal: Proposal, broken: tuple[Ceiling, ...], machine: Machine
) -> Mapping[str, int]:
    """What each pump that takes part in a broken cap may still give a day."""
    lower: dict[str, int] = {}
    for ceiling in broken:
        # What counts beside doses cannot be lowered.
        room = max((ceiling.cap or 0) - ceiling.aside, 0)
        share = room / (ceiling.fits - ceiling.aside)
        for change in proposal.changes:
            pump = machine.pumps[change.pump]
            effects = machine.solutions[pump.solution].effects
            if change.pump == ceiling.pump or ceiling.parameter in effects:
                most = int(_highest_ul(change.pump, proposal) * share * BELOW)
                lower[change.pump] = min(most, lower.get(change.pump, most))
    return lower


def _highest_ul(pump: str, proposal: Proposal) -> float:
    """The most a pump gives on any day: its largest step, and every correction."""
    mine = [line for line in proposal.plan.lines if line.pump == pump]
    lasting = [per_day_ul(line) for line in mine if line.purpose == "maintenance"]
    more = sum(per_day_ul(line) for line in mine if line.purpose == "correction")
    return max(lasting, default=0.0) + more
