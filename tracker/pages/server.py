"""A small web server for one page on this machine: random port, secret path, nothing from outside."""

from __future__ import annotations

import json
import secrets
import threading
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from http import HTTPStatus
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from socketserver import TCPServer

HOST = "127.0.0.1"
MAX_BODY_BYTES = 1_000_000
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; "
    "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)


@dataclass(frozen=True, slots=True)
class Reply:
    """Answer to one request: status, media type, content."""

    status: HTTPStatus
    media_type: str = "text/plain; charset=utf-8"
    body: bytes = b""


def json_reply(data: object, status: HTTPStatus = HTTPStatus.OK) -> Reply:
    """Answer with data as JSON."""
    return Reply(status, "application/json; charset=utf-8", json.dumps(data).encode())


Get = Callable[[], Reply]
Post = Callable[[object], Reply]


class _Handler(BaseHTTPRequestHandler):
    """Answers only under the secret path, only to this machine's own name, and logs nothing."""

    server: _Server
    server_version = "page"
    sys_version = ""
    timeout = 30

    def do_GET(self) -> None:
        get = self.server.gets.get(self._name() or "?")
        self._send(get() if get else Reply(HTTPStatus.NOT_FOUND))

    def do_POST(self) -> None:
        post = self.server.posts.get(self._name() or "?")
        if post is None:
            self._send(Reply(HTTPStatus.NOT_FOUND))
            return
        data, problem = self._json()
        self._send(problem or post(data))

    def log_message(self, format: str, *args: object) -> None:  # noqa: A002
        """Stay silent: standard error belongs to the command."""

    def _name(self) -> str | None:
        """Part of the path after the secret; None if the request is not for this page."""
        own = f"{HOST}:{self.server.server_address[1]}"
        if self.headers.get("Host") != own or self.headers.get("Origin", f"http://{own}") != f"http://{own}":
            return None
        start = f"/{self.server.token}/"
        if not secrets.compare_digest(self.path[: len(start)].encode(), start.encode()):
            return None
        return self.path[len(start) :] or "index"

    def _json(self) -> tuple[object, Reply | None]:
        length = self.headers.get("Content-Length", "")
        if self.headers.get_content_type() != "application/json":
            return None, Reply(HTTPStatus.UNSUPPORTED_MEDIA_TYPE)
        if not length.isdecimal() or int(length) > MAX_BODY_BYTES:
            return None, Reply(HTTPStatus.REQUEST_ENTITY_TOO_LARGE)
        try:
            return json.loads(self.rfile.read(int(length))), None
        except ValueError:
            return None, Reply(HTTPStatus.BAD_REQUEST)

    def _send(self, reply: Reply) -> None:
        self.send_response(reply.status)
        self.send_header("Content-Type", reply.media_type)
        self.send_header("Content-Length", str(len(reply.body)))
        self.send_header("Content-Security-Policy", POLICY)
        self.send_header("X-Content-Type-Options", "nosniff")
        self.send_header("Referrer-Policy", "no-referrer")
        self.send_header("Cache-Control", "no-store")
        self.end_headers()
        self.wfile.write(reply.body)


class _Server(ThreadingHTTPServer):
    # Browsers open connections ahead of need; one thread alone would wait on them.
    daemon_threads = True
    block_on_close = False

    def __init__(self, gets: Mapping[str, Get], posts: Mapping[str, Post]) -> None:
        super().__init__((HOST, 0), _Handler)
        self.gets = gets
        self.posts = posts
        self.token = secrets.token_urlsafe(24)

    def server_bind(self) -> None:
        """Bind without asking for this machine's name, which can take long where there is no network."""
        TCPServer.server_bind(self)
        self.server_name, self.server_port = HOST, self.server_address[1]

    def handle_error(self, request: object, client_address: object) -> None:
        """Stay silent about connections the browser dropped."""


@contextmanager
def serving(gets: Mapping[str, Get], posts: Mapping[str, Post]) -> Iterator[str]:
    """Serve a page while the block runs.

    Parameters
    ----------
    gets : mapping of str to function
        What to answer for each name under the secret path; ``index`` is the page itself.
    posts : mapping of str to function
        Functions of the request's JSON. They run in threads of their own.

    Yields
    ------
    str
        Address of the page, with the secret.
    """
    server = _Server(gets, posts)
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.05}, daemon=True)
    thread.start()
    try:
        yield f"http://{HOST}:{server.server_address[1]}/{server.token}/"
    finally:
        server.shutdown()
        server.server_close()
        thread.join()
