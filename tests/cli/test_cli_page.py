"""`harmonise page` as a user starts and stops it."""

import os
import signal
import subprocess
import sys
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from harmonise.page.serving import USUAL_PORT


@contextmanager
def started(user: Path) -> Iterator[tuple["subprocess.Popen[str]", str]]:
    """Start the command; yield it and the address that it prints.

    Args:
        user: What stands for a user: the folder in which programs keep such things.
    """
    line = [sys.executable, "-m", "harmonise", "page", "--no-browser"]
    with subprocess.Popen(  # noqa: S603 (our own command)
        line,
        env=as_user(user),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    ) as running:
        try:
            assert running.stdout is not None
            told = running.stdout.readline()
            assert told.startswith("The page is at http://127.0.0.1:"), told
            assert running.stdout.readline() == "Stop it with Ctrl-C.\n"
            yield running, told.split()[-1]
        finally:
            running.kill()


def as_user(user: Path) -> dict[str, str]:
    return {**os.environ, "XDG_STATE_HOME": str(user)}


def port_of(address: str) -> int:
    return int(address.split(":")[2].partition("/")[0])


@pytest.mark.skipif(os.name == "nt", reason="Ctrl-C is no signal there")
def test_the_page_is_served_and_stops_cleanly_with_ctrl_c(tmp_path: Path) -> None:
    with started(tmp_path) as (running, address):
        with urllib.request.urlopen(address, timeout=30) as answer:  # noqa: S310
            assert answer.status == 200
            assert b"<title>" in answer.read()
        running.send_signal(signal.SIGINT)
        out, err = running.communicate(timeout=30)
    assert (running.returncode, out, err) == (0, "", "")


def test_two_users_get_two_ports(tmp_path: Path) -> None:
    with (
        started(tmp_path / "one") as (_, first),
        started(tmp_path / "two") as (_, second),
    ):
        assert port_of(first) != port_of(second)
        # Whoever comes first has the usual one, unless another program has it.
        assert port_of(second) != USUAL_PORT


def test_a_taken_port_is_told_in_a_sentence(tmp_path: Path) -> None:
    with started(tmp_path / "one") as (_, address):
        port = str(port_of(address))
        line = [sys.executable, "-m", "harmonise", "page", "--port", port]
        done = subprocess.run(  # noqa: S603 (our own command)
            line,
            env=as_user(tmp_path / "two"),
            capture_output=True,
            text=True,
            check=False,
        )
    assert done.returncode == 1
    assert done.stderr == (
        f"harmonise page: Port {port_of(address)} cannot be had. "
        "Choose another, or none.\n"
    )
