import pytest

from harmonise.errors import HarmoniseError
from harmonise.lessons.drills import all_keys, parse_keys
from harmonise.theory.key import KeyOrder, parse_key, printed


def tonics(order: KeyOrder, *, minor: bool = False, flat: bool = False) -> str:
    return " ".join(str(key.tonic) for key in all_keys(order, minor=minor, flat=flat))


@pytest.mark.parametrize(
    ("order", "names"),
    [
        (KeyOrder.FIFTHS, "C G D A E B F# Db Ab Eb Bb F"),
        (KeyOrder.CHROMATIC, "C Db D Eb E F F# G Ab A Bb B"),
        (KeyOrder.FEW, "C G F D Bb A Eb E Ab B Db F#"),
    ],
)
def test_major_orders_are_the_printed_ones(order: KeyOrder, names: str) -> None:
    assert tonics(order) == names
    assert tonics(order, flat=True) == names.replace("F#", "Gb")


def test_minor_keys_by_fifths_are_the_printed_ones() -> None:
    assert tonics(KeyOrder.FIFTHS, minor=True) == "A E B F# C# G# Eb Bb F C G D"


@pytest.mark.parametrize("minor", [False, True])
def test_fourths_are_the_fifths_backwards_round_the_circle(*, minor: bool) -> None:
    first, *others = all_keys(KeyOrder.FIFTHS, minor=minor)
    assert all_keys(KeyOrder.FOURTHS, minor=minor) == (first, *reversed(others))


@pytest.mark.parametrize("minor", [False, True])
@pytest.mark.parametrize("order", list(KeyOrder))
def test_every_order_has_the_same_twelve_keys(order: KeyOrder, *, minor: bool) -> None:
    assert set(all_keys(order, minor=minor)) == set(all_keys(minor=minor))
    assert len({key.tonic.pitch_class for key in all_keys(order, minor=minor)}) == 12


@pytest.mark.parametrize("minor", [False, True])
def test_few_accidentals_come_first(*, minor: bool) -> None:
    signs = [abs(key.fifths) for key in all_keys(KeyOrder.FEW, minor=minor)]
    assert signs == sorted(signs)


@pytest.mark.parametrize("minor", [False, True])
def test_chromatic_order_climbs_by_semitones(*, minor: bool) -> None:
    keys = all_keys(KeyOrder.CHROMATIC, minor=minor)
    steps = [key.tonic.pitch_class - keys[0].tonic.pitch_class for key in keys]
    assert [step % 12 for step in steps] == list(range(12))


def test_a_list_of_ones_own_keeps_its_order() -> None:
    found = parse_keys(["Bb, F# minor", "Em", "C"])
    assert list(map(str, found)) == ["Bb major", "F# minor", "E minor", "C major"]


def test_all_keys_may_be_asked_for_major_and_minor() -> None:
    found = parse_keys(["all, all minor", "D"], KeyOrder.FEW, flat=True)
    wanted = (
        *all_keys(KeyOrder.FEW, flat=True),
        *all_keys(KeyOrder.FEW, minor=True),
        parse_key("D"),
    )
    assert found == wanted
    assert parse_keys(["all"], minor=True) == all_keys(minor=True)
    assert parse_keys(["all major"], minor=True) == all_keys()


def test_keys_without_a_mode_may_be_meant_as_minor() -> None:
    found = parse_keys(["G, C major"], minor=True)
    assert list(map(str, found)) == ["G minor", "C major"]


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        (
            "H",
            (
                '"H" is not a key. Write one letter A to G, with # or b, and minor '
                "where it is minor: C, Bb, F# minor."
            ),
        ),
        (
            "D dorian",
            (
                "Drills go in major and minor keys, and D dorian is neither. "
                "Write D or D minor."
            ),
        ),
        (
            "G# major",
            (
                "Key: G# major would need 8 sharps or flats. "
                "Use the same sound with seven or fewer, such as Db for C#."
            ),
        ),
    ],
    ids=["unknown", "mode", "too many signs"],
)
def test_what_is_no_key_for_drills_is_refused(text: str, sentence: str) -> None:
    with pytest.raises(HarmoniseError) as caught:
        parse_keys([text])
    assert str(caught.value) == sentence


def test_keys_are_printed_with_real_signs() -> None:
    keys = [parse_key(text) for text in ("Bb", "F# minor", "B")]
    assert list(map(printed, keys)) == ["B♭ major", "F♯ minor", "B major"]
