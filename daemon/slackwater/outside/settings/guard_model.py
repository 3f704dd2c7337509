"""What the machine file may say about interlocks and waiting times.

Floor 6. One subject: thresholds and times, with the direction that weakens each.
Laws here: defaults are the safe ones; whatever is shorter or weaker than its default
is listed on the machine, so that a check can warn and the ledger can record it.
Source: alkalinity thresholds are common practice, no source.
"""

from typing import Annotated

from pydantic import Field

from slackwater.facts.tank import Timing
from slackwater.outside.settings.quantities import Duration, Share, Size
from slackwater.outside.settings.tables import TableModel

# Common practice, no source.
CEILING_ABOVE_TARGET = "1.5 dKH"
HIGHEST_CEILING = "12 dKH"


class InterlockTable(TableModel):
    """Thresholds of one tank that hold doses."""

    alkalinity_ceiling: str | None = Field(
        default=None,
        description=f"Stop above this; target + {CEILING_ABOVE_TARGET} when left out, "
        f"never above {HIGHEST_CEILING}",
        examples=['"9.7 dKH"'],
    )
    alkalinity_floor: str = Field(
        default="6.5 dKH", description="Warn and shorten below this"
    )
    alkalinity_rise: str = Field(
        default="0.8 dKH",
        description="Stop and latch when hourly medians climb this much in 24 h",
    )
    alkalinity_fall: str = Field(
        default="0.8 dKH",
        description="Warn and shorten when hourly medians fall this much in 24 h",
    )
    alkalinity_spread: str = Field(
        default="0.5 dKH", description="What two probes of one tank may differ by"
    )
    alkalinity_hysteresis: str = Field(
        default="0.2 dKH", description="How far below the ceiling a release needs"
    )
    good_readings: int = Field(
        default=3,
        ge=1,
        le=100,
        description="Readings in a row below that before a release",
        examples=["3"],
    )
    hold_at_least: Annotated[float, Duration("1 min", "7 d")] = Field(
        default=3600.0,
        description="Shortest hold once the ceiling was passed",
        examples=['"60 min"'],
    )


# Lowest and highest text of each alkalinity threshold. A floor may lie as low as 5 dKH
# for tanks kept near nature's 6.6 dKH.
THRESHOLD_BOUNDS = {
    "alkalinity_ceiling": ("6.5 dKH", HIGHEST_CEILING),
    "alkalinity_floor": ("5 dKH", "11 dKH"),
    "alkalinity_rise": ("0.1 dKH", "1.5 dKH"),
    "alkalinity_fall": ("0.1 dKH", "1.5 dKH"),
    "alkalinity_spread": ("0.05 dKH", "2 dKH"),
    "alkalinity_hysteresis": ("0 dKH", "1 dKH"),
}

_DEFAULT = Timing()

Seconds = Annotated[float, Duration("1 s", "1 d")]


