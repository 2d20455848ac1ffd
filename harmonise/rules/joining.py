"""Rules of joining chord to chord, as teachers ask for it.

They judge every chord from the one that the pupil has before it, so that an early slip
is not paid for twice. "Freely" stands for exercises without a given tune, where the top
of the right hand is the pupil's own. Examples in the docstrings are written as in
`hands`. Source: common practice of keyboard harmony.
"""

from collections.abc import Iterator, Sequence
from functools import partial

from harmonise.rules.score_view import Found, Moment, Score, Span
from harmonise.theory.arrangement import SoundingNote
from harmonise.theory.chord import Chord, Member
from harmonise.theory.motion import (
    Height,
    heights,
    is_deceptive,
    least_motion,
    parallels,
)
from harmonise.theory.pitch import Pitch
from harmonise.theory.voicing import (
    Voicing,
    close_right_hand,
    doubled_third_shape,
    format_pitches,
    thin_right_hand,
)

_Step = tuple[Span, Span, tuple[Pitch, ...], tuple[Pitch, ...], list[tuple[Pitch, ...]]]
"""Two chords, their right hands, and the right hands that the second might have had."""


def _pitches(notes: Sequence[SoundingNote]) -> tuple[Pitch, ...]:
    return tuple(note.pitch for note in notes)


def _heights(moment: Moment, right: Sequence[Pitch]) -> tuple[Height, ...]:
    bass = moment.left[0].pitch.midi if moment.left else None
    return (bass, *(pitch.midi for pitch in right))


def _joins(score: Score) -> Iterator[tuple[Span, Span, Moment, Moment]]:
    """Yield each change of chord with the last and first moment beside it.

    Both right hands play at least two notes, and equally many.
    """
    moments = score.by_slot
    for before, after in score.steps:
        old, new = moments[before.slots[-1].onset][-1], moments[after.onset][0]
        # Voices can be told apart only where both hands have as many.
        alike = len(old.right) == len(new.right) > 1
        if before.end == after.onset and alike and old.inner and new.inner:
            yield before, after, old, new


def _under_tune(score: Score) -> Iterator[_Step]:
    """Yield the joins, with the close shape that each tune note allows."""
    for before, after, old, new in _joins(score):
        if old.tune is None or new.tune is None:
            continue
        now, was = _pitches(new.right), _pitches(old.right)
        if _doubles_third(before.chord, after.chord, now):
            continue  # It keeps V to vi from parallels.
        shape = thin_right_hand if len(new.inner) == 1 else close_right_hand
        right = shape(after.chord, new.tune.pitch)
        made, would = (
            len(parallels(_heights(old, was), _heights(new, hand)))
            for hand in (now, right)
        )
        # A smoother shape that makes parallels is none that was missed.
        fits = would <= made and len(right) == len(now)
        fits = fits and _lies_under_tune(score, new, right)
        fits = fits and _as_full(after.chord, now, right)
        yield before, after, was, now, [right] if fits else []


def _as_full(chord: Chord, now: Sequence[Pitch], other: Sequence[Pitch]) -> bool:
    """Whether a shape is as good a one as that in its place, but for the way to it.

    Of two notes each says something else about the chord; a seventh need not be there;
    and over its third in the bass a hand without another third is the better one.
    Common practice.
    """
    here, there = ({pitch.pitch_class for pitch in hand} for hand in (now, other))
    if len(now) == 2:
        return here == there
    third, seventh = chord.member(Member.THIRD), chord.member(Member.SEVENTH)
    spared = {seventh} | ({third} if chord.bass == third else set())
    return not any(name and name.pitch_class in there - here for name in spared)


def _doubles_third(before: Chord, chord: Chord, now: Sequence[Pitch]) -> bool:
    """Whether a right hand has the shape with doubled third that vi has after V."""
    if not is_deceptive(before.root.pitch_class, chord):
        return False
    top = now[-1]
    interval = (top.pitch_class - chord.root.pitch_class) % 12
    below = tuple(top.midi - pitch.midi for pitch in reversed(now[:-1]))
    return below == doubled_third_shape(chord.quality, interval, submediant=True)


