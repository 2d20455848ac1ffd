"""The bytes of every page, as hashes: the same on every machine and every Python.

    python -m oracles.output_bytes     (from tests/) writes the table anew

That is for after a wanted change of what is written. Pages that typst and the engraver
set are left out: their own versions may change them.
"""

import hashlib
from collections.abc import Iterator
from pathlib import Path

from harmonise.arranging.job import arrange
from harmonise.errors import OutputError
from harmonise.notation.formats import read_tune
from harmonise.notation.outputs import Output, Sheet, format_output
from harmonise.theory.arrangement import HarmonicRhythm, Labels, Style, Texture

TESTS = Path(__file__).parents[1]
TUNES = sorted((TESTS.parent / "tunes").glob("*.txt"))
TABLE = TESTS / "cases" / "output_bytes.tsv"
STYLES = {
    "level 1": Style(level=1),
    "level 3, fingers, labels": Style(level=3, fingering=True, labels=Labels.WORDS),
    "level 4, four parts": Style(
        level=4, texture=Texture.HYMN, harmonic_rhythm=HarmonicRhythm.BEAT
    ),
}


def rows(tune: Path) -> Iterator[str]:
    """Yield what the table has of a tune: name, style and one hash of all pages."""
    for name, style in STYLES.items():
        done = arrange(read_tune(tune), style, explained=True)
        told = "".join(f"{slot.chord} {slot.reason}\n" for slot in done.slots)
        whole = hashlib.sha256(told.encode())
        for sheet in Sheet:
            endings = (
                sheet.row.endings[0],
                *([".mid"] if sheet is Sheet.SCORE else []),
            )
            for ending in endings:
                try:
                    (data,) = format_output(done, ending, Output(sheet))
                except OutputError as error:
                    # What a text cannot say is refused in the same words.
                    data = str(error).encode()
                whole.update(data)
        yield f"{tune.stem}\t{name}\t{whole.hexdigest()[:16]}"


def main() -> None:
    """Write the table."""
    found = [row for tune in TUNES for row in rows(tune)]
    TABLE.write_text("\n".join(["tune\tstyle\tbytes", *found, ""]), "utf-8")


if __name__ == "__main__":
    main()
