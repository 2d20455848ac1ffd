"""Streams of music21: arranged like a tune, and given back as a score."""

import subprocess
import sys
from fractions import Fraction

import pytest
from music21 import (  # noqa: TID251 (what is handed over)
    corpus,
    metadata,
    note,
    stream,
)
from music21.musicxml.m21ToXml import GeneralObjectExporter  # noqa: TID251

from harmonise import arrange, read_tune, to_music21
from harmonise.errors import LibraryError, NotationError
from harmonise.notation.musicxml.streams import read_stream

TUNES = ["morning_steps", "auld_lang_syne", "kitchen_clock"]
"""Plain, with a pickup, with repeats and endings."""


def names(part: stream.Stream) -> list[tuple[str, Fraction, Fraction]]:
    """Return name, onset and length of the notes that music21 hears."""
    return [
        (
            n.nameWithOctave.replace("-", "b"),
            Fraction(n.offset),
            Fraction(n.quarterLength),
        )
        for n in part.flatten().notes
        if isinstance(n, note.Note)
    ]


def test_a_part_of_a_chorale_is_arranged_as_it_sounds() -> None:
    soprano = corpus.parse("bwv66.6").parts[0]
    before = names(soprano)
    done = arrange(soprano)
    assert [(str(n.pitch), n.onset, n.length) for n in done.tune.sounding] == names(
        soprano.stripTies()
    )
    assert names(soprano) == before
    assert str(done.tune.key) == "F# minor"
    assert done.changes


def test_a_score_gives_its_first_part_with_a_remark_or_the_part_that_is_named() -> None:
    score = corpus.parse("bwv66.6")
    assert [str(n.pitch) for n in read_stream(score).sounding[:3]] == [
        "C#5",
        "B4",
        "A4",
    ]
    alto = read_stream(score, "Alto")
    assert [n.pitch for n in alto.sounding] == [
        n.pitch for n in read_stream(score.parts[1]).sounding
    ]


def test_a_stream_without_bars_title_or_composer_is_a_tune_without_them() -> None:
    tune = read_stream(stream.Stream([note.Note(name) for name in ("C5", "E5", "G5")]))
    assert [f"{n.pitch} {n.length}" for n in tune.sounding] == ["C5 1", "E5 1", "G5 1"]
    assert (tune.title, tune.composer, tune.origin) == ("", "", "")


def test_title_and_composer_of_a_score_are_kept() -> None:
    score = stream.Score([stream.Part([note.Note("C5", quarterLength=4)])])
    score.metadata = metadata.Metadata(title="By hand", composer="Anon.")
    tune = read_stream(score)
    assert (tune.title, tune.composer, tune.origin) == ("By hand", "Anon.", "")


@pytest.mark.parametrize("name", TUNES)
def test_an_arrangement_goes_to_music21_and_its_tune_comes_back(name: str) -> None:
    done = arrange(read_tune(f"tunes/{name}.txt"))
    score = to_music21(done)
    assert len(score.parts) == 2
    again = arrange(score, done.style._replace(locks=()))
    told = [(n.onset, n.length, n.pitch) for n in done.tune.notes]
    assert [(n.onset, n.length, n.pitch) for n in again.tune.notes] == told
    assert [str(slot.chord) for slot in again.changes] == [
        str(slot.chord) for slot in done.changes
    ]


def test_what_is_neither_tune_nor_stream_is_refused() -> None:
    with pytest.raises(TypeError) as caught:
        arrange("tunes/morning_steps.txt")  # type: ignore[arg-type]
    assert str(caught.value) == (
        "A tune is wanted, or a Score, Part or Stream of music21, not str. Read a file "
        "with read_tune."
    )


def test_whatever_music21_raises_is_one_error_of_ours(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def fail(*_: object) -> None:
        raise RecursionError("maximum recursion depth exceeded")

    monkeypatch.setattr(GeneralObjectExporter, "parse", fail)
    with pytest.raises(NotationError) as caught:
        read_stream(stream.Stream([note.Note("C5")]))
    assert str(caught.value) == (
        "The stream cannot be written as MusicXML (maximum recursion depth exceeded). "
        'Try stream.write("musicxml") and mend what it names.'
    )


def test_without_music21_one_sentence_says_what_to_install(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    done = arrange(read_tune("C D E F | G - - - |"))
    monkeypatch.setitem(sys.modules, "music21.musicxml.xmlToM21", None)
    with pytest.raises(LibraryError) as caught:
        to_music21(done)
    assert str(caught.value) == (
        "Scores of music21 need music21, which is not installed. "
        "Install it: pip install music21."
    )


def test_a_musicxml_file_is_arranged_without_music21() -> None:
    code = (
        "import sys; sys.modules['music21'] = None\n"
        "from harmonise import arrange, read_tune\n"
        "from harmonise.notation.musicxml.writer import format_musicxml\n"
        "from harmonise.notation.formats import parse_tunes\n"
        "done = arrange(read_tune('C D E F | G - - - |'))\n"
        "again = arrange(parse_tunes(format_musicxml(done))[0])\n"
        "kept = [[(n.onset, n.pitch) for n in a.tune.notes] for a in (done, again)]\n"
        "assert kept[0] == kept[1]\n"
    )
    subprocess.run([sys.executable, "-c", code], check=True)  # noqa: S603 (our own)
