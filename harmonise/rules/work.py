"""Rules that a teacher asks of a pupil's work besides those that our own scores keep.

Examples in the docstrings are written as in `rules_hands`. Source: common practice of
keyboard harmony.
"""

from collections.abc import Iterator, Sequence
from fractions import Fraction
from itertools import pairwise

from harmonise.rules.chords import metric_weight
from harmonise.rules.hands import is_heard
from harmonise.rules.score_view import Found, Score
from harmonise.theory.arrangement import SoundingNote
from harmonise.theory.chord import Member, leading_note
from harmonise.theory.key import Mode
from harmonise.theory.pitch import Pitch


def root_sounds(score: Score) -> Iterator[Found]:
    """Yield chords that both hands play without their root.

    Good: C major: C | E5 | G4 C5 | C3
    Fault: C major: C | E5 | E4 G4 | G2
    """
    yield from _absent(score, Member.ROOT, "root")


def fifth_sounds(score: Score) -> Iterator[Found]:
    """Yield triads that both hands play without their fifth.

    Good: C major: C | E5 | G4 C5 | C3; G7 | F5 | G4 B4 | G2
    Fault: C major: C | E5 | E4 C5 | C3
    """
    yield from _absent(score, Member.FIFTH, "fifth")


def _absent(score: Score, member: Member, name: str) -> Iterator[Found]:
    """Yield chords without a member, unless the tune stands for it, in both hands."""
    for moments in score.by_slot().values():
        first, chord = moments[0], moments[0].slot.chord
        hands = any(m.inner for m in moments) and any(m.left for m in moments)
        if chord is None or not hands:
            continue
        if member is Member.FIFTH and len(chord.members) > 3:
            continue
        wanted = chord.member(member)
        notes = [note for moment in moments for note in moment.notes]
        if wanted and not is_heard(chord, wanted, notes):
            yield Found(
                first.onset,
                f"{chord} sounds without its {name}, {wanted}.",
                f"Play {wanted} too.",
            )


def leading_note_raised(score: Score) -> Iterator[Found]:
    """Yield dominants of a minor key played with the 7th that is not raised.

    Good: A minor: E | B4 | E4 G#4 | E3
    Fault: A minor: E | B4 | E4 G4 | E3
    """
    for moments in score.by_slot().values():
        slot = moments[0].slot
        if slot.chord is None or slot.key.mode is not Mode.MINOR:
            continue
        raised = leading_note(slot.chord, slot.key)
        plain = slot.key.name_at(7)
        notes = [note for m in moments for note in (*m.left, *m.inner)]
        low = [note for note in notes if note.pitch.name == plain]
        if raised and low:
            yield Found(
                moments[0].onset,
                f"{low[0].pitch} is the 7th of {slot.key}, not raised in {slot.chord}.",
                f"Play {raised}.",
            )


def tune_fits_chord(score: Score) -> Iterator[Found]:
    """Yield chords struck on a strong beat under a tune note that is foreign to them.

    A note that goes on by step is let be: it is a passing or neighbour note, an
    appoggiatura or a suspension.

    Good: C major: C | D5 C5; C | E5
    Fault: C major: C | A4 E5; C | C5
    """
    sounding = score.arrangement.tune.sounding
    for onset, moments in score.by_slot().items():
        slot, note = moments[0].slot, moments[0].tune
        if slot.chord is None or note is None or metric_weight(score, onset) < 2:
            continue
        if note.pitch.pitch_class in slot.chord.pitch_classes:
            continue
        later = [own.pitch for own in sounding if own.onset > note.onset and own.pitch]
        if not _goes_on_by_step([note.pitch, *later]):
            members = " ".join(map(str, slot.chord.members))
            yield Found(
                onset,
                f"{note.pitch} in the tune is not in {slot.chord} ({members}).",
                f"Choose a chord that has {note.pitch.name}.",
            )


def _goes_on_by_step(pitches: Sequence[Pitch]) -> bool:
    for old, here in pairwise(pitches):
        if here != old:
            near = abs(here.midi - old.midi) <= 2
            return near and abs(here.staff_step - old.staff_step) == 1
    return False


def silence(notes: Sequence[SoundingNote], start: Fraction, end: Fraction) -> Fraction:
    """Return for how many crotchets between two places none of some notes sounds."""
    now, silent = start, Fraction(0)
    for note in sorted(notes, key=lambda own: own.onset):
        if note.onset + note.length <= now or note.onset >= end:
            continue
        silent += max(note.onset - now, Fraction(0))
        now = note.onset + note.length
    return silent + max(end - now, Fraction(0))
