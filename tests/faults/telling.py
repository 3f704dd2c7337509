"""What happened on a voyage, in words for people."""

from slackwater.facts.events import DoseIntended
from tests.faults.evidence import Flow
from tests.properties.shell import Written

NAMES = ("attempt", "hold_id", "how", "charge_ul", "by", "why", "serial")


def clock_words(t_ms: int) -> str:
    """True time since the beginning: days, then the time of day."""
    seconds, ms = divmod(t_ms, 1000)
    days, seconds = divmod(seconds, 86_400)
    hours, seconds = divmod(seconds, 3600)
    return f"{days:3}d {hours:02}:{seconds // 60:02}:{seconds % 60:02}.{ms:03}"


def flow_words(flow: Flow) -> str:
    """One stretch out of one hose."""
    span_ms = flow.end_ms - flow.begin_ms
    name = flow.attempt[:8]
    return f"{flow.pump} gives {flow.volume_ul:.0f} µL in {span_ms} ms ({name})"


def entry_words(written: Written) -> str:
    """An entry on one line: its kind, what it is about, and its reasons."""
    event = written.event
    parts: list[str] = [event.kind]
    if isinstance(event, DoseIntended):
        parts += [event.dose.id, f"{event.command.ul} µL", event.command.attempt[:8]]
    elif hasattr(event, "dose"):
        parts.append(str(getattr(event.dose, "id", event.dose)))
    for name in NAMES:
        value = getattr(event, name, None)
        if value not in (None, ""):
            parts.append(f"{name} {str(value)[:24]}")
    reasons: list[object] = [*getattr(event, "reasons", ())]
    reasons += [event.reason] if hasattr(event, "reason") else []
    parts += [str(getattr(reason, "code", "")) for reason in reasons]
    return " ".join(parts)
