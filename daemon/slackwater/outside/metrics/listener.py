"""The listener of figures: a registry of prometheus-client behind a wall of our own.

Floor 6. One subject: who hands figures out. Laws here: it listens on loopback and
nowhere else; whoever asks gets the figures that were put last, so that a slow or
hostile reader never waits for a decision and no decision for a reader; nothing that
arrives is looked at but path, host and what the library reads of the accepted forms.
"""

import threading
from collections.abc import Iterable, Iterator, Sequence
from io import StringIO
from socketserver import TCPServer, ThreadingMixIn
from typing import TextIO
from wsgiref.simple_server import WSGIRequestHandler, WSGIServer
from wsgiref.types import StartResponse, WSGIApplication, WSGIEnvironment

from prometheus_client import CollectorRegistry, make_wsgi_app
from prometheus_client.metrics_core import Metric

from slackwater.outside.metrics.figures import Family

LOOPBACK = "127.0.0.1"
PATH = "/metrics"
# Whoever has not asked by then is not served.
PATIENCE_S = 5.0
# Monitoring asks by one connection; more than a few is no monitoring.
READERS_AT_MOST = 8
# A page in a browser must not read it by way of a name that points here.
_HOSTS = frozenset({LOOPBACK, "localhost"})


class HttpListener:
    """Hands out the newest figures on loopback; see the protocol `Listener`."""

    def __init__(self, port: int) -> None:
        """Keep the port; `start` opens it."""
        self.families: Sequence[Family] = ()
        self._port = port
        # Of its own: the library's common one adds figures of process and platform.
        registry = CollectorRegistry()
        registry.register(self)
        self._figures: WSGIApplication = make_wsgi_app(registry)
        self._server: _Server | None = None

    @property
    def port(self) -> int:
        """Where it listens; the port that was asked for while it does not."""
        return self._port if self._server is None else self._server.server_port

    @property
    def is_open(self) -> bool:
        """Whether it listens."""
        return self._server is not None

    def collect(self) -> Iterator[Metric]:
        """The figures as the library wants them; a family without one is left out."""
        for family in self.families:
            if family.samples:
                yield _metric(family)

    def start(self) -> None:
        """Listen, in a thread of its own.

        Raises: OSError when the port cannot be had.
        """
        if self._server is None:
            self._server = _Server((LOOPBACK, self._port), _Reader)
            self._server.set_app(self._answer)
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

    def _answer(
        self, environ: WSGIEnvironment, start_response: StartResponse
    ) -> Iterable[bytes]:
        host = str(environ.get("HTTP_HOST", "")).rpartition(":")
        refused = ""
        if (host[0] or host[2]) not in _HOSTS:
            refused = "403 Forbidden"
        elif environ.get("PATH_INFO") != PATH or environ.get("QUERY_STRING"):
            refused = "404 Not Found"
        if refused:
            start_response(refused, [("Content-Length", "0")])
            return ()
        return self._figures(environ, start_response)


def _metric(family: Family) -> Metric:
    # The library adds the ending of a counter by itself.
    made = Metric(family.name.removesuffix("_total"), family.meaning, family.type)
    for one in family.samples:
        made.add_sample(f"{family.name}{one.suffix}", dict(one.labels), one.value)
    return made


class _Server(ThreadingMixIn, WSGIServer):
    """A few readers at once, each in a thread that nobody waits for."""

    daemon_threads = True
    block_on_close = False

    def __init__(
        self, place: tuple[str, int], reader: type[WSGIRequestHandler]
    ) -> None:
        self._room = threading.BoundedSemaphore(READERS_AT_MOST)
        super().__init__(place, reader)

    def server_bind(self) -> None:
        """Bind, and ask nobody for a name: a resolver can take its time."""
        TCPServer.server_bind(self)
        self.server_name, self.server_port = LOOPBACK, self.server_address[1]
        self.setup_environ()

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


class _Reader(WSGIRequestHandler):
    """One request; says nothing of who asks."""

    timeout = PATIENCE_S
    server_version = "slackwater"
    sys_version = ""

    def get_stderr(self) -> TextIO:
        """Somewhere for what a reader that went away leaves in the library."""
        return StringIO()

    def log_message(self, format: str, *args: object) -> None:  # noqa: A002 -- as in the base class
        """Say nothing: who asks for figures is no event."""
