"""Rules of the two hands: what sounds at each moment.

Every rule is a small generator of what breaks it. Its docstring ends in an example that
keeps the rule and one that breaks it, which the tests run; they are written chord by
chord as `chord length | tune | inner | left`, two crotchets where no length is given,
the hands filled in where they are left out, `_` for a tune note that goes on.
Sources: common practice of keyboard style, three voices in the right hand over roots.
"""

from collections.abc import Iterator, Sequence
from itertools import pairwise

from harmonise.errors import listed
from harmonise.rules.score_view import Found, Moment, Score, led_on_by_step
from harmonise.theory.arrangement import Hand, SoundingNote, Voice
from harmonise.theory.chord import Chord, Member
from harmonise.theory.numerals import leading_note
from harmonise.theory.pitch import PitchName
from harmonise.theory.reach import is_hollow, low_interval
from harmonise.theory.tune import Tune
from harmonise.theory.voicing import displaced_note, format_pitches


def _pitches(notes: tuple[SoundingNote, ...]) -> str:
    return format_pitches([note.pitch for note in notes])


def _begins(moment: Moment, *notes: SoundingNote) -> bool:
    """Return whether one of some sounding notes, or the slot, begins at a moment."""
    onset = moment.onset
    return onset == moment.slot.onset or any(note.onset == onset for note in notes)


def tune_kept(score: Score) -> Iterator[Found]:
    """Yield where the tune is not the one that was given.

    Good: C major: C | E5
    Fault: C major: C | E5>F5
    """
    arrangement = score.arrangement
    given = {n.onset: (n.length, n.pitch) for n in arrangement.tune.sounding}
    played = {
        note.onset: (note.length, note.pitch)
        for note in arrangement.notes
        if note.voice is Voice.TUNE
    }
    for onset in sorted({*given, *played}):
        if given.get(onset) != played.get(onset):
            old, new = (
                f"{row[1]} ({row[0]} crotchet{'s' if row[0] > 1 else ''})"
                if row
                else "nothing"
                for row in (given.get(onset), played.get(onset))
            )
            yield Found(
                onset, f"the tune has {old} here, not {new}.", "Keep the tune as given."
            )


def tune_on_top(score: Score) -> Iterator[Found]:
    """Yield where an inner note is not below the tune that sounds with it.

    A tune that comes down onto a note that is held meets it in a unison, which is none.

    Good: C major: C | E5 | G4 C5 | C3
    Fault: C major: C | E4 | G4 C5 | C3
    """
    for moment in score.moments:
        tune = moment.tune
        if tune is None:
            continue
        # On the tune's very key an inner note would take its finger.
        above = [
            n
            for n in moment.inner
            if n.pitch.midi > tune.pitch.midi
            or (n.pitch.midi == tune.pitch.midi and n.onset >= tune.onset)
        ]
        if above and _begins(moment, tune, *above):
            are = "is" if len(above) == 1 else "are"
            names = listed([str(note.pitch) for note in above])
            yield Found(
                moment.onset,
                f"{names} {are} not below the tune note {tune.pitch}.",
                "Put every other note of the right hand under the tune.",
            )


def hands_apart(score: Score) -> Iterator[Found]:
    """Yield where the hands cross or meet on one key.

    Good: C major: C | E4 | G3 C4 | C3
    Fault: C major: C | E4 | G3 C4 | G3
    """
    for moment in score.moments:
        if not moment.left or not moment.right:
            continue
        lowest = min(moment.right, key=lambda note: note.pitch.midi)
        highest = moment.left[-1]
        if lowest.pitch.midi <= highest.pitch.midi and _begins(moment, lowest, highest):
            yield Found(
                moment.onset,
                f"the left hand's {highest.pitch} is not below {lowest.pitch}.",
                "Play the left hand an octave lower.",
            )


def right_hand_in_reach(score: Score) -> Iterator[Found]:
    """Yield where the right hand spans more semitones than the style allows.

    Good: C major: C | C5 | C4 E4 | C3
    Fault: C major: C | E5 | C4 G4 | C3
    """
    limit = score.arrangement.style.span
    for moment in score.moments:
        if not moment.right or not _begins(moment, *moment.right):
            continue
        heights = [note.pitch.midi for note in moment.right]
        if max(heights) - min(heights) > limit:
            yield Found(
                moment.onset,
                f"the right hand spans {max(heights) - min(heights)} semitones, "
                f"{_pitches(moment.right)}; {limit} is the most.",
                "Strike the chord again, closer under the tune.",
            )


def chord_notes_only(score: Score) -> Iterator[Found]:
    """Yield notes beneath the tune that are not in the chord of their slot.

    A left-hand note that steps on to the next root, as a bass walks, is let be, and so
    is a pedal.

    Good: C major: C | E5 | G4 C5 | C3
    Fault: C major: C | E5 | A4 C5 | C3
    """
    led_on = led_on_by_step(score)
    for moment in score.moments:
        chord = moment.slot.chord
        where = f"under {chord.with_notes}" if chord else "before the first chord"
        for note in moment.under:
            inside = chord and note.pitch.pitch_class in chord.pitch_classes
            let_be = note in led_on or _is_pedal(moment, note)
            if not inside and _begins(moment, note) and not let_be:
                what = f"{note.pitch} sounds {where}."
                yield Found(moment.onset, what, "Play notes of the chord only.")


def _is_pedal(moment: Moment, note: SoundingNote) -> bool:
    """Return whether a note is the pedal that the left hand holds at a moment."""
    return note.hand is Hand.LEFT and note.pitch.name == moment.slot.pedal


