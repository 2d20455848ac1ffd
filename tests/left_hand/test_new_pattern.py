"""Adding a pattern: one row and one function are enough, and every face has it."""

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

import harmonise

ROOT = Path(harmonise.__file__).parents[1]
ROW = """    HABANERA = "habanera", PatternRow(
        "habanera", "a habanera", metres=((2, 4),), drilled=True
    )  # fmt: skip

    def __new__("""
FUNCTION = '''

@_plays(LeftHand.HABANERA)
def _habanera(room: PatternRoom) -> Iterator[Stroke]:
    """Yield the bass as a dotted note and a short one."""
    long = room.length * 3 / 4
    yield Stroke(Fraction(0), long, room.places[0])
    yield Stroke(long, room.length - long, room.places[0])
'''
FACES = """
import json
import click
from harmonise.cli import main
from harmonise.left_hand.sections import parse_sections
from harmonise.lessons.drill_makers import DRILLED
from harmonise.page.offers import words_of
options = {
    f"{name} {param.opts[0]}": list(getattr(param.type, "choices", ()))
    for name in ("arrange", "drill")
    for param in main.get_command(click.Context(main), name).params
}
print(json.dumps({
    "arrange": [str(getattr(c, "value", c)) for c in options["arrange --left-hand"]],
    "drill": [str(getattr(c, "value", c)) for c in options["drill --pattern"]],
    "page": words_of("leftHand"),
    "exercises": [pattern.value for pattern in DRILLED],
    "sections": [own.left_hand.value for own in parse_sections("1-2 habanera")],
}))
"""
PLAYED = """
import harmonise
from harmonise.theory.arrangement import Hand, HarmonicRhythm, LeftHand, Style
tune = harmonise.read_tune("Key: C\\nTime: 2/4\\nE G | D F | C -")
style = Style(1, HarmonicRhythm.BAR, left_hand=LeftHand("habanera"))
done = harmonise.arrange(tune, style)
left = [note for note in done.notes if note.hand is Hand.LEFT][:2]
print(*(f"{note.pitch} {note.length}" for note in left), sep=", ", end="")
"""


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a copy of the package that has one pattern more."""
    folder = tmp_path_factory.mktemp("house")
    away = shutil.ignore_patterns("__pycache__")
    shutil.copytree(ROOT / "harmonise", folder / "harmonise", ignore=away)
    table = folder / "harmonise/theory/arrangement.py"
    text = table.read_text("utf-8")
    assert text.count("    def __new__(") == 1
    table.write_text(text.replace("    def __new__(", ROW), "utf-8")
    with (folder / "harmonise/left_hand/patterns.py").open("a", encoding="utf-8") as f:
        f.write(FUNCTION)
    return folder


def run(house: Path, *words: str) -> str:
    done = subprocess.run(  # noqa: S603 (our own interpreter and code)
        [sys.executable, *words],
        cwd=house,
        env={**os.environ, "PYTHONPATH": str(house)},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


def test_every_list_of_patterns_has_the_new_row(house: Path) -> None:
    lists = json.loads(run(house, "-c", FACES))
    assert set(lists) == {"arrange", "drill", "page", "exercises", "sections"}
    assert [face for face, names in lists.items() if "habanera" not in names] == []


def test_the_new_function_plays_under_a_tune(house: Path) -> None:
    assert run(house, "-c", PLAYED) == "C3 3/2, C3 1/2"
