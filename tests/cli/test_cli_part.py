"""Every command takes the part that is named, from every kind of file with parts."""

from pathlib import Path

import pytest
from click.testing import CliRunner
from makers.midi_files import in_a_row, packed, track
from makers.musicxml_files import measure, mxl, note, score, start

from harmonise.cli import main

HIGH = "G5 E5 G5 E5 D5 B4 D5 G5"
LOW = "C4 E4 G4 E4 F4 D4 E4 C4"
MIDI_HIGH, MIDI_LOW = "79 76 79 76 74 71 74 79", "60 64 67 64 65 62 64 60"
CONTAINER = (
    '<container><rootfiles><rootfile full-path="a.xml"/></rootfiles></container>'
)
WORK = "1: C | E3 G3 C4 | C3\n"


def _part(line: str) -> str:
    first, second = line.split()[:4], line.split()[4:]
    bars = [
        measure(start(), *(note(name, 1) for name in first)),
        measure(*(note(name, 1) for name in second), number=2),
    ]
    return "".join(bars)


def _abc(letters: str, voice: str) -> str:
    return f"V:{voice}\n{letters}\n"


SCORE = score(_part(HIGH), _part(LOW), names=("Flute", "Oboe"))
FILES: dict[str, bytes] = {
    "a.musicxml": SCORE,
    "a.mxl": mxl({"META-INF/container.xml": CONTAINER, "a.xml": SCORE}),
    "a.mid": packed(
        track(in_a_row(MIDI_HIGH), name="Flute"), track(in_a_row(MIDI_LOW), name="Oboe")
    ),
    "a.abc": (
        "X:1\nT:A\nM:4/4\nL:1/4\nK:C\n"
        + _abc("gege|dBdg|]", "Flute")
        + _abc("CEGE|FDEC|]", "Oboe")
    ).encode(),
}
COMMANDS = {
    "arrange": ["-o", "out.txt", "--sheet", "letters"],
    "explain": [],
    "listen": ["-o", "out.mid"],
    "singers": ["--singers", "alto"],
    "worksheet": ["-o", "out.pdf", "--kind", "choose"],
    "mark": ["work.txt", "--against"],
}


@pytest.fixture(autouse=True)
def _desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    Path("work.txt").write_text(WORK)


def answer(command: str, name: str, *part: str) -> tuple[int, str, list[bytes]]:
    """Return exit status and words of a command, and what it wrote, which goes."""
    options = COMMANDS[command]
    line = [*options, name] if command == "mark" else [name, *options]
    done = CliRunner().invoke(main, [command, *line, *part])
    written = sorted(Path().glob("out*"))
    content = [path.read_bytes() for path in written]
    for path in written:
        path.unlink()
    return done.exit_code, done.output, content


@pytest.mark.parametrize("name", FILES)
@pytest.mark.parametrize("command", COMMANDS)
def test_a_command_takes_the_part_that_is_named(command: str, name: str) -> None:
    Path(name).write_bytes(FILES[name])
    high, low = (answer(command, name, "--part", own) for own in ("flute", "Oboe"))
    assert high[0] == low[0] == 0, high[1] + low[1]
    assert high[1:] != low[1:]
    # What tells the compass tells that of the part.
    assert ("B4–G5" in high[1]) is ("C4–G4" in low[1])
    assert "C4–G4" in low[1] or command in ("singers", "worksheet", "mark")
    status, told, content = answer(command, name, "--part", "Horn")
    assert (status, content) == (1, [])
    assert 'No part is called "Horn". The file has "Flute", "Oboe".' in told


@pytest.mark.parametrize("text", ["C D E F | G - - - |", "Doh: C\n| d : r | m : f |"])
@pytest.mark.parametrize("command", COMMANDS)
def test_a_part_of_a_typed_tune_is_refused_by_every_command(
    command: str, text: str
) -> None:
    Path("a.txt").write_text(text)
    status, told, content = answer(command, "a.txt", "--part", "Horn")
    assert (status, content) == (1, [])
    assert 'No part is called "Horn". The tune has one part without a name' in told
