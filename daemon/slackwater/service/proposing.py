"""A proposal that the caps of the machine allow, on every day of the year.

Floor 7. One subject: proposing until it fits. Laws here: the caps decide, never the
proposal; what does not fit comes down, and says so; a plan that still has findings is
given with them and never hidden.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from slackwater.assessment.proposal import Asked, propose
from slackwater.errors import Finding
from slackwater.facts.proposal import Change, Proposal
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
    proposal = propose(asked)
    for _round in range(ROUNDS):
        broken = _broken(proposal, asked.machine)
        lower = _lower(proposal, broken, asked.machine)
        if not lower:
            break
        asked = replace(asked, most_ul={**asked.most_ul, **lower})
        proposal = propose(asked)
    findings = tuple(check_plan(proposal.plan, asked.machine))
    return Fitted(proposal=proposal, findings=findings)


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
        taking = [
            change
            for change in proposal.changes
            if change.pump == ceiling.pump
            or ceiling.parameter in _effects(change.pump, machine)
        ]
        share = _share(ceiling, taking, machine)
        for change in taking:
            most = int(_gives(change) * share * BELOW)
            lower[change.pump] = min(most, lower.get(change.pump, most))
    return lower


def _share(ceiling: Ceiling, taking: Sequence[Change], machine: Machine) -> float:
    """The share of the doses that fits; what else counts cannot be lowered.

    What a net rise leaves out of account and an outside source adds is no dose.
    """
    over = ceiling.fits - (ceiling.cap or 0)
    if not ceiling.parameter:
        return (ceiling.cap or 0) / ceiling.fits
    given = sum(
        _gives(one) * _effects(one.pump, machine)[ceiling.parameter] for one in taking
    )
    return max(1 - over / given, 0.0) if given else 0.0


def _gives(change: Change) -> int:
    return change.after_ul + max(change.correction_ul, 0)


def _effects(pump: str, machine: Machine) -> Mapping[str, int]:
    return machine.solutions[machine.pumps[pump].solution].effects
