"""The form of a page: introduction, verses, gaps, order line; how it is played."""

from fractions import Fraction
from io import BytesIO
from itertools import product

import mido
import music21  # noqa: TID251 (the oracle of the tests)
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from makers.forms import (
    NAMES,
    bars_of,
    formed,
    joints_off,
    never,
    tune_in,
    tune_of,
    verse_of,
    with_form,
)
from makers.profiles import examples, spread
from makers.scores import make_tune
from makers.tunes import tunes
from oracles.promises import broken_promises

from harmonise.arranging.job import arrange
from harmonise.errors import HarmoniseError
from harmonise.form.plan import Gap, Introduction, LastVerse, SongForm, order_line
from harmonise.notation.midi.writing import format_midi
from harmonise.notation.musicxml.writer import format_musicxml
from harmonise.notation.sound.performance import VELOCITIES, perform
from harmonise.theory.arrangement import Arrangement, Hand, LeftHand, Style, Voice
from harmonise.theory.numerals import diatonic_triad
from harmonise.theory.tune import Tune

LINE = SongForm(Introduction.LAST_LINE)
KINDS = [own for own in Introduction if own is not Introduction.NONE]
SUNDAY = SongForm(Introduction.LAST_LINE, Gap.BAR, 3, amen=True, slow_ending=True)
WITH_LAST = SUNDAY._replace(last_verse=(LastVerse.LEFT_OCTAVES,))


def chords_in(done: Arrangement, label: str) -> list[str]:
    bars = bars_of(done, label)
    return [
        str(slot.chord)
        for slot in done.slots
        if slot.chord and bars[0].start <= slot.onset < bars[-1].end
    ]


def jumping_tune() -> Tune:
    """Return C D E F, one a bar, played C D E F C D."""
    tune = make_tune("C5:4 D5:4 E5:4 C5:4")
    words = ((Fraction(8), "Fine"), (Fraction(16), "D.C. al Fine"))
    return tune._replace(end_text=words)


# The introduction.


@pytest.mark.parametrize(
    ("name", "line"),
    [
        # Typed from the last line of each tune's own page.
        ("old_hundredth", "D5 B4 G4 A4 C5 B4 A4 G4"),
        ("auld_lang_syne", "D5 C5 A4 A4 F4 G4 F4 G4 A4 F4 D4 D4 C4 F4"),
    ],
)
def test_the_introduction_is_the_last_line_of_the_tune(name: str, line: str) -> None:
    done = formed(name, LINE)
    found = [pitch for pitch, _ in tune_in(done, bars_of(done, "Introduction"))]
    assert " ".join(found) == line


def test_the_introduction_has_the_chords_of_the_last_line() -> None:
    done = formed("auld_lang_syne", LINE)
    last = [str(slot.chord) for slot in verse_of("auld_lang_syne").slots]
    own = chords_in(done, "Introduction")
    assert own == last[-len(own) :]
    assert len(own) >= 4


def test_two_bars_are_the_last_two_bars_of_the_tune() -> None:
    done = formed("old_hundredth", SongForm(Introduction.TWO_BARS))
    found = [pitch for pitch, _ in tune_in(done, bars_of(done, "Introduction"))]
    assert found == ["B4", "G4", "A4", "C5", "B4", "A4", "G4"]


def test_a_vamp_is_two_bars_of_the_left_hands_pattern_on_the_tonic() -> None:
    verse = arrange(
        tune_of("old_hundredth"), Style(left_hand=LeftHand.ROOT_FIFTH), explained=False
    )
    done = with_form(verse, SongForm(Introduction.VAMP))
    bars = bars_of(done, "Introduction")
    left = [
        str(note.pitch)
        for note in done.notes
        if note.hand is Hand.LEFT and note.onset < bars[-1].end
    ]
    assert [bar.length for bar in bars] == [4, 3]
    assert left == ["G2", "D3", "G2", "D3"]
    assert set(chords_in(done, "Introduction")) == {"G"}


