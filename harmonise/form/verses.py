"""The verses: written once with repeat signs, or one after the other.

A verse without repeats of its own, but for one around everything, is written once.
Where its end differs the last time (no gap, slowing down, a dominant that leads to
another key) the end is written as endings: all times but the last, and the last time. A
repeat cannot be written around other repeats, so a verse that has its own is written
out for every time; the words under its repeats are those of the rounds and stay. Jumps
("D.C.", "D.S.") would lead back into the introduction, so such a verse is first written
out in the order in which it is played.
"""

from collections.abc import Callable
from fractions import Fraction
from functools import partial
from operator import eq
from typing import NamedTuple

from harmonise.form.plan import VERSE, has_marks, is_marked, jumps, repeats_whole
from harmonise.form.seams import Held, Seam, closed_up, held_chords, last_pitch, missing
from harmonise.form.splicing import Slice, cut, unfolded, unmarked, with_bars
from harmonise.theory.arrangement import Arrangement, HarmonicRhythm
from harmonise.theory.chord import Chord, Quality
from harmonise.theory.key import Key
from harmonise.theory.metre import TimeSignature, half_bar_starts
from harmonise.theory.numerals import diatonic_triad
from harmonise.theory.pitch import Pitch
from harmonise.theory.tune import Syllable, Tempo, Tune, TuneNote, full_bars

TITLE = "Amen"
SLOWER = "rit."
_SLOWER_BY = Fraction(3, 4)
_USUAL_TEMPO = Fraction(96)
"""Crotchets a minute where the tune does not say."""
_LOWEST, _HIGHEST = 60, 76
"""C4 and E5: where the keynote of the Amen lies."""


def tail_start(music: Arrangement, *, slow: bool) -> Fraction:
    """Return where the end of a verse begins that may differ from time to time.

    It is a bar line that no tune note and no chord crosses: that of the bar in which
    the last note begins or, to slow down in, of the bar before where it has that note
    alone.
    """
    tune = music.tune
    final = tune.sounding[-1].onset
    bars = [bar.start for bar in tune.bars if bar.start <= final]
    # Slowing down needs at least two notes to be heard.
    alone = len([note for note in tune.sounding if note.end > bars[-1]]) < 2
    last = len(bars) - (2 if slow and alone and len(bars) > 1 else 1)
    # A tie or a held chord cannot be taken over into another ending.
    crossing = [(note.onset, note.end) for note in tune.sounding]
    crossing += [(slot.onset, slot.end) for slot in music.slots]
    inside = [
        start
        for start in bars[: last + 1]
        if not any(onset < start < end for onset, end in crossing)
    ]
    return inside[-1]


def slowed(music: Arrangement, start: Fraction) -> Arrangement:
    """Return music that slows down from a place on and holds its last chord.

    Args:
        music: The music.
        start: Where it begins to slow down, in crotchets.
    """
    tune = music.tune
    before = [mark for mark in tune.tempos if mark.onset <= start and mark.per_minute]
    mark = before[-1] if before else Tempo(Fraction(0), _USUAL_TEMPO)
    number = mark.per_minute or _USUAL_TEMPO
    slower = Fraction(max(1, round(number * _SLOWER_BY)))
    # The page says "rit."; the number behind it is for those who listen.
    rit = mark._replace(onset=start, per_minute=slower, words=SLOWER)
    earlier = (before for before in tune.tempos if before.onset < start)
    last = tune.sounding[-1]
    notes = tuple(
        note._replace(fermata=True) if note is last else note for note in tune.notes
    )
    return music._replace(tune=tune._replace(notes=notes, tempos=(*earlier, rit)))


