import asyncio
import json
import re
import threading
from collections.abc import AsyncIterator, Iterator
from hashlib import sha256

import pytest
from makers.visitor import BASE, DOOR, SHORT, Visitor, tune, typed
from oracles.scanned import read_code
from starlette.requests import Request

from harmonise.page import server
from harmonise.page.guard import HEADERS
from harmonise.page.site import (
    USUAL,
    BusyError,
    Limits,
    PageAddress,
    Workshop,
    new_site,
    new_token,
)
from harmonise.page.statics import MISSING, file_reply, sample_reply


@pytest.fixture(scope="module")
def visitor() -> Visitor:
    return Visitor()


@pytest.mark.parametrize(
    "host",
    ["127.0.0.1", "localhost", "127.0.0.1:1", "evil.example:8765", "localhost.:8765",
     "127.0.0.1:8765.evil.example", "0.0.0.0:8765", "[::1]:8765", ""],
)  # fmt: skip
def test_another_host_name_is_refused(visitor: Visitor, host: str) -> None:
    reply = visitor.ask("/offers", {}, {"Host": host})
    assert (reply.status_code, "name" in reply.json()["error"]["sentence"]) == (
        403, True,
    )  # fmt: skip


@pytest.mark.parametrize("host", ["127.0.0.1:8765", "localhost:8765"])
def test_its_own_host_names_are_let_in(visitor: Visitor, host: str) -> None:
    assert visitor.ask("/offers", {}, {"Host": host}).status_code == 200


@pytest.mark.parametrize(
    "origin",
    ["null", "https://evil.example", "http://127.0.0.1", "https://127.0.0.1:8765",
     "http://localhost:1", "http://127.0.0.1:8765.evil.example", ""],
)  # fmt: skip
def test_another_origin_is_refused(visitor: Visitor, origin: str) -> None:
    reply = visitor.ask("/offers", {}, {"Origin": origin})
    assert reply.status_code == 403
    assert reply.json()["error"]["sentence"] == "Another web page may not ask this one."


@pytest.mark.parametrize("origin", [BASE, "http://localhost:8765"])
def test_its_own_origin_is_let_in(visitor: Visitor, origin: str) -> None:
    assert visitor.ask("/offers", {}, {"Origin": origin}).status_code == 200


@pytest.mark.parametrize("path", list(server.ENDPOINTS))
@pytest.mark.parametrize(
    "token", ["", "wrong", DOOR.token[:-1], f"{DOOR.token}x", DOOR.token.upper(), "é"]
)
def test_no_endpoint_answers_without_the_token(
    visitor: Visitor, path: str, token: str
) -> None:
    headers = {"X-Token": token.encode("latin-1")} if token else {}
    reply = visitor.send("POST", path, json={}, headers=headers)
    assert reply.status_code == 403


def test_two_tokens_are_refused_even_if_one_is_right(visitor: Visitor) -> None:
    headers = [("X-Token", DOOR.token), ("X-Token", "wrong")]
    assert visitor.send("POST", "/offers", json={}, headers=headers).status_code == 403


def test_the_page_itself_is_shown_to_all_and_holds_no_token(visitor: Visitor) -> None:
    reply = visitor.send("GET", "/")
    assert reply.status_code == 200
    assert reply.headers["content-type"] == "text/html; charset=utf-8"
    assert DOOR.token not in reply.text


def test_the_other_name_of_this_machine_leads_to_the_first(visitor: Visitor) -> None:
    # Browsers keep tunes for one name of a machine.
    headers = {"Host": "localhost:8765"}
    reply = visitor.send("GET", "/", headers=headers)
    assert (reply.status_code, reply.headers["location"]) == (307, f"{BASE}/")
    assert visitor.send("GET", "/files/main.js", headers=headers).status_code == 200


def test_who_knows_the_token_can_prove_it_without_showing_it(visitor: Visitor) -> None:
    # HMAC with SHA-256 (RFC 2104), worked out by its definition.
    def seal(nonce: bytes) -> str:
        key = DOOR.token.encode().ljust(64, b"\0")
        inner = bytes(byte ^ 0x36 for byte in key) + nonce
        outer = bytes(byte ^ 0x5C for byte in key) + sha256(inner).digest()
        return sha256(outer).hexdigest()

    reply = visitor.send("GET", "/same/0123abcd")
    assert reply.text == seal(b"0123abcd") != seal(b"0123abce")


