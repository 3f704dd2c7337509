"""What `setup` needs to know, whether asked or read from a file.

Floor 8. One subject: the answers. Laws here: the same answers whether typed or read;
every figure is text with a unit and is judged by the settings themselves; an answer
nobody reads is an error.
"""

import re
from collections.abc import Mapping
from pathlib import Path

from pydantic import Field

from slackwater.errors import Finding, InputError
from slackwater.outside.settings.documents import read_document
from slackwater.outside.settings.quantities import Id, PlainText
from slackwater.outside.settings.tables import (
    Findings,
    TableModel,
    checked,
    named_tables,
)

UNKNOWN = "unknown"
PLANNED = "as planned"
RECIPE_PARTS = 4
# Crystal water may stand close behind the comma, like CaCl2,2H2O.
_DECIMAL_COMMA = re.compile(r"(?<![A-Za-z])\d+,\d+(?!\d|[.\d]*\s*H2O)")
_SECTIONS = ("tank", "node", "broker", "pump")


class CapAnswer(TableModel):
    """The most of one parameter in a day."""

    gross: str = Field(description="Most to pour in", examples=['"1.8 dKH/day"'])
    net_rise: str | None = Field(
        default=None, description="Most it may climb", examples=['"0.5 dKH/day"']
    )


class UptakeAnswer(TableModel):
    """What the tank uses of one parameter in a day."""

    estimate: str = Field(description="Best estimate", examples=['"1.0 dKH/day"'])
    low: str = Field(description="Surely reached", examples=['"0.8 dKH/day"'])


class TankAnswer(TableModel):
    """The body of water."""

    id: Id = Field(description="Short name", examples=['"reef"'])
    name: PlainText = Field(
        default="", description="Name for people", examples=['"Front room"']
    )
    net_volume: str = Field(
        description="Water, rock and sand taken off", examples=['"200 L"']
    )
    zone: str = Field(description="Time zone", examples=['"Europe/Berlin"'])
    targets: dict[str, str] = Field(
        default_factory=dict,
        description="Where each parameter should stand",
        examples=['{ alkalinity = "8.0 dKH" }'],
    )
    uptake: dict[str, UptakeAnswer] = Field(
        default_factory=dict,
        description="Daily use, where it is known",
        examples=['{ alkalinity = { estimate = "1.0 dKH/day", low = "0.8 dKH/day" } }'],
    )
    caps: dict[str, CapAnswer] = Field(
        default_factory=dict,
        description="Daily ceilings, of each parameter that the plan adds",
        examples=['{ alkalinity = { gross = "1.8 dKH/day" } }'],
    )


class NodeAnswer(TableModel):
    """The device that drives the pumps."""

    id: Id = Field(description="Its name on the broker", examples=['"shelf"'])
    day_limit: str = Field(
        description="Its own limit per channel and day", examples=['"80 mL"']
    )
    longest_run: str = Field(
        description="Its own limit of one run", examples=['"30 s"']
    )


class BrokerAnswer(TableModel):
    """The MQTT broker."""

    host: str = Field(description="Name or address", examples=['"localhost"'])
    port: int = Field(default=1883, description="Port", examples=["1883"])
    passwords: bool = Field(
        default=True, description="Whether it asks for names and passwords"
    )


class PumpAnswer(TableModel):
    """One pump with its solution and ceilings."""

    channel: Id = Field(description="Channel of the node", examples=['"a"'])
    recipe: str | None = Field(
        default=None,
        description="Formula, crystal water, strength, purity",
        examples=['"Na2CO3, anhydrous, 100 g/L, 99 %"'],
    )
    label: dict[str, str] | None = Field(
        default=None,
        min_length=1,
        description="What one millilitre does",
        examples=['{ alkalinity = "1.887 meq/mL" }'],
    )
    no_effects: bool = Field(default=False, description="Moves nothing counted")
    bottle: str = Field(description="Content of the reservoir", examples=['"2 L"'])
    rate: str = Field(description="Nominal flow", examples=['"30 mL/min"'])
    smallest_dose: str = Field(
        description="Smallest reliable dose", examples=['"0.5 mL"']
    )
    most_per_dose: str = Field(description="Ceiling of one dose", examples=['"4 mL"'])
    most_per_day: str = Field(
        description="Ceiling of a day and of any 24 h", examples=['"50 mL"']
    )
    most_per_calibration: str = Field(
        default="60 mL", description="Ceiling of calibration runs"
    )
    per_day: str | None = Field(
        default=None,
        description="What the first plan doses a day",
        examples=['"12 mL"'],
    )
    doses: int = Field(default=12, ge=1, le=288, description="In so many doses")
    window: str | None = Field(
        default=None,
        description="When, in local time",
        examples=['"08:00-20:00"'],
    )
    dosed: str = Field(
        description=f"What it gave in the last 24 h, {PLANNED}, or {UNKNOWN}",
        examples=['"0 mL"'],
    )


