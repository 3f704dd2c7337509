"""What `slackwater.toml` may say: the model defaults, bounds and reference come from.

Floor 6. One subject: the keys of the machine file. Laws here: every quantity is text
with a unit; a cap that is left out is zero, but for the two that lie inside a wider one
(an hour, a net rise); nothing is dosed because of a default.
"""

from fractions import Fraction
from typing import Annotated

from pydantic import Field

from slackwater.facts.tank import TUBE_LIFE_S
from slackwater.outside.settings.quantities import (
    Duration,
    Flow,
    Id,
    Milliseconds,
    OneLine,
    PlainText,
    Purity,
    Strength,
    Volume,
    WaterVolume,
)
from slackwater.outside.settings.tables import TableModel

# Texts whose unit depends on the parameter beside them are read in `amounts`.
ByParameter = dict[str, str]


class CapTable(TableModel):
    """The most of one parameter that may enter a tank in a day."""

    gross: str = Field(
        description="Most that may be poured in in a day, all pumps together",
        examples=['"2.0 dKH/day"'],
    )
    net_rise: str | None = Field(
        default=None,
        description="Most the parameter may climb in a day; `gross` alone holds when "
        "left out",
        examples=['"0.5 dKH/day"'],
    )


class UptakeTable(TableModel):
    """What a tank uses up of one parameter in a day."""

    estimate: str = Field(
        description="Best estimate of the daily use", examples=['"1.4 dKH/day"']
    )
    low: str = Field(
        description="Use that is surely reached, at most the estimate",
        examples=['"1.1 dKH/day"'],
    )


class BandTable(TableModel):
    """When a trace or contaminant is worth a look, instead of what practice says."""

    watch: str = Field(
        description="From here on it is looked at again", examples=['"2 ug/L"']
    )
    act: str = Field(
        description="From here on something is done and none of it is dosed",
        examples=['"4 ug/L"'],
    )


class TankTable(TableModel):
    """One body of water."""

    name: PlainText = Field(
        default="", description="Name for people; the id when left out"
    )
    net_volume: Annotated[int, WaterVolume("1 L", "10000 L")] = Field(
        description="Water in the whole system, rock and sand taken off; or inside "
        "measures, as in `120 cm x 60 cm x 50 cm less 12 %`, the last length the "
        "height of the water, the share what rock and sand take, several boxes joined "
        "by +",
        examples=['"300 L"'],
    )
    zone: str = Field(
        description="Time zone whose days and hours the plan speaks of",
        examples=['"Europe/Berlin"'],
    )
    targets: ByParameter = Field(
        default_factory=dict,
        description="Where each parameter should stand; salinity also as a specific "
        "gravity with its reference pair or as a conductivity with its temperature, as "
        "in `1.0264 SG 25/25` or `53 mS/cm at 25 °C`",
        examples=['{ alkalinity = "8.2 dKH" }'],
    )
    target_reason: PlainText = Field(
        default="",
        description="Why a target stands outside 6.5 to 11 dKH of alkalinity",
        examples=['"low-nutrient tank, kept at 6.4 dKH for two years"'],
    )
    caps: dict[str, CapTable] = Field(
        default_factory=dict,
        description="Ceilings by parameter; a parameter without one gets nothing",
        examples=['{ alkalinity = { gross = "2.0 dKH/day" } }'],
    )
    uptake: dict[str, UptakeTable] = Field(
        default_factory=dict,
        description="Daily use by parameter",
        examples=['{ alkalinity = { estimate = "1.4 dKH/day", low = "1.1 dKH/day" } }'],
    )
    bands: dict[str, BandTable] = Field(
        default_factory=dict,
        description="Own limits of traces and contaminants; what is not listed is "
        "judged by common practice",
        examples=['{ copper = { watch = "2 ug/L", act = "4 ug/L" } }'],
    )
    return_flow: Annotated[int, Flow("10 L/h", "100000 L/h")] | None = Field(
        default=None,
        description="Flow of the return pump; gaps then never go below three turns",
        examples=['"1800 L/h"'],
    )


class SaltTable(TableModel):
    """One salt of a solution made from several."""

    formula: str = Field(
        description="Formula of the salt without its water", examples=['"MgCl2"']
    )
    hydrate: str | None = Field(
        default=None,
        description="Crystal water; must be stated where the salt is sold both ways",
        examples=['"6H2O"'],
    )
    strength: Annotated[Fraction, Strength("0.001 g/L", "1000 g/L")] = Field(
        description="Mass in one litre of finished solution", examples=['"300 g/L"']
    )
    purity: Annotated[Fraction, Purity("50 %", "100 %")] = Field(
        description="Share of the weighed mass that is the salt", examples=['"99.5 %"']
    )


