"""Reads printed pages back with poppler, where it is installed; CI must have it."""

import os
import shutil
import subprocess
from tempfile import NamedTemporaryFile

import pytest


def poppler(pdf: bytes, *options: str, program: str = "pdftotext") -> str:
    """Return what a program of poppler's says of a PDF; skip where there is none.

    Args:
        pdf: The file.
        options: Words of the command.
        program: Its name: pdftotext tells the text, a form feed after each page.
    """
    if not shutil.which(program):
        if os.environ.get("CI"):
            pytest.fail(f"{program} is missing")
        pytest.skip(f"{program} is not installed")
    with NamedTemporaryFile(suffix=".pdf") as file:
        file.write(pdf)
        file.flush()
        told = ("-",) if program == "pdftotext" else ()
        command = [program, *options, file.name, *told]
        done = subprocess.run(command, capture_output=True, text=True, check=True)  # noqa: S603
    return done.stdout
