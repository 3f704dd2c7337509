"""Commands to bytes, and the codes that prove who wrote a message.

Floor 6. One subject: encoding of `run`, `stop`, `identify`, and HMAC on both ways.
Laws here: a command that would not pass the node's own form check never becomes
bytes; codes are compared in constant time.
"""

import hmac
from collections.abc import Mapping
from hashlib import sha256

import rfc8785
from pydantic import ValidationError

from slackwater.errors import Finding, InputError
from slackwater.facts.messages import RunPump, StopPump
from slackwater.outside.wire.models import (
    AnyCommand,
    Command,
    IdentifyCommand,
    RunCommand,
    StopCommand,
)
from slackwater.outside.wire.strict import (
    COMMAND_BYTES_AT_MOST,
    Spoiled,
    first_complaint,
    read_strictly,
)

_RUN_FIELDS = (
    "v",
    "act",
    "id",
    "chan",
    "boot",
    "n",
    "fence",
    "ul",
    "ms",
    "cut_ms",
    "until_up",
    "cal",
)
_OTHER_FIELDS = ("v", "act", "id", "chan")


def run_bytes(command: RunPump, key: bytes | None = None) -> bytes:
    """A `run` as the node reads it, signed when a key is given.

    Raises: InputError when a field is outside what the wire allows.
    """
    fields = {
        "id": command.attempt,
        "chan": command.channel,
        "boot": command.boot,
        "n": command.n,
        "fence": command.fence,
        "ul": command.ul,
        "ms": command.ms,
        "cut_ms": command.cut_ms,
        "until_up": command.until_up,
        "cal": command.cal,
    }
    return _bytes(RunCommand, fields, command.node, key)


def stop_bytes(command: StopPump, message_id: str, key: bytes | None = None) -> bytes:
    """A `stop`; `message_id` is 32 hex digits, a new one each time.

    Raises: InputError when a field is outside what the wire allows.
    """
    fields = {"id": message_id, "chan": command.channel or None}
    return _bytes(StopCommand, fields, command.node, key)


def identify_bytes(
    node: str, channel: str, message_id: str, key: bytes | None = None
) -> bytes:
    """An `identify`: the node shows itself and moves no liquid.

    Raises: InputError when a field is outside what the wire allows.
    """
    fields = {"id": message_id, "chan": channel or None}
    return _bytes(IdentifyCommand, fields, node, key)


def read_command(payload: bytes) -> Command | Spoiled:
    """Read a command the way a node does: at most 1 KiB, nothing unknown."""
    read = read_strictly(payload, AnyCommand, bytes_at_most=COMMAND_BYTES_AT_MOST)
    return read if isinstance(read, Spoiled) else read.model.root


def command_mac(command: Command, key: bytes) -> str:
    """The code of a command: its values in the order of the contract, one per line."""
    names = _RUN_FIELDS if isinstance(command, RunCommand) else _OTHER_FIELDS
    values = (getattr(command, name) for name in names)
    text = "\n".join("" if value is None else str(value) for value in values)
    return hmac.new(key, text.encode("ascii"), sha256).hexdigest()


def report_mac(plain: dict[str, object], key: bytes) -> str | None:
    """The code of a beat or result: over its canonical JSON without `mac`.

    None when the content has no canonical form (a whole number beyond 2**53).
    Source: RFC 8785 for the canonical form, RFC 2104 for the code.
    """
    unsigned = {name: value for name, value in plain.items() if name != "mac"}
    try:
        canonical = rfc8785.dumps(unsigned)  # type: ignore[arg-type]  # parsed JSON
    except rfc8785.CanonicalizationError:
        return None
    return hmac.new(key, canonical, sha256).hexdigest()


def is_signed_by(plain: dict[str, object], key: bytes) -> bool:
    """Whether a beat or result carries the code of this key."""
    shown = plain.get("mac")
    wanted = report_mac(plain, key)
    if not isinstance(shown, str) or wanted is None:
        return False
    return hmac.compare_digest(shown.encode(), wanted.encode())


def _bytes(
    model: type[Command],
    fields: Mapping[str, object],
    node: str,
    key: bytes | None,
) -> bytes:
    try:
        command = model.model_validate(fields)
    except ValidationError as error:
        raise InputError(
            Finding(
                what=f"a command cannot be written: {first_complaint(error)}",
                where=f"node {node}, {model.__name__}",
                expected="every field within the command contract",
                do="Nothing was sent. Report this with the ledger.",
            )
        ) from error
    if key is not None:
        command = command.model_copy(update={"mac": command_mac(command, key)})
    return command.model_dump_json(exclude_none=True).encode()