def test_a_shared_door_has_a_token_of_its_own() -> None:
    home = PageAddress("another-token", 8765, ("192.168.1.20",))
    visitor = Visitor(home)
    for door, other in ((DOOR, home), (home, DOOR)):
        host = {"Host": door.hosts[0], "Origin": f"http://{door.hosts[0]}"}
        for token, status in ((door.token, 200), (other.token, 403)):
            reply = visitor.ask("/offers", {}, {**host, "X-Token": token})
            assert reply.status_code == status
            if status == 200:
                share = reply.json()["share"]
                assert share["address"] == read_code(share["code"]) == home.address
        mixed = {**host, "X-Token": door.token, "Origin": f"http://{other.hosts[0]}"}
        assert visitor.ask("/offers", {}, mixed).status_code == 403
    assert Visitor().told("/offers", {})["share"] is None
    # Without a shared door its name is not known.
    headers = {"Host": home.hosts[0], "X-Token": home.token}
    assert Visitor().ask("/offers", {}, headers).status_code == 403


def test_tokens_are_long_and_never_the_same() -> None:
    tokens = {new_token() for _ in range(100)}
    assert len(tokens) == 100
    assert all(re.fullmatch(r"[\w-]{32}", token) for token in tokens)


@pytest.mark.parametrize(
    ("method", "path"),
    [("GET", "/"), ("GET", "/same/1"), ("GET", "/files/none.js"),
     ("POST", "/offers"), ("GET", "/offers"), ("GET", "/samples/index.json"),
     ("DELETE", "/none"), ("OPTIONS", "/arrange")],
)  # fmt: skip
def test_every_answer_has_the_safety_headers(
    visitor: Visitor, method: str, path: str
) -> None:
    reply = visitor.send(method, path)
    assert {name: reply.headers.get(name) for name in HEADERS} == HEADERS
    assert reply.headers.get_list("access-control-allow-origin") == []
    assert "cache-control" in reply.headers


def test_the_content_policy_allows_nothing_inline_and_nothing_from_outside() -> None:
    # Directives and keywords as in W3C, Content Security Policy Level 3.
    policy = dict(
        part.split(" ", 1) for part in HEADERS["Content-Security-Policy"].split("; ")
    )
    assert policy.pop("default-src") == "'none'"
    assert {policy.pop(name) for name in ("script-src", "style-src")} == {"'self'"}
    # W3C, Trusted Types: text becomes markup by the policy of this name alone.
    assert policy.pop("require-trusted-types-for") == "'script'"
    assert policy.pop("trusted-types") == "harmonise"
    assert set(policy.values()) <= {"'self'", "'none'"}
    assert {"base-uri", "form-action", "frame-ancestors"} <= set(policy)


@pytest.mark.parametrize("folder", ["files", "samples"])
@pytest.mark.parametrize(
    "name",
    ["../app.py", "..%2fapp.py", "%2e%2e/app.py", "..%5capp.py", "%2e%2e%2fguard.py",
     "/etc/passwd", "%2fetc%2fpasswd", "....//app.py", "app.py", "__init__.py",
     "index.html%00.js", ".", "..", "", "main.js/", "C:%5cboot.ini", "samples.json"],
)  # fmt: skip
def test_no_path_leads_out_of_the_folders(
    visitor: Visitor, folder: str, name: str
) -> None:
    # Clients tidy paths up before they ask; this one does not.
    status, body = visitor.get_raw(f"/{folder}/{name}")
    assert status == 404
    assert json.loads(body)["error"]["sentence"] == MISSING


@pytest.mark.parametrize(
    "name", ["../app.py", "../../errors.py", "/etc/passwd", "..", ""]
)
def test_a_name_is_looked_up_and_never_used_as_a_path(name: str) -> None:
    # Even if the server in front let such a name through.
    request = Request({"type": "http", "path_params": {"name": name}})
    assert file_reply(request).status_code == 404
    assert sample_reply(request).status_code == 404


def test_no_name_of_a_file_is_ever_opened(visitor: Visitor) -> None:
    # A text of one line that is the name of a file is a tune, and a faulty one.
    for text in ("tunes/auld_lang_syne.txt", "/etc/passwd", "harmonise/errors.py"):
        error = visitor.refused("/read", typed(text), 422)
        assert "root" not in str(error["sentence"])
        assert error["line"] == 1


