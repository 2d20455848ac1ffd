"""Three ways through the program, as somebody new to it goes them.

Each walk stands in a page of its own, in the order in which things happen. Its blocks
say what is done: `text FILE` types a file, `sh` gives commands, `pupils FOLDER TUNE`
types a tune once for each pupil with the chords of a row, `seen STATUS` is what the
last commands ended with and printed among the rest, `folder` is all that lies there at
the end. Everything happens in an empty folder, with a home that nothing was ever
written to.
"""

import re
import shlex
import subprocess
import sys
from pathlib import Path
from typing import NamedTuple

import pytest

WALKS = sorted(Path(__file__).parent.glob("*.md"))
BLOCK = re.compile(r"^```(\w+)(.*)\n((?s:.*?))^```$", re.MULTILINE)


class Walker(NamedTuple):
    """Who goes a walk.

    Attributes:
        folder: Where commands are given.
        home: The user's home.
        ended: Status and print of the commands since something was last looked at.
    """

    folder: Path
    home: Path
    ended: list[tuple[int, str]]

    def text(self, name: str, content: str) -> None:
        """Type a file."""
        path = self.folder / name
        path.parent.mkdir(exist_ok=True)
        path.write_text(content, "utf-8")

    def pupils(self, names: str, content: str) -> None:
        """Type the works of a class: a row has a name and its chords."""
        folder, tune = names.split()
        for row in content.splitlines():
            name, chords = row.split(maxsplit=1)
            typed = (self.folder / tune).read_text("utf-8")
            self.text(f"{folder}/{name}.txt", f"{typed}Chords: {chords}\n")

    def picture(self, name: str, _: str) -> None:
        """Lay a photograph there: what matters is how JPEG files begin."""
        (self.folder / name).write_bytes(b"\xff\xd8\xff\xe0\x00\x10JFIF\x00")

    def sh(self, _: str, content: str) -> None:
        """Give commands, one after the other."""
        for line in content.splitlines():
            program, *words = shlex.split(line)
            assert program == "harmonise", line
            done = subprocess.run(  # noqa: S603 (the commands of this page)
                [sys.executable, "-m", program, *words],
                cwd=self.folder,
                env={
                    "HOME": str(self.home),
                    "LANG": "C.UTF-8",
                    "PATH": "/usr/bin:/bin",
                    "PYTHONPATH": str(Path(__file__).parents[2]),
                },
                capture_output=True,
                text=True,
                check=False,
            )
            assert "Traceback" not in done.stderr, done.stderr
            self.ended.append((done.returncode, done.stdout + done.stderr))

    def seen(self, status: str, content: str) -> None:
        """Look at what the last commands printed: each line begins so somewhere."""
        printed = "\n".join(told for _, told in self.ended)
        assert {number for number, _ in self.ended} == {int(status)}, printed
        for line in content.splitlines():
            assert line in printed, printed
        self.ended.clear()

    def all_lies_there(self, _: str, content: str) -> None:
        """Look at the folder: these files and no others, none of them empty.

        A line is a name, or a number and a pattern of names: `25 class/*.txt`.
        """
        there = {path for path in self.folder.rglob("*") if path.is_file()}
        assert all(path.stat().st_size for path in there)
        for line in content.splitlines():
            number, _, pattern = line.rpartition(" ")
            found = set(self.folder.glob(pattern)) & there
            assert len(found) == int(number or 1), (line, sorted(there))
            there -= found
        assert not there


@pytest.mark.slow
@pytest.mark.parametrize("walk", WALKS, ids=[walk.stem for walk in WALKS])
def test_a_walk_ends_where_its_page_says(walk: Path, tmp_path: Path) -> None:
    walker = Walker(tmp_path / "empty", tmp_path / "home", [])
    walker.folder.mkdir()
    walker.home.mkdir()
    does = {
        "text": walker.text,
        "pupils": walker.pupils,
        "picture": walker.picture,
        "sh": walker.sh,
        "seen": walker.seen,
        "folder": walker.all_lies_there,
    }
    kinds = []
    for kind, names, content in BLOCK.findall(walk.read_text("utf-8")):
        does[kind](names.strip(), content)
        kinds.append(kind)
    assert kinds[-1] == "folder"
    assert not walker.ended
