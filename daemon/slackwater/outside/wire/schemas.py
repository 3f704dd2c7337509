"""JSON Schemas of every payload, made from the models.

Floor 6. One subject: what other people's software may rely on.
Laws here: a schema is never written by hand. What a schema cannot say (a reason that
fits its phase, a cut above its run time) stands in the model's description.
"""

from pydantic import BaseModel

from slackwater.outside.wire.documents import (
    AlarmDocument,
    DaemonDocument,
    EchoDocument,
    EventDocument,
    TankDocument,
)
from slackwater.outside.wire.models import (
    AnyCommand,
    BeatPayload,
    HoldPayload,
    InputPayload,
    ReadingPayload,
    RequestPayload,
    ResultPayload,
)
from slackwater.outside.wire.topics import Kind

_MODELS: dict[Kind, type[BaseModel]] = {
    Kind.COMMAND: AnyCommand,
    Kind.BEAT: BeatPayload,
    Kind.RESULT: ResultPayload,
    Kind.HOLD: HoldPayload,
    Kind.READING: ReadingPayload,
    Kind.INPUT: InputPayload,
    Kind.REQUEST: RequestPayload,
    Kind.TANK_STATE: TankDocument,
    Kind.EVENT: EventDocument,
    Kind.DAEMON_STATE: DaemonDocument,
    Kind.ALARM: AlarmDocument,
    Kind.ECHO: EchoDocument,
}

DIALECT = "https://json-schema.org/draft/2020-12/schema"


def models() -> dict[Kind, type[BaseModel]]:
    """The model of each kind of topic, in a fixed order."""
    return dict(_MODELS)


def schemas() -> dict[str, dict[str, object]]:
    """One JSON Schema (draft 2020-12) per kind of topic, in a fixed order."""
    return {
        kind.value: {
            "$schema": DIALECT,
            **model.model_json_schema(),
        }
        for kind, model in _MODELS.items()
    }
