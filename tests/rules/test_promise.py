from collections.abc import Callable
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from makers.profiles import examples
from makers.rule_examples import parse_example

from harmonise.errors import BrokenPromiseError
from harmonise.rules.promise import assert_tune_on_top
from harmonise.theory.arrangement import (
    PLAIN,
    Arrangement,
    Hand,
    SoundingNote,
    Style,
    Voice,
)
from harmonise.theory.pitch import Pitch, parse_pitch

HALF = Fraction(1, 2)
KEPT = "This is a fault in harmonise, not in your tune: please report it."


def note(
    onset: object, length: object, pitch: str, voice: Voice = Voice.INNER
) -> SoundingNote:
    hand = Hand.LEFT if voice is Voice.BASS else Hand.RIGHT
    times = Fraction(str(onset)), Fraction(str(length))
    return SoundingNote(*times, parse_pitch(pitch), hand, voice)


def plain() -> Arrangement:
    return parse_example("C major: C | E5 G5 | G4 C5 | C3; G | D5 B4 | G4 | G2")


def test_a_sound_arrangement_passes() -> None:
    assert_tune_on_top(plain())


def test_an_arrangement_of_a_rest_alone_passes() -> None:
    assert_tune_on_top(parse_example("C major: - | r"))


@pytest.mark.parametrize(
    ("extra", "where", "fault", "heard"),
    [
        (
            note(1, 1, "G5"),
            "Bar 1, beat 2",
            "the tune does not lie above",
            "C3 (bass), G4 (inner), C5 (inner), G5 (tune), G5 (inner)",
        ),
        (
            note("3/2", "1", "C6"),
            "Bar 1, beat 2 1/2",
            "the tune does not lie above",
            "C3 (bass), G4 (inner), C5 (inner), G5 (tune), C6 (inner)",
        ),
        (
            note(2, "3/2", "C5"),
            "Bar 1, beat 4",
            "the tune does not lie above",
            "G2 (bass), G4 (inner), B4 (tune), C5 (inner)",
        ),
        (
            note(0, 1, "G4", Voice.BASS),
            "Bar 1, beat 1",
            "the hands cross or meet in",
            "C3 (bass), G4 (inner), G4 (bass), C5 (inner), E5 (tune)",
        ),
        (
            note(0, 1, "D4"),
            "Bar 1, beat 1",
            "the right hand spans 14 semitones in",
            "C3 (bass), D4 (inner), G4 (inner), C5 (inner), E5 (tune)",
        ),
    ],
)
def test_a_note_out_of_its_place_breaks_the_promise(
    extra: SoundingNote, where: str, fault: str, heard: str
) -> None:
    done = plain()
    broken = done._replace(notes=(*done.notes, extra))
    with pytest.raises(BrokenPromiseError) as caught:
        assert_tune_on_top(broken)
    assert str(caught.value) == f"{where}: {fault} {heard}. {KEPT}"


def test_the_span_is_the_one_that_was_asked_for() -> None:
    small = plain()._replace(style=Style(span=9))
    with pytest.raises(BrokenPromiseError, match="spans 12 semitones in C3"):
        assert_tune_on_top(small)


def changed(change: Callable[[SoundingNote], SoundingNote | None]) -> Arrangement:
    """Return the plain arrangement with its second tune note changed or left out."""
    done = plain()
    notes = []
    for old in done.notes:
        second = old.voice is Voice.TUNE and old.onset == 1
        new = change(old) if second else old
        notes += [new] if new else []
    return done._replace(notes=tuple(notes))


@pytest.mark.parametrize(
    ("broken", "now"),
    [
        (
            changed(lambda n: n._replace(pitch=parse_pitch("F##5"))),
            "F##5 (crotchets 1 to 2)",
        ),
        (changed(lambda n: n._replace(length=HALF)), "G5 (crotchets 1 to 3/2)"),
        (
            changed(lambda n: n._replace(onset=n.onset + HALF)),
            "G5 (crotchets 3/2 to 5/2)",
        ),
        (changed(lambda _: None), "D5 (crotchets 2 to 3)"),
    ],
)
def test_a_tune_note_that_was_changed_breaks_the_promise(
    broken: Arrangement, now: str
) -> None:
    with pytest.raises(BrokenPromiseError) as caught:
        assert_tune_on_top(broken)
    was = "G5 (crotchets 1 to 2)"
    assert str(caught.value) == (
        f"Bar 1, beat 2: the tune was changed from {was} to {now}. {KEPT}"
    )


def test_a_tune_note_too_many_breaks_the_promise() -> None:
    done = plain()
    more = note(3, "1/2", "B5", Voice.TUNE)
    with pytest.raises(BrokenPromiseError, match="changed from nothing to B5"):
        assert_tune_on_top(done._replace(notes=(*done.notes, more)))


NOTES = st.builds(
    lambda onset, length, midi, voice: SoundingNote(
        Fraction(onset, 6),
        Fraction(length, 6),
        Pitch(0, midi % 5 - 2, 4 + midi // 5),
        Hand.LEFT if voice is Voice.BASS else Hand.RIGHT,
        voice,
    ),
    st.integers(0, 20),
    st.integers(1, 12),
    st.integers(0, 9),
    st.sampled_from([Voice.INNER, Voice.BASS]),
)


@settings(deadline=None, derandomize=True, max_examples=examples(500))
@given(st.lists(NOTES, max_size=8))
def test_the_sweep_agrees_with_looking_at_every_sixth_of_a_crotchet(
    extra: list[SoundingNote],
) -> None:
    # The oracle looks at every instant of a grid, a twelfth of a crotchet off the
    # beats, and compares all pairs; the sweep looks at onsets only.
    done = plain()
    tune = tuple(n for n in done.notes if n.voice is Voice.TUNE)
    mixed = done._replace(notes=(*extra, *tune), style=PLAIN)
    instants = [Fraction(2 * n + 1, 12) for n in range(6 * 8)]
    sound = all(in_order(mixed.notes, instant) for instant in instants)
    try:
        assert_tune_on_top(mixed)
    except BrokenPromiseError:
        assert not sound
    else:
        assert sound


def in_order(notes: tuple[SoundingNote, ...], instant: Fraction) -> bool:
    now = [n for n in notes if n.onset <= instant < n.onset + n.length]
    right = [n.pitch.midi for n in now if n.hand is Hand.RIGHT]
    inner = [n.pitch.midi for n in now if n.voice is Voice.INNER]
    left = [n.pitch.midi for n in now if n.hand is Hand.LEFT]
    tune = [n.pitch.midi for n in now if n.voice is Voice.TUNE]
    return (
        all(a < b for a in inner for b in tune)
        and all(a < b for a in left for b in right)
        and (not right or max(right) - min(right) <= PLAIN.span)
    )
