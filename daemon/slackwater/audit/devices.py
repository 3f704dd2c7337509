"""The device that a dose was sent to, beside the one that was approved.

Floor 3. One subject: hardware and configuration in the beat a decision rested on. Laws
here: what the file names counts before what was seen when it was approved; a dose
whose inputs were not kept says nothing of its device.
"""

from collections.abc import Iterator

from slackwater.audit.given import Given
from slackwater.audit.history import History

UNSEEN = ("", "")


def wrong_devices(history: History, given: Given, order: int) -> Iterator[str]:
    """In what the node's beat was not that of the approved device; nothing for none."""
    intent, kept = given.intent, given.kept
    standing = history.asked_by(max(intent.at, intent.dose.due_at), order)
    if kept is None or standing is None or intent.dose_kind != "plan":
        return
    head = standing.consent.heads.get(intent.dose.pump)
    if head is None:
        return
    seen = kept.nodes.get(intent.command.node)
    if seen is None or seen.boot != intent.command.boot:
        yield f"sent to {intent.command.node}, which was not heard so"
        return
    approved = standing.consent.approval.hardware.get(head.node, UNSEEN)
    hardware = head.hardware_id or approved[0] or seen.hw
    config = head.config_id or approved[1] or seen.cfg
    if (seen.hw, seen.cfg) != (hardware, config):
        shown, named = f"{seen.hw} ({seen.cfg})", f"{hardware} ({config})"
        yield f"sent to the device {shown} instead of {named}"
