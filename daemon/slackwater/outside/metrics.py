"""Figures for a monitoring system that asks for them, on this machine alone.

Floor 6. One subject: the page of metrics and who hands it out. Laws here: it listens on
loopback and nowhere else; whoever asks gets the page that was made last, so that a slow
or hostile reader never waits for a decision and no decision for a reader; nothing that
arrives is looked at but the path and the host it was sent to.
Source of the form: Prometheus text exposition format, version 0.0.4.
"""

import threading
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Literal

LOOPBACK = "127.0.0.1"
PATH = "/metrics"
CONTENT_TYPE = "text/plain; version=0.0.4; charset=utf-8"
# Whoever has not asked by then is not served.
PATIENCE_S = 5.0
# Monitoring asks by one connection; more than a few is no monitoring.
READERS_AT_MOST = 8
# A page in a browser must not read it by way of a name that points here.
_HOSTS = frozenset({LOOPBACK, "localhost"})

Type = Literal["gauge", "counter", "histogram"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Sample:
    """One figure; `suffix` goes behind the family's name, as in `_sum`."""

    value: float
    labels: Mapping[str, str] = field(default_factory=dict)
    suffix: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Family:
    """Figures of one name, with what they mean and their kind."""

    name: str
    meaning: str
    type: Type
    samples: tuple[Sample, ...] = ()


def page_of(families: Iterable[Family]) -> bytes:
    """The page; a family without a figure is left out."""
    lines = (line for one in families if one.samples for line in _lines(one))
    return "".join(f"{line}\n" for line in lines).encode()


def _lines(family: Family) -> Iterator[str]:
    yield f"# HELP {family.name} {_escaped(family.meaning)}"
    yield f"# TYPE {family.name} {family.type}"
    for one in family.samples:
        labels = ",".join(
            f'{name}="{_escaped(value, quote=True)}"'
            for name, value in one.labels.items()
        )
        name = f"{family.name}{one.suffix}"
        yield f"{name}{{{labels}}} {one.value!r}" if labels else f"{name} {one.value!r}"


def _escaped(text: str, *, quote: bool = False) -> str:
    clean = text.replace("\\", "\\\\").replace("\n", "\\n")
    return clean.replace('"', '\\"') if quote else clean


class Listener:
    """Hands out the newest page on loopback; closing it takes it away."""

    def __init__(self, port: int) -> None:
        """Keep the port; `start` opens it."""
        self.page = b""
        self._port = port
        self._server: _Server | None = None

    @property
    def port(self) -> int:
        """Where it listens; the port that was asked for while it does not."""
        return self._port if self._server is None else self._server.server_address[1]

    @property
    def is_open(self) -> bool:
        """Whether it listens."""
        return self._server is not None

    def start(self) -> None:
        """Listen, in a thread of its own.

        Raises: OSError when the port cannot be had.
        """
        if self._server is None:
            self._server = _Server(self, self._port)
            serving = threading.Thread(
                target=self._server.serve_forever, name="metrics", daemon=True
            )
            serving.start()

    def close(self) -> None:
        """Stop listening; whoever is being served is left to its own end."""
        server, self._server = self._server, None
        if server is not None:
            server.shutdown()
            server.server_close()


class _Server(ThreadingHTTPServer):
    """A few readers at once, each in a thread that nobody waits for."""

    daemon_threads = True
    block_on_close = False

    def __init__(self, listener: Listener, port: int) -> None:
        self.listener = listener
        self._room = threading.BoundedSemaphore(READERS_AT_MOST)
        super().__init__((LOOPBACK, port), _Reader)

    def process_request(self, request: object, client_address: object) -> None:
        """Serve it, or hang up where there are too many."""
        if not self._room.acquire(blocking=False):
            self.shutdown_request(request)  # type: ignore[arg-type]  # a socket
            return
        super().process_request(request, client_address)  # type: ignore[arg-type]  # a socket

    def process_request_thread(self, request: object, client_address: object) -> None:
        """Serve one reader and make room for the next."""
        try:
            super().process_request_thread(request, client_address)  # type: ignore[arg-type]  # a socket
        finally:
            self._room.release()

    def handle_error(self, request: object, client_address: object) -> None:
        """A reader that went away is no event."""
        del request, client_address


class _Reader(BaseHTTPRequestHandler):
    """One request; a figure for whoever asks for the right path, else nothing."""

    timeout = PATIENCE_S
    server: _Server
    server_version = "slackwater"
    sys_version = ""

    def do_GET(self) -> None:
        """Give the newest page."""
        host = self.headers.get("Host", "").rpartition(":")
        if (host[0] or host[2]) not in _HOSTS:
            self.send_error(403)
        elif self.path != PATH:
            self.send_error(404)
        else:
            page = self.server.listener.page
            self.send_response(200)
            self.send_header("Content-Type", CONTENT_TYPE)
            self.send_header("Content-Length", str(len(page)))
            self.end_headers()
            self.wfile.write(page)

    def log_message(self, format: str, *args: object) -> None:  # noqa: A002 -- as in the base class
        """Say nothing: who asks for figures is no event."""
