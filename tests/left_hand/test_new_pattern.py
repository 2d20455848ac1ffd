"""Adding a pattern: one row and one function are enough, and every face has it."""

import json
from pathlib import Path

import pytest
from makers.grown_house import copied, put_at_end, put_before, run

ROW = """    HABANERA = "habanera", PatternRow(
        "habanera", "a habanera", metres=((2, 4),), drilled=True
    )  # fmt: skip

"""
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
    "drill": [str(getattr(c, "value", c)) for c in options["drill --left-hand"]],
    "page": words_of("leftHand"),
    "exercises": [pattern.value for pattern in DRILLED],
    "sections": [own.left_hand.value for own in parse_sections("1-2 habanera")],
}))
"""
PLAYED = """
import harmonise
from harmonise.theory.arrangement import Hand, HarmonicRhythm, LeftHand, Style
head = "Key: C\\nTime: 2/4\\n"
for text in ("E G | D F | C -", "E D | D F | C -\\nChords: C G | ? | ?"):
    style = Style(1, HarmonicRhythm.HALF_BAR, left_hand=LeftHand("habanera"))
    done = harmonise.arrange(harmonise.read_tune(head + text), style)
    left = [note for note in done.notes if note.hand is Hand.LEFT][:2]
    print(*(f"{note.pitch} {note.onset} {note.length}" for note in left), sep=", ")
"""


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a copy of the package that has one pattern more."""
    folder = copied(tmp_path_factory.mktemp("house"))
    table = folder / "harmonise/theory/arrangement.py"
    put_before(table, "    def __new__(", ROW)
    put_at_end(folder / "harmonise/left_hand/patterns.py", FUNCTION)
    return folder


def test_every_list_of_patterns_has_the_new_row(house: Path) -> None:
    lists = json.loads(run(house, "-c", FACES))
    assert set(lists) == {"arrange", "drill", "page", "exercises", "sections"}
    assert [face for face, names in lists.items() if "habanera" not in names] == []


def test_the_new_function_plays_under_a_tune(house: Path) -> None:
    for_a_bar, for_half_a_bar = run(house, "-c", PLAYED).splitlines()
    assert for_a_bar == "C3 0 3/2, C3 3/2 1/2"
    # Finer than any note of the tune.
    assert for_half_a_bar == "C3 0 3/4, C3 3/4 1/4"
