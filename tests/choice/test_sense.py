"""What makes a pianist laugh, counted on two pages whose counts are known by hand."""

import pytest
from fitting.sense import Page, count, line_of, read_page

FERMATA = "<notations><fermata/></notations>"
DOUBLE = '<barline location="right"><bar-style>light-light</bar-style></barline>'
BACK = "<backup><duration>8</duration></backup>"


def note(
    name: str, quavers: int, voice: int = 1, staff: int = 1, more: str = ""
) -> str:
    """Return a note such as "F#4"; several with "+" sound together."""
    first, *others = name.split("+")
    return _single(first, quavers, voice, staff, more) + "".join(
        _single(other, quavers, voice, staff, chord=True) for other in others
    )


def _single(
    name: str,
    quavers: int,
    voice: int,
    staff: int,
    more: str = "",
    *,
    chord: bool = False,
) -> str:
    alter = f"<alter>{name.count('#')}</alter>"
    pitch = f"<step>{name[0]}</step>{alter}<octave>{name[-1]}</octave>"
    return (
        f"<note>{'<chord/>' * chord}<pitch>{pitch}</pitch>"
        f"<duration>{quavers}</duration><voice>{voice}</voice>"
        f"<staff>{staff}</staff>{more}</note>"
    )


def symbol(name: str) -> str:
    """Return a chord symbol such as "Dm" or "C/E"."""
    upper, _, bass = name.partition("/")
    kind = "minor" if upper.endswith("m") else "major"
    low = f"<bass><bass-step>{bass}</bass-step></bass>" if bass else ""
    root = f"<root><root-step>{upper[0]}</root-step></root>"
    return f"<harmony>{root}<kind>{kind}</kind>{low}</harmony>"


def tune(names: str, more: str = "") -> str:
    """Return the notes of a bar in equal lengths; what is added stands at the last."""
    words = names.split()
    *before, last = words
    length = 8 // len(words)
    return "".join(note(name, length) for name in before) + note(
        last, length, more=more
    )


def page_of(mode: str, *bars: str) -> Page:
    """Return a page of bars in 4/4 without sharps or flats."""
    signs = (
        "<attributes><divisions>2</divisions>"
        f"<key><fifths>0</fifths><mode>{mode}</mode></key>"
        "<time><beats>4</beats><beat-type>4</beat-type></time></attributes>"
    )
    first, *others = bars
    whole = "".join(f"<measure>{bar}</measure>" for bar in (signs + first, *others))
    return read_page(f"<score-partwise><part>{whole}</part></score-partwise>".encode())


def major_page() -> Page:
    """Return six bars in C major in two sections."""
    return page_of(
        "major",
        symbol("C") + tune("E5 G5 C5 E5"),
        # A, a 2nd above the root of G, is left by leap.
        symbol("G") + tune("A5 D5"),
        # IV after V.
        symbol("F") + tune("F5 C5"),
        # The right hand doubles B, the third of V.
        symbol("G") + tune("B4 D5") + BACK + note("G3+B3", 4, 2) + DOUBLE,
        # IV after V again, but over a double bar; F sharp below F.
        symbol("F") + tune("F5 A5") + BACK + note("F#3", 4, 5, 2),
        # The tune steps down to 1 over I alone, and E lies in the bass.
        symbol("C/E") + tune("D5 C5") + BACK + note("E3", 8, 5, 2) + DOUBLE,
    )


def minor_page(more: str) -> Page:
    """Return ten bars in A minor in two sections; bar 2 may end in a fermata."""
    return page_of(
        "minor",
        symbol("Am") + tune("A4 A4"),
        symbol("E") + tune("B4 G#4", more),
        # Bar 3 is bar 1, and bar 4 is bar 2.
        symbol("Dm") + tune("A4 A4"),
        symbol("E") + tune("B4 G#4") + DOUBLE,
        # Six bars of one chord, in two of which D stands on the first beat.
        symbol("Am") + tune("D5 C5"),
        tune("D5 C5"),
        # The hand strikes two notes under a quaver.
        tune("E5 C5 E5 C5 E5 C5 E5 C5") + BACK + note("A3+C4", 8, 2),
        tune("A4"),
        tune("A4"),
        tune("A4") + DOUBLE,
    )


def test_every_fault_of_a_page_in_major_is_counted_once() -> None:
    counts = count(major_page())
    assert +counts == {
        "bars": 6,
        "clash": 1,
        "bare": 1,
        "turned": 1,
        "noclose": 1,
        "retreat": 1,
        "doubled": 1,
        "full": 1,
    }


@pytest.mark.parametrize(("more", "retreats"), [(FERMATA, 0), ("", 1)])
def test_twins_and_bars_that_stick_are_counted(more: str, retreats: int) -> None:
    counts = count(minor_page(more))
    expected = {"bars": 10, "twin": 1, "stuck": 2, "full": 1, "under quick": 1}
    assert +counts == expected | ({"retreat": retreats} if retreats else {})


def test_counts_are_told_for_a_hundred_bars() -> None:
    told = line_of(count(minor_page(FERMATA)))
    assert told.startswith("six 30.00 (clash 0.00 bare 0.00 turned 0.00 twin 10.00 ")
    assert told.endswith("busy 1.00, 10 bars")


def test_a_close_off_the_beat_is_none() -> None:
    def ending(names: str) -> int:
        first = symbol("C") + tune("C5 E5")
        return count(page_of("major", first, tune(names) + DOUBLE))["noclose"]

    assert ending("E5 E5 D5 C5") == 1
    assert ending("E5 E5 E5 E5 E5 E5 D5 C5") == 0


@pytest.mark.parametrize("written", ["E4+G4+C5", "C5+E4+G4"])
def test_the_tune_is_the_highest_note_of_a_chord(written: str) -> None:
    page = page_of("major", symbol("C") + note(written, 8) + BACK + note("C3", 8, 5))
    assert [tone.midi for tone in page.tune] == [72]
    assert sorted(tone.midi for tone in page.hands) == [48, 64, 67]
