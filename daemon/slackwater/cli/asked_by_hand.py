"""What people asked for by hand and nobody has given yet, as a status tells it.

Floor 8. One subject: requests that wait. Laws here: a request waits from its entry
until it is intended, missed or taken back; one whose time is over waits for a daemon
that says so and is not shown as if it could still come; a measured run belongs to
whoever measures and is shown by nobody else.
"""

from collections.abc import Iterator
from datetime import datetime

from slackwater.cli.render import local
from slackwater.facts.events import ShotRequested
from slackwater.facts.state import State
from slackwater.ledger.codec import timestamp
from slackwater.water.show import show_volume


def waiting(state: State) -> list[ShotRequested]:
    """Everything that was asked for and not begun, in the order of the asking."""
    return [one for one in state.requests.values() if one.request not in state.used]


def asked_lines(state: State, utc: datetime, zone: str) -> Iterator[str]:
    """The line of a status: the first that waits, and how many more; maybe none."""
    found = _shown(state, utc)
    if not found:
        return
    first, others = found[0], len(found) - 1
    more = f"; {others} more: --json lists them" if others else ""
    yield (
        f"Asked  {show_volume(first.volume_ul)} of {first.pump} by {first.by}, given "
        f"until {local(first.until, zone)} or never: "
        f"`slackwater take-back {first.request}`{more}"
    )


def asked_documents(state: State, utc: datetime) -> list[dict[str, object]]:
    """The same, all of them, for programs."""
    return [asked_document(one) for one in _shown(state, utc)]


def asked_document(one: ShotRequested) -> dict[str, object]:
    """One of them: what was asked of which pump, by whom, and until when it waits."""
    return {
        "request": one.request,
        "pump": one.pump,
        "volume_ul": one.volume_ul,
        "in_water": one.purpose == "manual",
        "until": timestamp(one.until),
        "by": one.by,
        "why": one.why,
    }


def _shown(state: State, utc: datetime) -> list[ShotRequested]:
    return [
        one for one in waiting(state) if one.purpose != "calibrate" and utc <= one.until
    ]
