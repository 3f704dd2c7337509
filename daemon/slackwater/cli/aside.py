"""What stands aside: bypasses, probes out of service, treatments, an absence.

Floor 8. One subject: lines and documents of what weakens or narrows dosing. Laws here:
whatever is left aside is shown wherever the state is shown, with its end.
"""

from collections.abc import Iterator
from datetime import datetime

from slackwater.cli.render import local
from slackwater.facts.safeguards import BypassGranted
from slackwater.facts.state import State
from slackwater.ledger.codec import timestamp


def aside_lines(state: State, utc: datetime, zone: str) -> Iterator[str]:
    """One line each, those that end first before others."""
    for name, granted in sorted(state.bypasses.items()):
        if utc < granted.until:
            end = local(granted.until, zone)
            yield f'Bypass {name} ({granted.scope}) until {end} "{granted.why}"'
    for probe, out in sorted(state.out_of_service.items()):
        if utc < out.until:
            yield f"Out    probe {probe} until {local(out.until, zone)}"
    for tank, until in sorted(state.treatments.items()):
        if utc < until:
            end = local(until, zone)
            yield f"Treats {tank} until {end}: no corrections, carbon or traces"
    if state.away is not None:
        word = "Away  " if utc >= state.away.from_at else "Leaves"
        span = f"{local(state.away.from_at, zone)} to {local(state.away.until, zone)}"
        yield f"{word} {span}: corrections are frozen until `slackwater back`"


def bypass_document(granted: BypassGranted) -> dict[str, object]:
    """A bypass as a document shows it."""
    return {
        "interlock": granted.interlock,
        "scope": granted.scope,
        "until": timestamp(granted.until),
        "why": granted.why,
        "by": granted.by,
    }


def aside_document(state: State, utc: datetime) -> dict[str, object]:
    """The same as a document shows it."""
    away = state.away
    return {
        "bypasses": [
            bypass_document(granted)
            for _, granted in sorted(state.bypasses.items())
            if utc < granted.until
        ],
        "out_of_service": [
            {"probe": probe, "until": timestamp(out.until), "why": out.why}
            for probe, out in sorted(state.out_of_service.items())
            if utc < out.until
        ],
        "treatments": [
            {"tank": tank, "until": timestamp(until)}
            for tank, until in sorted(state.treatments.items())
            if utc < until
        ],
        "away": None
        if away is None
        else {
            "from": timestamp(away.from_at),
            "until": timestamp(away.until),
            "contact": away.contact,
            "unmet": list(away.unmet),
        },
    }
