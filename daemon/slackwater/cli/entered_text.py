"""Tests entered from afar, for people and documents.

Floor 8. One subject: what waits to be confirmed. Laws here: each says that it is not
confirmed and how to confirm it; the oldest comes first.
"""

from collections.abc import Iterator
from datetime import datetime

from slackwater.cli.render import span, table
from slackwater.facts.entered import LevelEntered
from slackwater.facts.state import State
from slackwater.ledger.codec import timestamp
from slackwater.water.parameters import parameter_named
from slackwater.water.show import show_level


def waiting_entries(state: State, tank: str | None = None) -> list[LevelEntered]:
    """What nobody has settled yet, of one tank or of all, the oldest first."""
    told = [one.told for one in state.entered.values() if tank in (None, one.told.tank)]
    return sorted(told, key=lambda one: (one.taken_at, one.id))


def entered_lines(state: State) -> Iterator[str]:
    """The line of a status; nothing when nothing waits."""
    found = waiting_entries(state)
    if found:
        newest = found[-1]
        count = "1 test" if len(found) == 1 else f"{len(found)} tests"
        yield (
            f"Tests  {count} entered from afar, unconfirmed, the newest "
            f"{newest.parameter} {newest.typed}: `slackwater confirm`"
        )


def entered_table(found: list[LevelEntered], now: datetime) -> str:
    """A row for each; says so when there is none."""
    if not found:
        return "Nothing entered from afar waits to be confirmed."
    rows = [
        (
            one.id,
            one.tank,
            one.parameter,
            show_level(one.parameter, one.value),
            f"{span(now - one.taken_at)} ago",
            one.note,
        )
        for one in found
    ]
    heads = ("|id", "tank", "parameter", ">level", "entered", "note")
    return (
        "Entered from afar, not confirmed: may stop doses, counts for nothing else.\n"
        f"{table(heads, rows)}"
    )


def entered_documents(state: State, tank: str | None = None) -> list[dict[str, object]]:
    """The same for a document; the level as a decimal string, canonical."""
    return [entered_document(one) for one in waiting_entries(state, tank)]


def entered_document(one: LevelEntered) -> dict[str, object]:
    """One entry for a document."""
    return {
        "id": one.id,
        "tank": one.tank,
        "parameter": one.parameter,
        "level": str(one.value),
        "unit": parameter_named(one.parameter, where="").canonical_unit,
        "typed": one.typed,
        "entered_at": timestamp(one.taken_at),
        "request": one.request,
        "note": one.note,
    }
