"""What the channels of pump nodes counted, as far as this ledger knows.

Floor 2. One subject: the number up to which runs of a channel are on record. Laws here:
a count that is on record says nothing new; what nobody commanded was somebody's, and
nobody can say how much it gave.
"""

from slackwater.facts.events import HoldRaised
from slackwater.facts.inputs import InputsKept
from slackwater.facts.state import Commanded, State


def fold_counted(state: State, event: InputsKept) -> None:
    """Keep what a channel counted before its first command.

    So a ledger put back to before that command has something to compare with.
    """
    if state.stage != "live":
        return
    for node, seen in event.nodes.items():
        for channel, (count, *_) in seen.channels.items():
            name = f"{node}/{channel}"
            if name not in state.commanded:
                state.commanded[name] = Commanded(
                    boot=seen.boot, n=count - 1, fence=state.fence
                )


def take_over_count(state: State, event: HoldRaised) -> None:
    """What its channels counted is on record now: one release ends it for good.

    What those runs gave nobody can say: a day of the caps counts as used up.
    """
    state.unanswered_ms = event.proven_ms
    told = event.reason.figures
    counted = {str(told["channel"]): str(told["counted"])}
    counted |= dict(one.split() for one in str(told.get("also", "")).split(", ") if one)
    for channel, count in counted.items():
        name = f"{told['node']}/{channel}"
        known = state.commanded.setdefault(name, Commanded(boot="", n=0, fence=0))
        known.boot, known.n = str(told["boot"]), int(count) - 1
