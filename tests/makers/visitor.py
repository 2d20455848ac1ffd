"""A visitor of the local page who needs no browser: asks the server in this process."""

import asyncio
import base64
from pathlib import Path
from typing import Any
from urllib.parse import unquote

import httpx

from harmonise.page.server import make_app
from harmonise.page.site import USUAL, Limits, PageAddress, Site, new_site

TUNES = Path(__file__).parents[2] / "tunes"
DOOR = PageAddress("a-token-for-tests", 8765)
SHORT = """\
Title: Steps
Key: C
Time: 4/4
Tempo: 90
C E G E | F A G - | E G F D | D D C - |
"""
REPEATS = """\
Title: Round again
Key: G
Time: 3/4
|: G A B | C5 - D5 :| B A G | G - - |
"""
ABC = """\
X:1
T:One & <two>
M:4/4
L:1/4
K:D
|: D F A F | G F E2 :|[P:<b>Chorus</b>] A2 F2 | E2 D2 |]
w: <i>sing "it" & go on now
X:2
T:Second
M:3/4
L:1/4
K:G
G B d | G3 |]
"""
BASE = f"http://127.0.0.1:{DOOR.port}"


class Visitor:
    """Asks as the page does."""

    def __init__(self, *doors: PageAddress, limits: Limits = USUAL) -> None:
        """Open the door, and others beside it."""
        self.site: Site = new_site(limits, doors[0].address if doors else "")
        self.app = make_app(self.site, DOOR, *doors)

    def send(self, method: str, url: str | httpx.URL, **given: Any) -> httpx.Response:  # noqa: ANN401 - as httpx has them
        """Return the answer to a request of any kind."""

        async def run() -> httpx.Response:
            transport = httpx.ASGITransport(self.app, raise_app_exceptions=False)
            async with httpx.AsyncClient(transport=transport, base_url=BASE) as client:
                return await client.request(method, url, **given)

        return asyncio.run(run())

    def get_raw(self, target: str) -> tuple[int, bytes]:
        """Return status and body of what is asked for exactly so, untidied.

        Args:
            target: Path as it stands in the request, with its percent signs.
        """
        scope = {
            "type": "http",
            "http_version": "1.1",
            "method": "GET",
            "path": unquote(target),
            "raw_path": target.encode(),
            "query_string": b"",
            "headers": [(b"host", f"127.0.0.1:{DOOR.port}".encode())],
        }
        sent: list[Any] = []

        async def receive() -> Any:  # noqa: ANN401 - as ASGI has it
            return {"type": "http.request", "body": b"", "more_body": False}

        async def send(message: Any) -> None:  # noqa: ANN401 - as ASGI has it
            sent.append(message)

        asyncio.run(self.app(scope, receive, send))  # type: ignore[arg-type]
        return sent[0]["status"], b"".join(own.get("body", b"") for own in sent)

    def ask(
        self, path: str, value: object, headers: dict[str, str] | None = None
    ) -> httpx.Response:
        """Return the answer to a question."""
        own = {"X-Token": DOOR.token, **(headers or {})}
        return self.send("POST", path, json=value, headers=own)

    def told(self, path: str, value: object) -> Any:  # noqa: ANN401 - JSON
        """Return the answer to a question that is answered."""
        reply = self.ask(path, value)
        assert reply.status_code == 200, reply.text
        return reply.json()

    def refused(self, path: str, value: object, status: int) -> dict[str, object]:
        """Return what a question is refused with."""
        reply = self.ask(path, value)
        assert reply.status_code == status, reply.text
        error: dict[str, object] = reply.json()["error"]
        return error


def typed(text: str) -> dict[str, object]:
    """Return a request with a typed tune."""
    return {"source": {"text": text}}


def dropped(content: bytes, name: str) -> dict[str, object]:
    """Return a request with a file."""
    coded = base64.b64encode(content).decode()
    return {"source": {"name": name, "base64": coded}}


def tune(name: str) -> dict[str, object]:
    """Return a request with one of the bundled tunes."""
    return typed((TUNES / f"{name}.txt").read_text("utf-8"))


def names() -> list[str]:
    """Return the names of the bundled tunes."""
    return sorted(path.stem for path in TUNES.glob("*.txt"))
