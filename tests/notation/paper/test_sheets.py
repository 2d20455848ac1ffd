"""Printed sheets: what is on the page, and that the file is sound."""

import re
import socket
import struct
import subprocess
import sys
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest
from click.testing import CliRunner, Result
from oracles.poppler import poppler

from harmonise import arrange, read_tune, write_score
from harmonise.cli import main
from harmonise.errors import LibraryError, OutputError
from harmonise.notation.musicxml.writer import format_musicxml
from harmonise.notation.outputs import Output, format_output
from harmonise.notation.paper.blocks import (
    Blanks,
    Block,
    Lettering,
    Music,
    NewPage,
    Page,
    Paper,
    Picture,
    Space,
    Table,
    Title,
    Words,
    music_look,
    page_size,
    text_width,
)
from harmonise.notation.paper.engraving import engrave
from harmonise.notation.paper.patches import TEXT_FONT
from harmonise.notation.paper.score_sheet import score_blocks
from harmonise.notation.paper.typesetting import typeset, typeset_pictures
from harmonise.theory.arrangement import Arrangement, Labels, Style

ROOT = Path(__file__).parents[3]
TUNES = sorted((ROOT / "tunes").glob("*.txt"))
SYNE = ROOT / "tunes" / "auld_lang_syne.txt"
PAGES = [
    pytest.param(Page(), (595, 842), id="A4"),
    pytest.param(Page(landscape=True), (842, 595), id="A4 on its side"),
    pytest.param(Page(Paper.LETTER), (612, 792), id="letter"),
    pytest.param(
        Page(Paper.LETTER, landscape=True), (792, 612), id="letter on its side"
    ),
    pytest.param(Page(large_print=True), (595, 842), id="large print"),
]
"""Pages, and their size in points."""


def printed(done: Arrangement, ending: str = ".pdf", page: Page | None = None) -> bytes:
    """Return the sheet of an arrangement, or the first picture of it."""
    return format_output(done, ending, Output(page=page))[0]


def read_text(pdf: bytes) -> str:
    """Return the text of a PDF, in reading order and with single blanks."""
    return " ".join(poppler(pdf, "-raw").split())


def facts(pdf: bytes) -> dict[str, str]:
    rows = poppler(pdf, program="pdfinfo").splitlines()
    return {name: value.strip() for name, _, value in (r.partition(":") for r in rows)}


def syne(**style: object) -> Arrangement:
    return arrange(read_tune(SYNE), Style(**style))  # type: ignore[arg-type]


def test_the_page_says_all_that_the_arrangement_says() -> None:
    done = syne(fingering=True, labels=Labels.WORDS, level=2)
    text = read_text(printed(done))
    assert text.startswith(
        "Auld Lang Syne (verse) Scots traditional, printed with these words in 1799"
    )
    assert "= 88" in text
    assert "Labels name the shape of the right hand" in text
    words = text.split()
    for slot in done.changes:
        assert str(slot.chord).replace("b", "♭") in words
    sung = [s.text for n in done.tune.notes for s in n.syllables if s]
    assert set(sung) <= set(words)
    assert {"I", "V⁷", "IV", "first", "second", "5", "3", "1"} <= set(words)


@pytest.mark.parametrize("path", TUNES, ids=lambda path: path.stem)
def test_every_tune_prints_its_title_origin_and_words(path: Path) -> None:
    tune = read_tune(path)
    text = read_text(printed(arrange(tune)))
    assert tune.title in text
    assert " ".join(tune.origin.split()) in text
    sung = {s.text for n in tune.notes for s in n.syllables if s}
    assert sung <= set(text.split())


def staff_heights(svgs: list[str], width: float) -> set[float]:
    """Return how high the staves of lines of music are, in millimetres."""
    heights = set()
    for svg in svgs:
        units = re.findall(r'viewBox="0 0 (\d+) ', svg)
        lines = re.findall(r'class="staff"><path d="M-?\d+ (-?\d+)(.*?)class="', svg)
        for top, rest in lines:
            rows = [int(top), *map(int, re.findall(r'd="M-?\d+ (-?\d+)', rest))]
            # verovio's inner measure is ten times finer than its box.
            heights.add((rows[4] - rows[0]) / 10 * width / int(units[0]))
    return heights


