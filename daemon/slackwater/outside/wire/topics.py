"""Topic names of the wire.

Floor 6. One subject: which topics there are and how they are spelled.
Laws here: a topic that exists is well formed; identities match `[a-z0-9-]{1,32}`, so
wildcards, `$`, separators and control characters cannot enter a name.
"""

import re
from dataclasses import dataclass
from enum import StrEnum

from slackwater.errors import Finding, InputError

PREFIX = "slackwater/1"
IDENTITY = re.compile("[a-z0-9-]{1,32}")
_PREFIX = re.compile("[a-z0-9-]{1,32}(/[a-z0-9-]{1,32}){0,3}")
# The device-based form of MQTT discovery, Home Assistant (documentation, 2026.11).
_DEVICE = re.compile(
    "[a-z0-9-]{1,32}(/[a-z0-9-]{1,32}){0,3}/device"
    "/slackwater_(?P<site>[a-z0-9-]{1,32})_(tank|pump)_[a-z0-9-]{1,32}/config"
)


class Kind(StrEnum):
    """What a topic carries; the value is its last fixed word or words."""

    COMMAND = "command"
    BEAT = "beat"
    RESULT = "result"
    HOLD = "hold"
    READING = "reading"
    INPUT = "input"
    REQUEST = "request"
    TANK_STATE = "tank-state"
    EVENT = "event"
    DAEMON_STATE = "daemon-state"
    ALARM = "alarm"
    ECHO = "echo"


# Below `{prefix}/{site}`: `@` stands for the owner's identity, `%` for the item's. An
# alarm is owned by its cause.
_SHAPES: dict[Kind, tuple[str, ...]] = {
    Kind.COMMAND: ("node", "@", "command"),
    Kind.BEAT: ("node", "@", "beat"),
    Kind.RESULT: ("node", "@", "result"),
    Kind.HOLD: ("node", "@", "hold"),
    Kind.READING: ("tank", "@", "reading", "%"),
    Kind.INPUT: ("tank", "@", "input", "%"),
    Kind.REQUEST: ("tank", "@", "request"),
    Kind.TANK_STATE: ("tank", "@", "state"),
    Kind.EVENT: ("tank", "@", "event"),
    Kind.DAEMON_STATE: ("daemon", "state"),
    Kind.ALARM: ("daemon", "alarm", "@", "%"),
    Kind.ECHO: ("daemon", "echo"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Root:
    """Prefix and site: what every topic of one daemon begins with.

    Raises: InputError when a part is not an identity.
    """

    site: str
    prefix: str = PREFIX

    def __post_init__(self) -> None:
        _check_identity(self.site, where="site")
        if not _PREFIX.fullmatch(self.prefix):
            raise InputError(
                Finding(
                    what=f"the topic prefix is {_shown(self.prefix)}",
                    where="broker, prefix",
                    expected="one to four words of a-z, 0-9 and -, joined by /",
                    do=f"Write for example {PREFIX}.",
                )
            )

    def __str__(self) -> str:
        """Give prefix and site as they stand before every topic."""
        return f"{self.prefix}/{self.site}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Topic:
    """One well-formed topic.

    `owner` is the node, tank or cause, `item` the probe, input or what an alarm is
    about; both are empty exactly where the kind has no such place.
    Raises: InputError when a part is missing, superfluous or malformed.
    """

    root: Root
    kind: Kind
    owner: str = ""
    item: str = ""

    def __post_init__(self) -> None:
        shape = _SHAPES[self.kind]
        for mark, part, where in (
            ("@", self.owner, "node or tank"),
            ("%", self.item, "probe or input"),
        ):
            if mark in shape:
                _check_identity(part, where=f"{self.kind} topic, {where}")
            elif part:
                raise InputError(
                    Finding(
                        what=f"{_shown(part)} is given",
                        where=f"{self.kind} topic, {where}",
                        expected="nothing there",
                        do="Leave it out.",
                    )
                )

    def __str__(self) -> str:
        """Give the topic as it stands on the wire."""
        places = {"@": self.owner, "%": self.item}
        words = (places.get(word, word) for word in _SHAPES[self.kind])
        return f"{self.root}/{'/'.join(words)}"


@dataclass(frozen=True, slots=True)
class Foreign:
    """A topic beside the contract's, as the operator wrote it."""

    text: str

    def __str__(self) -> str:
        """Give the topic as it stands on the wire."""
        return self.text


def device_id(root: Root, kind: str, name: str) -> str:
    """The name of a device for home automation.

    An id of the configuration holds no underscore: no two of these can be the same.
    """
    return f"slackwater_{root.site}_{kind}_{name}"


def device_topic(discovery: str, device: str) -> str:
    """Where home automation that looks under a prefix finds a device."""
    return f"{discovery}/device/{device}/config"


def birth_topic(discovery: str) -> str:
    """Where home automation says that it is there."""
    return f"{discovery}/status"


def is_announcement(text: str, root: Root) -> bool:
    """Whether a topic announces a device of this site, under whatever prefix."""
    found = _DEVICE.fullmatch(text)
    return found is not None and found["site"] == root.site


def parse_topic(text: str, root: Root) -> Topic | None:
    """Read a topic of this daemon's site; None for anything else."""
    start = f"{root}/"
    if not text.startswith(start):
        return None
    words = text[len(start) :].split("/")
    for kind, shape in _SHAPES.items():
        places = _match(words, shape)
        if places is not None:
            return Topic(
                root=root,
                kind=kind,
                owner=places.get("@", ""),
                item=places.get("%", ""),
            )
    return None


def address(kind: Kind) -> str:
    """The topic of one kind with its places named, as AsyncAPI writes it."""
    named = {"@": "{owner}", "%": "{item}"}
    words = (named.get(word, word) for word in _SHAPES[kind])
    return "/".join(("{prefix}", "{site}", *words))


def topic_filter(root: Root, kind: Kind) -> str:
    """The subscription filter that catches every topic of one kind at this site."""
    words = ("+" if word in {"@", "%"} else word for word in _SHAPES[kind])
    return f"{root}/{'/'.join(words)}"


def is_identity(text: str) -> bool:
    """Whether a text may name a node, channel, tank, probe, input or site."""
    return IDENTITY.fullmatch(text) is not None


def _match(words: list[str], shape: tuple[str, ...]) -> dict[str, str] | None:
    if len(words) != len(shape):
        return None
    places: dict[str, str] = {}
    for word, wanted in zip(words, shape, strict=True):
        if wanted in {"@", "%"} and is_identity(word):
            places[wanted] = word
        elif word != wanted:
            return None
    return places


def _check_identity(text: str, *, where: str) -> None:
    if not is_identity(text):
        raise InputError(
            Finding(
                what=f"the name is {_shown(text)}",
                where=where,
                expected="1 to 32 characters of a-z, 0-9 and -",
                do="Choose another name.",
            )
        )


def _shown(text: str) -> str:
    # ascii() and a cut: a hostile name must not reach a terminal or fill a log.
    return ascii(text[:40])
