"""What lasts and what ends: the address, a second start, the network, connections."""

import asyncio
import socket
import stat
import webbrowser
from pathlib import Path
from typing import Any

import pytest
import uvicorn
from makers.served import served

from harmonise.errors import OutputError
from harmonise.page import connections, serving
from harmonise.page.serving import serve
from harmonise.page.sharing import home_address, scan_code
from harmonise.page.site import PageAddress
from harmonise.page.token_file import user_token


@pytest.fixture
def state(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path))
    return tmp_path / "harmonise" / "page-token"


# The token


def test_a_user_has_one_token_that_nobody_else_can_read(state: Path) -> None:
    token = user_token()
    assert user_token() == token
    assert state.read_text() == f"{token}\n"
    assert stat.S_IMODE(state.stat().st_mode) == 0o600
    assert [path.name for path in state.parent.iterdir()] == ["page-token"]


@pytest.mark.parametrize("fault", ["", "short", "x" * 33, "é" * 32, "others", "group"])
def test_a_token_that_is_damaged_or_seen_is_another(state: Path, fault: str) -> None:
    token = user_token()
    if fault in ("others", "group"):
        state.chmod(0o604 if fault == "others" else 0o640)
    else:
        state.write_text(fault, "utf-8")
    again = user_token()
    assert again not in (token, fault)
    assert user_token() == again
    assert stat.S_IMODE(state.stat().st_mode) == 0o600


def test_a_token_that_cannot_be_kept_lasts_for_one_start(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "file").write_text("")
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "file"))
    assert len(user_token()) == 32
    assert user_token() != user_token()


# A second start, and a start after an end


def test_a_second_start_opens_the_program_that_runs(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    opened: list[str] = []
    monkeypatch.setattr(webbrowser, "open", opened.append)
    with served("--port", _free(), state=tmp_path) as page:
        port = int(page.base.rpartition(":")[2])
        monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path))
        serve(port)
        told = f"The page is running already, at {page.address}\n"
        assert (capsys.readouterr().out, opened) == (told, [page.address])
        with pytest.raises(OutputError, match="Stop it, then share it"):
            serve(port, share=True)
        # Another user has another token, and is not let in.
        monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "another"))
        with pytest.raises(OutputError, match=f"Port {port} cannot be had"):
            serve(port)
        page.stop()
    # After an end the same address is the page's again.
    with served("--port", str(port), state=tmp_path) as again:
        assert again.address == page.address


def _free() -> str:
    with socket.socket() as place:
        place.bind(("127.0.0.1", 0))
        return str(place.getsockname()[1])


# The home network


@pytest.mark.parametrize(
    ("address", "is_home"),
    [("192.168.1.20", True), ("10.1.2.3", True), ("172.31.0.9", True),
     ("172.32.0.9", False), ("8.8.8.8", False), ("127.0.0.1", False),
     ("169.254.1.1", False), ("100.64.0.1", False)],
)  # fmt: skip
def test_a_home_network_has_addresses_of_rfc_1918(
    address: str, monkeypatch: pytest.MonkeyPatch, *, is_home: bool
) -> None:
    class Looking(socket.socket):
        def connect(self, address: object) -> None:
            del address

        def getsockname(self) -> tuple[str, int]:
            return address, 1

    monkeypatch.setattr(socket, "socket", Looking)
    if is_home:
        assert home_address() == address
        return
    with pytest.raises(OutputError, match="is on no home network"):
        home_address()


