"""Locked chords through changes of their tune, against changes that are known."""

import random
from collections.abc import Iterator
from fractions import Fraction
from itertools import combinations

import pytest
from hypothesis import given
from hypothesis import settings as with_settings
from hypothesis import strategies as st
from makers.profiles import examples

from harmonise.notation.formats import parse_tunes
from harmonise.theory.carrying import carried
from harmonise.theory.chord import parse_symbol
from harmonise.theory.tune import ChordAt, Tune


def tune(text: str) -> Tune:
    return parse_tunes(text.encode())[0]


def lock(onset: int, end: int, chord: str) -> ChordAt:
    return ChordAt(Fraction(onset), Fraction(end), parse_symbol(chord))


def told(locks: tuple[ChordAt, ...]) -> list[str]:
    return [f"{one.onset}-{one.end} {one.chord.symbol}" for one in locks]


HEAD = "Key: C\nTime: 4/4\n"
FOUR = f"{HEAD}C D E F | G - E - | A C E D | C - - - |\n"


@pytest.mark.parametrize(
    ("after", "kept", "lost"),
    [
        pytest.param(FOUR, ["8-12 Am"], [], id="nothing changed"),
        pytest.param(
            f"{HEAD}B3 B3 D D | C D E F | G - E - | A C E D | C - - - |",
            ["12-16 Am"], [], id="a bar put in at the front",
        ),
        pytest.param(
            f"{HEAD}G - E - | A C E D | C - - - |",
            ["4-8 Am"], [], id="a bar taken out",
        ),
        pytest.param(
            f"{HEAD}C D E F | G - E - | C - - - |", [], ["8-12 Am"], id="its own bar",
        ),
        pytest.param(
            f"{HEAD}C D E F | G - E - | A C F D | C - - - |",
            ["8-12 Am"], [], id="a note of its bar mended",
        ),
        pytest.param(
            f"{HEAD}B3 | C D E F | G - E - | A C E D | C - - |",
            ["9-13 Am"], [], id="a pickup put in front",
        ),
        pytest.param(
            "Key: C\nTime: 2/4\nC D | E F | G - | E - | A C | E D | C - | - - |",
            ["8-12 Am"], [], id="bar lines alone moved",
        ),
        pytest.param(
            "Key: D\nTime: 4/4\nD E F# G | A - F# - | B D F# E | D - - - |",
            ["8-12 Bm"], [], id="moved a tone up",
        ),
        pytest.param(
            "Key: G\nTime: 4/4\nC D E F | G - E - | A C E D | C - - - |",
            ["8-12 Am"], [], id="another key over the same notes",
        ),
        pytest.param(
            f"{HEAD}C D E F | G - E - | A C E D | 0 0 0 0 | C - - - |",
            ["8-12 Am"], [], id="a bar put in behind it",
        ),
        pytest.param(
            "Key: C\nTime: 3/4\nC D E | G - - | A C E | C - - |",
            ["6-9 Am"], [], id="a shorter bar of its own",
        ),
    ],
)  # fmt: skip
def test_a_lock_stays_with_its_bar(
    after: str, kept: list[str], lost: list[str]
) -> None:
    found = carried(tune(FOUR), tune(after), [lock(8, 12, "Am")])
    assert (told(found.locks), told(found.lost)) == (kept, lost)


def test_a_tune_in_numbers_takes_its_locks_to_its_new_key() -> None:
    numbers = "Time: 4/4\n1 2 3 4 | 5 - 3 - | 6 1' 3' 2' | 1' - - - |"
    before, after = (tune(f"Key: {key}\n{numbers}") for key in ("C", "Eb"))
    found = carried(before, after, [lock(4, 6, "C/E"), lock(6, 8, "Dm7")])
    # A minor third up, as the keynotes are (common practice).
    assert told(found.locks) == ["4-6 Eb/G", "6-8 Fm7"]


def test_part_of_a_bar_keeps_its_beats_and_long_locks_their_bars() -> None:
    before = tune(FOUR)
    after = tune(f"{HEAD}C D E F | B B B B | G - E - | A C E D | C - - - |")
    found = carried(before, after, [lock(2, 8, "C"), lock(10, 12, "G7")])
    assert told(found.locks) == ["2-4 C", "8-12 C", "14-16 G7"]