def test_a_vamp_ends_on_the_dominant_where_only_that_has_the_first_note() -> None:
    tune = make_tune("D5:1 C5:4 D5:4 B4:4 C5:3", pickup="1")
    done = with_form(arrange(tune, explained=False), SongForm(Introduction.VAMP))
    assert chords_in(done, "Introduction") == ["C", "G"]


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("kind", KINDS)
def test_the_introduction_ends_on_the_tonic_chord(
    name: str, kind: Introduction
) -> None:
    done = formed(name, SongForm(kind))
    key = done.tune.key
    assert chords_in(done, "Introduction")[-1] == str(diatonic_triad(key, 1))


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("kind", KINDS)
def test_the_singers_have_their_first_note_before_they_come_in(
    name: str, kind: Introduction
) -> None:
    done = formed(name, SongForm(kind))
    end = bars_of(done, "Introduction")[-1].end
    pitch = next(n.pitch for n in tune_of(name).sounding if n.pitch)
    heard = {
        n.pitch.pitch_class
        for n in done.tune.sounding
        if n.pitch and end - 2 * done.tune.bars[0].time.bar_length <= n.onset < end
    }
    chord = [slot.chord for slot in done.slots if slot.onset < end][-1]
    assert chord
    assert pitch.pitch_class in {*chord.pitch_classes, *heard}


def test_a_tune_that_ends_off_the_tonic_gets_a_vamp_and_says_so() -> None:
    tune = make_tune("C5:4 E5:4 D5:4 B4:4")
    done = with_form(arrange(tune, explained=False), LINE)
    assert set(chords_in(done, "Introduction")) == {"C"}
    found = [str(own) for own in done.remarks if own.code == "FORM"]
    sentence = (
        "The end of the tune does not lead into its beginning (it closes off the "
        "tonic, or lacks the singers' first note), so the introduction is a vamp."
    )
    assert found == [sentence]


def test_a_pickup_of_the_introduction_goes_alone_as_pickups_do() -> None:
    done = formed("auld_lang_syne", LINE)
    early = [note.voice for note in done.notes if note.onset < 1]
    assert early == [Voice.TUNE]


def test_a_full_last_bar_is_shortened_by_the_pickup_in_the_introduction() -> None:
    tune = make_tune("G4:1 C5:4 D5:4 E5:4 C5:4", pickup="1")
    done = with_form(arrange(tune, explained=False), LINE)
    assert [bar.length for bar in bars_of(done, "Introduction")][-1] == 3
    assert joints_off(done) == []


def test_words_stand_under_the_verses_only() -> None:
    done = formed("old_hundredth", SUNDAY)
    end = bars_of(done, "Introduction")[-1].end
    assert not any(note.syllables for note in done.tune.notes if note.onset < end)
    sung = [note for note in done.tune.notes if note.onset >= end and note.syllables]
    assert [own.text for own in sung[0].syllables if own] == ["All", "The"]


# Bars and their numbers.


def test_the_verse_keeps_its_numbers_and_what_follows_counts_on() -> None:
    done = formed("old_hundredth", WITH_LAST)
    assert {bar.number for bar in bars_of(done, "Introduction")} == {0}
    verse = [bar.number for bar in bars_of(done, "Verses 1\u20132")]
    assert verse == [*range(9), 9]
    assert [bar.number for bar in bars_of(done, "Last verse")] == [*range(9, 18)]
    assert [bar.number for bar in bars_of(done, "Amen")] == [18, 19]


def test_no_bar_of_the_introduction_prints_a_number() -> None:
    text = format_musicxml(formed("old_hundredth", SUNDAY)).decode()
    heads = [line for line in text.splitlines() if "<measure " in line]
    assert all('implicit="yes"' in head for head in heads[:4])
    assert 'number="1"' in heads[4]
    assert "implicit" not in heads[4]


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("gap", list(Gap))
@pytest.mark.parametrize("kind", KINDS)
def test_bars_add_up_with_the_pickup_at_every_joint(
    name: str, gap: Gap, kind: Introduction
) -> None:
    form = SongForm(kind, gap, 2, amen=True, last_verse=(LastVerse.TONE,))
    assert joints_off(verse_of(name)) in ([], joints_off(formed(name, form))[:1])
    assert len(joints_off(formed(name, form))) == len(joints_off(verse_of(name)))


def test_a_full_last_bar_is_followed_by_what_the_pickup_lacks() -> None:
    tune = make_tune("G4:1 C5:4 D5:4 E5:4 C5:4", pickup="1")
    done = with_form(arrange(tune, explained=False), SongForm(verses=2))
    assert joints_off(done) == []
    assert any("the last chord is held between the verses" in r.what
               for r in done.remarks)  # fmt: skip


