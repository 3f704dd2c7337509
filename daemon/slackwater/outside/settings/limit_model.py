"""What the machine file may say about limits beside those on alkalinity.

Floor 6. One subject: thresholds on pH, temperature, salinity and what else is watched.
Laws here: defaults are the safe ones; none can be moved beyond its bounds.
Source: common practice, no source.
"""

from typing import Annotated, Literal

from pydantic import Field

from slackwater.outside.settings.guard_model import InterlockTable
from slackwater.outside.settings.quantities import Duration, Share


class WatchTable(InterlockTable):
    """Thresholds of one tank that hold or shorten doses."""

    alkalinity_against_test: str = Field(
        default="0.7 dKH",
        description="What a probe may differ from a hand test before doses shorten",
    )
    ph_hydroxide: str = Field(
        default="8.50 pH", description="No hydroxide above this (NBS buffers)"
    )
    ph_carbonate: str = Field(
        default="8.60 pH",
        description="No carbonate above this; bicarbonate is never held by pH",
    )
    ph_back: str = Field(
        default="0.05 pH", description="How far below both a release needs"
    )
    ph_rise_per_hour: str = Field(
        default="0.2 pH",
        description="Stop hydroxide and carbonate when half-hour medians rise this "
        "much in an hour",
    )
    ph_rise_after_dose: str = Field(
        default="0.1 pH",
        description="The same when pH rises this much within 15 min of a dose",
    )
    ph_spread: str = Field(
        default="0.2 pH", description="What two pH probes of one tank may differ by"
    )
    ph_against_test: str = Field(
        default="0.3 pH", description="What a pH probe may differ from a hand test"
    )
    temperature_warm: str = Field(
        default="29.5 degC", description="No corrections and no carbon above this"
    )
    temperature_hot: str = Field(
        default="32 degC", description="No dose at all above this"
    )
    temperature_cool: str = Field(
        default="21 degC", description="No corrections and no carbon below this"
    )
    temperature_cold: str = Field(
        default="18 degC", description="No dose at all below this"
    )
    temperature_back: str = Field(
        default="0.5 degC", description="How far inside these a release needs"
    )
    temperature_spread: str = Field(
        default="1 degC", description="What two thermometers of one tank may differ by"
    )
    temperature_against_test: str = Field(
        default="1 degC", description="What a thermometer may differ from a hand test"
    )
    salinity_off: str = Field(
        default="1 PSU",
        description="No calcium, magnesium or trace corrections this far off the "
        "target, or off 35 without one",
    )
    salinity_far: str = Field(
        default="3 PSU", description="No dose at all this far off"
    )
    salinity_back: str = Field(
        default="0.2 PSU", description="How far inside these a release needs"
    )
    salinity_spread: str = Field(
        default="1 PSU", description="What two salinity probes may differ by"
    )
    salinity_against_test: str = Field(
        default="1 PSU", description="What a salinity probe may differ from a hand test"
    )
    nitrate_least: str = Field(
        default="1 mg/L", description="No carbon when the newest test is below this"
    )
    phosphate_least: str = Field(
        default="0.02 mg/L", description="No carbon when the newest test is below this"
    )
    top_off_factor: Annotated[float, Share("110 %", "300 %")] = Field(
        default=1.5,
        description="Where limewater is an outside source: no carbonate when a day's "
        "top-off is above this share of its 14-day median",
        examples=['"150 %"'],
    )
    calibration_ends: Annotated[float, Duration("30 d", "365 d")] = Field(
        default=180 * 86_400.0,
        description="Age of a pump's calibration at which its corrections end",
        examples=['"180 d"'],
    )
    drift_stops: Annotated[float, Share("12 %", "50 %")] = Field(
        default=0.2,
        description="A pump stops when its bottle lost this share more or less than "
        "it is believed to have given; above 10 % it is told",
        examples=['"20 %"'],
    )


Kind = Literal["level", "span"]
# Parameter, whether a level or a difference, lowest and highest text of each.
LIMIT_BOUNDS: dict[str, tuple[str, Kind, str, str]] = {
    "alkalinity_against_test": ("alkalinity", "span", "0.1 dKH", "2 dKH"),
    "ph_hydroxide": ("ph", "level", "7.8 pH", "8.6 pH"),
    "ph_carbonate": ("ph", "level", "7.8 pH", "8.8 pH"),
    "ph_back": ("ph", "span", "0 pH", "0.5 pH"),
    "ph_rise_per_hour": ("ph", "span", "0.05 pH", "0.5 pH"),
    "ph_rise_after_dose": ("ph", "span", "0.03 pH", "0.3 pH"),
    "ph_spread": ("ph", "span", "0.02 pH", "1 pH"),
    "ph_against_test": ("ph", "span", "0.05 pH", "1 pH"),
    "temperature_warm": ("temperature", "level", "22 degC", "32 degC"),
    "temperature_hot": ("temperature", "level", "24 degC", "34 degC"),
    "temperature_cool": ("temperature", "level", "15 degC", "27 degC"),
    "temperature_cold": ("temperature", "level", "11 degC", "26 degC"),
    "temperature_back": ("temperature", "span", "0 degC", "3 degC"),
    "temperature_spread": ("temperature", "span", "0.1 degC", "5 degC"),
    "temperature_against_test": ("temperature", "span", "0.1 degC", "5 degC"),
    "salinity_off": ("salinity", "span", "0.2 PSU", "2 PSU"),
    "salinity_far": ("salinity", "span", "0.5 PSU", "6 PSU"),
    "salinity_back": ("salinity", "span", "0 PSU", "1 PSU"),
    "salinity_spread": ("salinity", "span", "0.1 PSU", "5 PSU"),
    "salinity_against_test": ("salinity", "span", "0.1 PSU", "5 PSU"),
    "nitrate_least": ("nitrate", "level", "0 mg/L", "20 mg/L"),
    "phosphate_least": ("phosphate", "level", "0 mg/L", "0.5 mg/L"),
}
# Each of these must not lie above the next.
RISING = (
    ("ph_hydroxide", "ph_carbonate"),
    ("temperature_cold", "temperature_cool"),
    ("temperature_cool", "temperature_warm"),
    ("temperature_warm", "temperature_hot"),
    ("salinity_off", "salinity_far"),
)
