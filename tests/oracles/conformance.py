"""The table of the MusicXML conformance suite: what becomes of each of its files.

    python -m oracles.conformance > cases/conformance.tsv        (from tests/)

writes it anew. Columns: the file; "read: 12 notes, 3 syllables" or the sentence with
which it is refused; codes of the remarks. The suite is the one that music21 carries.
"""

import sys
from pathlib import Path

import music21  # noqa: TID251 (the oracle of the tests)

from harmonise.errors import HarmoniseError
from harmonise.notation.musicxml.reader import parse_musicxml

SUITE = Path(music21.__file__).parent / "musicxml" / "lilypondTestSuite"
TABLE = Path(__file__).parents[1] / "cases" / "conformance.tsv"


def files() -> list[Path]:
    """Return the files of the suite in order."""
    return sorted(p for p in SUITE.iterdir() if p.suffix in (".xml", ".mxl"))


def outcome(path: Path) -> tuple[str, str]:
    """Return what becomes of a file, and the codes of the remarks."""
    try:
        tune = parse_musicxml(path.read_bytes())
    except HarmoniseError as error:
        return str(error), ""
    words = sum(s is not None for note in tune.notes for s in note.syllables)
    codes = " ".join(sorted({remark.code for remark in tune.remarks}))
    return f"read: {len(tune.sounding)} notes, {words} syllables", codes


def table() -> dict[str, tuple[str, str]]:
    """Return the published table: file to outcome and codes."""
    rows = [line.split("\t") for line in TABLE.read_text("utf-8").splitlines()]
    return {name: (said, codes) for name, said, codes in rows}


if __name__ == "__main__":
    for path in files():
        said, codes = outcome(path)
        sys.stdout.write(f"{path.name}\t{said}\t{codes}\n")