LINE = "C4 E G C5 | A4 F A G | G F E D | E D C -\n"


@pytest.mark.parametrize(
    ("paper", "lines", "shrinks"),
    [(Paper.A4, 6, False), (Paper.A4, 7, True), (Paper.LETTER, 6, True)],
)
def test_a_tune_that_nearly_fits_is_set_smaller_on_one_page(
    paper: Paper, lines: int, shrinks: bool
) -> None:
    page = Page(paper)
    done = arrange(read_tune("Key: C\n" + LINE * lines))
    assert facts(printed(done, page=page))["Pages"] == "1"
    music = [one for one in score_blocks(done, page) if isinstance(one, Music)]
    heights = staff_heights([one.system.svg for one in music], music[0].system.width)
    assert 0.85 * 7 - 0.1 <= min(heights) <= max(heights) <= 7.1
    assert (max(heights) < 6.98) == shrinks


@pytest.mark.parametrize(
    ("name", "staff"), [("old_hundredth", 9.5), ("yankee_doodle", 9.5 * 0.92)]
)
def test_large_print_is_smaller_only_to_save_a_page(name: str, staff: float) -> None:
    done = arrange(read_tune(ROOT / "tunes" / f"{name}.txt"))
    page = Page(large_print=True)
    blocks = score_blocks(done, page)
    music = [one for one in blocks if isinstance(one, Music)]
    heights = staff_heights([m.system.svg for m in music], music[0].system.width)
    assert staff - 0.1 <= min(heights) <= 9.6
    # A page that smaller print does not save leaves it large.
    turned = any(isinstance(one, NewPage) for one in blocks)
    assert turned == (name == "old_hundredth")


@pytest.mark.parametrize(("page", "points"), PAGES)
def test_the_paper_is_as_asked(page: Page, points: tuple[int, int]) -> None:
    told = facts(printed(syne(), page=page))
    width, height = re.findall(r"[\d.]+", told["Page size"])[:2]
    assert (round(float(width)), round(float(height))) == points
    millimetres = [side / 72 * 25.4 for side in points]
    assert page_size(page) == pytest.approx(millimetres, abs=0.3)


def test_the_file_is_tagged_titled_and_dateless() -> None:
    pdf = printed(syne())
    told = facts(pdf)
    assert told["Title"] == "Auld Lang Syne (verse)"
    assert told["Tagged"] == "yes"
    assert not any("date" in name.lower() for name in told)


def test_all_fonts_are_ours_and_lie_within() -> None:
    pdf = printed(syne(fingering=True, keyboards=True))
    rows = poppler(pdf, program="pdffonts").splitlines()[2:]
    assert len(rows) >= 3
    for row in rows:
        assert re.match(r"[A-Z]{6}\+(LiberationSerif|HarmoniseMusic)", row)
        assert re.search(r" yes yes yes ", row), row


@pytest.mark.parametrize("name", ["page.pdf", "page.svg", "page.png"])
def test_two_runs_give_the_same_bytes(name: str, tmp_path: Path) -> None:
    code = (
        "import sys; from pathlib import Path; "
        "from harmonise import arrange, read_tune, write_score; "
        "write_score(arrange(read_tune(Path(sys.argv[1]))), Path(sys.argv[2]))"
    )
    made = []
    for folder in ("one", "two"):
        (tmp_path / folder).mkdir()
        target = tmp_path / folder / name
        line = [sys.executable, "-c", code, str(SYNE), str(target)]
        subprocess.run(line, check=True)  # noqa: S603
        made.append(target.read_bytes())
    assert made[0] == made[1]


def test_no_network_is_asked(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object, **__: object) -> None:
        raise AssertionError("a socket was opened")

    monkeypatch.setattr(socket, "socket", refuse)
    monkeypatch.setattr(socket, "create_connection", refuse)
    assert printed(syne(fingering=True, keyboards=True)).startswith(b"%PDF")
    with pytest.raises(AssertionError, match="a socket was opened"):
        socket.create_connection(("127.0.0.1", 9))


