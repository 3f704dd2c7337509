"""Invented words about stages: one entry of each kind."""

from datetime import timedelta

from slackwater.facts.events import AnyEvent
from slackwater.facts.stages import (
    CapsLowered,
    HalfBegan,
    LineGivenBack,
    LineTakenOver,
)
from tests.facts.diary import Diary, Stamp

DAY_S = timedelta(days=1).total_seconds()


def halved(stamp: Stamp, scope: str = "all", lasts_s: float = DAY_S) -> HalfBegan:
    """Half doses from now on, for a day unless said otherwise."""
    return HalfBegan(
        **stamp,
        scope=scope,
        from_at=stamp["at"],
        lasts_s=lasts_s,
        why="invented",
        by="keeper",
    )


def each_stage(stamp: Stamp) -> tuple[AnyEvent, ...]:
    """Every kind of entry once."""
    caps = {"pump/carbonate/per_day_ul": 20_000, "guard/reef/rise": 0.5}
    return (
        CapsLowered(**stamp, caps=caps),
        halved(stamp),
        LineTakenOver(**stamp, line="reef/carbonate", by="keeper"),
        LineGivenBack(**stamp, line="reef/carbonate", by="keeper"),
    )


def of_stages(diary: Diary) -> tuple[AnyEvent, ...]:
    """Every kind of entry once, now."""
    return each_stage(diary.stamp)