def spelled_in_chord(score: Score) -> Iterator[Found]:
    """Yield notes that sound right but are spelled by another letter than the chord's.

    Good: A minor: E | B4 | E4 G#4 | E3
    Fault: A minor: E | B4 | E4 Ab4 | E3
    """
    for moment in score.moments:
        chord = moment.slot.chord
        for note in moment.under:
            name = chord and chord.spelling(note.pitch.pitch_class)
            if name and name != note.pitch.name and note.onset == moment.onset:
                yield Found(
                    moment.onset,
                    f"{note.pitch} is spelled {name} in {chord}.",
                    f"Write {name.at(note.pitch.midi)}.",
                )


def third_sounds(score: Score) -> Iterator[Found]:
    """Yield chords struck without their third, which tells major from minor.

    A tune note that holds back the third (a suspended fourth, say) excuses it, and so
    does a tune that goes alone because it lies low.

    Good: C major: C | C5 | E4 | C3; C! | F5 | G4 C5 | C3
    Fault: C major: C | C5 | G4 | C3
    """
    for chord, moments in score.said:
        third = chord.member(Member.THIRD)
        # Where the tune goes alone there is no chord to be whole.
        struck = any(moment.inner for moment in moments)
        if third and struck and not is_heard(chord, third, moments):
            what = f"{chord} sounds without its third, {third}."
            yield Found(moments[0].onset, what, "Play the third in the right hand.")


def is_heard(chord: Chord, name: PitchName, moments: Sequence[Moment]) -> bool:
    """Return whether a note of a chord sounds, or the tune stands for it.

    A tune note foreign to the chord holds back the note that it resolves to.
    """
    notes = [note for moment in moments for note in moment.notes]
    if any(note.pitch.pitch_class == name.pitch_class for note in notes):
        return True
    root = chord.root.pitch_class
    held_back = (
        displaced_note(chord.quality, (note.pitch.pitch_class - root) % 12)
        for note in notes
        if note.voice is Voice.TUNE
    )
    return (name.pitch_class - root) % 12 in held_back


def bass_as_printed(score: Score) -> Iterator[Found]:
    """Yield chords whose lowest left-hand note is not the one that the symbol names.

    Good: C major: C | E5 | G4 C5 | C3
    Fault: C major: C | E5 | G4 C5 | G2
    """
    for chord, (first, *_) in score.chords:
        # The first stroke of a pattern tells the bass; later ones may be any member.
        due = first.onset in score.basses_due
        for lowest in first.left[:1] if due else ():
            wrong = lowest.pitch.pitch_class != chord.bass.pitch_class
            if wrong and not _is_pedal(first, lowest):
                what = f"the left hand plays {lowest.pitch} under {chord}."
                remedy = f"Play {chord.bass} in the left hand."
                yield Found(first.onset, what, remedy)


def leading_note_once(score: Score) -> Iterator[Found]:
    """Yield dominant chords whose third, the leading note, sounds twice.

    In the left hand a note that steps on to the next root does not count, nor does in
    the tune a note shorter than a beat that is not struck on one: it passes.

    Good: C major: G/B | D5 | G4 | B2
    Fault: C major: G/B | D5 | G4 B4 | B2
    """
    led_on = led_on_by_step(score)
    for moment in score.moments:
        chord = moment.slot.chord
        leading = leading_note(chord, moment.slot.key) if chord else None
        double = tuple(
            note
            for note in moment.notes
            if leading and note.pitch.pitch_class == leading.pitch_class
            if note not in led_on and not _passes(score.arrangement.tune, note)
        )
        if len(double) > 1 and _begins(moment, *double):
            what = f"the leading note sounds twice, {_pitches(double)}."
            yield Found(moment.onset, what, f"Leave {leading} to one voice.")


def _passes(tune: Tune, note: SoundingNote) -> bool:
    """Return whether a note of the tune is quick and off the beat."""
    bar = tune.bar_at(note.onset)
    beat, place = bar.time.beat, note.onset - bar.start + bar.offset
    return note.voice is Voice.TUNE and note.length < beat and place % beat != 0


def low_notes_clear(score: Score) -> Iterator[Found]:
    """Yield neighbouring notes that lie too low for their interval to sound clear.

    Good: C major: C | G4 | C4 E4 | C3
    Fault: C major: C | C4 | G2 E3 | C2
    """
    for moment in score.moments:
        notes = sorted(moment.notes, key=lambda note: note.pitch.midi)
        for lower, upper in pairwise(notes):
            low = low_interval(lower.pitch.midi, upper.pitch.midi)
            # Notes that go on are told once, where the later of the two begins.
            if low and moment.onset in (lower.onset, upper.onset):
                yield Found(
                    moment.onset,
                    f"{lower.pitch} and {upper.pitch} lie too low to sound clear.",
                    "Spread them, or play both an octave higher.",
                )


def hands_not_far(score: Score) -> Iterator[Found]:
    """Yield slots at whose start the hands lie more than an octave and a fifth apart.

    A pattern that comes nearer within the slot fills the gap.

    Good: C major: C | E5 | G4 C5 | C3
    Fault: C major: C | E5 | G4 C5 | C2
    """
    for first, *others in score.by_slot.values():
        near = [note.pitch.midi for own in (first, *others) for note in own.left]
        for bass, lowest in zip(first.left[-1:], first.inner[:1], strict=False):
            if is_hollow(max(near), lowest.pitch.midi):
                notes = f"{bass.pitch} and {lowest.pitch}"
                what = f"the hands lie far apart, {notes}, which sounds hollow."
                yield Found(first.onset, what, "Play the left hand an octave higher.")
