"""Questions by ear: every answer is worked out again from the keys that sound.

Which notes a numeral means, which two chords make which cadence and which letter is
which key stand here in plain numbers (common practice), so that nothing is shared with
what is checked.
"""

from collections import Counter, defaultdict

import pytest

from harmonise.errors import NotationError
from harmonise.lessons.aural import AURAL_STEPS, AuralItem, AuralKind
from harmonise.lessons.aural_makers import AuralOrder, aural_items
from harmonise.theory.key import parse_key

MEANT = {
    "I": (0, 4, 7), "ii": (2, 5, 9), "IV": (5, 9, 0), "V": (7, 11, 2),
    "V7": (7, 11, 2, 5), "vi": (9, 0, 4),
    "i": (0, 3, 7), "ii°": (2, 5, 8), "iv": (5, 8, 0), "VI": (8, 0, 3),
}  # fmt: skip
"""Semitones above the keynote, the root first; of V in minor with the raised 7th."""
MINOR = ("i", "ii°", "iv", "V", "V7", "VI")
LETTERS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
KEYS = ("C", "Eb", "F#", "A minor", "C# minor", "Bb minor")
STEPS = range(1, len(AURAL_STEPS) + 1)


def key_of(letter: str) -> int:
    """Return the pitch class of a name such as "Bb"."""
    return (LETTERS[letter[0]] + letter.count("#") - letter[1:].count("b")) % 12


def chords_heard(item: AuralItem) -> list[list[int]]:
    """Return the keys that sound together, moment by moment, from the lowest up."""
    at = defaultdict(list)
    for note in item.notes:
        at[note.at].append(note.midi)
    return [sorted(at[onset]) for onset in sorted(at)]


def numeral_heard(keys: list[int], home: int, *, minor: bool) -> str:
    """Return the numeral whose root is in the bass and whose notes are all that sound.

    V7 sounds with its seventh, or it would be V.
    """
    classes = {(midi - home) % 12 for midi in keys}
    fits = [
        name
        for name, notes in MEANT.items()
        if (name in MINOR or not minor) and (name not in MINOR[:3] or minor)
        if notes[0] == (keys[0] - home) % 12 and {notes[1]} <= classes <= set(notes)
    ]
    return min(fits, key=lambda name: len(MEANT[name]))


def answer_heard(item: AuralItem) -> str:
    """Return the answer as it follows from what sounds."""
    home = key_of(str(item.key).split()[0])
    chords, minor = chords_heard(item), "minor" in str(item.key)
    names = [numeral_heard(keys, home, minor=minor) for keys in chords]
    if item.kind is AuralKind.CHORD:
        return names[1]
    if item.kind is AuralKind.MISSING:
        given = item.given.split(" – ")
        (gap,) = (at for at, name in enumerate(given) if name == "?")
        assert [*names[:gap], "?", *names[gap + 1 :]] == given
        return names[gap]
    if item.kind is AuralKind.CADENCE:
        two = "–".join(names[-2:]).replace("7", "").casefold()
        ends = {"v–i": "perfect", "iv–i": "plagal", "v–vi": "interrupted"}
        return ends.get(two, "imperfect" if two.endswith("–v") else two)
    if item.kind is AuralKind.POSITION:
        above = (chords[1][-1] - chords[1][0]) % 12
        return {0: "root", 3: "third", 4: "third", 6: "fifth", 7: "fifth"}[above]
    half = len(chords) // 2
    return "same" if chords[:half] == chords[half:] else "different"


@pytest.mark.parametrize("step", STEPS)
@pytest.mark.parametrize("key", KEYS)
def test_what_sounds_is_what_the_answer_says(step: int, key: str) -> None:
    for item in aural_items(AuralOrder((parse_key(key),), step, seed=step, items=10)):
        assert item.kind in AURAL_STEPS[step - 1].kinds
        if item.kind is AuralKind.BASS:
            lowest = [keys[0] % 12 for keys in chords_heard(item)]
            assert [key_of(name) for name in item.answer.split()] == lowest
            assert item.given.split(" – ")[0] == item.answer.split()[0]
        else:
            assert item.answer == answer_heard(item), item.reason
            assert item.answer in item.choices


def test_only_one_chord_of_the_right_hand_differs_the_second_time() -> None:
    items = aural_items(AuralOrder(step=5, kind=AuralKind.LEADING, items=8))
    assert Counter(item.answer for item in items) == {"same": 4, "different": 4}
    for item in items:
        chords = chords_heard(item)
        half = len(chords) // 2
        pairs = list(zip(chords[:half], chords[half:], strict=True))
        other = [pair for pair in pairs if pair[0] != pair[1]]
        assert len(other) == (item.answer == "different")
        # The bass and the notes of the chord stay: only the shape is another.
        assert all(one[0] == two[0] for one, two in pairs)
        assert all({m % 12 for m in one} == {m % 12 for m in two} for one, two in pairs)


def test_a_seed_chooses_the_items_and_answers_come_equally_often() -> None:
    order = AuralOrder(step=6, kind=AuralKind.CADENCE, seed=5, items=12)
    items = aural_items(order)
    assert items == aural_items(order)
    assert items != aural_items(order._replace(seed=6))
    assert set(Counter(item.answer for item in items).values()) == {3}
    assert len({(item.score.notes, item.given) for item in items}) == 12
    several = aural_items(order._replace(kind=None))
    two = aural_items(order._replace(items=2))
    assert two == tuple(item for item in several if item.kind is AuralKind.CADENCE)[:2]


@pytest.mark.parametrize(
    ("kind", "answer", "written"),
    [
        ("cadence", "imperfect", "Half cadence"),
        ("cadence", "interrupted", "deceptive"),
        ("cadence", "perfect", "authentic"),
        ("chord", "V7", "V⁷"),
        ("chord", "ii°", "iio"),
        ("position", "third", "3rd"),
        ("bass", "Bb Eb F Bb", "B♭ – E♭ – F – B♭"),
        ("bass", "C F G C", "f, g, c"),
    ],
)
def test_other_names_of_the_answer_count(kind: str, answer: str, written: str) -> None:
    item = aural_items(AuralOrder(step=6, kind=AuralKind(kind), items=1))[0]
    item = item._replace(answer=answer)
    assert item.is_right(written)
    assert item.is_right(answer)
    assert not item.is_right("")
    assert not item.is_right("plagal")


def test_every_note_of_a_bass_line_earns_its_mark() -> None:
    item = aural_items(AuralOrder(step=6, kind=AuralKind.BASS, items=1))[0]
    item = item._replace(answer="C A F G C")
    assert item.marks == 4
    earned = {"C A F G C": 4, "A F G C": 4, "C A F D C": 3, "A D": 1, "C": 0}
    assert {text: item.earned(text) for text in earned} == earned


def test_a_question_is_not_asked_before_its_step() -> None:
    with pytest.raises(NotationError) as caught:
        aural_items(AuralOrder(step=2, kind=AuralKind.CADENCE))
    assert str(caught.value) == (
        "“Which cadence” is not asked before step 4. Choose step 4, or another "
        "question."
    )
    with pytest.raises(NotationError) as caught:
        aural_items(AuralOrder(step=7))
    assert str(caught.value) == "There is no step 7. Choose one from 1 to 6."
