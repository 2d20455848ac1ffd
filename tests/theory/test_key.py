import pytest
from oracles.music21_reading import oracle_key, oracle_leading_note, oracle_scale

from harmonise.errors import NotationError
from harmonise.theory.key import Key, Mode, key_of_signature, major_fifths, parse_key
from harmonise.theory.pitch import parse_name

SIGNATURES = range(-7, 8)
KEYS = [key_of_signature(fifths, mode) for mode in Mode for fifths in SIGNATURES]
MAJORS = "Cb Gb Db Ab Eb Bb F C G D A E B F# C#"
MINORS = "Ab Eb Bb F C G D A E B F# C# G# D# A#"
DORIANS = "Db Ab Eb Bb F C G D A E B F# C# G# D#"
MIXOLYDIANS = "Gb Db Ab Eb Bb F C G D A E B F# C# G#"


@pytest.mark.parametrize(
    ("mode", "tonics"),
    [
        (Mode.MAJOR, MAJORS),
        (Mode.MINOR, MINORS),
        (Mode.AEOLIAN, MINORS),
        (Mode.DORIAN, DORIANS),
        (Mode.MIXOLYDIAN, MIXOLYDIANS),
    ],
)
def test_signatures_from_seven_flats_to_seven_sharps_name_the_textbook_tonics(
    mode: Mode, tonics: str
) -> None:
    # Common practice: the circle of fifths; dorian a tone above the major key of the
    # signature, mixolydian a fifth above, minor and aeolian a minor third below.
    found = [str(key_of_signature(fifths, mode).tonic) for fifths in SIGNATURES]
    assert " ".join(found) == tonics


@pytest.mark.parametrize("key", KEYS, ids=str)
def test_signature_and_scale_are_those_of_music21(key: Key) -> None:
    assert key.fifths == oracle_key(key).sharps
    assert [str(name) for name in key.scale] == oracle_scale(key)


@pytest.mark.parametrize("key", KEYS, ids=str)
def test_a_signature_and_its_key_name_each_other(key: Key) -> None:
    assert key_of_signature(key.fifths, key.mode) == key
    assert parse_key(str(key)) == key


@pytest.mark.parametrize("key", KEYS, ids=str)
def test_degrees_count_from_the_tonic_and_tell_alterations(key: Key) -> None:
    for number, name in enumerate(key.scale, start=1):
        assert key.degree(name) == (number, 0)
        for alter in (-1, 1):
            altered = key.name_at(number, alter)
            assert key.degree(altered) == (number, alter)
            assert (altered.pitch_class - name.pitch_class - alter) % 12 == 0


@pytest.mark.parametrize("key", [k for k in KEYS if k.mode is Mode.MINOR], ids=str)
def test_the_raised_seventh_of_a_minor_key_is_spelled_as_music21_spells_it(
    key: Key,
) -> None:
    assert str(key.name_at(7, 1)) == oracle_leading_note(key)
    assert (key.tonic.pitch_class - key.name_at(7, 1).pitch_class) % 12 == 1


def test_there_are_seventy_five_keys_and_no_two_are_one() -> None:
    # Two counts: five modes of fifteen signatures; minor and aeolian share a scale.
    assert len({str(key) for key in KEYS}) == 75
    assert len({(key.tonic, key.scale) for key in KEYS}) == 60


@pytest.mark.parametrize(
    ("text", "key"),
    [
        ("C", "C major"),
        (" Bb ", "Bb major"),
        ("F♯ minor", "F# minor"),
        ("D Dorian", "D dorian"),
        ("Gmixolydian", "G mixolydian"),
        ("c", "C major"),
        ("b", "B major"),
        ("bb", "Bb major"),
        ("ab", "Ab major"),
        ("B flat", "Bb major"),
        ("Bflat", "Bb major"),
        ("E-flat-major", "Eb major"),
        ("b flat minor", "Bb minor"),
        ("F sharp minor", "F# minor"),
        ("g minor", "G minor"),
        ("Gm", "G minor"),
        ("GM", "G major"),
        ("am", "A minor"),
        ("bbm", "Bb minor"),
        ("F#m", "F# minor"),
        ("Dmin", "D minor"),
        ("Dmaj", "D major"),
        ("D harmonic minor", "D minor"),
        ("D minor (melodic)", "D minor"),
        ("A natural minor", "A aeolian"),
        ("B natural", "B major"),
        ("C ionian", "C major"),
        ("Ddor", "D dorian"),
        ("E dorian mode", "E dorian"),
        # German books call B flat B, and B natural H (common practice).
        ("F-Dur", "F major"),
        ("B-Dur", "Bb major"),
        ("b-Moll", "Bb minor"),
        ("h-moll", "B minor"),
        ("Es-Dur", "Eb major"),
        ("as moll", "Ab minor"),
        ("Fis-Moll", "F# minor"),
        ("Bb-Dur", "Bb major"),
    ],
)
def test_keys_are_read_as_people_type_them(text: str, key: str) -> None:
    assert str(parse_key(text)) == key


@pytest.mark.parametrize(
    "text", ["H", "C maj7", "", "C lydian", "C major!", "Bb b", "C" * 99_999]
)
def test_what_is_no_key_gets_the_forms_that_are_read(text: str) -> None:
    with pytest.raises(NotationError) as caught:
        parse_key(text)
    assert str(caught.value) == (
        "Key: one letter A–G, with # or b, then major, minor, dorian, mixolydian or "
        "aeolian."
    )


@pytest.mark.parametrize("text", ["G# major", "Fb major", "Fb minor", "E# dorian"])
def test_a_key_of_more_than_seven_signs_is_refused(text: str) -> None:
    signs = {"G# major": 8, "Fb major": 8, "Fb minor": 11, "E# dorian": 9}[text]
    with pytest.raises(NotationError) as caught:
        parse_key(text)
    assert str(caught.value) == (
        f"Key: {text} would need {signs} sharps or flats. "
        "Use the same sound with seven or fewer, such as Db for C#."
    )


@pytest.mark.parametrize("text", MAJORS.split())
def test_the_sharps_of_a_major_key_depend_on_its_tonic(text: str) -> None:
    assert major_fifths(parse_name(text)) == MAJORS.split().index(text) - 7
