"""Rules of the steps from chord to chord: progression, closes, voice leading.

Examples in the docstrings are written as in `rules_hands`. Source: common practice of
elementary harmony and keyboard style, where parallels are avoided but not forbidden.

How usual one triad after another is.

The chooser itself goes by fitted costs; these grades are what remarks speak of.
"""

from collections.abc import Iterator

from harmonise.rules.chords import is_tonic, metric_weight
from harmonise.rules.score_view import Found, Moment, Score, Span
from harmonise.theory.arrangement import Voice
from harmonise.theory.chord import Chord, Member, Quality, diatonic_triad
from harmonise.theory.key import Mode
from harmonise.theory.motion import Height, parallels

_DOMINANTS = (Quality.MAJOR, Quality.DOMINANT_SEVENTH)
_VOICES = ("the bass", "the lower inner voice", "the inner voice", "the tune")


def _is_dominant(span: Span) -> bool:
    return span.degree == (5, 0) and span.chord.quality in _DOMINANTS


def not_syncopated(score: Score) -> Iterator[Found]:
    """Yield chords begun on a weaker beat that are still there on a stronger one.

    Good: C major: C 1 | E5; C 1 | E5; F 1 | F5; G 1 | D5; C 2 | E5
    Fault: C major: C 1 | E5; C 1 | E5; C 1 | E5; F 1 | F5; F 2 | F5
    """
    for span in score.spans[1:]:
        began = max(1, metric_weight(score, span.onset))
        for slot in span.slots[1:]:
            weight = metric_weight(score, slot.onset)
            if weight > began and not slot.locked:
                yield Found(
                    slot.onset,
                    f"{span.chord} began on a weaker beat and goes on here.",
                    "Change the chord here, or begin it on a strong beat.",
                )
                break


def closes_from_dominant(score: Score) -> Iterator[Found]:
    """Yield a last change of chord that is no close: not V to I, nor a mode's own.

    IV to I, the plagal close, is reported too: it is allowed, but weaker.

    Good: C major: C | E5; G | D5; C | C5
    Fault: C major: G | D5; F | F5; C | E5
    """
    if len(score.spans) < 2:
        return
    before, last = score.spans[-2:]
    if not is_tonic(last.chord, last.key) or before.locked:
        return
    modal = last.key.mode not in (Mode.MAJOR, Mode.MINOR)
    if _is_dominant(before) or (modal and before.degree[0] in (5, 7)):
        return
    plagal = " (a plagal close)" if before.degree == (4, 0) else ""
    yield Found(
        last.onset,
        f"the last change is {before.chord} to {last.chord}{plagal}.",
        "Close from the dominant if the tune allows it.",
    )


def no_step_back(score: Score) -> Iterator[Found]:
    """Yield V to IV and V to ii, except in the close of a twelve-bar blues.

    Good: C major: C | E5; F | F5; G | D5; C | C5
    Fault: C major: C | E5; G | D5; F | F5; C | E5
    """
    for before, after in score.steps:
        if after.key.mode not in (Mode.MAJOR, Mode.MINOR) or after.locked:
            continue
        back = after.degree in ((4, 0), (2, 0))
        if _is_dominant(before) and back and not _is_secondary(after):
            if _is_blues_close(score, before):
                continue
            yield Found(
                after.onset,
                f"{before} goes back to {after}.",
                "Go from V to I, or stay on V.",
            )


def _is_secondary(span: Span) -> bool:
    """Return whether a chord on 2 or 4 is a dominant itself, such as V/V."""
    own = diatonic_triad(span.key, span.degree[0])
    return span.chord.members[: len(own.members)] != own.members


def _is_blues_close(score: Score, five: Span) -> bool:
    """Return whether a V opens V IV I I, the last four of twelve bars."""
    bars = [bar for bar in score.arrangement.tune.bars if bar.number > 0]
    at = score.spans.index(five)
    onsets = [span.onset for span in score.spans[at : at + 3]]
    wanted = [bar.start for bar in bars[8:11]]
    return len(bars) % 12 == 0 and onsets == wanted and len(score.spans) == at + 3


def seventh_resolves(score: Score) -> Iterator[Found]:
    """Yield dominant sevenths that do not go where they lead, or whose 7th stays up.

    The chord leads to one whose root lies a fourth or a step higher; its seventh falls
    a step to the third of that chord. A passing V7 to V is let be.

    Good: C major: G7 | F5; C | E5
    Fault: C major: G7 | F5; C | G5; G7 | D5; F | F5; C | E5
    """
    moments = score.by_slot()
    for before, after in score.steps:
        if before.chord.quality is not Quality.DOMINANT_SEVENTH or after.locked:
            continue
        rise = (after.chord.root.pitch_class - before.chord.root.pitch_class) % 12
        if rise == 0:
            continue
        if rise not in (1, 2, 5):
            yield Found(
                after.onset,
                f"{before} goes to {after.chord}, where its seventh cannot resolve.",
                f"Go on to {before.chord.root.up(3, 5)}.",
            )
        else:
            last, first = moments[before.slots[-1].onset][-1], moments[after.onset][0]
            yield from _seventh_falls(before.chord, last, first)


