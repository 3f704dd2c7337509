"""The reference text of both configuration files, made from the models.

Floor 6. One subject: Markdown for the documents. Laws here: every key, default and
bound comes from the models; nothing about a key is written down twice.
"""

import json
from collections.abc import Iterator

from pydantic.fields import FieldInfo

from slackwater.outside.settings.documents import MACHINE_FILE, PLAN_FILE
from slackwater.outside.settings.exchanges import ExchangeTable, PairTable
from slackwater.outside.settings.guard_model import (
    THRESHOLD_BOUNDS,
    TimingTable,
)
from slackwater.outside.settings.input_model import ProbeTable, SwitchTable
from slackwater.outside.settings.limit_model import LIMIT_BOUNDS, WatchTable
from slackwater.outside.settings.machine_model import (
    BandTable,
    CapTable,
    NodeTable,
    OutsideTable,
    PumpTable,
    ReservoirTable,
    SaltTable,
    SolutionTable,
    TankTable,
    UptakeTable,
)
from slackwater.outside.settings.plan_model import GroupTable, LineTable, PlanHead
from slackwater.outside.settings.quantities import Quantity
from slackwater.outside.settings.relays import RelayTable
from slackwater.outside.settings.tables import TableModel
from slackwater.outside.settings.wire_model import (
    BrokerTable,
    HomeTable,
    MetricsTable,
    NotifyTable,
    SiteHead,
)

_FILES: tuple[tuple[str, tuple[tuple[str, type[TableModel]], ...]], ...] = (
    (
        MACHINE_FILE,
        (
            ("above all tables", SiteHead),
            ("[tank.ID]", TankTable),
            ("[tank.ID.caps] PARAMETER", CapTable),
            ("[tank.ID.uptake] PARAMETER", UptakeTable),
            ("[tank.ID.bands] PARAMETER", BandTable),
            ("[solution.ID]", SolutionTable),
            ("[solution.ID] salts", SaltTable),
            ("[reservoir.ID]", ReservoirTable),
            ("[node.ID]", NodeTable),
            ("[relay.NODE]", RelayTable),
            ("[pump.ID]", PumpTable),
            ("[probe.ID]", ProbeTable),
            ("[switch.ID]", SwitchTable),
            ("[interlock.TANK]", WatchTable),
            ("[outside.ID]", OutsideTable),
            ("[exchange.ID]", PairTable),
            ("[broker]", BrokerTable),
            ("[home]", HomeTable),
            ("[notify]", NotifyTable),
            ("[metrics]", MetricsTable),
            ("[timing]", TimingTable),
        ),
    ),
    (
        PLAN_FILE,
        (
            ("above all tables", PlanHead),
            ("[[line]]", LineTable),
            ("[group.ID]", GroupTable),
            ("[[exchange]]", ExchangeTable),
        ),
    ),
)

_THRESHOLDS = {
    key: f"{low} to {high}"
    for key, (low, high) in (
        *THRESHOLD_BOUNDS.items(),
        *((key, row[2:]) for key, row in LIMIT_BOUNDS.items()),
    )
}


def reference() -> str:
    """Both files as Markdown: for each table its keys, meaning, default and bounds."""
    return "\n".join(_lines()) + "\n"


def keys() -> tuple[tuple[str, str], ...]:
    """Every table and key there is, in the order of the reference."""
    return tuple(
        (table, key)
        for _, tables in _FILES
        for table, model in tables
        for key in model.model_fields
    )


def _lines() -> Iterator[str]:
    for file, tables in _FILES:
        yield f"## {file}"
        for table, model in tables:
            yield ""
            yield f"### {table}"
            yield ""
            yield _first_sentence(model)
            yield ""
            yield "| key | meaning | example | default | bounds |"
            yield "|---|---|---|---|---|"
            for key, field in model.model_fields.items():
                yield _row(key, field)
        yield ""


def _first_sentence(model: type[TableModel]) -> str:
    return (model.__doc__ or "").split("\n", 1)[0]


def _row(key: str, field: FieldInfo) -> str:
    example = f"`{field.examples[0]}`" if field.examples else ""
    cells = (
        f"`{key}`",
        field.description or "",
        example,
        _default(field),
        _THRESHOLDS.get(key) or _bounds(field),
    )
    return "| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |"


def _default(field: FieldInfo) -> str:
    if field.is_required():
        return "must be given"
    value = field.get_default(call_default_factory=True)
    if value is None or value in ("", (), [], {}):
        return "none"
    quantity = _quantity(field)
    if quantity is not None:
        return quantity.written(value)
    if isinstance(value, list):
        return f"`{json.dumps(value)}`"
    return f"`{str(value).lower() if isinstance(value, bool) else value}`"


def _bounds(field: FieldInfo) -> str:
    quantity = _quantity(field)
    if quantity is not None:
        return f"{quantity.low} to {quantity.high}"
    bounds = {
        name: getattr(item, name)
        for item in field.metadata
        for name in ("ge", "le", "max_length", "min_length")
        if getattr(item, name, None) is not None
    }
    if "ge" in bounds:
        return f"{bounds['ge']} to {bounds['le']}"
    if "max_length" in bounds:
        return f"at most {bounds['max_length']} {_counted(field)}"
    return "not empty" if "min_length" in bounds else ""


def _counted(field: FieldInfo) -> str:
    """What the greatest length of a field counts."""
    value = field.get_default(call_default_factory=True)
    return "words" if isinstance(value, list) else "characters"


def _quantity(field: FieldInfo) -> Quantity | None:
    """The reader of a field's text; of an optional one it hides in the annotation."""
    waiting: list[object] = [*field.metadata, field.annotation]
    while waiting:
        item = waiting.pop()
        if isinstance(item, Quantity):
            return item
        waiting.extend(getattr(item, "__metadata__", ()))
        waiting.extend(getattr(item, "__args__", ()))
    return None