def _lies_under_tune(score: Score, new: Moment, right: Sequence[Pitch]) -> bool:
    """Whether a shape can be held, in reach, for as long as the one in its place."""
    end = max(note.end for note in new.inner)
    over = [
        moment.tune.pitch.midi
        for moment in score.moments
        if moment.tune and new.onset <= moment.onset < end
    ]
    if not over:
        # Where the tune is silent no shape hangs under it.
        return False
    reach = max(over) - right[0].midi
    return right[-2].midi < min(over) and reach <= score.arrangement.style.span


def _freely(score: Score) -> Iterator[_Step]:
    """Yield the joins, with the shapes without parallels that were to be had."""
    for before, after, old, new in _joins(score):
        was, now = _pitches(old.right), _pitches(new.right)
        voicing = Voicing(_pitches(old.left[:1]), was)
        clean = [
            other.right
            for other in least_motion(voicing, after.chord)
            if _sings(before.chord, was, other.right)
            and not parallels(_heights(old, was), heights(other))
        ]
        yield before, after, was, now, clean


def _sings(chord: Chord, before: Sequence[Pitch], after: Sequence[Pitch]) -> bool:
    """Whether sevenths stay or fall a step, and no voice has an augmented second."""
    seventh = chord.member(Member.SEVENTH)
    for old, here in zip(before, after, strict=True):
        rise, steps = here.midi - old.midi, here.staff_step - old.staff_step
        if (old.name == seventh and not -2 <= rise <= 0) or (
            abs(rise) == 3 and abs(steps) == 1
        ):
            return False
    return True


def _moved(before: Sequence[Pitch], after: Sequence[Pitch]) -> int:
    """Return the semitones that a right hand moves in all."""
    return sum(abs(b.midi - a.midi) for a, b in zip(before, after, strict=True))


def _not_kept(steps: Iterator[_Step]) -> Iterator[Found]:
    for before, after, was, now, might in steps:
        classes = after.chord.pitch_classes
        # A common tone that costs a longer way elsewhere need not be kept.
        near = [right for right in might if _moved(was, right) <= _moved(was, now)]
        for voice, (old, here) in enumerate(zip(was, now, strict=True)):
            shared = old.pitch_class in classes and old.midi != here.midi
            if shared and any(right[voice].midi == old.midi for right in near):
                yield Found(
                    after.onset,
                    f"{old} is in {before.chord} and in {after.chord}, but its voice "
                    f"moves to {here}.",
                    f"Keep {old} where it is.",
                )
                break


def _too_far(steps: Iterator[_Step]) -> Iterator[Found]:
    for before, after, was, now, might in steps:
        if not might:
            continue
        best = min(might, key=partial(_moved, was))
        least, moved = _moved(was, best), _moved(was, now)
        if moved > least:
            yield Found(
                after.onset,
                f"the right hand moves {moved} semitones in all from {before.chord} "
                f"to {after.chord}; {least} would do.",
                f"Play {format_pitches(best)}.",
            )


def common_tone_kept(score: Score) -> Iterator[Found]:
    """Yield common tones moved in their voice where the tune let them stay.

    Good: C major: C | G4 | C4 E4; F | A4 | C4 F4
    Fault: C major: C | G4 | C4 E4; F | A4 | A3 C4
    """
    yield from _not_kept(_under_tune(score))


def moves_no_further(score: Score) -> Iterator[Found]:
    """Yield right hands that move further than they must under the tune.

    Good: C major: C | G4 | C4 E4; F | A4 | C4 F4
    Fault: C major: C | G4 | C4 E4; F | A4 | A3 C4
    """
    yield from _too_far(_under_tune(score))


def common_tone_kept_freely(score: Score) -> Iterator[Found]:
    """Yield common tones moved in their voice where no tune is given.

    Good: C major: C | G4 | C4 E4; F | A4 | C4 F4
    Fault: C major: C | G4 | C4 E4; F | C5 | F4 A4
    """
    yield from _not_kept(_freely(score))


def moves_no_further_freely(score: Score) -> Iterator[Found]:
    """Yield right hands that move further than they must where no tune is given.

    Good: C major: C | G4 | C4 E4; G | G4 | B3 D4
    Fault: C major: C | G4 | C4 E4; G | D5 | G4 B4
    """
    yield from _too_far(_freely(score))
