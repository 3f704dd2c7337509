"""What keeps every command from a pump, and how that is said.

Floor 2. One subject: words for a tank that no pump can be commanded for. Laws here:
what passes by itself within minutes is no reason; for display only, nothing decides
on it.
"""

from slackwater.facts.reasons import Code

# Without these a line gets nothing until something or somebody changes it.
UNREACHED = frozenset(
    {
        Code.LINK_DOWN,
        Code.NODE_ABSENT,
        Code.NODE_FAULT,
        Code.NODE_HELD,
        Code.NODE_IDENTITY,
        Code.CLOCK_BEHIND,
        Code.CLOCK_UNPROVEN,
        Code.LEDGER_FULL,
    }
)
NO_PUMP = "No pump can be commanded: "


def link_words(*, observe_up: bool, actuate_up: bool, began: str = "") -> str:
    """Which connection is down, and since when: `began` is empty or begins blank."""
    which = "the connection"
    if observe_up:
        which = "the connection for commands"
    elif actuate_up:
        which = "the listening connection"
    return f"{NO_PUMP}{which} to the broker is down{began}."
