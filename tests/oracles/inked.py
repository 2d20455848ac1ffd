"""How full printed pages are: poppler draws them, and dark rows are seen."""

import os
import shutil
import subprocess
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import numpy.typing as npt
import pytest

_DOTS = 40
"""Dots an inch: a line of text is four rows."""
_ROW = 25.4 / _DOTS
"""Millimetres of a dot."""
_DARK = 128
_MARGIN, _FOOT = 16, 18
"""Millimetres that no text has, above and below; the foot has the page number."""


def fills(pdf: bytes) -> list[float]:
    """Return how far down the ink of each page goes, as a part of the room for it."""
    return [_fill(page) for page in _drawn(pdf)]


def _drawn(pdf: bytes) -> list[npt.NDArray[np.uint8]]:
    """Return the pages as grey dots, row by row."""
    if not shutil.which("pdftoppm"):
        if os.environ.get("CI"):
            pytest.fail("pdftoppm is missing")
        pytest.skip("pdftoppm is not installed")
    with TemporaryDirectory() as folder:
        source = Path(folder, "a.pdf")
        source.write_bytes(pdf)
        command = ["pdftoppm", "-gray", "-r", str(_DOTS), str(source), f"{folder}/p"]
        subprocess.run(command, check=True)  # noqa: S603
        return [_dots(page.read_bytes()) for page in sorted(Path(folder).glob("*.pgm"))]


def _dots(picture: bytes) -> npt.NDArray[np.uint8]:
    _, size, _, dots = picture.split(b"\n", 3)
    width, height = map(int, size.split())
    return np.frombuffer(dots, np.uint8).reshape(height, width)


def _fill(dots: npt.NDArray[np.uint8]) -> float:
    room = len(dots) * _ROW - _MARGIN - _FOOT
    dark = (dots[: int((_MARGIN + room) / _ROW)] < _DARK).any(axis=1)
    return float((np.flatnonzero(dark).max(initial=0) + 1) * _ROW - _MARGIN) / room


def sides(pdf: bytes) -> list[tuple[float, float]]:
    """Return how many millimetres each page has free at its left and right edges."""
    free = []
    for dots in _drawn(pdf):
        columns = np.flatnonzero((dots < _DARK).any(axis=0))
        width = dots.shape[1]
        last = columns.max(initial=0) + 1
        free.append((columns.min(initial=width) * _ROW, (width - last) * _ROW))
    return free
