"""Which bars must have equal chords: equal bars at equal places (H20)."""

import pytest

from harmonise.notation.formats import parse_tunes
from harmonise.theory.alike import alike_bars


def models(text: str) -> list[int]:
    """Return for each bar the first one alike, bars counted from 1."""
    (tune,) = parse_tunes(text.encode())
    return [1 + bar for bar in alike_bars(tune)]


ALIKE = [
    # The first and third bars lead to the same bar; the second and fourth do not.
    pytest.param(
        "C E G - | D F D - | C E G 0 | D F D 0 | C - - -",
        [1, 2, 1, 4, 5],
        id="a rest at the end",
    ),
    pytest.param("C E G E | D F D - | C E G E | D F D - | C - - -", [1, 2, 1, 4, 5],
                 id="the same bar follows"),
    pytest.param("C E G E | D F D - | C E G E | B3 D G -", [1, 2, 3, 4],
                 id="another bar follows"),
    # A section that comes again has all its chords again, its last bar's too.
    pytest.param("C E G E | D - - - || C E G E | D - - - || E - - - | C - - -",
                 [1, 2, 1, 2, 5, 6], id="the whole section again"),
    pytest.param("C E G E | D - - - || C E G E | D - - - | E - - - | C - - -",
                 [1, 2, 1, 4, 5, 6], id="a section of other length"),
    # A note that is held over is no new note.
    pytest.param("C - - - | E F G A | C - - - | - E F G | A G F E | C - - -",
                 [1, 2, 3, 4, 5, 6], id="a held note"),
    pytest.param("G - G - | G - G - | G - G - | C - - -", [1, 1, 3, 4],
                 id="one bar again and again"),
    pytest.param("C E G E | D F D - | C5 E5 G5 E5 | D5 F5 D5 - | C - - -",
                 [1, 2, 3, 4, 5], id="an octave higher"),
    pytest.param("C E G E | D F D - | C - G E | D F D - | C - - -",
                 [1, 2, 3, 4, 5], id="in another rhythm"),
]  # fmt: skip


@pytest.mark.parametrize(("bars", "expected"), ALIKE)
def test_bars_are_alike_at_equal_places(bars: str, expected: list[int]) -> None:
    assert models(f"Key: C\n{bars}") == expected


def test_bars_in_other_keys_are_not_alike() -> None:
    bars = "C E G E | D F D - | C E G E | D F D - | C - - -"
    assert models(f"Key: C\n{bars}")[2] == 1
    assert models(bars.replace("| C E G E", "\nKey: G\nC E G E"))[2] == 3


def test_likes_are_found_in_time_for_long_tunes() -> None:
    verses = "C E G E | D F D - | E G C5 G | D - - - ||\n" * 40
    found = models(f"Key: C\n{verses}")
    assert found == [1, 2, 3, 4] * 40
