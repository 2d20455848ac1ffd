import os
import stat
import zipfile
from pathlib import Path

import pytest
from makers.scores import arrange, make_tune
from oracles.score_reader import schema_faults

from harmonise.errors import OutputError
from harmonise.notation.files import format_mxl, write_whole
from harmonise.notation.musicxml.writer import format_musicxml
from harmonise.notation.outputs import write_score

SCORE = arrange(make_tune("C5:2 D5:2 E5:4", "C"), "C:2 G:2 C:4")


@pytest.mark.parametrize("name", ["a.musicxml", "a.xml", "A.MusicXML"])
def test_plain_files_hold_the_score(tmp_path: Path, name: str) -> None:
    write_score(SCORE, tmp_path / name)
    assert (tmp_path / name).read_bytes() == format_musicxml(SCORE)
    assert [own.name for own in tmp_path.iterdir()] == [name]


def test_compressed_files_are_built_as_musicxml_asks(tmp_path: Path) -> None:
    # MusicXML 4.0, "Compressed .MXL files": mimetype first and stored, then a
    # container that names the score.
    path = tmp_path / "a.mxl"
    write_score(SCORE, path)
    with zipfile.ZipFile(path) as archive:
        first, container, score = archive.infolist()
        assert archive.testzip() is None
        assert archive.read("mimetype") == b"application/vnd.recordare.musicxml"
        assert b'full-path="score.musicxml"' in archive.read("META-INF/container.xml")
        assert archive.read("score.musicxml") == format_musicxml(SCORE)
        assert schema_faults(archive.read("score.musicxml")) == []
    assert (first.filename, first.compress_type) == ("mimetype", zipfile.ZIP_STORED)
    assert (container.filename, score.filename) == (
        "META-INF/container.xml",
        "score.musicxml",
    )
    assert {own.date_time for own in (first, container, score)} == {
        (1980, 1, 1, 0, 0, 0)
    }


def test_compressed_files_are_read_by_music21(tmp_path: Path) -> None:
    from music21 import converter  # noqa: PLC0415, TID251 - a slow oracle

    write_score(SCORE, tmp_path / "a.mxl")
    score = converter.parse(tmp_path / "a.mxl", forceSource=True, storePickle=False)
    assert len(score.parts) == 2


def test_the_same_score_compresses_to_the_same_bytes() -> None:
    score = format_musicxml(SCORE)
    assert format_mxl(score) == format_mxl(score)


def test_new_files_have_the_rights_of_any_new_file(tmp_path: Path) -> None:
    (tmp_path / "plain").write_text("")
    write_score(SCORE, tmp_path / "a.musicxml")
    modes = {stat.S_IMODE(own.stat().st_mode) for own in tmp_path.iterdir()}
    assert len(modes) == 1


def test_a_replaced_file_keeps_its_rights(tmp_path: Path) -> None:
    path = tmp_path / "a.musicxml"
    path.write_text("old")
    path.chmod(0o640)
    write_score(SCORE, path, force=True)
    assert stat.S_IMODE(path.stat().st_mode) == 0o640


def refusal(path: Path, *, force: bool = False) -> str:
    """Return the sentence with which a place is refused, its folder left out."""
    with pytest.raises(OutputError) as caught:
        write_score(SCORE, path, force=force)
    return str(caught.value).replace(str(path.parent), "FOLDER")


def test_existing_files_are_left_alone_without_force(tmp_path: Path) -> None:
    path = tmp_path / "a.musicxml"
    path.write_text("old")
    assert refusal(path) == (
        '"FOLDER/a.musicxml" exists already. '
        "Choose another name, or overwrite it with --force."
    )
    assert path.read_text() == "old"
    write_score(SCORE, path, force=True)
    assert path.read_bytes() == format_musicxml(SCORE)


def test_places_that_cannot_take_a_score_are_refused_in_words(tmp_path: Path) -> None:
    assert refusal(tmp_path / "gone" / "a.xml") == (
        'There is no folder "FOLDER". Make it first.'
    )
    (tmp_path / "b.xml").mkdir()
    assert refusal(tmp_path / "b.xml") == (
        '"FOLDER/b.xml" is a folder. Add a file name to it.'
    )
    assert refusal(tmp_path / "a.doc") == (
        '"a.doc" does not end in .musicxml, .xml, .mxl, .pdf, .svg, .png, .mid, .midi '
        "or .wav. Call it a.musicxml or a.pdf."
    )
    os.mkfifo(tmp_path / "pipe.xml")
    assert refusal(tmp_path / "pipe.xml", force=True) == (
        '"FOLDER/pipe.xml" is not a plain file. Choose another name.'
    )
    long = tmp_path / ("a" * 300 + ".xml")
    assert refusal(long).endswith(
        "cannot be written: file name too long. Choose another folder or make room."
    )


def test_a_failed_write_leaves_nothing_behind(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "a.musicxml"
    path.write_text("old")

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    assert refusal(path, force=True) == (
        '"FOLDER/a.musicxml" cannot be written: no space left on device. '
        "Choose another folder or make room."
    )
    assert path.read_text() == "old"
    assert [own.name for own in tmp_path.iterdir()] == ["a.musicxml"]


def test_a_link_is_followed_not_replaced(tmp_path: Path) -> None:
    real = tmp_path / "real.musicxml"
    real.write_text("old")
    link = tmp_path / "link.musicxml"
    link.symlink_to(real)
    write_whole(link, b"new", force=True)
    assert link.is_symlink()
    assert real.read_bytes() == b"new"