def _seventh_falls(chord: Chord, last: Moment, first: Moment) -> Iterator[Found]:
    """Yield a seventh that leaps or rises; in the tune it may also be held back."""
    seventh = chord.member(Member.SEVENTH)
    reached = {note.pitch.midi for note in first.inner}
    for note in last.right:
        pitch = note.pitch
        if pitch.name != seventh or first.tune is None:
            continue
        goals = {first.tune.pitch.midi}
        if note.voice is Voice.TUNE:
            fine = {pitch.midi, pitch.midi - 1, pitch.midi - 2}
        else:
            fine, goals = {pitch.midi - 1, pitch.midi - 2}, goals | reached
        if not goals & fine:
            yield Found(
                first.onset,
                f"{pitch}, the seventh of {chord}, does not fall a step.",
                f"Let the voice that has {seventh} go down a step.",
            )


def no_parallels(score: Score) -> Iterator[Found]:
    """Yield parallel fifths and octaves from one chord to the next.

    A tune played in octaves is one voice, not two.

    Good: C major: F | F5 | A4 C5 | F2; G | D5 | G4 B4 | G2
    Fault: C major: F | F5 | A4 C5 | F2; G | G5 | B4 D5 | G2
    """
    moments = score.by_slot()
    for before, after in score.steps:
        if before.end != after.onset:
            continue
        old = [m for m in moments[before.slots[-1].onset] if m.tune]
        new = [m for m in moments[after.onset] if m.tune]
        if not old or not new:
            continue
        for pair in parallels(_voices(old[-1]), _voices(new[0])):
            yield Found(
                after.onset,
                f"{_VOICES[pair.lower]} and {_VOICES[pair.upper]} move in parallel "
                f"{pair.name} from {before.chord} to {after.chord}.",
                "Choose another shape, or move the left hand the other way.",
            )


def _voices(moment: Moment) -> tuple[Height, ...]:
    """Return the lowest left-hand note, two inner notes and the tune."""
    top = moment.tune.pitch.midi if moment.tune else None
    own = [note.pitch.midi for note in moment.inner]
    doubled = top - 12 if top is not None else None
    inner: list[Height] = [None, None, *(midi for midi in own if midi != doubled)]
    bass = moment.left[0].pitch.midi if moment.left else None
    return (bass, *inner[-2:], top)


_USUAL, _FAIR, _POOR, _RETREAT = range(4)
RETREATS = frozenset({("V", "IV"), ("V", "ii"), ("V", "iv"), ("V", "ii°")})
_MAJOR_STEPS = {
    "I": ("IV V vi V/V V/IV V/ii V/vi", "ii iii iv"),
    "ii": ("V V/V", "IV vi"),
    "iii": ("IV vi", "ii V/vi"),
    "IV": ("I V ii V/V", "vi iv"),
    "V": ("I", "vi V/vi"),
    "vi": ("IV ii V/V V/ii", "I iii V"),
    "iv": ("I V", "IV"),
    "V/V": ("V", "I"),
    "V/IV": ("IV", "ii"),
    "V/ii": ("ii", "V/V"),
    "V/vi": ("vi", "IV"),
}
_MINOR_STEPS = {
    "i": ("iv V VI VII", "III ii° v IV V/iv"),
    "iv": ("i V", "VII ii° VI"),
    "ii°": ("V", "i"),
    "V": ("i", "VI"),
    "VI": ("iv VII", "III i ii° V"),
    "III": ("VI iv VII", "i V v"),
    "VII": ("III i", "VI v"),
    "v": ("i", "VI VII IV iv"),
    "IV": ("V i", "VII v"),
    "V/iv": ("iv", "IV"),
}


def grade_step(before: str, after: str, mode: Mode) -> int:
    """Return how usual one triad after another is: 0 usual, 1 fair, 2 poor, 3 V to IV.

    Source: common practice for major and minor; modes are free.
    """
    if before == after:
        return _USUAL
    if (before, after) in RETREATS and mode in (Mode.MAJOR, Mode.MINOR):
        return _RETREAT
    table = {Mode.MAJOR: _MAJOR_STEPS, Mode.MINOR: _MINOR_STEPS}.get(mode)
    if table is None or before not in table:
        return _USUAL
    usual, fair = table[before]
    if after in usual.split():
        return _USUAL
    return _FAIR if after in fair.split() else _POOR
