"""Reads printed pages back with poppler, where it is installed; CI must have it."""

import os
import shutil
import subprocess
from pathlib import Path

import pytest


def poppler(pdf: bytes, folder: Path, *options: str) -> str:
    """Return the text of a PDF as poppler reads it; skip where there is none."""
    if not shutil.which("pdftotext"):
        if os.environ.get("CI"):
            pytest.fail("pdftotext is missing")
        pytest.skip("pdftotext is not installed")
    path = folder / "read.pdf"
    path.write_bytes(pdf)
    command = ["pdftotext", *options, str(path), "-"]
    return subprocess.run(command, capture_output=True, text=True, check=True).stdout  # noqa: S603