def amen(
    like: Arrangement, *, major: bool = False, fermata: bool = False
) -> Arrangement:
    """Return the Amen after an arrangement, in the key in which that ends.

    The plagal Amen is I, IV, I while the tune stays on the keynote: "A-" is sung over
    the first two chords and "men" over the last. It begins on a bar line, after the
    double bar of the verse. Source: common practice.

    Args:
        like: What it follows.
        major: Whether its last chord is major in a minor key too.
        fermata: Whether its last chord is held.
    """
    tune = like.tune
    key, time = tune.key_at(tune.end), tune.bars[-1].time
    top = keynote_near(key, last_pitch(tune))
    one, four = diatonic_triad(key, 1), diatonic_triad(key, 4)
    last = Chord(one.root, Quality.MAJOR) if major else one
    first, second = _halves(time, like.style.harmonic_rhythm)
    whole = first + second
    bars = full_bars(int(whole / time.bar_length) + 1, time)
    notes = (
        TuneNote(Fraction(0), whole, top, (Syllable("A", joins=True),)),
        TuneNote(whole, time.bar_length, top, (Syllable("men."),), fermata=fermata),
    )
    chords = (Held(one, first), Held(four, second), Held(last, time.bar_length))
    music = held_chords(like, key, bars, notes, chords)
    return with_bars(music, [bars[0]._replace(section=TITLE), *bars[1:]])


def keynote_near(key: Key, pitch: Pitch) -> Pitch:
    """Return the keynote from C4 to E5 that lies nearest a pitch.

    >>> from harmonise.theory.key import parse_key
    >>> from harmonise.theory.pitch import parse_pitch
    >>> str(keynote_near(parse_key("G"), parse_pitch("B4")))
    'G4'
    """
    tonic = int(key.tonic.pitch_class)
    places = [midi for midi in range(_LOWEST, _HIGHEST + 1) if midi % 12 == tonic]
    return key.tonic.at(min(places, key=lambda midi: abs(midi - pitch.midi)))


def _halves(time: TimeSignature, rhythm: HarmonicRhythm) -> tuple[Fraction, Fraction]:
    """Return how long the first two chords last: a bar together, or a bar each."""
    places = half_bar_starts(time)
    # Triple time has no half-bar; hymns change their chord by the beat.
    if rhythm is HarmonicRhythm.BEAT and len(places) == 1:
        places = time.beat_starts
    if rhythm is HarmonicRhythm.BAR or len(places) == 1:
        return time.bar_length, time.bar_length
    return places[1], time.bar_length - places[1]


Kept = Callable[[int], bool]


class Course(NamedTuple):
    """How the plain verses run.

    Attributes:
        times: How often the plain verse is sung.
        verses: How many verses are sung in all.
        between: What comes after every time but the last.
        after: What comes after the last time; None for nothing.
        slow: Whether the last time slows down.
        named: Whether a label stands over a single verse.
    """

    times: int
    verses: int
    between: Seam
    after: Seam | None
    slow: bool
    named: bool


def settled_verse(music: Arrangement) -> Arrangement:
    """Return a verse as it is sung once.

    One with jumps is written out in playing order; a repeat around everything is left
    out, as the number of verses tells how often it is sung.
    """
    if jumps(music.tune):
        return unfolded(music)
    return unmarked(music) if repeats_whole(music.tune) else music


def verse_slices(music: Arrangement, course: Course) -> list[Slice]:
    """Return the plain verses as they stand on the page."""
    if has_marks(music.tune):
        return _written_out(music, course)
    # The last verse may be another, and then its words stand there alone.
    sung = with_words(music, lambda verse: verse < course.times)
    if course.times == 1:
        if course.named or course.verses > 1:
            sung = labelled(sung, "Verse 1" if course.verses > 1 else "Verse")
        return [Slice(_last_time(sung, course), numbered=True)]
    sung = labelled(sung, f"Verses 1\u2013{course.times}")
    if _alike(music.tune, course):
        whole = _repeated(closed_up(sung, course.between), course.times)
        return [Slice(whole, numbered=True)]
    start = tail_start(music, slow=course.slow)
    # Endings need a body before them; without one the verse is written out.
    if not start:
        return _written_out(music, course)
    return _with_endings(sung, course, start)


def _alike(tune: Tune, course: Course) -> bool:
    """Return whether the verse ends alike every time."""
    if course.slow:
        return False
    if course.after is None:
        return not missing(tune, course.between)
    return course.after == course.between


def _last_time(music: Arrangement, course: Course) -> Arrangement:
    if course.slow:
        music = slowed_end(music)
    return closed_up(music, course.after) if course.after else music


def slowed_end(music: Arrangement) -> Arrangement:
    """Return a verse that slows down at its end.

    Bars that are played twice would slow down twice, so such a verse is written out.
    """
    if music.tune.bars[-1].repeat_end > 1:
        music = unfolded(music)
    return slowed(music, tail_start(music, slow=True))


