"""`harmonise.toml`: what a user would otherwise type every time.

It lies beside the tunes, or in the user's own folder for programs; the one beside the
tunes says all, if there is one. It has four entries, each an option's usual value:

    paper = "letter"
    labels = "words"
    level = 3
    file = "pdf"
"""

import re
from collections.abc import Iterable, Mapping
from pathlib import Path

import click

from harmonise.errors import NotationError
from harmonise.notation.formats import decode, read_bytes
from harmonise.notation.outputs import Sheet
from harmonise.notation.paper.blocks import Paper
from harmonise.theory.arrangement import Labels

NAME = "harmonise.toml"
_ENDINGS = tuple(ending[1:] for ending in Sheet.SCORE.row.endings)
_KNOWN: Mapping[str, tuple[str, ...]] = {
    "paper": tuple(paper.value for paper in Paper),
    "labels": tuple(labels.value for labels in Labels),
    "level": ("auto", "1", "2", "3", "4"),
    "file": _ENDINGS,
}
"""What each entry may say."""
_AT = re.compile(r"\(at line (\d+), column \d+\)$")


def user_settings() -> Path:
    """Return where the settings of this user lie."""
    return Path(click.get_app_dir("harmonise"), NAME)


def read_settings(tunes: Iterable[str]) -> Mapping[str, str]:
    """Return the settings for a call; none if there is no file of them.

    Args:
        tunes: What a call names as tunes; the first that is a file or a folder tells
            where they are.

    Raises:
        NotationError: If the file cannot be read, or an entry is none of ours.
    """
    here = next((Path(tune) for tune in tunes if _is_there(tune)), Path())
    folder = here if here.is_dir() else here.parent
    for path in (folder / NAME, user_settings()):
        if path.is_file():
            return parse_settings(decode(read_bytes(path)), str(path))
    return {}


def _is_there(word: str) -> bool:
    """Whether a word names a file or a folder; too long a one names none."""
    try:
        return bool(word) and Path(word).exists()
    except (OSError, ValueError):
        return False


def parse_settings(text: str, name: str = NAME) -> Mapping[str, str]:
    """Return settings, entry by entry.

    Args:
        text: The file's text, in TOML.
        name: What the file is called.

    Raises:
        NotationError: If it is no TOML, or an entry is none of ours.
    """
    # A call without settings need not wait for the reader.
    import tomllib  # noqa: PLC0415 (few have a file)

    try:
        table = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        at = _AT.search(str(error))
        where = f"line {at[1]}" if at else "its end"
        what = f"{name}: {where} is no entry."
        raise NotationError(what, None, "Write lines such as level = 3.") from error
    for key, value in table.items():
        at_line = f"{name}: {_line_of(key, text)}"
        if key not in _KNOWN:
            what = f'{at_line}"{key}" is no setting.'
            raise NotationError(what, None, f"Settings are {', '.join(_KNOWN)}.")
        if str(value) not in _KNOWN[key]:
            what = f'{at_line}{key} cannot be "{value}".'
            raise NotationError(what, None, f"It is one of {', '.join(_KNOWN[key])}.")
    return {key: str(value) for key, value in table.items()}


def _line_of(key: str, text: str) -> str:
    """Return words for the line of an entry; "" where its key is spelt with escapes."""
    entry = re.search(rf"^[ \t\[\"']*{re.escape(key)}(?!\w)", text, re.MULTILINE)
    return f"line {text.count(chr(10), 0, entry.end()) + 1}: " if entry else ""