def test_pages_are_numbered_where_there_are_several() -> None:
    one = read_text(printed(syne()))
    many = read_text(printed(syne(keyboards=True)))
    assert "1 / " not in one
    assert "1 / 2" in many
    assert "2 / 2" in many


def test_what_a_user_types_is_never_markup() -> None:
    nasty = '#panic() *a* _b_ $x$ [c] <d> @e \\ "f" `g` // h'
    cells = Table(((nasty,), (nasty,)))
    page = Page(footer=nasty, title=nasty)
    pdf = typeset(
        [Title(nasty, nasty), Words(nasty), cells, Blanks((nasty,), ())], page
    )
    assert read_text(pdf).count(nasty) == 7
    assert facts(pdf)["Title"] == nasty


SAID = (
    "Sheet under it By somebody", "Name Class Date Mark", "Write the chords.",
    "4 marks", "[5]",
    "Two lines", "More", "C or G", "Last page: B♭, F♯",
)  # fmt: skip
"""What the document below says."""


def document() -> tuple[Block, ...]:
    system = engrave(format_musicxml(syne()), music_look(Page(), margin_text=True))[0]
    square = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 9"></svg>'
    return (
        Title("Sheet", "under it", "By somebody"),
        Blanks(),
        Words("Write the chords.", Lettering.INSTRUCTION, "4 marks"),
        Music(system, "Bars 1 to 4", "[5]"),
        Words("Two\nlines", Lettering.SMALL),
        Words("More", Lettering.HEADING),
        Picture(square, 40, 20, "a square"),
        Table((("bar", "chord"), ("1", "C or G")), (1, 3)),
        Space(20),
        NewPage(),
        Words("Last page: B♭, F♯", keep=True),
    )


def test_every_kind_of_block_is_set() -> None:
    pdf = typeset(document(), Page(footer="Sheet 3, version B"))
    text = read_text(pdf)
    for said in SAID:
        assert said in text
    assert text.count("Sheet 3, version B") == 2
    assert facts(pdf)["Pages"] == "2"


def test_pictures_are_told_to_readers_that_speak() -> None:
    pdf = typeset(document())
    assert pdf.count(b"/Alt") >= 2


