"""`harmonise page` as a user starts and stops it."""

import os
import signal
import subprocess
import sys
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager

import pytest

from harmonise.page.serving import USUAL_PORT


@contextmanager
def started(*words: str) -> Iterator[tuple["subprocess.Popen[str]", str]]:
    """Start the command; yield it and the address that it prints."""
    line = [sys.executable, "-m", "harmonise", "page", "--no-browser", *words]
    with subprocess.Popen(  # noqa: S603 (our own command)
        line, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as running:
        try:
            assert running.stdout is not None
            told = running.stdout.readline()
            assert told.startswith("The page is at http://127.0.0.1:"), told
            assert running.stdout.readline() == "Stop it with Ctrl-C.\n"
            yield running, told.split()[-1]
        finally:
            running.kill()


def port_of(address: str) -> int:
    return int(address.split(":")[2].partition("/")[0])


@pytest.mark.skipif(os.name == "nt", reason="Ctrl-C is no signal there")
def test_the_page_is_served_and_stops_cleanly_with_ctrl_c() -> None:
    with started() as (running, address):
        with urllib.request.urlopen(address, timeout=30) as answer:  # noqa: S310
            assert answer.status == 200
            assert b"<title>" in answer.read()
        running.send_signal(signal.SIGINT)
        out, err = running.communicate(timeout=30)
    assert (running.returncode, out, err) == (0, "", "")


def test_two_pages_get_two_ports() -> None:
    with started() as (_, first), started() as (_, second):
        assert port_of(first) != port_of(second)
        # Whoever comes first has the usual one, unless another program has it.
        assert port_of(second) != USUAL_PORT


def test_a_taken_port_is_told_in_a_sentence() -> None:
    with started() as (_, address):
        port = str(port_of(address))
        line = [sys.executable, "-m", "harmonise", "page", "--port", port]
        done = subprocess.run(  # noqa: S603 (our own command)
            line,
            capture_output=True,
            text=True,
            check=False,
        )
    assert done.returncode == 1
    assert done.stderr == (
        f"harmonise page: Port {port_of(address)} cannot be had. "
        "Choose another, or none.\n"
    )
