"""Keys for singers: the table, the arithmetic, the order and its reasons."""

from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from makers.profiles import examples
from makers.tunes import tunes

from harmonise.errors import MelodyError, NotationError
from harmonise.notation.formats import read_tune
from harmonise.theory.singing import (
    Fit,
    compass_of,
    format_ranking,
    own_table,
    parse_voices,
    rank_keys,
    read_voices,
    voices_named,
)
from harmonise.theory.transposing import transposed
from harmonise.theory.tune import Tune

TUNES = Path(__file__).parents[2] / "tunes"

# Starting values for class and congregational singing (common practice; sources differ
# by a third to a fourth): comfortable compass, outer limits, in MIDI numbers.
TABLE = {
    "age-4-5": (62, 69, 60, 71),
    "age-6-7": (62, 71, 60, 72),
    "age-8-9": (62, 72, 59, 76),
    "age-10-11": (60, 74, 57, 77),
    "changing": (55, 62, 55, 62),
    "congregation": (60, 72, 57, 74),
    "congregation-warm": (60, 74, 58, 75),
    "soprano": (64, 77, 60, 81),
    "mezzo": (60, 74, 57, 77),
    "alto": (57, 70, 53, 74),
    "tenor": (52, 65, 48, 69),
    "baritone": (48, 62, 45, 65),
    "bass": (45, 58, 40, 62),
}


def tune_of(name: str) -> Tune:
    return read_tune(TUNES / f"{name}.txt")


def test_the_table_is_the_trades() -> None:
    found = {
        own.name: (
            own.comfortable.low.midi, own.comfortable.high.midi,
            own.limits.low.midi, own.limits.high.midi,
        )
        for own in read_voices()
    }  # fmt: skip
    assert found == TABLE


def test_a_tune_that_fits_is_told_with_its_compass_and_reason() -> None:
    tune = tune_of("auld_lang_syne")
    voices = voices_named("congregation-warm", read_voices())
    first = rank_keys(tune, voices)[0]
    assert first.reason == (
        "F major, where it is: C4–D5; every note is comfortable; 1 flat."
    )
    told = format_ranking(tune, voices, rank_keys(tune, voices), 1)
    assert told == (
        "Compass C4–D5. For mixed congregation, warmed up: comfortable C4–D5, "
        f"limits Bb3–Eb5.\n  1. {first.reason}"
    )


def test_a_tune_too_wide_is_told_by_how_much_with_the_least_bad_key() -> None:
    tune = tune_of("rakes_of_mallow")
    voices = voices_named("age-4-5", read_voices())
    assert format_ranking(tune, voices, rank_keys(tune, voices)).splitlines()[1:] == [
        "No key fits: the tune is 2 semitones too wide for them.",
        (
            "  The least bad: C major, 7 semitones down: B3–C5; B3 is 1 semitone too "
            "low and C5 is 1 semitone too high; no sharps or flats."
        ),
    ]


def test_low_voices_are_found_an_octave_away() -> None:
    ranked = rank_keys(tune_of("rakes_of_mallow"), voices_named("bass", read_voices()))
    assert ranked[0].reason == (
        "Bb major, 21 semitones down: A2–Bb3; every note is comfortable; 2 flats."
    )


@pytest.mark.parametrize("voices", read_voices(), ids=lambda own: own.name)
@pytest.mark.parametrize("name", sorted(path.stem for path in TUNES.glob("*.txt")))
def test_no_key_left_out_is_better(name: str, voices: object) -> None:
    # Every shift is worked out again here, by plain arithmetic on MIDI numbers.
    row = TABLE[voices.name]  # type: ignore[attr-defined]
    tune = tune_of(name)
    heights = [(n.pitch.midi, n.length) for n in tune.sounding if n.pitch]
    low, high = min(h for h, _ in heights), max(h for h, _ in heights)
    ranked = rank_keys(tune, voices)  # type: ignore[arg-type]
    for own in ranked:
        inside = row[2] <= low + own.semitones and high + own.semitones <= row[3]
        assert (own.fit is not Fit.BEYOND) == inside
        easy = sum(
            (n for h, n in heights if row[0] <= h + own.semitones <= row[1]),
            Fraction(0),
        )
        assert own.share == easy / sum(n for _, n in heights)
        assert (own.fit is Fit.COMFORTABLE) == (own.share == 1 and inside)
    for better, worse in pairwise(ranked):
        assert better.fit <= worse.fit
        if better.fit == worse.fit and better.beyond == worse.beyond:
            signs = abs(better.key.fifths), abs(worse.key.fifths)
            assert signs[0] <= signs[1]
            if signs[0] == signs[1]:
                assert abs(better.semitones) <= abs(worse.semitones)


@given(tunes(), st.integers(-9, 9))
@settings(max_examples=examples(40))
def test_compass_and_key_are_those_of_the_moved_tune(tune: Tune, number: int) -> None:
    ranked = rank_keys(tune, read_voices()[5])
    own = ranked[number % len(ranked)]
    assert compass_of(transposed(tune, own.key, own.semitones)) == own.compass
    assert abs(own.key.fifths) <= 7


BROKEN = [
    pytest.param(
        "",
        "The table of voices is empty. Each group needs a line [name] and "
        'comfortable = "C4-D5".',
        id="empty",
    ),
    pytest.param(
        '[choir]\nlimits = "C4-D5"',
        'The voices "choir" have no comfortable compass. Write under [choir]: '
        'comfortable = "C4-D5".',
        id="no compass",
    ),
    pytest.param(
        '[choir]\ncomfortable = "high"',
        'The voices "choir" have the compass "high", which is none. Write two pitches '
        'such as "C4-D5".',
        id="no pitches",
    ),
    pytest.param(
        '[choir]\ncomfortable = "D5-C4"',
        'The voices "choir" have the compass D5–C4, the higher pitch first. Write '
        '"C4-D5".',
        id="upside down",
    ),
    pytest.param(
        '[choir]\ncomfortable = "C4-D5"\nlimits = "D4-C5"',
        'The voices "choir" are comfortable beyond their limits, C4–D5 against D4–C5. '
        "Make the limits wider.",
        id="limits too narrow",
    ),
]


@pytest.mark.parametrize(("text", "sentence"), BROKEN)
def test_a_broken_table_is_told_in_a_sentence(text: str, sentence: str) -> None:
    with pytest.raises(NotationError) as caught:
        parse_voices(text)
    assert str(caught.value) == sentence


def test_a_text_that_is_no_table_is_told_where_it_breaks() -> None:
    # What is wrong in TOML the standard library says, in words that change with it.
    with pytest.raises(NotationError, match=r"cannot be read: .* Each group needs"):
        parse_voices("[choir")


def test_unknown_voices_are_told_which_there_are() -> None:
    with pytest.raises(NotationError) as caught:
        voices_named("choir", read_voices())
    assert str(caught.value) == (
        f'There are no voices "choir". Choose from: {", ".join(TABLE)}.'
    )


def test_a_table_of_the_users_own_is_read(tmp_path: Path) -> None:
    path = tmp_path / "voices.toml"
    path.write_text(own_table().replace('"C4-C5"', '"D4-C5"', 1), encoding="utf-8")
    assert read_voices(path) != read_voices()
    with pytest.raises(NotationError, match="cannot be read"):
        read_voices(tmp_path / "none.toml")


def test_silence_has_no_compass() -> None:
    tune = tune_of("auld_lang_syne")
    with pytest.raises(MelodyError):
        compass_of(tune._replace(notes=()))
