"""Connections that end when nothing comes on them, or only half of a request.

The server library waits for ever for the rest of a request's head, and for the first
one; a program that opens connections and says nothing would use them up.
"""

import asyncio

from uvicorn.protocols.http.h11_impl import H11Protocol

from harmonise.page.site import PATIENCE


class PatientProtocol(H11Protocol):
    """HTTP/1.1 on a connection that is closed where no whole request comes in time."""

    _waiting: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override] # as the library has it
        """Wait for a first request."""
        super().connection_made(transport)
        self._watch()

    def connection_lost(self, exc: Exception | None) -> None:
        """Wait no longer."""
        self._stop()
        super().connection_lost(exc)

    def handle_events(self) -> None:
        """Read what has come; each head has its time from the end of the last answer.

        So a head that comes letter by letter gains nothing.
        """
        super().handle_events()
        self._watch()

    def on_response_complete(self) -> None:
        """Wait for the next request."""
        super().on_response_complete()
        self._watch()

    def _watch(self) -> None:
        # Before the first request there is no cycle, whatever its type says.
        if getattr(self.cycle, "response_complete", True) is False:
            self._stop()
        elif self._waiting is None and not self.transport.is_closing():
            self._waiting = self.loop.call_later(PATIENCE, self.transport.close)

    def _stop(self) -> None:
        if self._waiting is not None:
            self._waiting.cancel()
            self._waiting = None
