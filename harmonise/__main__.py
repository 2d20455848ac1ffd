"""`python -m harmonise` and the command `harmonise`: what is done once, before any.

A terminal, or a file that one redirects into, need not have every sign that we print:
older ones have a byte for each of 256 signs, or of 128. There a sign that is lacking
is written out, so that no command ends because of a flat in a title.
"""

import atexit
import codecs
import gc
import os
import sys
import unicodedata
from io import TextIOWrapper

RARELY = 200_000
"""New objects between two searches for garbage cycles; Python's own figure is 2,000.

One call makes many lasting objects in a short life, so searching often is lost time: a
quarter of a cold call on a short tune.
"""

_SIGNS = str.maketrans("–—−‐‑·→─│‘’ʼ“”„×÷øØłŁđð", "-----.>-|'''\"\"\"x/oOlLdd")
_WIDER = {"…": "...", "½": "1/2", "¼": "1/4", "¾": "3/4", "°": "o", "ß": "ss"}
_WIDER |= {"æ": "ae", "Æ": "AE", "œ": "oe", "Œ": "OE"}
_WORDS = {"♭": "flat", "♯": "sharp", "♮": "natural", "𝄫": "double flat"}
_WORDS |= {"𝄪": "double sharp", "♩": "crotchet", "♪": "quaver"}
_PLAIN = "plain_ascii"


def written_out(fault: UnicodeError) -> tuple[str | bytes, int]:
    """Return what stands for a sign that an encoding lacks, and where to go on.

    Raises:
        UnicodeError: If the fault is not one of writing.
    """
    if not isinstance(fault, UnicodeEncodeError):
        raise fault
    text, at = fault.object, fault.start
    sign, before, after = text[at], text[max(0, at - 1) : at], text[at + 1 : at + 2]
    if "\udc80" <= sign <= "\udcff":
        # A byte of a file's name that is no text goes out as it came in.
        return bytes([ord(sign) - 0xDC00]), at + 1
    word = _WORDS.get(sign, "")
    if sign == "ø" and before in ("i", "I"):
        word = "half-dim"
    if word:
        # "B♭7" must not become "Bflat7".
        spaced = " " * before.isalnum() + word + " " * after.isalnum()
        return spaced, at + 1
    # Any other letter goes without its accent, and ⁶ is 6.
    plain = _WIDER.get(sign, sign.translate(_SIGNS))
    letters = unicodedata.normalize("NFKD", plain)
    lost = "" if unicodedata.combining(sign) else "?"
    return "".join(filter(str.isascii, letters)) or lost, at + 1


def _plain_codec(name: str) -> codecs.CodecInfo | None:
    """Return ASCII under a name of its own: click would write UTF-8 in place of it."""
    if name != _PLAIN:
        return None
    same = codecs.lookup("ascii")
    both = same.incrementalencoder, same.incrementaldecoder
    return codecs.CodecInfo(*same, *both, name)


def ready_streams() -> None:
    """Let standard output and standard error write out the signs that they lack."""
    codecs.register(_plain_codec)
    codecs.register_error("written_out", written_out)
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, TextIOWrapper):
            is_ascii = codecs.lookup(stream.encoding).name == "ascii"
            encoding = _PLAIN if is_ascii else stream.encoding
            stream.reconfigure(encoding=encoding, errors="written_out")


def main() -> None:
    """Run the command line."""
    gc.set_threshold(RARELY)
    # Our sums are small: waking the other cores for one, and letting them wait for the
    # next, takes half of the processor time of a cold call. Books use processes.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    # The memory goes back with the process. Searching everything that was loaded for
    # cycles once more before that takes an eighth of a cold call on a short tune.
    atexit.register(gc.freeze)
    ready_streams()
    from harmonise.cli import main as command  # noqa: PLC0415 (loaded after the above)

    command()


if __name__ == "__main__":
    main()