# Played.


def test_the_form_is_played_in_its_order() -> None:
    done = formed("old_hundredth", WITH_LAST)
    order = [bar.section for _, bar in perform(done).bars() if bar.section]
    assert order == [
        "Introduction", "Verses 1\u20132", "Verses 1\u20132", "Last verse", "Amen"
    ]  # fmt: skip


def test_every_note_of_the_form_is_heard_as_often_as_it_should() -> None:
    done = formed("old_hundredth", WITH_LAST)
    sent = mido.MidiFile(file=BytesIO(format_midi(done)))
    struck = [
        message
        for track in sent.tracks
        for message in track
        if message.type == "note_on" and message.velocity == VELOCITIES[Voice.TUNE]
    ]
    introduction, verse, gap, amen = 8, len(tune_of("old_hundredth").sounding), 1, 2
    assert len(struck) == introduction + 3 * verse + 2 * gap + amen
    beats = 8 + 3 * 32 + 2 * 4 + 8
    assert max(own.at + own.length for own in perform(done).notes) == beats


def expanded(done: Arrangement) -> list[tuple[Fraction, set[int]]]:
    """Return length and right-hand notes of every bar as music21 plays it out."""
    score = music21.converter.parse(format_musicxml(done).decode(), format="musicxml")
    part = score.parts[0].expandRepeats()
    return [
        (
            Fraction(bar.duration.quarterLength),
            {
                pitch.midi
                for note in bar.recurse().notes
                if not isinstance(note, music21.harmony.ChordSymbol)
                for pitch in note.pitches
            },
        )
        for bar in part.getElementsByClass("Measure")
    ]


def played_out(done: Arrangement) -> list[tuple[Fraction, set[int]]]:
    return [
        (
            bar.length,
            {
                note.pitch.midi
                for note in done.notes
                if note.hand is Hand.RIGHT
                and note.onset < bar.end
                and note.onset + note.length > bar.start
            },
        )
        for _, bar in perform(done).bars()
    ]


FORMS = (
    SUNDAY,
    WITH_LAST,
    SongForm(Introduction.VAMP, Gap.NONE, 4),
    SongForm(Introduction.TWO_BARS, Gap.BAR, 2, last_verse=(LastVerse.SEMITONE,)),
    SongForm(Introduction.NONE, Gap.BAR, 3, last_verse=(LastVerse.TONE,)),
)
PLAYED = list(product(("old_hundredth", "auld_lang_syne", "widows_rant"), FORMS))


# Outside check: music21's own repeat expander on what we write.
@pytest.mark.parametrize(("name", "form"), spread(PLAYED, len(FORMS)))
def test_music21_plays_the_page_out_as_we_do(name: str, form: SongForm) -> None:
    done = formed(name, form)
    ours, theirs = played_out(done), expanded(done)
    assert [length for length, _ in theirs] == [length for length, _ in ours]
    assert [notes for _, notes in theirs] == [notes for _, notes in ours]


def test_a_verse_with_repeats_of_its_own_is_written_out_for_every_time() -> None:
    done = formed("yankee_doodle", SongForm(LINE.introduction, verses=2))
    labels = [bar.section for bar in done.tune.bars if bar.section]
    assert labels == ["Introduction", "Verse 1", "Verse 2"]
    once = len(list(perform(verse_of("yankee_doodle")).bars()))
    own = len(bars_of(done, "Introduction"))
    assert len(list(perform(done).bars())) == own + 2 * once


def test_a_repeat_that_opened_nowhere_does_not_go_back_to_the_introduction() -> None:
    tune = make_tune("C5:4 D5:4 E5:4 C5:4 G4:4 C5:4 B4:4 C5:4")
    bars = list(tune.bars)
    bars[3] = bars[3]._replace(repeat_end=2)
    verse = arrange(tune._replace(bars=tuple(bars)), explained=False)
    done = with_form(verse, SongForm(Introduction.TWO_BARS))
    played = [bar.number for _, bar in perform(done).bars()]
    assert played == [0, 0, 1, 2, 3, 4, 1, 2, 3, 4, 5, 6, 7, 8]


