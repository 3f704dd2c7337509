"""A dose that a person asks for by hand, as the gate looks at it.

Floor 3. One subject: a dose without a line of a plan. Laws here: it is judged as the
strictest of doses is, a correction; whatever holds, caps or parts doses of the plan
does so here, and a small ceiling of its own comes on top.
"""

from collections.abc import Iterator

from slackwater.facts.plan import PlanLine
from slackwater.facts.reasons import Code, Reason, because
from slackwater.facts.rolling import DAY_MS
from slackwater.gate.moment import Ask, LineRule, Moment, PumpRule


def line_by_hand(rule: PumpRule, volume_ul: int) -> LineRule:
    """The line that a plan would need for it: one correction, of no group."""
    pump = rule.pump
    line = PlanLine(
        id="",
        tank=pump.tank,
        solution=pump.solution,
        pump=pump.id,
        per_day_ul=volume_ul,
        count=1,
        purpose="correction",
    )
    return LineRule(
        line=line,
        mates=(),
        follows_alkalinity=rule.adds_alkalinity,
        has_correction=True,
    )


def over_hand_cap(moment: Moment, ask: Ask, volume_ul: int) -> Iterator[Reason]:
    """The ceiling of all that was given by hand in any 24 h, as it is charged.

    Units: microlitres.
    """
    pump = ask.pump.pump
    given = moment.state.charges.get(f"hand/{pump.id}")
    charged_ul = 0 if given is None else given.since(moment.proven_ms - DAY_MS)
    if not 0 < charged_ul + volume_ul <= pump.per_hand_ul:
        yield because(
            Code.CAP_BY_HAND,
            charged_ul=charged_ul,
            asked_ul=volume_ul,
            cap_ul=pump.per_hand_ul,
        )
