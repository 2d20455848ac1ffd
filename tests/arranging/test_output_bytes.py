from pathlib import Path

import pytest
from oracles.output_bytes import TABLE, TUNES, rows


@pytest.mark.parametrize("tune", TUNES, ids=lambda tune: tune.stem)
def test_every_page_has_the_same_bytes_on_every_machine_and_python(tune: Path) -> None:
    known = TABLE.read_text("utf-8").splitlines()
    assert list(rows(tune)) == [
        row for row in known if row.startswith(f"{tune.stem}\t")
    ]


def test_the_table_names_every_tune() -> None:
    assert len(TABLE.read_text("utf-8").splitlines()) == 1 + 3 * len(TUNES)