@pytest.mark.parametrize("method", ["GET", "PUT", "DELETE", "PATCH"])
def test_endpoints_are_asked_by_post_alone(visitor: Visitor, method: str) -> None:
    reply = visitor.send(method, "/arrange", headers={"X-Token": DOOR.token})
    assert reply.status_code == 405


def test_a_body_over_the_limit_is_refused_by_what_it_says_of_itself() -> None:
    visitor = Visitor(limits=Limits(bytes=1000))
    error = visitor.refused("/read", typed("C " * 1000), 413)
    assert error["sentence"] == "This is too large. Take one tune out of it."


def test_a_body_without_a_length_is_cut_off_at_the_limit() -> None:
    sent: list[int] = []

    def stream() -> Iterator[bytes]:
        for _ in range(1000):
            sent.append(1)
            yield b" " * 1000

    async def parts() -> AsyncIterator[bytes]:
        for part in stream():
            yield part

    visitor = Visitor(limits=Limits(bytes=5000))
    headers = {"X-Token": DOOR.token}
    reply = visitor.send("POST", "/read", content=parts(), headers=headers)
    assert reply.status_code == 413
    assert len(sent) <= 7


def test_a_file_of_the_largest_size_fits_in_a_request() -> None:
    # Base64 has four letters for three bytes (RFC 4648).
    assert USUAL.bytes >= 2_000_000 * 4 / 3 + 4000


def test_a_body_that_does_not_come_is_not_waited_for() -> None:
    async def never() -> AsyncIterator[bytes]:
        yield b"{"
        await asyncio.Event().wait()

    visitor = Visitor(limits=Limits(patience=0.2))
    headers = {"X-Token": DOOR.token}
    reply = visitor.send("POST", "/read", content=never(), headers=headers)
    assert reply.status_code == 408
    told = "The request did not come in time. Ask again."
    assert reply.json()["error"]["sentence"] == told


def test_a_long_job_is_answered_for_in_time() -> None:
    visitor = Visitor(limits=Limits(seconds=0.001))
    assert visitor.refused("/arrange", tune("greensleeves"), 504)["bar"] is None


def test_a_full_engraver_says_when_to_ask_again() -> None:
    visitor = Visitor(limits=Limits(engraving=0))
    reply = visitor.ask("/arrange", typed(SHORT))
    assert reply.status_code == 429
    assert int(reply.headers["retry-after"]) >= 1
    assert reply.json()["error"]["sentence"].startswith("Busy just now.")
    assert visitor.ask("/read", typed(SHORT)).status_code == 200


def test_a_full_arranger_says_when_to_ask_again() -> None:
    visitor = Visitor(limits=Limits(arranging=0))
    assert visitor.ask("/read", typed(SHORT)).status_code == 429


def test_a_workshop_takes_no_more_than_it_may_and_recovers() -> None:
    shop = Workshop("test", 1, 3)
    gate = threading.Event()

    async def run() -> list[object]:
        first = [asyncio.create_task(shop.do(gate.wait, 10)) for _ in range(5)]
        await asyncio.sleep(0)  # Each runs until it waits or is refused.
        gate.set()
        done: list[object] = [
            type(own) for own in await asyncio.gather(*first, return_exceptions=True)
        ]
        return [*done, await shop.do(lambda: "again")]

    assert asyncio.run(run()) == [bool, bool, bool, BusyError, BusyError, "again"]
    assert not shop.works
    shop.close()


def test_a_job_that_nobody_waits_for_any_more_is_not_begun() -> None:
    shop = Workshop("test", 1, 3)
    gate = threading.Event()
    done: list[str] = []

    async def run() -> None:
        slow = asyncio.create_task(shop.do(gate.wait, 10))
        await asyncio.sleep(0)
        with pytest.raises(TimeoutError):
            async with asyncio.timeout(0):
                await shop.do(done.append, "begun")
        gate.set()
        assert await slow
        assert await shop.do(lambda: "next") == "next"

    asyncio.run(run())
    assert done == []
    shop.close()


def test_one_thread_alone_engraves() -> None:
    shop = new_site().engraver
    gate = threading.Event()
    names: set[str] = set()

    def note() -> None:
        names.add(threading.current_thread().name)
        gate.wait(10)

    async def run() -> None:
        jobs = [asyncio.create_task(shop.do(note)) for _ in range(8)]
        await asyncio.sleep(0)
        # All are handed in while none can end: more threads would have one each.
        gate.set()
        await asyncio.gather(*jobs)

    asyncio.run(run())
    assert len(names) == 1
    shop.close()
