"""What a user asks of a tune: locked chords, other keys, singers."""

from pathlib import Path

import pytest

from harmonise.arranging.request import Request, arranged, made_ready, moved, ranking
from harmonise.errors import HarmoniseError
from harmonise.notation.formats import read_tune
from harmonise.theory.arrangement import Player, Style
from harmonise.theory.key import KeyOrder, parse_key
from harmonise.theory.singing import compass_of, read_voices, voices_named
from harmonise.theory.tune import Tune

TUNES = Path(__file__).parents[2] / "tunes"


def tune_of(name: str) -> Tune:
    return read_tune(TUNES / f"{name}.txt")


def keys(request: Request, name: str = "morning_steps") -> list[str]:
    return [str(own.key) for own in moved(request, tune_of(name))]


def test_a_tune_stays_where_it_is_unless_asked() -> None:
    tune = tune_of("morning_steps")
    assert moved(Request(), made_ready(Request(), tune)) == (tune,)


@pytest.mark.parametrize(
    ("typed", "key", "compass"),
    [
        ("Eb", "Eb major", "D4–Eb5"),
        ("D major", "D major", "C#4–D5"),
        ("+2", "D major", "C#4–D5"),
        ("-3", "A major", "G#3–A4"),
        ("+ 12", "C major", "B4–C6"),
        ("+6", "F# major", "E#4–F#5"),
    ],
)
def test_a_tune_moves_to_a_key_or_by_semitones(
    typed: str, key: str, compass: str
) -> None:
    (tune,) = moved(Request(transpose=typed), tune_of("morning_steps"))
    assert (str(tune.key), str(compass_of(tune))) == (key, compass)


def test_six_flats_may_be_asked_for() -> None:
    assert keys(Request(transpose="+6", flat=True)) == ["Gb major"]


def test_all_keys_come_in_the_order_asked_for() -> None:
    found = keys(Request(keys="all", order=KeyOrder.FEW))
    assert " ".join(key.split()[0] for key in found) == ("C G F D Bb A Eb E Ab B Db F#")
    assert len(keys(Request(keys="all"), "the_early_morning")) == 12
    assert keys(Request(keys="E, G"), "the_early_morning") == ["E dorian", "G dorian"]


@pytest.mark.parametrize(
    ("asked", "sentence"),
    [
        (
            Request(transpose="A minor"),
            (
                "The tune is in C major, and transposing keeps its mode; A minor is of "
                "another. Write A alone, or say with --key what key the tune is in."
            ),
        ),
        (
            Request(transpose="H"),
            (
                '"H" is not a key. Write one letter A to G, with # or b, and minor '
                "where it is minor: C, Bb, F# minor."
            ),
        ),
        (
            Request(transpose="+30"),
            (
                "30 semitones are too far. Move the tune by two octaves, 24 "
                "semitones, at most."
            ),
        ),
        (
            Request(transpose="C, D"),
            '"C, D" is not one key. Name one.',
        ),
        (
            Request(keys="D, A minor"),
            (
                "The tune is in C major, and transposing keeps its mode; A minor is of "
                "another. Write A alone, or say with --key what key the tune is in."
            ),
        ),
    ],
    ids=["other mode", "no key", "too far", "two keys", "one of several"],
)
def test_what_cannot_be_moved_to_is_told(asked: Request, sentence: str) -> None:
    with pytest.raises(HarmoniseError) as caught:
        moved(asked, tune_of("morning_steps"))
    assert str(caught.value) == sentence


def test_locked_chords_move_with_the_tune() -> None:
    request = Request(chords="C | G7 | ? | G", transpose="D")
    (done,) = arranged(request, tune_of("morning_steps"), explained=False)
    locked = [str(slot.chord) for slot in done.slots if slot.locked]
    assert set(locked) == {"D", "A7", "A"}
    assert str(done.tune.key) == "D major"


def test_singers_get_the_best_key() -> None:
    group = voices_named("age-6-7", read_voices())
    request = Request(voices=group)
    tune = tune_of("rakes_of_mallow")
    best = ranking(request, tune)[0]
    (there,) = moved(request, tune)
    assert there.key == best.key
    assert compass_of(there) == best.compass


def test_the_piano_plays_in_its_own_octave_for_deep_voices() -> None:
    request = Request(voices=voices_named("bass", read_voices()))
    tune = tune_of("rakes_of_mallow")
    best = ranking(request, tune)[0]
    (there,) = moved(request, tune)
    assert best.semitones < -12
    assert there.key == best.key
    assert compass_of(there).low.midi > best.compass.low.midi


def test_another_key_may_be_said_before_the_tune_is_moved() -> None:
    request = Request(key=parse_key("A aeolian"), transpose="D")
    ready = made_ready(request, tune_of("kitchen_clock"))
    (there,) = moved(request, ready)
    assert str(there.key) == "D aeolian"


def test_a_level_that_was_typed_is_stronger_than_the_players() -> None:
    tune = tune_of("morning_steps")
    request = Request(Style(level=4), player=Player.BEGINNER, keeps_level=True)
    (done,) = arranged(request, tune, explained=False)
    assert done.style.level == 4
    (told,) = [remark for remark in done.remarks if "level" in remark.what]
    assert str(told) == (
        "The chords are those of level 4, where a beginner is promised level 1. The "
        "level that you asked for has them."
    )
    (usual,) = arranged(request._replace(keeps_level=False), tune, explained=False)
    assert usual.style.level == 1
    assert not [remark for remark in usual.remarks if "level" in remark.what]


def test_a_level_below_the_players_breaks_no_promise() -> None:
    request = Request(Style(level=1), player=Player.ADVANCED, keeps_level=True)
    (done,) = arranged(request, tune_of("morning_steps"), explained=False)
    assert done.style.level == 1
    assert not [remark for remark in done.remarks if remark.code == "PLAYER"]


def voices_told(request: Request, name: str) -> list[str]:
    (done,) = arranged(request, tune_of(name), explained=False)
    return [str(remark) for remark in done.remarks if remark.code == "VOICES"]


def test_a_key_that_was_typed_is_stronger_than_the_singers() -> None:
    request = Request(transpose="Eb", voices=voices_named("alto", read_voices()))
    (done,) = arranged(request, tune_of("morning_steps"), explained=False)
    assert str(done.tune.key) == "Eb major"
    assert voices_told(request, "morning_steps") == [
        (
            "In the key that you asked for: Eb major, 3 semitones up: D4–Eb5; Eb5 is 1 "
            "semitone too high; 3 flats. For altos the best is Bb major."
        )
    ]
    best = str(ranking(request, tune_of("morning_steps"))[0].key.tonic)
    assert not voices_told(request._replace(transpose=best), "morning_steps")
    assert not voices_told(request._replace(transpose=""), "morning_steps")


def test_men_sing_a_typed_key_in_their_own_octave() -> None:
    request = Request(transpose="D", voices=voices_named("bass", read_voices()))
    assert voices_told(request, "rakes_of_mallow") == [
        (
            "In the key that you asked for: D major, 17 semitones down: C#3–D4; within "
            "the limits E2–D4, 88 % of the singing is comfortable; 2 sharps. For "
            "basses the best is Bb major."
        )
    ]


def test_no_tune_moves_off_the_piano() -> None:
    tune = read_tune("C6 D6 E6 C7 | C6 - - - |")
    assert moved(Request(transpose="+12"), tune)
    with pytest.raises(HarmoniseError) as caught:
        moved(Request(transpose="+14"), tune)
    assert str(caught.value) == (
        "Bar 1, beat 4: D8 is above the top of the piano. Put the tune an octave lower."
    )
