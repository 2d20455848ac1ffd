"""A million inputs over all doors, in batches: a run that is killed goes on.

    python benchmarks/night_inputs.py COUNTS [--inputs N] [--tunes DATA]

(from `tests/`) writes a line into COUNTS for each batch: door, number, inputs; how many
were arranged, how many had notes that were arranged before, sentences, findings,
sentences with a place; seconds of the processor. What is in it is not done again. A
finding stands in COUNTS.findings with its bytes; `--again` tries those once more.

The law, the inputs and the dice are those of `arranging/test_any_input.py`, where
hypothesis throws the dice: it tries a few in CI and shortens what fails. Here plain
dice are thrown, for its books cost more than reading. (Atheris would follow the
branches of the readers, but traces each line in Python, and knows bytes alone.)
"""

import argparse
import json
import re
import sys
import traceback
from collections import Counter
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path
from random import Random
from time import process_time
from types import SimpleNamespace

TESTS = Path(__file__).resolve().parents[1]
sys.path[:0] = [str(TESTS), str(TESTS.parent)]

from fitting.as_tune import as_tune  # noqa: E402 (the folders above come first)
from makers.inputs import LABELLED, Input, draw_input  # noqa: E402
from oracles.outcomes import AGAIN, ARRANGED, SENTENCE, EndlessError, outcome  # noqa: E402

from harmonise.errors import HarmoniseError  # noqa: E402
from harmonise.notation.formats import parse_tunes  # noqa: E402
from harmonise.notation.tune_text.tune_text import format_tune_text  # noqa: E402
from harmonise.theory.tune import Tune  # noqa: E402

BATCH = 1000
SHARES = {
    "letters": 31,
    "numbers": 13,
    "sol-fa": 18,
    "ABC": 9,
    "MusicXML": 4,
    "MXL": 2,
    "MIDI": 4,
    "any bytes": 1,
    "page": 11,
    "work": 3,
    "voices": 2,
    "points": 2,
}
"""Hundredths of all inputs; a reader of words has more ways to go wrong."""
_BARS = 4
_EACH = 8
"""One of so many labelled tunes is taken; damage makes others of it."""
FINDING, PLACED = "finding", "with a place"
COLUMNS = (ARRANGED, AGAIN, SENTENCE, FINDING, PLACED)
_PLACE = re.compile(r"\b[Bb]ars? \d|\b[Ll]ines? \d|\bmeasure|column \d|\"")
"""Bar, line or column, or the very word that is wrong."""


def labelled_tunes(folder: Path) -> Iterator[Tune]:
    """Yield the first bars of tunes of the labelled collections."""
    for path in sorted(folder.glob("*.jsonl")):
        for line in path.read_text("utf-8").splitlines()[::_EACH]:
            row = json.loads(line)
            bars = [
                (Fraction(*start), Fraction(*length), tuple(time), new)
                for start, length, time, new in row["bars"][:_BARS]
            ]
            end = bars[-1][0] + bars[-1][1]
            notes = [
                (Fraction(*at), min(Fraction(*length), end - Fraction(*at)), midi)
                for at, length, midi in row["notes"]
                if Fraction(*at) < end
            ]
            keys = [(Fraction(*at), *key) for at, *key in row["keys"][:1]]
            tune = SimpleNamespace(
                id=row["id"], bars=bars, notes=notes, keys=keys, beats=[]
            )
            try:
                yield parse_tunes(format_tune_text(as_tune(tune)).encode())[0]
            except HarmoniseError:
                continue  # The text has no way to say so short a piece of it.


def batch(door: str, number: int, findings: Path) -> Counter[str]:
    """Return how many inputs of a batch became what."""
    counts: Counter[str] = Counter()
    # A number alone would give neighbouring doors the same throws.
    dice = Random(f"{door} {number}")  # noqa: S311 (no secret)
    for _ in range(BATCH):
        given = draw_input(door, dice)
        try:
            became, told = outcome(door, given)
        except (Exception, EndlessError) as error:  # noqa: BLE001 (each is a finding)
            became, told = FINDING, ""
            _note(findings, door, number, given, error)
        counts[became] += 1
        counts[PLACED] += bool(_PLACE.search(told))
    return counts


def _note(
    findings: Path, door: str, number: int, given: Input, error: BaseException
) -> None:
    frames = traceback.extract_tb(error.__traceback__)[-2:]
    where = [f"{Path(own.filename).name}:{own.lineno}" for own in frames]
    row = {
        "door": door,
        "seed": number,
        "error": f"{type(error).__name__}: {error}"[:300],
        "where": where,
        "whole": given.tune is not None,
        "bytes": given.data.hex(),
    }
    with findings.open("a") as file:
        file.write(json.dumps(row) + "\n")


def try_again(findings: Path) -> None:
    """Try the inputs of all findings once more, and print those that are still so."""
    rows = [json.loads(line) for line in findings.read_text().splitlines()]
    left = Counter[str]()
    for row in rows:
        try:
            outcome(row["door"], Input(bytes.fromhex(row["bytes"])))
        except (Exception, EndlessError) as error:  # noqa: BLE001 (each is a finding)
            left[f"{row['door']}: {type(error).__name__}: {error}"[:300]] += 1
    for told, count in left.most_common():
        sys.stdout.write(f"{count} {told}\n")
    sys.stdout.write(f"{left.total()} of {len(rows)} findings are left.\n")


def plan(inputs_wanted: int) -> Iterator[tuple[str, int]]:
    """Yield door and seed of every batch, all doors in turn from the start."""
    wanted = {
        door: max(1, round(inputs_wanted * share / 100 / BATCH))
        for door, share in SHARES.items()
    }
    rows = [
        (turn / count, door, turn)
        for door, count in wanted.items()
        for turn in range(count)
    ]
    for _, door, number in sorted(rows):
        yield door, number


def main() -> None:
    """Run what is not yet in the counts."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("counts", type=Path)
    parser.add_argument("--inputs", type=int, default=1_000_000)
    parser.add_argument("--tunes", type=Path, help="folder of labelled tunes")
    parser.add_argument("--again", action="store_true", help="try the findings again")
    asked = parser.parse_args()
    findings = asked.counts.with_suffix(".findings")
    if asked.again:
        try_again(findings)
        return
    if asked.tunes:
        LABELLED.extend(labelled_tunes(asked.tunes))
    asked.counts.touch()
    rows = [line.split("\t") for line in asked.counts.read_text().splitlines()]
    done = {(row[0], int(row[1])) for row in rows}
    for door, number in plan(asked.inputs):
        if (door, number) in done:
            continue
        start = process_time()
        counts = batch(door, number, findings)
        figures = [str(counts[own]) for own in COLUMNS]
        spent = f"{process_time() - start:.1f}"
        row = [door, str(number), str(BATCH), *figures, spent]
        with asked.counts.open("a") as file:
            file.write("\t".join(row) + "\n")


if __name__ == "__main__":
    main()
