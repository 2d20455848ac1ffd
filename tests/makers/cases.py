"""Golden cases, one readable file each: a tune as typed, then what is wanted.

The two parts stand in one file, parted by the line `--- expected`.
"""

from pathlib import Path

import pytest

HERE = Path(__file__).parents[1]


def case_paths(folder: str) -> list[Path]:
    """Return the case files of a folder below tests/, by name; never none."""
    found = sorted((HERE / folder).glob("*.case"))
    assert found, f"tests/{folder} holds no case"
    return found


def cases(folder: str) -> list[object]:
    """Return text and wanted lines of every case of a folder, as pytest parameters."""
    return [
        pytest.param(*path.read_text("utf-8").split("--- expected\n"), id=path.stem)
        for path in case_paths(folder)
    ]
