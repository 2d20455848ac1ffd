"""Many at once, and the server as a process of its own."""

import os
import random
import socket
import sys
import threading
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from itertools import count

import httpx
import pytest
from makers.served import Served, served
from makers.visitor import TUNES, Visitor, dropped, tune

from harmonise.errors import LibraryError, OutputError
from harmonise.page.serving import serve
from harmonise.page.site import USUAL

QUESTIONS = int(os.environ.get("HARMONISE_CROWD", "5"))
"""How much each of the crowd asks; 80 in the promise of the local page."""
CLIENTS = 20

_Question = tuple[str, dict[str, object]]


def questions() -> list[_Question]:
    """Return what the crowd asks: tunes, swaps of chords, files, faults."""
    found: list[_Question] = []
    for name in ("auld_lang_syne", "greensleeves", "boat_round", "old_hundredth"):
        found += [("/read", tune(name)), ("/arrange", tune(name))]
        for level in ("2", "4", "auto"):
            settings = {"level": level, "fingering": True}
            found.append(("/arrange", {**tune(name), "settings": settings}))
        for at in (0, 4, 8):
            lock = {"onset": str(at), "end": str(at + 4), "chord": "Dm7"}
            found.append(("/arrange", {**tune(name), "locks": [lock]}))
        found += [
            ("/file", {**tune(name), "kind": kind})
            for kind in ("pdf", "mxl", "midi", "text")
        ]
    score = Visitor().ask("/file", {**tune("the_bucket"), "kind": "musicxml"}).content
    found += [
        ("/arrange", dropped(score, "the_bucket.musicxml")),
        ("/read", dropped(b"PK broken", "broken.mxl")),
        ("/drill", {"names": ["D1", "D7"], "keys": ["C", "Eb"], "kind": "pdf"}),
        ("/worksheet", {**tune("auld_lang_syne"), "sheet": {"kind": "voices"}}),
        ("/offers", {}),
    ]
    return found


def answers_alone(asked: list[_Question]) -> list[tuple[int, bytes]]:
    """Return the answers when nobody else asks."""
    visitor = Visitor()
    replies = [visitor.ask(path, body) for path, body in asked]
    return [(reply.status_code, reply.content) for reply in replies]


class Crowd:
    """Clients who ask one server, and ask again when it was busy with the others."""

    def __init__(self, page: Served) -> None:
        """Begin with no answer."""
        self._page = page
        self._answers = 0
        self._answered = threading.Condition()

    def answer(self, client: httpx.Client, asked: _Question) -> tuple[int, bytes]:
        """Return an answer, however often the server is busy before."""
        path, body = asked
        while True:
            before = self._answers
            reply = client.post(path, json=body, headers={"X-Token": self._page.token})
            if reply.status_code != 429:
                break
            # Others are being answered, so there is room when one of them is; the
            # server's own word is kept to where the last of them has just been.
            with self._answered:
                others = partial(self._others_since, before)
                self._answered.wait_for(others, int(reply.headers["retry-after"]))
        with self._answered:
            self._answers += 1
            self._answered.notify_all()
        return reply.status_code, reply.content

    def _others_since(self, before: int) -> bool:
        return self._answers > before


@pytest.mark.slow
def test_twenty_at_once_lose_nothing_and_none_waits_too_long() -> None:
    # An answer that takes too long is another than the one given alone: status 504.
    asked = questions()
    alone = answers_alone(asked)
    assert {status for status, _ in alone} == {200, 422}
    with served() as page:
        crowd = Crowd(page)

        def ask(seed: int) -> None:
            dice = random.Random(seed)  # noqa: S311 - no secret
            with httpx.Client(base_url=page.base, timeout=2 * USUAL.seconds) as client:
                for number in dice.choices(range(len(asked)), k=QUESTIONS):
                    got = crowd.answer(client, asked[number])
                    assert got == alone[number], asked[number]

        with ThreadPoolExecutor(CLIENTS) as clients:
            assert list(clients.map(ask, range(CLIENTS))) == [None] * CLIENTS
        assert page.stop() == (0, "")


def test_ctrl_c_ends_the_page_cleanly() -> None:
    with served() as page:
        headers = {"X-Token": page.token}
        reply = httpx.post(f"{page.base}/offers", json={}, headers=headers)
        assert reply.status_code == 200
        assert page.stop() == (0, "")


def test_ctrl_c_ends_the_page_while_it_works() -> None:
    songbook = (TUNES / "greensleeves.txt").read_text("utf-8")
    head, _, music = songbook.partition("\n\n")
    body = {"source": {"text": f"{songbook}\n{music}" if head else songbook}}
    with served() as page:
        url, headers = f"{page.base}/arrange", {"X-Token": page.token}
        begun, done = threading.Event(), threading.Event()

        def ask() -> None:
            for _ in count():
                try:
                    httpx.post(url, json=body, headers=headers, timeout=30)
                except httpx.HTTPError:
                    break
                begun.set()
            done.set()

        workers = [threading.Thread(target=ask) for _ in range(6)]
        for worker in workers:
            worker.start()
        # One of six is answered, and the others are in the works.
        assert begun.wait(60)
        status, err = page.stop()
        for worker in workers:
            worker.join(30)
    assert (status, err) == (0, "")
    assert done.is_set()


def test_the_page_is_reached_on_this_machine_alone() -> None:
    with served() as page:
        port = int(page.base.rpartition(":")[2])
        others = {
            info[4][0]
            for info in socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)
        } - {"127.0.0.1"}
        for address in map(str, others):
            if not address.startswith("127."):
                with pytest.raises(OSError, match="refused"):
                    socket.create_connection((address, port), timeout=2)
        with socket.create_connection(("127.0.0.1", port), timeout=2) as line:
            # Straight onto the line: no client tidies this path up.
            ask = f"GET /files/../app.py HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n"
            line.sendall(f"{ask}Connection: close\r\n\r\n".encode())
            assert line.recv(100).startswith(b"HTTP/1.1 404 ")


def test_a_port_that_is_taken_is_told(capsys: pytest.CaptureFixture[str]) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        with pytest.raises(OutputError) as caught:
            serve(port, browser=False)
    told = f"Port {port} cannot be had. Choose another, or none."
    assert str(caught.value) == told
    assert capsys.readouterr().out == ""


def test_a_missing_server_library_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "uvicorn", None)
    with pytest.raises(LibraryError) as caught:
        serve(browser=False)
    assert str(caught.value) == (
        "The page needs starlette and uvicorn, which are not installed. "
        "Install them: pip install starlette uvicorn."
    )
