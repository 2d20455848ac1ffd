"""Repeats written out: every bar stands where it is played."""

from harmonise.notation.solfa.solfa import played_out
from harmonise.notation.tune_text.tune_text import format_tune_text, parse_tune_text
from harmonise.theory.tune import Tune


def out(text: str) -> Tune:
    (tune,) = parse_tune_text(text)
    return played_out(tune)


def notes(tune: Tune) -> str:
    return " ".join(f"{note.pitch or 0}:{note.length}" for note in tune.notes)


def test_a_tune_without_repeats_stays_as_it_is() -> None:
    (tune,) = parse_tune_text(
        "Key: C\nTempo: 60\nG | C D E F | G - - 0 |\n"
        "Key: G\nTime: 3/4\nG A B |\nChords: G"
    )
    assert played_out(tune) == tune


def test_words_and_locked_chords_are_sung_and_played_each_time() -> None:
    text = "Key: C\nTime: 2/4\n|: C D | E - :|\nWords: one two three\nChords: C | G"
    assert format_tune_text(out(text)) == (
        "Key: C major\nTime: 2/4\nC D | E - |\nWords: one two three\nChords: C | G\n"
        "C D | E - |\nWords: one two three\nChords: C | G\n"
    )


def test_a_section_comes_back_in_its_own_key_and_tempo() -> None:
    tune = out(
        "Key: C\nTime: 2/4\nTempo: 60\n|: C D |\nKey: G\nTempo: 90\nG A :|\n| B - |"
    )
    keys = [f"{change.onset} {change.key}" for change in tune.keys]
    assert keys == ["0 C major", "2 G major", "4 C major", "6 G major"]
    tempos = [f"{mark.onset} {mark.per_minute}" for mark in tune.tempos]
    assert tempos == ["0 60", "2 90", "4 60", "6 90"]


def test_a_note_held_into_the_first_ending_is_not_held_in_the_second() -> None:
    tune = out("Key: C\nTime: 2/4\n|: C D | [1 - E :| [2 F G ||")
    assert notes(tune) == "C4:1 D4:2 E4:1 C4:1 D4:1 F4:1 G4:1"


def test_bars_are_numbered_anew_and_split_bars_are_whole() -> None:
    tune = out("Key: C\nTime: 3/4\n|: G | C D E | C - :|\n|: E | F - F | E - :|")
    bars = [f"{bar.number}: {bar.length}" for bar in tune.bars]
    assert bars == ["0: 1", *(f"{number}: 3" for number in range(1, 8)), "8: 2"]
    assert not any(bar.repeat_start or bar.ending for bar in tune.bars)