def test_jumps_are_written_out_so_that_they_cannot_lead_into_the_introduction() -> None:
    verse = arrange(jumping_tune(), explained=False)
    done = with_form(verse, SongForm(Introduction.TWO_BARS, verses=2))
    found = [str(n.pitch) for n in done.tune.sounding]
    song = ["C5", "D5", "E5", "C5", "C5", "D5"]
    # The tune closes at Fine on D, which is not the tonic: a vamp begins.
    assert found == ["C5", "C5", *song]
    assert done.tune.end_text == ()
    assert len(list(perform(done).bars())) == 2 + 2 * 6


# Endings of repeated verses.


def test_only_the_last_time_slows_down_and_holds() -> None:
    done = formed("old_hundredth", SUNDAY)
    endings = [bar.ending for bar in done.tune.bars if bar.ending]
    assert endings == [(1, 2), (1, 2), (3,)]
    rit = [mark for mark in done.tune.tempos if mark.words == "rit."]
    final = next(bar for bar in done.tune.bars if bar.ending == (3,))
    assert [mark.onset for mark in rit] == [final.start]
    assert [mark.per_minute for mark in rit] == [60]
    held = [note.onset for note in done.tune.notes if note.fermata]
    assert held == [final.start + 2, done.tune.bars[-1].start]


def test_the_held_chord_has_a_fermata_in_both_hands() -> None:
    text = format_musicxml(formed("old_hundredth", SUNDAY)).decode()
    assert text.count('<fermata type="upright"') == 2
    assert text.count('<fermata type="inverted"') == 2


def test_a_last_bar_of_one_note_slows_down_from_the_bar_before() -> None:
    done = formed("auld_lang_syne", SongForm(slow_ending=True))
    rit = next(mark for mark in done.tune.tempos if mark.words == "rit.")
    assert rit.onset == done.tune.bars[-2].start


def test_each_ending_has_the_words_of_its_own_verses() -> None:
    done = formed("old_hundredth", SUNDAY._replace(verses=2))
    under = {
        bar.ending: [
            own.text
            for note in done.tune.notes
            if bar.start <= note.onset < bar.end
            for own in note.syllables
            if own
        ]
        for bar in done.tune.bars
        if bar.ending and bar.number != 9
    }
    assert under == {(1,): ["and", "re", "joice."], (2,): ["doth", "us", "take."]}


def test_the_varied_verse_has_the_words_of_the_last_verse() -> None:
    done = formed("old_hundredth", WITH_LAST._replace(verses=2))
    for label, word in (("Verse 1", "All"), ("Last verse", "The")):
        start = bars_of(done, label)[0].start
        first = next(note for note in done.tune.notes if note.onset == start)
        assert [own.text for own in first.syllables if own] == [word]


def test_a_gap_is_one_bar_of_the_tonic_held() -> None:
    done = formed("old_hundredth", SongForm(gap=Gap.BAR, verses=2))
    bar = done.tune.bars[9]
    struck = [
        f"{note.pitch} {note.length}"
        for note in done.notes
        if bar.start <= note.onset < bar.end
    ]
    assert struck == ["G2 3", "B3 3", "D4 3", "G4 3"]
    assert done.tune.bars[8].length == 4


def test_without_gap_and_slow_ending_the_verse_is_written_once() -> None:
    done = formed("old_hundredth", SongForm(verses=4))
    assert len(done.tune.bars) == len(tune_of("old_hundredth").bars)
    assert done.tune.bars[-1].repeat_end == 4


def test_a_plain_form_changes_nothing() -> None:
    for name in ("auld_lang_syne", "old_hundredth"):
        assert with_form(verse_of(name), SongForm()) is verse_of(name)


# The order line, errors, and laws.


def sectioned() -> Tune:
    tune = make_tune("C5:4 D5:4 E5:4 C5:4")
    bars = list(tune.bars)
    bars[2] = bars[2]._replace(section="Chorus")
    return tune._replace(bars=tuple(bars))


@pytest.mark.parametrize(
    ("form", "line"),
    [
        (SongForm(), "verse 1"),
        (SUNDAY, "Introduction – verse 1 – verse 2 – verse 3 – Amen"),
        (WITH_LAST, "Introduction – verse 1 – verse 2 – last verse – Amen"),
    ],
)
def test_the_order_line_names_every_part(form: SongForm, line: str) -> None:
    assert order_line(make_tune("C5:4 D5:4"), form) == line