class SolutionTable(TableModel):
    """A stock solution, described by its chemistry, by a label, or as effect-free."""

    name: PlainText = Field(
        default="", description="Name for people; the id when left out"
    )
    formula: str | None = Field(
        default=None,
        description="Formula of the one salt, without its water",
        examples=['"CaCl2"'],
    )
    hydrate: str | None = Field(
        default=None,
        description="Crystal water of the salt, anhydrous for none",
        examples=['"2H2O"'],
    )
    strength: Annotated[Fraction, Strength("0.001 g/L", "1000 g/L")] | None = Field(
        default=None,
        description="Mass of salt in one litre of finished solution",
        examples=['"100 g/L"'],
    )
    purity: Annotated[Fraction, Purity("50 %", "100 %")] | None = Field(
        default=None,
        description="Share of the weighed mass that is the salt",
        examples=['"99.5 %"'],
    )
    coldest: str | None = Field(
        default=None,
        description="Coldest temperature the bottle stands at, 0 to 40 °C; 20 °C when "
        "left out. More than 90 % of what dissolves then is refused",
        examples=['"15 °C"'],
    )
    salts: list[SaltTable] | None = Field(
        default=None,
        min_length=1,
        description="Several salts in one solution, instead of formula",
        examples=['[{ formula = "KCl", strength = "50 g/L", purity = "99 %" }]'],
    )
    per_ml: ByParameter | None = Field(
        default=None,
        min_length=1,
        description="What a label or a measurement says one millilitre does",
        examples=['{ alkalinity = "0.05 dKH per mL in 100 L" }'],
    )
    no_effects: bool = Field(
        default=False,
        description="Say true for a solution that moves no parameter; it is then held "
        "by millilitre caps alone",
        examples=["true"],
    )
    fully_declared: bool | None = Field(
        default=None,
        description="Whether all that is in the bottle is stated; when left out, true "
        "for formulas and false otherwise (a solution not fully declared is kept apart "
        "from every other of its tank)",
        examples=["false"],
    )
    hydroxide: bool | None = Field(
        default=None,
        description="Say true when a label names a hydroxide; formulas know by "
        "themselves",
        examples=["true"],
    )
    bicarbonate: bool = Field(
        default=False,
        description="Say true when all alkalinity of a label is bicarbonate, which is "
        "never held by pH",
        examples=["true"],
    )
    keep_apart_from: list[Id] = Field(
        default_factory=list,
        description="Further solutions that must not follow closely",
        examples=['["trace"]'],
    )
    stir: bool = Field(
        default=False,
        description="Say true when it settles: it is then said wherever a bottle is "
        "touched that a person, or a stirrer of its own, must stir it before doses",
        examples=["true"],
    )
    rinse: bool = Field(
        default=False,
        description="Say true when it crystallises in hose or outlet: it is then said "
        "that they want rinsing, `slackwater flush`",
        examples=["true"],
    )
    light_sensitive: bool = Field(
        default=False,
        description="Say true when light spoils it: a proposal then doses it in the "
        "dark, unless it has a line already",
        examples=["true"],
    )
    cautions: list[PlainText] = Field(
        default_factory=list,
        description="What a person should know before touching the bottle",
        examples=['["caustic: wear eye protection"]'],
    )


class ReservoirTable(TableModel):
    """A bottle or canister pumps draw from."""

    content: Annotated[int, Volume("1 mL", "1000 L")] = Field(
        description="Content at the last fill", examples=['"5 L"']
    )
    low: Annotated[int, Volume("0 mL", "1000 L")] | None = Field(
        default=None,
        description="At this rest its corrections end; a tenth of the content when "
        "left out",
        examples=['"0.5 L"'],
    )
    keeps: Annotated[float, Duration("1 d", "730 d")] | None = Field(
        default=None,
        description="How long the solution keeps; its corrections end then, counted "
        "from what `slackwater refill` was told",
        examples=['"90 d"'],
    )


