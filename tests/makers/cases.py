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


def cases(folder: str, *first: object) -> list[object]:
    """Return text and wanted lines of every case of a folder, as pytest parameters.

    Args:
        folder: Its name, below tests/.
        first: What stands before them in each, such as their reader.
    """
    parted = {
        path.stem: path.read_text("utf-8").split("--- expected\n")
        for path in case_paths(folder)
    }
    return [pytest.param(*first, *both, id=name) for name, both in parted.items()]
