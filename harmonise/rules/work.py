"""Rules that a teacher asks of a pupil's work besides those that our own scores keep.

Examples in the docstrings are written as in `hands`. Source: common practice of
keyboard harmony.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator, Sequence
from fractions import Fraction
from typing import NamedTuple

from harmonise.rules.chords import filling_note_fits, metric_weight
from harmonise.rules.hands import is_heard
from harmonise.rules.score_view import Found, Moment, Score
from harmonise.theory.arrangement import SoundingNote
from harmonise.theory.chord import Chord, Member, Quality
from harmonise.theory.key import Key, Mode
from harmonise.theory.numerals import leading_note
from harmonise.theory.pitch import Pitch, PitchName
from harmonise.theory.tune import TuneNote

_HALF = Fraction(1, 2)
_STRONG = 2
"""The least metric weight of a strong place."""


def root_sounds(score: Score) -> Iterator[Found]:
    """Yield chords that both hands play without their root.

    Good: C major: C | E5 | G4 C5 | C3
    Fault: C major: C | E5 | E4 G4 | G2
    """
    yield from _absent(score, Member.ROOT, "root")


def fifth_sounds(score: Score) -> Iterator[Found]:
    """Yield inverted triads that both hands play without their fifth.

    In root position the fifth may be left out.

    Good: C major: C | E5 | G4 C5 | C3; G7 | F5 | G4 B4 | G2; C | E5 | E4 C5 | C3
    Fault: C major: C/E | E5 | E4 C5 | E3
    """
    yield from _absent(score, Member.FIFTH, "fifth")


def _absent(score: Score, member: Member, name: str) -> Iterator[Found]:
    """Yield chords without a member, unless the tune stands for it, in both hands."""
    for chord, moments in score.said:
        hands = any(m.inner for m in moments) and any(m.left for m in moments)
        wanted = chord.member(member)
        if not hands or (member is Member.FIFTH and _may_lack_fifth(chord, moments)):
            continue
        if wanted and not is_heard(chord, wanted, moments):
            what = f"{chord} sounds without its {name}, {wanted}."
            yield Found(moments[0].onset, what, f"Play {wanted} too.")


def _may_lack_fifth(chord: Chord, moments: Sequence[Moment]) -> bool:
    """Whether a chord does without its fifth: one of four notes, or over its root."""
    lowest = next((moment.left[0].pitch for moment in moments if moment.left), None)
    upright = lowest and lowest.pitch_class == chord.root.pitch_class
    # A bare fifth without its fifth is no chord.
    whole = chord.member(Member.THIRD) is not None
    return len(chord.members) > 3 or bool(upright and whole)


def leading_note_raised(score: Score) -> Iterator[Found]:
    """Yield dominants of a minor key played with the 7th that is not raised.

    Good: A minor: E | B4 | E4 G#4 | E3
    Fault: A minor: E | B4 | E4 G4 | E3
    """
    for chord, moments in score.chords:
        key = moments[0].slot.key
        raised = leading_note(chord, key) if key.mode is Mode.MINOR else None
        notes = [note.pitch for moment in moments for note in moment.under]
        low = [pitch for pitch in notes if pitch.name == key.name_at(7)]
        if raised and low:
            what = f"{low[0]} is the 7th of {key}, not raised in {chord}."
            yield Found(moments[0].onset, what, f"Play {raised}.")


def tune_fits_chord(score: Score) -> Iterator[Found]:
    """Yield chords that do not fit what the tune has while they sound.

    Good: C major: C | D5 C5; C | E5
    Fault: C major: C | A4 E5; C | C5
    Fault: C major: C | D5 F5; C | E5
    Good: C major: D | A4; G | B4; C | C5
    Fault: C major: D | A4; C | C5
    """
    sounding = score.arrangement.tune.sounding
    filled = {row.onset for row in filling_note_fits(score)}
    slots = [slot for slot in score.arrangement.slots if slot.chord]
    for number, slot in enumerate(slots):
        if slot.chord is None:
            continue
        under = tune_under(sounding, slot.onset, slot.end, slot.key)
        foreign = foreign_to(slot.chord, under)
        # A note that fills its slot is told by H05; on a strong place both tell it.
        weak = metric_weight(score, slot.onset) < _STRONG
        if foreign and not (weak and slot.onset in filled):
            yield Found(
                slot.onset,
                f"{foreign} in the tune is not in {slot.chord.with_notes}.",
                f"Choose a chord that has {foreign.name}.",
            )
            continue
        later = (own.chord for own in slots[number + 1 :] if own.chord)
        after = next_chord(slot.chord, later)
        alien = alien_in(slot.chord, under, after)
        if alien and not foreign:
            goal = slot.chord.root.up(3, 5)
            yield Found(
                slot.onset,
                f"{slot.chord} has {alien}, which is not in {slot.key}.",
                f"Choose a chord of the key, or go on to {goal}.",
            )


class TuneUnder(NamedTuple):
    """What the tune has in a slot.

    Attributes:
        key: The key there.
        notes: The pitches that sound, each with its share of the slot.
        after: The first pitch after the slot; None at the end.
    """

    key: Key
    notes: tuple[tuple[Pitch, Fraction], ...]
    after: Pitch | None


def tune_under(
    sounding: Sequence[TuneNote], onset: Fraction, end: Fraction, key: Key
) -> TuneUnder:
    """Return what a tune has in a slot; where it rests, its last note is in the ear.

    Args:
        sounding: The notes of the tune without its rests.
        onset: Where the slot begins.
        end: Where it ends.
        key: The key there.
    """
    first = bisect_right(sounding, onset, key=lambda note: note.end)
    last = bisect_left(sounding, end, key=lambda note: note.onset)
    shares = tuple(
        (note.pitch, (min(note.end, end) - max(note.onset, onset)) / (end - onset))
        for note in sounding[first:last]
        if note.pitch
    )
    if not shares and first and (heard := sounding[first - 1].pitch):
        shares = ((heard, Fraction(1)),)
    after = sounding[last].pitch if last < len(sounding) else None
    return TuneUnder(key, shares, after)


def foreign_to(chord: Chord, tune: TuneUnder) -> Pitch | None:
    """Return the tune note for which a chord does not do in a slot; None if it does.

    This alone says which chords are right there: reasons, keys and marks all ask it. A
    chord has the tune for half of the slot at least. A foreign note at its beginning
    goes a step into it, as a suspension does, and falls if it fills half of the slot. A
    later one has a step on one side, as passing and neighbour notes do, and on both
    sides if it fills half of the slot. In minor the natural seventh never sounds under
    the raised one. Common practice.
    """
    pitches = [pitch for pitch, _ in tune.notes]
    raised = tune.key.name_at(7, 1) if tune.key.mode is Mode.MINOR else None
    clash = tune.key.name_at(7) if raised in chord.members else None
    inside = [pitch.pitch_class in chord.pitch_classes for pitch in pitches]
    if not pitches or (all(inside) and clash is None):
        return None
    if not any(inside):
        return pitches[0]
    balance = sum(
        share if here else -share
        for (_, share), here in zip(tune.notes, inside, strict=True)
    )
    if balance < 0:
        return pitches[inside.index(False)]
    line = [*pitches, *([tune.after] if tune.after else [])]
    for at, (pitch, share) in enumerate(tune.notes):
        rest = [later for later in line[at + 1 :] if later != pitch]
        leaves = bool(rest) and _is_step(pitch, rest[0])
        if at:
            comes = _is_step(line[at - 1], pitch)
            fine = (comes or leaves) if share < _HALF else (comes and leaves)
        else:
            lands = leaves and rest[0] in pitches
            lands = lands and rest[0].pitch_class in chord.pitch_classes
            falls = share == _HALF and lands and rest[0].midi < pitch.midi
            fine = lands and (share < _HALF or falls)
        if pitch.name == clash or not (inside[at] or fine):
            return pitch
    return None


def alien_in(chord: Chord, tune: TuneUnder, after: Chord | None) -> PitchName | None:
    """Return the note for which a chord does not belong in a slot; None if it does.

    A chord that merely has the tune note does not belong, as A under an A in G major,
    unless it leads on as a dominant does. The tune's own notes belong, the raised
    seventh of a minor key, and its major tonic at the end. Common practice.

    Args:
        chord: The chord.
        tune: What the tune has in the slot.
        after: The next chord, by `next_chord`; None at the end.
    """
    key = tune.key
    home = {*key.scale, *(pitch.name for pitch, _ in tune.notes)}
    if key.mode is Mode.MINOR:
        home.add(key.name_at(7, 1))
    alien = next((name for name in chord.members if name not in home), None)
    if chord.quality not in (Quality.MAJOR, Quality.DOMINANT_SEVENTH):
        return alien
    if after is None:
        return None if chord == Chord(key.tonic) else alien
    return None if chord.root.up(3, 5) == after.root else alien


def next_chord(chord: Chord, later: Iterable[Chord]) -> Chord | None:
    """Return the first later chord that does not go on with a chord's notes."""
    notes = set(chord.members)
    return next((own for own in later if not notes.issubset(own.members)), None)


def share_in(chord: Chord, tune: TuneUnder) -> Fraction:
    """Return for which share of a slot the tune is in a chord."""
    inside = [share for p, share in tune.notes if p.pitch_class in chord.pitch_classes]
    return sum(inside, Fraction(0))


def _is_step(old: Pitch, new: Pitch) -> bool:
    near = abs(new.midi - old.midi) <= 2
    return near and abs(new.staff_step - old.staff_step) == 1


def silence(
    notes: Sequence[SoundingNote | TuneNote], start: Fraction, end: Fraction
) -> Fraction:
    """Return for how many crotchets between two places none of some notes sounds."""
    now, silent = start, Fraction(0)
    for note in sorted(notes, key=lambda note: note.onset):
        if note.onset + note.length <= now or note.onset >= end:
            continue
        silent += max(note.onset - now, Fraction(0))
        now = note.onset + note.length
    return silent + max(end - now, Fraction(0))