def test_no_line_of_music_is_cut_by_a_page_end() -> None:
    system = engrave(format_musicxml(syne()), music_look(Page()))[0]
    for lines in (1, 4, 5, 9):
        pdf = typeset([Title("T"), *[Music(system)] * lines])
        fitting = int((297 - 16 - 20) // (system.height + 4))
        pages = int(facts(pdf)["Pages"])
        assert pages in (-(-lines // fitting), -(-(lines + 1) // fitting))
        assert read_text(pdf).count("= 88") == lines


def png_size(picture: bytes) -> tuple[int, ...]:
    assert picture.startswith(b"\x89PNG\r\n\x1a\n")
    return struct.unpack(">II", picture[16:24])


def test_pictures_of_pages_have_the_size_of_the_paper() -> None:
    pictures = typeset_pictures(document(), Page(Paper.LETTER), ppi=100)
    assert [png_size(picture) for picture in pictures] == [(850, 1100)] * 2
    assert png_size(printed(syne(), ".png")) == (1240, 1754)


def test_a_tall_svg_stands_by_itself() -> None:
    drawn = printed(syne(keyboards=True, labels=Labels.LETTERS), ".svg").decode()
    root = ET.fromstring(drawn)  # noqa: S314 - our own text
    assert float(root.attrib["width"].removesuffix("mm")) == pytest.approx(
        text_width(Page()) + 10
    )
    tops = [float(own.attrib["y"]) for own in root if "y" in own.attrib]
    assert tops == sorted(tops)
    last = [own for own in root if "height" in own.attrib][-1].attrib
    assert float(last["y"]) + float(last["height"]) <= float(
        root.attrib["viewBox"].split()[3]
    )
    assert root.attrib["font-family"].startswith(TEXT_FONT)
    addresses = set(re.findall(r'https?://[^"]*', drawn))
    assert addresses == {"http://www.w3.org/2000/svg", "http://www.w3.org/1999/xlink"}
    shapes = {own[0] for own in re.findall(r" ([a-d]) (?:root|first|second)", drawn)}
    assert "Shape of the right hand: " in drawn
    assert shapes == set(re.findall(r">([abcd])(?:</tspan>)+</text></g></g>", drawn))


def test_a_tall_svg_keeps_the_ids_of_notes_once() -> None:
    done = syne()
    found = re.findall(r'id="(n\d+)" class="note"', printed(done, ".svg").decode())
    assert sorted(found) == sorted(f"n{at}" for at in range(len(done.notes)))


def run(*words: str) -> Result:
    return CliRunner().invoke(main, list(words))


@pytest.fixture
def _desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


@pytest.mark.usefixtures("_desk")
def test_the_command_prints_what_is_asked() -> None:
    words = "--paper letter --landscape --large-print --labels figures --keyboards"
    done = run("arrange", str(SYNE), "-o", "page.pdf", *words.split())
    assert done.exit_code == 0, done.output
    assert done.stdout.endswith("Written: page.pdf\n")
    told = facts(Path("page.pdf").read_bytes())
    assert told["Page size"] == "792 x 612 pts (letter)"
    text = read_text(Path("page.pdf").read_bytes())
    assert "The chords at the keyboard" in text
    assert "⁶₃" in text


@pytest.mark.usefixtures("_desk")
def test_further_pages_of_a_png_go_beside_it() -> None:
    done = run("arrange", str(SYNE), "-o", "page.png", "--keyboards")
    assert done.stdout.endswith("Written: page.png, page-2.png\n")
    assert Path("page-2.png").read_bytes().startswith(b"\x89PNG")


@pytest.mark.usefixtures("_desk")
def test_no_page_is_written_over_another_file() -> None:
    Path("page-2.png").write_text("mine")
    with pytest.raises(OutputError, match=r'"page-2.png" exists already'):
        write_score(syne(keyboards=True), Path("page.png"))
    assert Path("page-2.png").read_text() == "mine"
    assert not Path("page.png").exists()


@pytest.mark.usefixtures("_desk")
def test_a_page_of_music_editors_carries_the_labels_too() -> None:
    write_score(syne(labels=Labels.LETTERS), Path("page.musicxml"))
    score = Path("page.musicxml").read_text()
    labels = re.findall(
        r'name="position">\s*<syllabic>single</syllabic>\s*<text[^>]*>(\w+)', score
    )
    assert labels[0] == "b"
    assert set(labels) <= {"a", "b", "c", "open"}


def test_labels_stand_where_shape_or_chord_change() -> None:
    done = syne(labels=Labels.LETTERS)
    score = format_musicxml(done).decode()
    before, wanted = None, 0
    for slot in done.slots:
        if slot.chord and slot.position and (slot.chord, slot.position) != before:
            wanted += 1
            before = (slot.chord, slot.position)
    assert score.count('name="position"') == wanted


def test_a_missing_typesetter_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "typst", None)
    with pytest.raises(LibraryError) as caught:
        typeset([Words("a")])
    assert str(caught.value) == (
        "Typesetting needs typst, which is not installed. "
        "Install it: pip install typst."
    )


def test_writing_music_for_editors_loads_no_printer(tmp_path: Path) -> None:
    code = (
        "import sys; from harmonise.__main__ import main\n"
        f"sys.argv = ['harmonise', 'arrange', {str(SYNE)!r}, '-o', 'a.musicxml']\n"
        "try: main()\nexcept SystemExit: pass\n"
        "print(sorted(n for n in sys.modules if 'sheets' in n or n in "
        "('verovio', 'typst', 'harmonise.notation.paper.engraving')))"
    )
    line = [sys.executable, "-c", code]
    done = subprocess.run(  # noqa: S603
        line, capture_output=True, text=True, check=True, cwd=tmp_path
    )
    assert done.stdout.splitlines()[-1] == "[]"