def _repeated(music: Arrangement, times: int) -> Arrangement:
    bars = list(music.tune.bars)
    bars[0] = bars[0]._replace(repeat_start=True)
    bars[-1] = bars[-1]._replace(repeat_end=times)
    return with_bars(music, bars)


def _with_endings(music: Arrangement, course: Course, start: Fraction) -> list[Slice]:
    """Return a verse with one ending for all times but the last, and one for that."""
    body, tail = cut(music, Fraction(0), start), cut(music, start, music.tune.end)
    last = course.times - 1
    first_bar, *others = body.tune.bars
    body = with_bars(body, [first_bar._replace(repeat_start=True), *others])
    early = closed_up(
        with_words(tail, lambda verse: verse < last, stay=True), course.between
    )
    numbers = tuple(range(1, course.times))
    bars = [bar._replace(ending=numbers) for bar in early.tune.bars]
    # Each of its times goes back, and the ending under "1, 2" says how often.
    bars[-1] = bars[-1]._replace(repeat_end=2)
    late = with_words(tail, lambda verse: verse == last, stay=True)
    # What the seam adds after the last time does not stand under the bracket.
    under = len(late.tune.bars)
    late = slowed(late, Fraction(0)) if course.slow else late
    late = closed_up(late, course.after) if course.after else late
    late_bars = [
        bar._replace(ending=(course.times,)) if at < under else bar
        for at, bar in enumerate(late.tune.bars)
    ]
    return [
        Slice(body, numbered=True, lines=False),
        Slice(with_bars(early, bars), numbered=True, lines=False),
        Slice(with_bars(late, late_bars)),
    ]


def _written_out(music: Arrangement, course: Course) -> list[Slice]:
    """Return the verse once for every time, each with its own words."""
    slices = []
    for number in range(course.times):
        verse = opened(music)
        if course.verses > 1:
            verse = labelled(words_of(verse, number), f"Verse {number + 1}")
        elif course.named:
            verse = labelled(verse, "Verse")
        if number < course.times - 1:
            verse = closed_up(verse, course.between)
        else:
            verse = _last_time(verse, course)
        slices.append(Slice(closed(verse), numbered=not number))
    return slices


def opened(music: Arrangement) -> Arrangement:
    """Return a verse whose first repeat opens at its own first bar.

    A repeat that opens nowhere goes back to the beginning; on a longer page that would
    be the introduction.
    """
    first, *others = music.tune.bars
    marked = next(filter(is_marked, music.tune.bars), None)
    if marked and not marked.repeat_start:
        first = first._replace(repeat_start=True)
    return with_bars(music, [first, *others])


def closed(music: Arrangement) -> Arrangement:
    """Return music with a double bar at its end."""
    *others, last = music.tune.bars
    return with_bars(music, [*others, last._replace(double=True)])


def labelled(music: Arrangement, label: str) -> Arrangement:
    """Return music with a label over its first bar.

    A label of the tune stays there, unless it only says that this is a verse.
    """
    first, *others = music.tune.bars
    if VERSE.match(first.section) or not first.section:
        first = first._replace(section=label)
    return with_bars(music, [first, *others])


def words_of(music: Arrangement, verse: int) -> Arrangement:
    """Return music with the words of one verse, counted from 0.

    Words under repeats of its own are those of the rounds; they all stay.
    """
    if has_marks(music.tune):
        return music
    return with_words(music, partial(eq, verse))


def with_words(music: Arrangement, kept: Kept, *, stay: bool = False) -> Arrangement:
    """Return music with the words of some verses only.

    Args:
        music: The music.
        kept: Whether the words of a verse, from 0, are kept.
        stay: Whether they keep their line under the staff, others left empty.
    """
    tune = music.tune
    verses = [verse for verse in range(tune.verses) if kept(verse)]

    def chosen(syllables: tuple[Syllable | None, ...]) -> tuple[Syllable | None, ...]:
        if stay:
            return tuple(
                s if kept(verse) else None for verse, s in enumerate(syllables)
            )
        return tuple(syllables[verse] for verse in verses if verse < len(syllables))

    notes = tuple(
        note._replace(syllables=chosen(note.syllables)) for note in tune.notes
    )
    count = tune.verses if stay else len(verses)
    return music._replace(tune=tune._replace(notes=notes, verses=count))
