"""The one token of this user, kept in a file that nobody else can read.

So the page's address is the same after every start: a bookmark of it lasts, and a page
that is open goes on.
"""

import os
import re
import sys
from contextlib import suppress
from pathlib import Path

from harmonise.page.site import new_token

_TOKEN = re.compile(r"[\w-]{32}", re.ASCII)
_OTHERS = 0o077
"""What a group and everybody else may do with a file."""


def user_token() -> str:
    """Return the token of this user: the one that is kept, or a new one.

    Where none can be kept, it lasts until the program stops.
    """
    path = _place()
    with suppress(OSError):
        if not path.stat().st_mode & _OTHERS or os.name == "nt":
            kept = path.read_text("ascii", "replace").strip()
            if _TOKEN.fullmatch(kept):
                return kept
        # Others may have read it, or it is damaged.
        path.unlink()
    return _kept(path, new_token())


def _place() -> Path:
    """Return where the token is kept.

    On Linux this is for what a program keeps between two starts (XDG Base Directory
    Specification 0.8); on Windows and macOS, where their programs keep such things.
    """
    home = Path(os.path.expanduser("~"))  # noqa: PTH111 - Path.home() may raise
    if os.name == "nt":
        folder = os.environ.get("LOCALAPPDATA") or home / "AppData/Local"
    elif sys.platform == "darwin":
        folder = home / "Library/Application Support"
    else:
        folder = os.environ.get("XDG_STATE_HOME") or home / ".local/state"
    return Path(folder) / "harmonise" / "page-token"


def _kept(path: Path, token: str) -> str:
    """Return the token that is kept from now on; of two starts at once, the first's."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        new = path.with_suffix(f".{os.getpid()}")
        with os.fdopen(os.open(new, os.O_CREAT | os.O_WRONLY, 0o600), "w") as file:
            file.write(f"{token}\n")
        try:
            # Whole or not at all, and never over one that is there.
            new.rename(path) if os.name == "nt" else path.hardlink_to(new)
        except FileExistsError:
            token = path.read_text("ascii").strip()
        finally:
            new.unlink(missing_ok=True)
    except OSError:
        return token
    return token
