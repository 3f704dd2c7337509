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


def of_stages(diary: Diary) -> tuple[AnyEvent, ...]:
    """Every kind of entry once."""
    return (
        CapsLowered(**diary.stamp, caps={"pump/carbonate/per_day_ul": 20_000}),
        halved(diary.stamp),
        LineTakenOver(**diary.stamp, line="reef/carbonate", by="keeper"),
        LineGivenBack(**diary.stamp, line="reef/carbonate", by="keeper"),
    )
