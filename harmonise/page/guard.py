"""The guard before the server: who may ask.

A server on the loopback address can be reached by every program of the machine, and by
any web page that its browser shows. Host and Origin keep such pages out, also when
their name is made to point here; the token keeps other people of the machine out. So
this machine's own browser alone may ask, with the token, from the page itself. The
page's files hold nothing that is anyone's, so they are shown without it. Where the page
is shared on a home network, that is a second door with a token of its own.
"""

from collections.abc import Sequence

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from harmonise.page.answers import refused
from harmonise.page.site import PageAddress

_OWN = ("script", "style", "font", "img", "media", "connect", "manifest")
"""What the page loads, from itself alone."""
_NEVER = ("default-src", "base-uri", "form-action", "frame-ancestors")
_POLICY = [
    *(f"{it} 'none'" for it in _NEVER),
    *(f"{it}-src 'self'" for it in _OWN),
    # Text becomes markup in one place of the scripts alone, which goes by this name.
    "require-trusted-types-for 'script'",
    "trusted-types harmonise",
]
HEADERS = {
    "Content-Security-Policy": "; ".join(_POLICY),
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), geolocation=(), microphone=(self), midi=(self)",
    "Referrer-Policy": "no-referrer",
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
}
"""Headers of every answer; nothing from outside is ever loaded."""


class Guard:
    """Lets in what may come in, and puts the safety headers on every answer."""

    def __init__(self, app: ASGIApp, doors: Sequence[PageAddress]) -> None:
        """Stand before an application; each door knows its names and its token."""
        self._app, self._doors = app, doors

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Refuse a request or hand it on, and add the headers to every answer."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return

        async def send_safely(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    headers[name] = value
                headers.setdefault("Cache-Control", "no-store")
            await send(message)

        fault = self._fault(scope)
        await (fault or self._app)(scope, receive, send_safely)

    def _fault(self, scope: Scope) -> Response | None:
        """Return the refusal of a request that may not come in."""
        headers = Headers(scope=scope)
        door = self._door(headers.getlist("host"))
        if door is None:
            return refused(403, "This page is asked for by another name than its own.")
        origins = [f"http://{host}" for host in door.hosts]
        if not all(origin in origins for origin in headers.getlist("origin")):
            return refused(403, "Another web page may not ask this one.")
        tokens = headers.getlist("x-token")
        fits = len(tokens) == 1 and door.fits(tokens[0])
        if scope["method"] == "POST" and not fits:
            return refused(403, "The token is not this page's. Open its address again.")
        strays = headers["host"] != door.hosts[0] and scope["path"] == "/"
        if strays and scope["method"] in ("GET", "HEAD"):
            # Browsers keep tunes for one name of a machine; its second one leads there.
            return RedirectResponse(f"http://{door.hosts[0]}/")
        return None

    def _door(self, hosts: Sequence[str]) -> PageAddress | None:
        return next(
            (d for d in self._doors for host in d.hosts if [host] == hosts), None
        )