class NodeTable(TableModel):
    """The device that runs pumps and stops them by itself."""

    day_limit: Annotated[int, Volume("1 mL", "100 L")] = Field(
        description="Most the node lets one channel pump in 24 h", examples=['"250 mL"']
    )
    longest_run: Annotated[int, Milliseconds("100 ms", "10 min")] = Field(
        description="Longest single run before the node cuts it off",
        examples=['"60 s"'],
    )
    hardware_id: str = Field(
        default="",
        max_length=32,
        description="Identity its beats must show; the one seen at approval when left "
        "out",
        examples=['"7c2f90b1"'],
    )
    config_id: str = Field(
        default="",
        pattern=r"^([0-9a-f]{8})?$",
        description="Eight hex digits its beats must show for firmware and limits; "
        "those seen at approval when left out",
        examples=['"0f3a77c2"'],
    )
    key_file: OneLine | None = Field(
        default=None,
        min_length=1,
        description="File with the 64 hex digits of the key the node signs with",
        examples=['"shelf.key"'],
    )
    second_key_file: OneLine | None = Field(
        default=None,
        min_length=1,
        description="File of a second key: what the node signs with it counts as well, "
        "while keys are changed; commands are signed with the first",
        examples=['"shelf-2.key"'],
    )


class PumpTable(TableModel):
    """One dosing head with its ceilings."""

    tank: Id = Field(description="Tank it doses into", examples=['"reef"'])
    node: Id = Field(description="Node that drives it", examples=['"shelf"'])
    channel: Id = Field(description="Channel of the node", examples=['"a"'])
    solution: Id = Field(description="Solution it gives", examples=['"carbonate"'])
    reservoir: Id = Field(
        description="Reservoir it draws from; pumps of one solution may share it",
        examples=['"carbonate"'],
    )
    rate: Annotated[int, Flow("0.1 mL/min", "2 L/min")] = Field(
        description="Nominal flow, until a calibration is recorded",
        examples=['"80 mL/min"'],
    )
    smallest_dose: Annotated[int, Volume("10 uL", "100 mL", up=True)] = Field(
        description="Smallest dose the pump gives reliably", examples=['"0.3 mL"']
    )
    most_per_dose: Annotated[int, Volume("0 mL", "2 L")] = Field(
        default=0, description="Ceiling of one dose", examples=['"5 mL"']
    )
    most_per_day: Annotated[int, Volume("0 mL", "20 L")] = Field(
        default=0,
        description="Ceiling of a local day and of any 24 h",
        examples=['"80 mL"'],
    )
    most_per_hour: Annotated[int, Volume("0 mL", "20 L")] | None = Field(
        default=None,
        description="Ceiling of any hour; `most_per_day` alone holds when left out",
        examples=['"10 mL"'],
    )
    most_per_calibration: Annotated[int, Volume("0 mL", "2 L")] = Field(
        default=0,
        description="Ceiling of all calibration runs of an hour, outlet in a cylinder",
        examples=['"60 mL"'],
    )
    most_per_priming: Annotated[int, Volume("0 mL", "2 L")] = Field(
        default=0,
        description="Ceiling of all that fills or rinses a hose in an hour: priming, "
        "flushing, after a bottle was moved or a tube swapped",
        examples=['"20 mL"'],
    )
    most_by_hand: Annotated[int, Volume("0 mL", "2 L")] = Field(
        default=0,
        description="Ceiling of all doses of any 24 h that were asked for by hand",
        examples=['"10 mL"'],
    )
    tube_life: Annotated[float, Duration("1 h", "20000 h")] = Field(
        default=TUBE_LIFE_S,
        description="Run time after which its tube is swapped: a task comes at nine "
        "tenths of it, an alarm at its end; common practice, no source",
        examples=['"500 h"'],
    )


class OutsideTable(TableModel):
    """What adds to the water without the daemon."""

    tank: Id = Field(description="Tank it adds to", examples=['"reef"'])
    parameter: str = Field(description="What it adds", examples=['"alkalinity"'])
    per_day: str = Field(
        description="How much a day, the upper figure when it varies",
        examples=['"0.4 dKH/day"'],
    )
    note: PlainText = Field(
        default="", description="Where it comes from", examples=['"limewater"']
    )
    line: Id | None = Field(
        default=None,
        description="Where it is an old doser's: the line of the plan that takes its "
        "place, once `slackwater take-over` was told so",
        examples=['"carbonate"'],
    )
    volume: Annotated[int, Volume("0 mL", "20 L")] = Field(
        default=0,
        description="What the old doser gives a day, to be compared with the line",
        examples=['"36 mL"'],
    )
