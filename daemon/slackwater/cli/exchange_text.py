"""How pairs of pumps stand that exchange water, for a status.

Floor 8. One subject: accounts of exchanges as people read them. Laws here: a volume is
told with how far it may be off; what makes the pair rest stands beside it, with what
would prove more.
Units: whole microlitres in documents.
"""

from collections.abc import Iterator

from slackwater.facts.exchanges import Account
from slackwater.facts.mismatch import Mismatch, mismatch_of
from slackwater.facts.state import State
from slackwater.facts.tank import Machine
from slackwater.water.show import show_volume


def exchange_lines(machine: Machine, state: State) -> Iterator[str]:
    """One line for each pair that has moved water since its account was opened."""
    for name, account, found in _pairs(machine, state):
        more = found.drained_more_ul
        off = "as much as went out"
        if more:
            word = "more" if more > 0 else "less"
            off = f"{show_volume(abs(more))} {word} drained than filled"
        yield (
            f"Water  {name}: {show_volume(account.fill.moved_ul)} came in, {off}, give "
            f"or take {show_volume(found.within_ul)}; the pair rests at "
            f"{show_volume(found.most_ul)} (slackwater level)"
        )


def exchange_documents(machine: Machine, state: State) -> list[dict[str, object]]:
    """The same as the document says it."""
    return [
        {
            "pair": name,
            "phase": account.phase,
            "drained_ul": account.drain.moved_ul,
            "filled_ul": account.fill.moved_ul,
            "drained_more_ul": found.drained_more_ul,
            "within_ul": found.within_ul,
            "most_ul": found.most_ul,
        }
        for name, account, found in _pairs(machine, state)
    ]


def _pairs(machine: Machine, state: State) -> Iterator[tuple[str, Account, Mismatch]]:
    for name, pair in sorted(machine.exchanges.items()):
        account = state.exchanges.get(name)
        if account is not None:
            net_ul = machine.tanks[pair.tank].net_ul
            yield name, account, mismatch_of(state, name, net_ul)
