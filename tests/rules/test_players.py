"""What a page promises to its player, counted again from the notes alone."""

from collections import Counter
from fractions import Fraction
from itertools import groupby, pairwise
from pathlib import Path

import pytest
from hypothesis import given, settings
from makers.corpus import tunes_of
from makers.profiles import examples, spread
from makers.tunes import tunes
from oracles.promises import broken_promises

from harmonise.arranging.job import arrange
from harmonise.notation.formats import read_tune
from harmonise.notation.tune_text.tune_text import parse_tune_text
from harmonise.rules.players import (
    PLAYERS,
    changes_allowed,
    format_promises,
    promises,
    with_player,
)
from harmonise.theory.arrangement import (
    Arrangement,
    Hand,
    HarmonicRhythm,
    LeftHand,
    Player,
    Style,
    Texture,
)
from harmonise.theory.chord import parse_symbol
from harmonise.theory.tune import ChordAt, Tune

TUNES = sorted((Path(__file__).parents[2] / "tunes").glob("*.txt"))
PLAYER = pytest.mark.parametrize("player", list(Player), ids=lambda own: own.value)


def made_for(tune: Tune, player: Player, style: Style = Style()) -> Arrangement:  # noqa: B008
    return arrange(tune, with_player(style, player, tune), explained=False)


def counted(done: Arrangement) -> tuple[int, ...]:
    """Return what is promised, in order, counted instant by instant."""
    right = left = most = 0
    for onset in sorted({note.onset for note in done.notes}):
        now = [n for n in done.notes if n.onset <= onset < n.onset + n.length]
        heights = {hand: [n.pitch.midi for n in now if n.hand is hand] for hand in Hand}
        right, left = (
            max(old, max(found, default=0) - min(found, default=0))
            for old, found in zip((right, left), heights.values(), strict=True)
        )
        most = max(most, len(now))
    low = [n for n in done.notes if n.hand is Hand.LEFT]
    struck = [
        min(n.pitch.midi for n in group)
        for _, group in groupby(low, key=lambda note: note.onset)
    ]
    leap = max((abs(new - old) for old, new in pairwise(struck)), default=0)
    changes = Counter(slot.place.bar for slot in done.changes)
    signs = max(abs(change.key.fifths) for change in done.tune.keys)
    return right, left, most, leap, max(changes.values()), signs


def assert_told(done: Arrangement, player: Player) -> None:
    """Check that every promise is kept, or told with its place and reason."""
    found = promises(done, player)
    assert tuple(own.measured for own in found) == counted(done)
    broken = [own for own in found if own.measured > own.promised]
    told = [remark for remark in done.remarks if remark.code == "PLAYER"]
    assert sorted(own.what.lower() for own in broken) == sorted(
        remark.what.partition(":")[0] for remark in told
    )
    assert all(remark.place and remark.remedy for remark in told)


@PLAYER
@pytest.mark.parametrize("path", TUNES, ids=lambda path: path.stem)
def test_our_tunes_keep_every_promise_but_the_key(path: Path, player: Player) -> None:
    tune = read_tune(path)
    done = made_for(tune, player)
    assert_told(done, player)
    assert not broken_promises(done, inversions=True)
    broken = {own.what for own in promises(done, player) if not own.kept}
    assert broken <= {"Sharps or flats of the key"}


@PLAYER
@pytest.mark.parametrize("book", ["airdsAirs", "oneills1850", "essenFolksong"])
def test_printed_tunes_keep_their_promises(book: str, player: Player) -> None:
    # Tunes from printed books that music21's corpus carries.
    found = list(tunes_of(book, 25, 12))
    assert len(found) >= 8
    for tune in spread(found, 4, list(Player).index(player)):
        assert_told(made_for(tune, player), player)


@PLAYER
@given(tune=tunes(most_notes=40, lowest=3))
@settings(max_examples=examples(80), deadline=None, derandomize=True)
def test_any_tune_keeps_its_promises_or_says_where_not(
    tune: Tune, player: Player
) -> None:
    done = made_for(tune, player)
    assert_told(done, player)
    assert not broken_promises(done, inversions=True)


def test_players_are_promised_more_the_further_they_are() -> None:
    rows = [PLAYERS[player] for player in Player]
    for name in ("level", "right_span", "left_span", "together", "leap", "signs"):
        values = [getattr(row, name) for row in rows]
        assert values == sorted(values)
    assert [row.changes for row in rows] == [1, 2, 4]
    # A close triad spans at most a major sixth, nine semitones (keyboard style).
    assert rows[0].right_span == 9


BEGINNER = [("rakes_of_mallow", LeftHand.CHORDS), ("yankee_doodle", LeftHand.HELD)]


