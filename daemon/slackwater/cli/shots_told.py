"""Acts as people tell them: the shots of one calibration in one line.

Floor 8. One subject: sentences on pages that look back. Laws here: only shots that
stand side by side in time are joined, by pump and person; a finished calibration ends
it; no shot is left out of the sum; what was struck is not told as if it had happened.
"""

from collections.abc import Collection, Iterable
from datetime import timedelta

from slackwater.cli.acts import act_of
from slackwater.facts.events import AnyEvent, Calibrated, ShotRequested
from slackwater.facts.waters import AddedByHand, MeasurementStruck
from slackwater.water.show import show_volume

# What a calibration may flow is counted by the hour; after a longer rest it is another.
_APART = timedelta(hours=1)


def sentences(acts: Iterable[AnyEvent]) -> list[tuple[AnyEvent, str]]:
    """Each act with its sentence; joined shots stand at the first of them.

    Shape: acts in the order of their time.
    """
    acts = tuple(acts)
    struck = {one.measurement for one in acts if isinstance(one, MeasurementStruck)}
    groups: list[list[AnyEvent]] = []
    going: dict[tuple[str, str], list[AnyEvent]] = {}
    for one in acts:
        if isinstance(one, Calibrated):
            going = {key: group for key, group in going.items() if key[0] != one.pump}
        key = _key(one)
        known = going.get(key) if key else None
        if known is not None and one.at - known[-1].at <= _APART:
            known.append(one)
            continue
        groups.append([one])
        if key:
            going[key] = groups[-1]
    return [(group[0], _told(group, struck)) for group in groups]


def _key(event: AnyEvent) -> tuple[str, str] | None:
    """Pump and person of a measured shot; None for anything else."""
    if isinstance(event, ShotRequested) and event.purpose == "calibrate":
        return event.pump, event.by
    return None


def _told(group: list[AnyEvent], struck: Collection[str]) -> str:
    first = group[0]
    if isinstance(first, AddedByHand) and first.id in struck:
        return f"{act_of(first)}; struck, it was not so"
    shots = [one for one in group if isinstance(one, ShotRequested)]
    if len(group) == 1:
        return act_of(group[0])
    volume = show_volume(sum(one.volume_ul for one in shots))
    return f"asked {shots[0].pump} for {len(shots)} measured shots, {volume} in all"
