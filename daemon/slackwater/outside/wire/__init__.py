"""The wire's language: topics, payloads, commands, schemas.

Floor 6. One subject: what the other adapters share; they know each other through
this package only. Laws here: everything they may use is listed below.
"""

from slackwater.outside.wire.asyncapi import asyncapi
from slackwater.outside.wire.commands import (
    command_mac,
    identify_bytes,
    is_signed_by,
    read_command,
    report_mac,
    run_bytes,
    stop_bytes,
)
from slackwater.outside.wire.decode import Decoded, Decoder, Ignored
from slackwater.outside.wire.documents import (
    GONE,
    DaemonDocument,
    TankDocument,
    event_bytes,
    state_bytes,
)
from slackwater.outside.wire.models import (
    BeatPayload,
    ChannelPayload,
    Command,
    IdentifyCommand,
    ReadingPayload,
    RequestPayload,
    ResultPayload,
    RunCommand,
    StopCommand,
)
from slackwater.outside.wire.schemas import schemas
from slackwater.outside.wire.strict import (
    COMMAND_BYTES_AT_MOST,
    PAYLOAD_BYTES_AT_MOST,
    Spoiled,
    read_strictly,
)
from slackwater.outside.wire.topics import (
    PREFIX,
    Foreign,
    Kind,
    Root,
    Topic,
    birth_topic,
    device_id,
    device_topic,
    is_announcement,
    is_identity,
    parse_topic,
    topic_filter,
)
from slackwater.outside.wire.view import (
    KEY_BYTES,
    BrokerSettings,
    Heard,
    HomeSettings,
    MachineView,
    NotifySettings,
    view_of,
)

__all__ = [
    "COMMAND_BYTES_AT_MOST",
    "GONE",
    "KEY_BYTES",
    "PAYLOAD_BYTES_AT_MOST",
    "PREFIX",
    "BeatPayload",
    "BrokerSettings",
    "ChannelPayload",
    "Command",
    "DaemonDocument",
    "Decoded",
    "Decoder",
    "Foreign",
    "Heard",
    "HomeSettings",
    "IdentifyCommand",
    "Ignored",
    "Kind",
    "MachineView",
    "NotifySettings",
    "ReadingPayload",
    "RequestPayload",
    "ResultPayload",
    "Root",
    "RunCommand",
    "Spoiled",
    "StopCommand",
    "TankDocument",
    "Topic",
    "asyncapi",
    "birth_topic",
    "command_mac",
    "device_id",
    "device_topic",
    "event_bytes",
    "identify_bytes",
    "is_announcement",
    "is_identity",
    "is_signed_by",
    "parse_topic",
    "read_command",
    "read_strictly",
    "report_mac",
    "run_bytes",
    "schemas",
    "state_bytes",
    "stop_bytes",
    "topic_filter",
    "view_of",
]