def _bar(number: int) -> str:
    """Return a bar like no other: four notes that spell a number in base 7."""
    digits = [number // 7**place % 7 for place in range(4)]
    return " ".join("CDEFGAB"[digit] for digit in digits)


@with_settings(max_examples=examples(100))
@given(seed=st.integers(0, 10**6))
def test_the_way_that_is_taken_costs_the_least(seed: int) -> None:
    """Every way of pairing bars in order is tried, and measured moment by moment."""
    dice = random.Random(seed)  # noqa: S311 - no secret
    few = ["C D E F", "C D E -", "G - E C", "G G.A E C", "0 - - C"]
    old = [dice.choice(few) for _ in range(dice.randint(1, 4))]
    new = [dice.choice(few) for _ in range(dice.randint(1, 4))]
    before, after = (tune(f"{HEAD}{' | '.join(bars)} |") for bars in (old, new))
    locks = [lock(4 * at, 4 * at + 4, "C") for at in range(len(old))]
    found = carried(before, after, locks)
    # As distinct locks one a bar, they show which bar became which.
    lost = {int(one.onset) // 4 for one in found.lost}
    stay = [at for at in range(len(old)) if at not in lost]
    spans = [span for one in found.locks for span in _bars_of(one)]
    assert len(spans) == len(stay)
    least = min(_price(old, new, pairs) for pairs in _ways(len(old), len(new)))
    assert _price(old, new, list(zip(stay, spans, strict=True))) == least


def _bars_of(one: ChordAt) -> range:
    return range(int(one.onset) // 4, int(one.end) // 4)


def _ways(old: int, new: int) -> Iterator[list[tuple[int, int]]]:
    for count in range(min(old, new) + 1):
        for some in combinations(range(old), count):
            for others in combinations(range(new), count):
                yield list(zip(some, others, strict=True))


def _price(old: list[str], new: list[str], pairs: list[tuple[int, int]]) -> int:
    """Return a way's price in quavers; bars of four crotchets have eight."""
    alone = len(old) + len(new) - 2 * len(pairs)
    return 8 * alone + 2 * sum(_differ(old[a], new[b]) for a, b in pairs)


def _differ(one: str, other: str) -> int:
    pairs = zip(_quavers(one), _quavers(other), strict=True)
    return sum(a != b for a, b in pairs)


def _quavers(bar: str) -> list[tuple[str, int]]:
    """Return what sounds in each quaver of a bar, and when that began."""
    found: list[tuple[str, int]] = []
    for word in bar.split():
        signs = word.split(".")
        for sign in signs * (2 if len(signs) == 1 else 1):
            holds = sign == "-" or (len(signs) == 1 and len(found) % 2 == 1)
            found.append(found[-1] if holds else (sign, len(found)))
    return found


@with_settings(max_examples=examples(100))
@given(seed=st.integers(0, 10**6), key=st.sampled_from(["C", "G", "Bb", "E"]))
def test_locks_follow_bars_that_are_put_in_taken_out_and_moved(
    seed: int, key: str
) -> None:
    """The change is known, for it is made here: bars like no other keep their locks."""
    dice = random.Random(seed)  # noqa: S311 - no secret
    # No two bars have a note at the same beat in common.
    rows = [dice.sample("1234567", 7) for _ in range(4)]
    bars = [" ".join(row[at] for row in rows) for at in range(7)]
    before = bars[:5]
    kept = sorted(dice.sample(range(5), dice.randint(1, 4)))
    after = [before[at] for at in kept]
    # New bars stand at an end, where nothing was taken out: no old one could be they.
    front = kept[0] == 0 and dice.random() < 0.5
    after = [*bars[5:], *after] if front else after
    numbers = "Key: {}\nTime: 4/4\n{} |"
    old, new = (
        tune(numbers.format(name, " | ".join(some)))
        for name, some in (("C", before), (key, after))
    )
    chords = ["C", "Dm", "G7", "Am/C", "F"]
    locks = [lock(4 * at, 4 * at + 4, chords[at]) for at in range(5)]
    found = carried(old, new, locks)
    steps = {"C": (0, 0), "G": (4, 7), "Bb": (6, 10), "E": (2, 4)}[key]
    want = []
    for place, at in enumerate(kept, 2 * front):
        chord = parse_symbol(chords[at])
        root = chord.root.up(*steps)
        want.append(ChordAt(*_whole(place), chord._replace(root=root)))
    assert found.locks == tuple(want)
    assert found.lost == tuple(locks[at] for at in range(5) if at not in kept)


def _whole(place: int) -> tuple[Fraction, Fraction]:
    return Fraction(4 * place), Fraction(4 * place + 4)


def test_long_tunes_are_carried_too() -> None:
    bars = [_bar(number) for number in range(400, 1000)]
    after = [*bars[:100], *bars[150:]]
    before, now = (tune(f"{HEAD}{' | '.join(some)} |") for some in (bars, after))
    locks = [lock(4 * at, 4 * at + 4, "C") for at in range(0, 600, 10)]
    found = carried(before, now, locks)
    assert [int(one.onset) // 4 for one in found.lost] == list(range(100, 150, 10))
    assert len(found.locks) == 55
