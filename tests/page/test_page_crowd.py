"""Many at once, and the server as a process of its own."""

import os
import random
import socket
import sys
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from itertools import count

import httpx
import pytest
from makers.served import Served, served
from makers.visitor import TUNES, Visitor, dropped, tune

from harmonise.errors import LibraryError, OutputError
from harmonise.page.serving import serve
from harmonise.page.site import USUAL

SECONDS = float(os.environ.get("HARMONISE_CROWD", "4"))
"""How long the crowd asks; a minute in the promise of the local page."""
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
        ("/worksheet", {**tune("auld_lang_syne"), "worksheet": "voices"}),
        ("/offers", {}),
    ]
    return found


def answers_alone(asked: list[_Question]) -> list[tuple[int, bytes]]:
    """Return the answers when nobody else asks."""
    visitor = Visitor()
    replies = [visitor.ask(path, body) for path, body in asked]
    return [(reply.status_code, reply.content) for reply in replies]


@pytest.mark.slow
def test_twenty_at_once_lose_nothing_and_none_waits_too_long() -> None:
    asked = questions()
    alone = answers_alone(asked)
    assert {status for status, _ in alone} == {200, 422}
    with served() as page:
        end = time.monotonic() + SECONDS
        with ThreadPoolExecutor(CLIENTS) as crowd:
            clients = [
                crowd.submit(_client, page, asked, alone, seed, end)
                for seed in range(CLIENTS)
            ]
            waits = [wait for client in clients for wait in client.result()]
        assert page.stop() == (0, "")
    waits.sort()
    told = f"{len(waits)} answers, half within {waits[len(waits) // 2]:.2f} s"
    print(  # noqa: T201 - what a minute of it showed
        f"{CLIENTS} clients, {SECONDS:g} s: {told}, all within {waits[-1]:.2f} s"
    )
    assert waits[-1] < USUAL.seconds


def _client(
    page: Served,
    asked: list[_Question],
    alone: list[tuple[int, bytes]],
    seed: int,
    end: float,
) -> list[float]:
    """Ask twice at least, and until the end; return how long each answer took.

    Busy times are included.
    """
    dice = random.Random(seed)  # noqa: S311 - no secret
    waits: list[float] = []
    with httpx.Client(base_url=page.base, timeout=USUAL.seconds) as client:
        while len(waits) < 2 or time.monotonic() < end:
            number = dice.randrange(len(asked))
            begun = time.monotonic()
            reply = _patiently(client, page.token, asked[number])
            waits.append(time.monotonic() - begun)
            assert (reply.status_code, reply.content) == alone[number], asked[number]
    return waits


def _patiently(client: httpx.Client, token: str, asked: _Question) -> httpx.Response:
    """Return an answer; ask again after as long as a busy server says."""
    path, body = asked
    while True:
        reply = client.post(path, json=body, headers={"X-Token": token})
        if reply.status_code != 429:
            return reply
        time.sleep(int(reply.headers["retry-after"]))


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
        done = threading.Event()

        def ask() -> None:
            for _ in count():
                try:
                    httpx.post(url, json=body, headers=headers, timeout=30)
                except httpx.HTTPError:
                    break
            done.set()

        workers = [threading.Thread(target=ask) for _ in range(6)]
        for worker in workers:
            worker.start()
        time.sleep(1)
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