class TimingTable(TableModel):
    """Waiting times and gaps; a shorter or weaker one is reported by every check."""

    beat_fresh: Annotated[float, Duration("1 s", "20 s")] = Field(
        default=_DEFAULT.beat_fresh_s,
        description="Age at which a node's beat no longer counts",
        examples=['"15 s"'],
    )
    deadline: Annotated[float, Duration("1 s", "30 s")] = Field(
        default=_DEFAULT.deadline_s,
        description="Time within which a command must reach its node",
        examples=['"8 s"'],
    )
    start_hold_off: Annotated[float, Duration("1 s", "1 h")] = Field(
        default=_DEFAULT.start_hold_off_s,
        description="Wait after the daemon or a node has started",
        examples=['"60 s"'],
    )
    start_beats: int = Field(
        default=_DEFAULT.start_beats,
        ge=1,
        le=100,
        description="Beats to hear after a start",
        examples=["3"],
    )
    lateness: Annotated[float, Duration("1 s", "2 h")] = Field(
        default=_DEFAULT.lateness_s,
        description="A dose may begin at most this late",
        examples=['"2 h"'],
    )
    lateness_share: Annotated[float, Share("1 %", "25 %")] = Field(
        default=_DEFAULT.lateness_share,
        description="And at most this part of the gap to the next dose of its line",
        examples=['"25 %"'],
    )
    same_pump_gap: Seconds = Field(
        default=_DEFAULT.same_pump_gap_s,
        description="Gap between two runs of one pump",
        examples=['"60 s"'],
    )
    apart_gap: Seconds = Field(
        default=_DEFAULT.apart_gap_s,
        description="Gap between solutions that are kept apart",
        examples=['"15 min"'],
    )
    hydroxide_gap: Seconds = Field(
        default=_DEFAULT.hydroxide_gap_s,
        description="The same when one of the two is a hydroxide",
        examples=['"30 min"'],
    )
    shadow_stage: Annotated[float, Duration("0 s", "60 d")] = Field(
        default=_DEFAULT.shadow_stage_s,
        description="Proven time in shadow before pumps may be enabled",
        examples=['"24 h"'],
    )
    half_stage: Annotated[float, Duration("0 s", "14 d")] = Field(
        default=_DEFAULT.half_stage_s,
        description="Proven time with half doses after pumps are enabled",
        examples=['"3 d"'],
    )
    quiet_before_enable: Annotated[float, Duration("0 s", "30 d")] = Field(
        default=_DEFAULT.quiet_before_enable_s,
        description="Proven time without clock or ledger hold before that",
        examples=['"6 h"'],
    )
    starts_allowed: int = Field(
        default=_DEFAULT.starts_allowed,
        ge=1,
        le=1000,
        description="So many unclean starts latch everything",
        examples=["3"],
    )
    starts_within: Seconds = Field(
        default=_DEFAULT.starts_within_s,
        description="When they happen within this time",
        examples=['"10 min"'],
    )
    base_for: Annotated[float, Duration("1 h", "30 d")] = Field(
        default=_DEFAULT.base_for_s,
        description="How long the base is dosed without water evidence",
        examples=['"14 d"'],
    )
    approval_lasts: Annotated[float, Duration("1 h", "180 d")] = Field(
        default=_DEFAULT.approval_lasts_s,
        description="How long an approval of maintenance lasts",
        examples=['"180 d"'],
    )
    approval_grace: Annotated[float, Duration("0 s", "14 d")] = Field(
        default=_DEFAULT.approval_grace_s,
        description="How long maintenance goes on as approved after that, with a daily "
        "alarm; nothing is dosed then",
        examples=['"14 d"'],
    )
    node_silence: Annotated[float, Duration("1 s", "10 min")] = Field(
        default=_DEFAULT.node_silence_s,
        description="Silence after which a node counts as absent and is reported",
        examples=['"30 s"'],
    )
    free_space: Annotated[int, Size("1 MB", "1000 GB")] = Field(
        default=_DEFAULT.free_space_bytes,
        description="Free disk space below which nothing is dosed",
        examples=['"200 MB"'],
    )
    clock_confirmed: bool = Field(
        default=False,
        description="Trust this machine's clock without a time service; for "
        "demonstrations",
        examples=["true"],
    )


# Raising these weakens them; lowering a time, a count or a size is always reported.
WEAKER_WHEN_RAISED = frozenset(
    {
        "beat_fresh",
        "deadline",
        "lateness",
        "lateness_share",
        "starts_allowed",
        "base_for",
        "approval_lasts",
        "node_silence",
    }
)


def shortened_keys(table: TimingTable) -> tuple[str, ...]:
    """Keys that stand below their default, or weaker than it, sorted."""
    standard = TimingTable()
    return tuple(
        sorted(
            key
            for key in TimingTable.model_fields
            if _is_shortened(key, getattr(table, key), getattr(standard, key))
        )
    )


def timing_from(table: TimingTable) -> Timing:
    """The record that the floors below read."""
    return Timing(
        beat_fresh_s=table.beat_fresh,
        deadline_s=table.deadline,
        start_hold_off_s=table.start_hold_off,
        start_beats=table.start_beats,
        lateness_s=table.lateness,
        lateness_share=table.lateness_share,
        same_pump_gap_s=table.same_pump_gap,
        apart_gap_s=table.apart_gap,
        hydroxide_gap_s=table.hydroxide_gap,
        shadow_stage_s=table.shadow_stage,
        half_stage_s=table.half_stage,
        quiet_before_enable_s=table.quiet_before_enable,
        starts_allowed=table.starts_allowed,
        starts_within_s=table.starts_within,
        base_for_s=table.base_for,
        approval_lasts_s=table.approval_lasts,
        approval_grace_s=table.approval_grace,
        node_silence_s=table.node_silence,
        free_space_bytes=table.free_space,
    )


def _is_shortened(key: str, value: float, standard: float) -> bool:
    if key == "clock_confirmed":
        return value != standard
    return value < standard or (key in WEAKER_WHEN_RAISED and value > standard)