def test_the_order_line_names_the_refrain_after_every_verse() -> None:
    form = SongForm(Introduction.VAMP, verses=2, amen=True)
    line = "Introduction – verse 1 – chorus – verse 2 – chorus – Amen"
    assert order_line(sectioned(), form) == line


def repeated(tune: Tune, times: int) -> Tune:
    """Return a tune with a repeat around everything."""
    bars = list(tune.bars)
    bars[-1] = bars[-1]._replace(repeat_end=times)
    return tune._replace(bars=tuple(bars))


def test_a_repeat_around_everything_is_how_often_the_verse_is_sung() -> None:
    tune = repeated(sectioned(), 3)
    assert order_line(tune).count("verse") == 3
    verse = arrange(tune, explained=False)
    done = with_form(verse, SongForm(Introduction.VAMP))
    assert [bar.number for _, bar in perform(done).bars()] == [0, 0, *[1, 2, 3, 4] * 3]


def test_words_under_inner_repeats_are_not_verses() -> None:
    tune = make_tune("C5:4 D5:4 E5:4 C5:4", words=["a b c d", "e f"])
    bars = list(tune.bars)
    bars[1] = bars[1]._replace(repeat_end=2)
    tune = tune._replace(bars=tuple(bars))
    assert order_line(tune) == "verse 1"
    done = with_form(arrange(tune, explained=False), SongForm(Introduction.VAMP))
    assert [bar.number for _, bar in perform(done).bars()] == [0, 0, 1, 2, 1, 2, 3, 4]
    sung = [note.syllables for note in done.tune.notes if note.syllables]
    assert len(sung[0]) == 2


def test_verses_written_out_for_jumps_have_their_own_words() -> None:
    tune = make_tune("C5:4 D5:4 E5:4 C5:4", words=["a b c d", "e f g h"])
    words = ((Fraction(4), "Fine"), (Fraction(16), "D.C. al Fine"))
    verse = arrange(tune._replace(end_text=words), explained=False)
    done = with_form(verse, SongForm(gap=Gap.BAR))
    sung = [own.text for n in done.tune.notes for own in n.syllables if own]
    assert " ".join(sung[::2]) + "/" + " ".join(sung[1::2]) == "a b c d a/e f g h e"


def test_a_last_verse_needs_two_verses() -> None:
    form = SongForm(verses=1, last_verse=(LastVerse.LEFT_OCTAVES,))
    with pytest.raises(HarmoniseError) as found:
        with_form(verse_of("auld_lang_syne"), form)
    assert str(found.value) == (
        "There is one verse only, so no last verse can be varied. "
        "Ask for two verses or more, or leave the last verse as it is."
    )


@pytest.mark.parametrize("count", [-1, 21])
def test_a_number_of_verses_that_cannot_be_written_is_refused(count: int) -> None:
    with pytest.raises(HarmoniseError) as found:
        with_form(verse_of("auld_lang_syne"), SongForm(verses=count))
    assert str(found.value) == (
        f"A song of {count} verses cannot be written. Choose 1 to 20 verses."
    )


@given(
    tunes(most_notes=16),
    st.sampled_from(list(Introduction)),
    st.sampled_from(list(Gap)),
    st.integers(1, 3),
    st.booleans(),
)
@settings(max_examples=examples(100), deadline=None)
def test_every_tune_keeps_its_promises_in_every_form(
    tune: Tune, kind: Introduction, gap: Gap, verses: int, slow: bool
) -> None:
    verse = arrange(tune, explained=False)
    first = next(slot.onset for slot in verse.slots if slot.chord)
    # A last note before the first chord is excused in a tune alone only.
    assume(tune.sounding[-1].onset >= first)
    form = SongForm(kind, gap, verses, amen=slow, slow_ending=slow)
    done = with_form(verse, form)
    assert broken_promises(done, inversions=True) == []
    assert set(never(done)) <= set(never(verse))
    assert joints_off(done) == []
    count = len(tune.sounding)
    sung = [own for own in perform(done).notes if own.voice is Voice.TUNE]
    assert len(sung) >= verses * count
    format_musicxml(done)