@pytest.mark.parametrize(("name", "left_hand"), BEGINNER)
def test_a_beginner_gets_roots_or_chords_in_the_left_hand_and_three_chords(
    name: str, left_hand: LeftHand
) -> None:
    tune = read_tune(next(path for path in TUNES if path.stem == name))
    done = made_for(tune, Player.BEGINNER)
    assert done.style.left_hand is left_hand
    assert (done.style.level, done.style.fingering) == (1, True)
    assert {slot.numeral for slot in done.slots} <= {"I", "IV", "V", ""}
    bars = Counter(slot.place.bar for slot in done.changes)
    assert set(bars.values()) == {1}


def test_what_was_asked_for_stays() -> None:
    tune = read_tune(TUNES[0])
    asked = Style(
        texture=Texture.BLOCK,
        left_hand=LeftHand.OCTAVE,
        harmonic_rhythm=HarmonicRhythm.BEAT,
        span=8,
    )
    own = with_player(asked, Player.BEGINNER, tune)
    assert (own.texture, own.left_hand) == (Texture.BLOCK, LeftHand.OCTAVE)
    assert (own.harmonic_rhythm, own.span) == (HarmonicRhythm.BEAT, 8)


def test_a_left_hand_that_reaches_too_far_is_told_with_its_place() -> None:
    (tune,) = parse_tune_text("Key: C\nE5 - G5 - | D5 - G5 - | C5 - - -")
    done = made_for(tune, Player.BEGINNER, Style(left_hand=LeftHand.OCTAVE))
    told = [str(remark) for remark in done.remarks if remark.code == "PLAYER"]
    assert told == [
        (
            "Bar 1, beat 1: reach of the left hand: up to 12 semitones, where a "
            "beginner is promised 7. It is so in 3 bars. "
            "The left hand that you asked for needs it."
        ),
        (
            "Bar 1, beat 1: notes at once: up to 5, where a beginner is promised 4. "
            "It is so in 3 bars. The left hand that you asked for needs them."
        ),
    ]


def test_your_own_chords_may_change_more_often_than_promised() -> None:
    (tune,) = parse_tune_text("Key: C\nC5 - D5 - | C5 - - -")
    locks = (
        ChordAt(Fraction(0), Fraction(2), parse_symbol("C")),
        ChordAt(Fraction(2), Fraction(4), parse_symbol("G")),
    )
    done = made_for(tune, Player.BEGINNER, Style(locks=locks))
    told = [str(remark) for remark in done.remarks if remark.code == "PLAYER"]
    assert told == [
        (
            "Bar 1, beat 1: chord changes in a bar: up to 2, where a beginner is "
            "promised 1. Your own chords or harmonic rhythm ask for it."
        )
    ]


def test_a_key_with_many_flats_is_told_with_an_easier_one() -> None:
    (tune,) = parse_tune_text("Key: Ab\nC5 - Eb5 - | Ab - - -")
    done = made_for(tune, Player.BEGINNER)
    told = [str(remark) for remark in done.remarks if remark.code == "PLAYER"]
    # G major is a semitone lower and has one sharp: the circle of fifths.
    assert told == [
        (
            "Bar 1, beat 1: sharps or flats of the key: up to 4, where a beginner is "
            "promised 2. It is in Ab major; G major is the nearest that is easy to "
            "read."
        )
    ]


# Bars a minute times changes a bar: at most 120 changes a minute.
TEMPI = [(90, 4, 4), (240, 4, 2), (400, 4, 1), (90, 2, 2), (300, 1, 1)]


@pytest.mark.parametrize(("tempo", "most", "allowed"), TEMPI)
def test_the_tempo_limits_the_changes_in_a_bar(
    tempo: int, most: int, allowed: int
) -> None:
    (tune,) = parse_tune_text(f"Key: C\nTempo: {tempo}\nC5 - D5 - | C5 - - -")
    assert changes_allowed(tune, most) == allowed


def test_promises_are_printed_with_what_was_measured() -> None:
    (tune,) = parse_tune_text("Key: C\nE5 - G5 - | D5 - G5 - | C5 - - -")
    done = made_for(tune, Player.BEGINNER, Style(left_hand=LeftHand.OCTAVE))
    assert format_promises(done, Player.BEGINNER) == (
        "For a beginner:\n"
        "Reach of the right hand: at most 9 semitones; here 9.\n"
        "Reach of the left hand: at most 7 semitones; here 12 — not kept.\n"
        "Notes at once: at most 4; here 5 — not kept.\n"
        "Leap of the left hand: at most 12 semitones; here 5.\n"
        "Chord changes in a bar: at most 1; here 1.\n"
        "Sharps or flats of the key: at most 2; here 0.\n"
    )
