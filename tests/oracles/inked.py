"""How full printed pages are: poppler draws them, and dark rows are seen."""

import os
import shutil
import subprocess
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pytest

_DOTS = 40
"""Dots an inch: a line of text is four rows."""
_MARGIN, _FOOT = 16, 18
"""Millimetres that no text has, above and below; the foot has the page number."""


def fills(pdf: bytes) -> list[float]:
    """Return how far down the ink of each page goes, as a part of the room for it."""
    if not shutil.which("pdftoppm"):
        if os.environ.get("CI"):
            pytest.fail("pdftoppm is missing")
        pytest.skip("pdftoppm is not installed")
    with TemporaryDirectory() as folder:
        source = Path(folder, "a.pdf")
        source.write_bytes(pdf)
        command = ["pdftoppm", "-gray", "-r", str(_DOTS), str(source), f"{folder}/p"]
        subprocess.run(command, check=True)  # noqa: S603
        return [_fill(page.read_bytes()) for page in sorted(Path(folder).glob("*.pgm"))]


def _fill(picture: bytes) -> float:
    """Return how far down the ink of a grey picture goes."""
    _, size, _, dots = picture.split(b"\n", 3)
    width, height = map(int, size.split())
    row = 25.4 / _DOTS
    room = height * row - _MARGIN - _FOOT
    text = np.frombuffer(dots, np.uint8).reshape(height, width)
    dark = (text[: int((_MARGIN + room) / row)] < 128).any(axis=1)
    return float((np.flatnonzero(dark).max(initial=0) + 1) * row - _MARGIN) / room