class Head(TableModel):
    """What stands above the tables."""

    site: Id = Field(default="home", description="Name of the place")


class Answers(TableModel):
    """Everything `setup` needs."""

    site: str
    tank: TankAnswer
    node: NodeAnswer
    broker: BrokerAnswer
    pumps: dict[str, PumpAnswer]


def answers_form() -> str:
    """The tables of a file of answers with their keys, those that must be there first.

    Of recipe, label and no_effects each pump has one, though none alone must be there.
    """
    tables = (
        ("[tank]", TankAnswer),
        ("[node]", NodeAnswer),
        ("[broker]", BrokerAnswer),
        ("[pump.ID]", PumpAnswer),
    )
    return "; ".join(f"{head} {_keys_of(model)}" for head, model in tables)


def _keys_of(model: type[TableModel]) -> str:
    fields = model.model_fields.items()
    must = ", ".join(name for name, field in fields if field.is_required())
    may = ", ".join(name for name, field in fields if not field.is_required())
    return f"{must} and perhaps {may}" if may else must


def answers_in(path: Path) -> Answers:
    """The answers of a file.

    Raises: InputError with everything that is wrong in it.
    """
    document = read_document(path.parent, path.name)
    return answers_of(document, path.name)


def answers_of(document: Mapping[str, object], name: str) -> Answers:
    """The answers that tables give; `name` is where they come from.

    Raises: InputError with everything that is wrong in them.
    """
    findings = Findings(name)
    own = {key: value for key, value in document.items() if key not in _SECTIONS}
    head = checked(Head, own, "", findings, _SECTIONS)
    tank = checked(TankAnswer, document.get("tank", {}), "[tank]", findings)
    node = checked(NodeAnswer, document.get("node", {}), "[node]", findings)
    broker = checked(BrokerAnswer, document.get("broker", {}), "[broker]", findings)
    pumps = {}
    known = named_tables(document, "pump", findings)
    # In the order in which they were told: the first plan follows it.
    for identity in (one for one in _keys(document.get("pump")) if one in known):
        raw = known[identity]
        pump = checked(PumpAnswer, raw, f"[pump.{identity}]", findings)
        if pump is not None:
            pumps[identity] = pump
            _check_solution(f"[pump.{identity}]", pump, findings)
    if not document.get("pump"):
        findings.add(
            "[pump]", "there is no pump", "at least one", "Add [pump.some-id]."
        )
    if pumps and not any(pump.per_day for pump in pumps.values()):
        findings.add(
            "[pump.*] per_day",
            "no pump has an amount for the first plan",
            "at least one pump with per_day",
            "Say what the first pump doses a day; a plan needs a line.",
        )
    return Answers.model_construct(
        site=findings.settled(head).site,
        tank=findings.settled(tank),
        node=findings.settled(node),
        broker=findings.settled(broker),
        pumps=pumps,
    )


def _keys(table: object) -> list[str]:
    return list(table) if isinstance(table, dict) else []


def recipe_parts(recipe: str) -> tuple[str, str, str, str]:
    """Formula, crystal water, strength and purity of a recipe.

    Raises: InputError when it has not four parts, or a decimal comma.
    """
    refuse_comma(recipe, "recipe")
    parts = [part.strip() for part in recipe.split(",")]
    if len(parts) != RECIPE_PARTS:
        raise InputError(
            Finding(
                what=f'"{recipe}" has not four parts',
                where="recipe",
                expected="formula, crystal water or anhydrous, strength, purity",
                do='Write it like "CaCl2, 2H2O, 139 g/L, 99 %".',
            )
        )
    return parts[0], parts[1], parts[2], parts[3]


def refuse_comma(text: str, place: str) -> None:
    """Refuse a decimal comma: read as one that parts, it makes many wrong parts.

    Raises: InputError.
    """
    if found := _DECIMAL_COMMA.search(text):
        raise InputError(
            Finding(
                what=f'"{found[0]}" has a decimal comma',
                where=place,
                expected="a decimal point; a comma parts what is told",
                do=f"Write {found[0].replace(',', '.')}.",
            )
        )


def _check_solution(place: str, pump: PumpAnswer, findings: Findings) -> None:
    ways = [pump.recipe is not None, pump.label is not None, pump.no_effects]
    if sum(ways) != 1:
        findings.add(
            place,
            "the solution is described in several ways"
            if any(ways)
            else "nothing says what the solution does",
            "exactly one of recipe, label, no_effects",
            "Describe it in one way.",
        )
    elif pump.recipe is not None:
        try:
            recipe_parts(pump.recipe)
        except InputError as error:
            findings.adopt(f"{place} recipe", error)
