"""A run that is killed at any call that writes leaves the old file or the new, whole.

In CI three points of each kind of output are taken, spread over its calls; by night all
of them.
"""

import os
import shutil
from pathlib import Path

import pytest
from makers.profiles import PROFILE
from oracles.killed import KILLED, WHOLE, Point, all_points, run

from harmonise.notation.files import HIDDEN

TUNE = """\
Title: Mill stream
Key: G
Time: 3/4
G A B | D5 - B | A F# A | G - - |
Words: Down the mill stream the lea-ves go by,
"""
OTHER = "Title: Steps\nKey: C\nC E G E | F A G - | E G F D | C - - - |\n"
LONG = TUNE + 12 * "G A B | D5 - B | A F# A | G - - |\n"
WORK = "1: G | D4 G4 B4 | G2\n2: C | E4 G4 C5 | C3\n3: D | D4 F#4 A4 | D3\n"
INPUTS = {
    "tune.txt": TUNE,
    "long.txt": LONG,
    "cut.txt": TUNE,
    "book/a.txt": TUNE,
    "book/b.txt": OTHER,
    "class/ann.txt": WORK,
    "class/ben.txt": WORK.replace("C3", "E3"),
}
KINDS = {
    "MusicXML": "arrange tune.txt -o made.musicxml",
    "MXL": "arrange tune.txt -o made.mxl",
    "PDF": "arrange tune.txt -o made.pdf",
    "SVG": "arrange long.txt -o made.svg",
    "PNG": "arrange long.txt -o made.png",
    "PNG with fewer pages": "arrange cut.txt -o made.png",
    "MIDI": "arrange tune.txt -o made.mid",
    "WAV": "listen tune.txt -o made.wav",
    "ABC": "arrange tune.txt -o made.abc",
    "text": "arrange tune.txt -o made.txt",
    "keys": "arrange tune.txt --keys C,D -o made.musicxml",
    "book": "arrange book --workers 1 -o made",
    "book of texts": "arrange book --workers 1 --sheet spoken -o made",
    "booklet": "arrange book --workers 1 -o made.pdf",
    "drill": "drill D1 -o made.musicxml",
    "worksheet": "worksheet tune.txt -o made.pdf",
    "slip": "mark class/ann.txt --against tune.txt -o made.txt",
    "class": "mark class --workers 1 --against tune.txt -o made",
    "points": "mark --write-points made.toml",
    "singers": "singers -o made.toml",
}
"""A command for each kind of output; all that it makes is called "made"."""


def lay(desk: Path) -> None:
    for name, text in INPUTS.items():
        path = desk / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, "utf-8")


def made(desk: Path) -> dict[str, bytes]:
    """Return what stands on a desk besides inputs, hidden leftovers left out."""
    return {
        str(path.relative_to(desk)): path.read_bytes()
        for path in sorted(desk.rglob("*"))
        if path.is_file()
        and str(path.relative_to(desk)) not in INPUTS
        and not path.name.startswith(f"{HIDDEN}-")
    }


def older(desk: Path, kind: str, log: Path) -> dict[str, bytes]:
    """Lay a desk on which the output was made of other inputs; return that output."""
    lay(desk)
    for name in ("tune.txt", "long.txt", "book/a.txt"):
        (desk / name).write_text(OTHER, "utf-8")
    (desk / "cut.txt").write_text(LONG, "utf-8")
    assert run(desk, KINDS[kind].split(), WHOLE, log) == 0
    lay(desk)
    return made(desk)


def killed_at(desk: Path, kind: str, point: Point, old: dict[str, bytes]) -> set[str]:
    """Kill a run on a copy of a desk; return the hashes of what it makes at last.

    The same command has to come to its end then, to write over nothing that it may not,
    and to leave nothing beside.
    """
    broken = Path(shutil.copytree(desk, desk.with_name("broken")))
    words, log = words_of(kind, old), desk.with_name("log")
    code = run(broken, words, point, log)
    assert code in KILLED or point.call < 0, (point, code)
    left = made(broken)
    for path in broken.rglob(f"{HIDDEN}-*"):
        os.utime(path, (0, 0))  # Whoever comes back has been away for a minute.
    assert run(broken, words, WHOLE, log) == 0, (point, "does not go on")
    new = made(broken)
    assert_old_or_new(left, old, new)
    assert not list(broken.rglob(f"{HIDDEN}-*")), (point, "leaves something")
    shutil.rmtree(broken)
    return {f"{name} {hash(content)}" for name, content in new.items()}


def words_of(kind: str, old: dict[str, bytes]) -> list[str]:
    # The register of a class is the teacher's, who says when it is made anew.
    return [*KINDS[kind].split(), *(["--force"] if old and kind == "class" else [])]


@pytest.mark.parametrize("kind", KINDS)
def test_a_killed_run_leaves_the_old_file_or_the_new_one_whole(
    tmp_path: Path, kind: str
) -> None:
    new, used, log = tmp_path / "new", tmp_path / "used", tmp_path / "log"
    lay(new)
    old = older(used, kind, log)
    whole = Path(shutil.copytree(new, tmp_path / "whole"))
    assert run(whole, words_of(kind, {}), WHOLE, log) == 0
    calls = len(log.read_text("utf-8").splitlines())
    turn, size = list(KINDS).index(kind), max(map(len, old.values()))
    # From one kind to the next other calls are taken, and other parts of the file.
    points = [
        (new, {}, Point(call=turn % calls)),
        (used, old, Point(call=(turn + calls // 2) % calls)),
        (used, old, Point(size=size * (turn % 8) // 8)),
    ]
    results = [killed_at(desk, kind, point, before) for desk, before, point in points]
    assert results[1] == results[2]
    # A book's record also knows what was made before.
    assert {own for own in results[0] if ".jsonl" not in own} <= results[1]


@pytest.mark.skipif(
    PROFILE != "night" or not shutil.which("strace"), reason="by night, with strace"
)
@pytest.mark.parametrize("kind", KINDS)
def test_a_run_may_be_killed_at_every_system_call_that_writes(
    tmp_path: Path, kind: str
) -> None:
    new, used, log = tmp_path / "new", tmp_path / "used", tmp_path / "log"
    lay(new)
    old = older(used, kind, log)
    for desk, before in ((new, {}), (used, old)):
        whole = Path(shutil.copytree(desk, tmp_path / "whole"))
        points = list(all_points(whole, words_of(kind, before), log))
        shutil.rmtree(whole)
        assert len(points) >= 4
        for point in points:
            killed_at(desk, kind, point, before)
        print(f"{kind}, {len(before)} there: {len(points)} calls")  # noqa: T201


def assert_old_or_new(
    left: dict[str, bytes], old: dict[str, bytes], new: dict[str, bytes]
) -> None:
    for name, content in left.items():
        if name.endswith(".jsonl"):
            continue  # The record of a book may lack its end, which is made again.
        assert content in (old.get(name), new.get(name)), f"{name} is neither"
    for name in set(old) & set(new):
        assert name in left, f"{name} is lost"