def test_a_shared_page_listens_at_home_with_a_token_of_its_own(
    state: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    doors: list[PageAddress] = []
    listens: list[str] = []

    class Stopped:
        def run(self, sockets: list[socket.socket]) -> None:
            listens.extend(place.getsockname()[0] for place in sockets)
            # Only of such a socket asyncio sets TCP_NODELAY (its `_set_nodelay`).
            assert all(place.proto == socket.IPPROTO_TCP for place in sockets)

        def close(self) -> bool:
            return False

    def server(
        found: list[PageAddress], usual: dict[str, str]
    ) -> tuple[Stopped, Stopped]:
        assert not usual
        doors.extend(found)
        return Stopped(), Stopped()

    monkeypatch.setattr(serving, "_server", server)
    # Loopback has many addresses, of which this one stands for the network's.
    monkeypatch.setattr(serving, "home_address", lambda: "127.0.0.5")
    serve(browser=False, share=True)
    own, home = doors
    assert listens == ["127.0.0.1", "127.0.0.5"]
    assert own.token == state.read_text().strip() != home.token
    assert home.hosts == (f"127.0.0.5:{own.port}",)
    out = capsys.readouterr().out
    assert f"Shared on your network at {home.address}\n" in out
    assert "Share it at home only." in out
    doors.clear()
    serve(browser=False)
    assert [door.names for door in doors] == [("127.0.0.1", "localhost")]


def test_the_code_to_scan_has_its_three_corners() -> None:
    """ISO/IEC 18004: a ring and a square of dark modules in three of four corners."""
    halves = {" ": (0, 0), "▀": (1, 0), "▄": (0, 1), "█": (1, 1)}
    lines = scan_code("http://192.168.1.20:8642/#token=" + "x" * 32).split("\n")
    pairs = [[halves[sign] for sign in line] for line in lines if line]
    rows = [list(row) for pair in pairs for row in zip(*pair, strict=True)]
    size = len(rows[0])
    corner = [f"{number:07b}" for number in (127, 65, 93, 93, 93, 65, 127)]

    def found(top: int, left: int) -> list[str]:
        square = (row[left : left + 7] for row in rows[top : top + 7])
        # On a dark screen the modules are what is left dark.
        return ["".join(str(1 - light) for light in row) for row in square]

    quiet = next(at for at, row in enumerate(rows) if 0 in row)
    far = size - quiet - 7
    assert found(quiet, quiet) == found(quiet, far) == found(far, quiet) == corner
    assert found(far, far) != corner


# Connections


HEAD = b"GET / HTTP/1.1\r\nHost: here\r\n"


async def late(scope: Any, receive: Any, send: Any) -> None:  # noqa: ANN401 - ASGI
    """Answer late: after more time than a connection may say nothing."""
    del scope, receive
    await asyncio.sleep(0.6)
    await send({"type": "http.response.start", "status": 200, "headers": []})
    await send({"type": "http.response.body", "body": b"late"})


def test_connections_end_that_say_nothing_or_half_of_something(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(connections, "PATIENCE", 0.3)

    async def closed(port: int, *parts: bytes) -> bytes:
        reader, writer = await asyncio.open_connection("127.0.0.1", port)
        try:
            for part in parts:
                writer.write(part)
                await asyncio.sleep(0.1)
            return await asyncio.wait_for(reader.read(), 5)
        except ConnectionError:
            return b""  # It was closed while more was said.
        finally:
            writer.close()

    async def run() -> list[bytes]:
        with socket.socket() as place:
            place.bind(("127.0.0.1", 0))
            place.listen()
            config = uvicorn.Config(
                late, http=connections.PatientProtocol, log_level="critical",
                lifespan="off", ws="none",
            )  # fmt: skip
            server = uvicorn.Server(config)
            task = asyncio.create_task(server.serve([place]))
            port = place.getsockname()[1]
            letters = [HEAD[at : at + 1] for at in range(9)]
            found = await asyncio.gather(
                closed(port),
                closed(port, HEAD),
                closed(port, *letters),
                closed(port, HEAD + b"\r\n"),
                closed(port, HEAD + b"\r\n", HEAD),
            )
            server.should_exit = True
            await task
            return list(found)

    silent, half, letters, late_once, half_after = asyncio.run(run())
    assert silent == half == letters == b""
    # Who is being answered is waited for, however long that takes.
    assert late_once.count(b"late") == 1
    assert half_after.count(b"late") == 1
