"""What stands round every answer: who may ask, and what the browser may do with what it got."""

from __future__ import annotations

from collections.abc import Collection

from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from spiracle.doors.web_wire import turned_away
from spiracle.refusals import NotAllowed

LOOPBACK = frozenset({"localhost", "127.0.0.1", "[::1]"})
CSP = "; ".join((
    "default-src 'self'", "script-src 'self'", "style-src 'self' 'unsafe-inline'", "img-src 'self' data: blob:",
    "font-src 'self'", "connect-src 'self'", "worker-src 'self'", "manifest-src 'self'", "object-src 'none'",
    "base-uri 'none'", "form-action 'self'", "frame-src 'self' blob:", "frame-ancestors 'self'",
))  # fmt: skip
HEADERS = {
    "Content-Security-Policy": CSP,
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), microphone=(), geolocation=(), payment=()",
}


class Guard:
    """Same origin only. On loopback a request must also name a loopback host, so that no page from elsewhere can reach
    in by renaming itself. `hosts` None: the network is trusted, any name is taken."""

    def __init__(self, app: ASGIApp, hosts: Collection[str] | None = LOOPBACK) -> None:
        self._app, self._hosts = app, hosts

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return

        async def send_guarded(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    headers.setdefault(name, value)
            await send(message)

        fault = self._fault(Headers(scope=scope))
        if fault is not None:
            await turned_away(fault, 403)(scope, receive, send_guarded)
            return
        await self._app(scope, receive, send_guarded)

    def _fault(self, headers: Headers) -> NotAllowed | None:
        host = headers.get("host", "")
        if self._hosts is not None and host.rsplit(":", 1)[0].lower() not in self._hosts and host not in self._hosts:
            return NotAllowed("host", f"{host[:60]!r} is not this computer.", "Open the address the server printed.")
        origin = headers.get("origin")
        if origin is not None and origin.partition("://")[2] != host:
            return NotAllowed("origin", f"{origin[:60]!r} is another site.", "Open the app from its own address.")
        return None
