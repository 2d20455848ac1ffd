"""A verse with its beginning and its end, as one page from top to bottom."""

from fractions import Fraction

from harmonise.errors import Remark
from harmonise.form.introduction import Arranged, falls_back, introduction
from harmonise.form.last_verse import last_verse, rise_of
from harmonise.form.plan import (
    PLAIN_FORM,
    Gap,
    Introduction,
    LastVerse,
    SongForm,
    verse_count,
)
from harmonise.form.seams import Seam, begins_at, first_pitch, missing
from harmonise.form.splicing import Formed, Slice, joined
from harmonise.form.verses import (
    Course,
    amen,
    closed,
    labelled,
    opened,
    settled_verse,
    slowed_end,
    verse_slices,
    words_of,
)
from harmonise.rules.promise import assert_tune_on_top
from harmonise.theory.arrangement import Arrangement, Section, Texture
from harmonise.theory.numerals import family_of, parse_numeral


def with_form(music: Arrangement, form: SongForm, arranged: Arranged) -> Arrangement:
    """Return a verse with all that its form asks for, as one page.

    The verse keeps its bar numbers; the introduction has none, and what follows the
    verse counts on. Words stand under the verses only. The plain form changes nothing.

    Args:
        music: The verse as arranged.
        form: What is asked for.
        arranged: Makes an arrangement of a tune in a style.

    Raises:
        HarmoniseError: If the form cannot be had.
    """
    if form == PLAIN_FORM:
        return music
    count = verse_count(form, music.tune)
    verse = settled_verse(music)
    last = _last(verse, form, arranged, count)
    course = _course(verse, form, last, count)
    parts = verse_slices(verse, course)
    if last or form.amen:
        # What follows is music of its own, so a double bar closes the verses.
        parts[-1] = parts[-1]._replace(music=closed(parts[-1].music))
    end = last or parts[-1].music
    if last:
        parts.append(Slice(last))
    if form.amen:
        parts.append(Slice(amen(end, major=form.major_amen, fermata=form.slow_ending)))
    if form.introduction is not Introduction.NONE:
        before = introduction(music, form.introduction, arranged)
        parts.insert(0, Slice(before, numbered=True))
    remarks = (*music.remarks, *_remarks(verse, form, last, course))
    page = joined(parts)._replace(remarks=remarks, style=music.style, cost=music.cost)
    if last:
        after = parts[-1].music.tune.end if form.amen else Fraction(0)
        page = _told_left_hand(page, last, after)
    assert_tune_on_top(page)
    return page


def _told_left_hand(page: Formed, last: Arrangement, after: Fraction) -> Formed:
    """Return a page whose style says what the left hand does in the last verse.

    Args:
        page: The page.
        last: The last verse.
        after: Crotchets that follow it.
    """
    hand = last.style.left_hand
    if hand is page.style.left_hand:
        return page
    end = page.tune.end - after
    inside = [
        bar.number
        for bar in page.tune.bars
        if end - last.tune.end <= bar.start < end and not bar.offset
    ]
    if not inside:
        return page
    # Told as a section, so that nobody misses the left hand that was asked for.
    sections = (*page.style.sections, Section("", inside[0], inside[-1], hand))
    return page._replace(style=page.style._replace(sections=sections))


def _last(
    verse: Arrangement, form: SongForm, arranged: Arranged, count: int
) -> Arrangement | None:
    """Return the varied last verse, labelled and with its own words."""
    if not form.last_verse:
        return None
    varied = last_verse(verse, form.last_verse, arranged)
    varied = words_of(opened(varied), count - 1)
    if form.slow_ending:
        varied = slowed_end(varied)
    varied = labelled(varied, "Last verse")
    return closed(varied) if form.amen else varied


def _course(
    verse: Arrangement, form: SongForm, last: Arrangement | None, count: int
) -> Course:
    """Return how the plain verses run."""
    between = Seam(begins_at(verse.tune), bar=form.gap is Gap.BAR)
    after = between if last else None
    if last and rise_of(form.last_verse):
        # The dominant seventh of the new key carries the singers up.
        key = last.tune.key
        near = first_pitch(last.tune)
        after = between._replace(
            bar=True, chord=parse_numeral("V7", key), key=key, near=near
        )
    return Course(
        times=count - (last is not None),
        verses=count,
        between=between,
        after=after,
        slow=form.slow_ending and last is None,
        named=form.introduction is not Introduction.NONE or form.amen,
    )


def _remarks(
    verse: Arrangement, form: SongForm, last: Arrangement | None, course: Course
) -> list[Remark]:
    """Return what the user should know about the form."""
    remarks = []
    if falls_back(verse, form.introduction):
        what = (
            "The end of the tune does not lead into its beginning (it closes off the "
            "tonic, or lacks the singers' first note), so the introduction is a vamp."
        )
        remarks.append(Remark("FORM", what))
    again = course.times > 1 or last is not None
    if again and form.gap is Gap.NONE and missing(verse.tune, course.between):
        what = (
            "The last bar and the pickup do not make up one full bar; the last chord "
            "is held between the verses until they do."
        )
        remarks.append(Remark("FORM", what))
    if last:
        remarks += _last_remarks(verse, form.last_verse, last)
    return remarks


def _last_remarks(
    verse: Arrangement, choices: tuple[LastVerse, ...], last: Arrangement
) -> list[Remark]:
    """Return which choices for the last verse the tune does not bear."""
    why = []
    held = any(slot.pedal for slot in last.slots)
    if LastVerse.TONIC_PEDAL in choices and not held:
        why.append("No line has three neighbouring chords that bear a tonic pedal.")
    if LastVerse.DOMINANT_PEDAL in choices and not held:
        why.append(
            "The last line has no three neighbouring chords that bear a dominant pedal "
            "and lead to V at its cadence."
        )
    parts = verse.style.texture is Texture.HYMN
    if LastVerse.RICHER in choices and _same_chords(verse, last):
        what = "Away from its cadences the tune bears no richer chords than it has."
        why.append("Four parts have no richer chords than these." if parts else what)
    if parts and {LastVerse.LEFT_OCTAVES, LastVerse.WALKING} & {*choices}:
        why.append("Four parts have no left-hand patterns: the bass is a part.")
    like = " The last verse is like the others." if last.slots == verse.slots else ""
    return [Remark("FORM", what + like) for what in why]


def _same_chords(verse: Arrangement, last: Arrangement) -> bool:
    """Return whether two verses have the same harmony, in whatever key."""
    one, other = (
        [family_of(slot.numeral) for slot in music.slots] for music in (verse, last)
    )
    sevenths = [
        [bool(slot.chord and slot.chord.is_seventh) for slot in music.slots]
        for music in (verse, last)
    ]
    return one == other and sevenths[0] == sevenths[1]
