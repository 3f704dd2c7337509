"""Who a connection is, and the secrets it proves it with.

Floor 6. One subject: access to the broker. Laws here: a secret is read when its
connection is opened, by the connection that needs it; it never shows in a
representation or a message.
"""

import ssl
from dataclasses import dataclass, field
from pathlib import Path

from slackwater.errors import Finding, InputError
from slackwater.outside.wire import (
    BrokerSettings,
    Foreign,
    Kind,
    Topic,
    is_announcement,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Access:
    """Who connects, with what, and on which kinds of topic it may publish.

    `foreign` are topics of relays, word for word; one that `announces` may tell home
    automation of this site's devices as well.
    """

    name: str
    settings: BrokerSettings
    user: str
    password: Path | None
    may_publish: frozenset[Kind]
    will: tuple[Topic, bytes] | None = None
    foreign: frozenset[str] = frozenset()
    announces: bool = False

    def check(self, topic: Topic | Foreign) -> None:
        """Let a topic pass that this connection was made for.

        Raises: InputError for any other.
        """
        if not self._may_say(topic):
            raise InputError(
                Finding(
                    what=f"the {self.name} connection was to publish there",
                    where=str(topic),
                    expected="a topic this connection was made for",
                    do="Nothing was sent. Report this: it is a fault of the daemon.",
                )
            )

    def _may_say(self, topic: Topic | Foreign) -> bool:
        if isinstance(topic, Foreign):
            ours = self.announces and is_announcement(topic.text, self.settings.root)
            return ours or topic.text in self.foreign
        return topic.kind in self.may_publish


class _ClosingSocket(ssl.SSLSocket):
    """A socket that does not stay open when nobody can be trusted.

    paho drops a socket whose handshake failed and leaves closing it to chance.
    """

    def do_handshake(self, block: bool = False) -> None:  # noqa: FBT001, FBT002
        """Shake hands, or close."""
        try:
            super().do_handshake(block)
        except OSError:
            self.close()
            raise


@dataclass(frozen=True, slots=True, kw_only=True)
class Secrets:
    """What was read from the credential files."""

    password: str | None = field(default=None, repr=False)
    tls: ssl.SSLContext | None = None


def read_secrets(access: Access) -> Secrets:
    """The secrets of one connection.

    Raises: InputError when a file cannot be read or is not what it should be.
    """
    return Secrets(password=_password(access.password), tls=_tls(access.settings))


def _password(path: Path | None) -> str | None:
    if path is None:
        return None
    try:
        return path.read_text("utf-8").removesuffix("\n")
    except (OSError, UnicodeDecodeError) as error:
        raise _unusable(path, "a readable file with the password", error) from error


def _tls(settings: BrokerSettings) -> ssl.SSLContext | None:
    if settings.tls_ca is None:
        return None
    try:
        context = ssl.create_default_context(cafile=settings.tls_ca)
    except OSError as error:
        raise _unusable(settings.tls_ca, "certificates in PEM form", error) from error
    context.sslsocket_class = _ClosingSocket
    if settings.tls_cert is not None:
        try:
            context.load_cert_chain(settings.tls_cert, settings.tls_key)
        except OSError as error:
            wanted = "a certificate and its key in PEM form"
            raise _unusable(settings.tls_cert, wanted, error) from error
    return context


def _unusable(path: Path, expected: str, error: Exception) -> InputError:
    return InputError(
        Finding(
            what=f"the file cannot be used ({type(error).__name__})",
            where=f"broker, {path}",
            expected=expected,
            do="Look at the path, its owner and its content.",
        )
    )
