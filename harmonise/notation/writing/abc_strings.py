r"""Text strings for ABC: titles, words, labels, so that reading gives them back.

Signs that ABC takes for its own are written as `\uXXXX`, `\%`, `\\` or `&amp;`.
Source: ABC 2.1, sections 5.1 and 8.2.
"""

_ALWAYS = {"\\": r"\\", "%": r"\%", "&": "&amp;"}
QUOTED, INLINE, QUOTED_INLINE = '"', "]", '"]'
"""Signs that close what a string stands in."""
_IN_WORDS = {"-": r"\-", " ": "~"}
_WORD_SIGNS = "_*|~"


def plain_text(text: str) -> str:
    r"""Return a text on one line, with blanks for what is no letter.

    >>> plain_text(" A\ttune ")
    'A tune'
    """
    shown = "".join(letter if letter.isprintable() else " " for letter in text)
    return shown.strip()


def format_string(text: str, closing: str = "") -> str:
    r"""Return a text as ABC writes it.

    Args:
        text: The text.
        closing: Signs that would end it, such as `QUOTED` within quotes.

    >>> format_string('100% "pure"', QUOTED)
    '100\\% \\u0022pure\\u0022'
    """
    return "".join(_sign(letter, closing) for letter in plain_text(text))


def _sign(letter: str, closing: str) -> str:
    if letter in closing:
        return f"\\u{ord(letter):04x}"
    return _ALWAYS.get(letter, letter)


def format_field(letter: str, text: str) -> str:
    """Return a field on its own line; one that begins with a colon is set off.

    >>> format_field("T", "Over the Hills")
    'T:Over the Hills'
    """
    gap = " " if text[:1] in ("|", ":") else ""
    return f"{letter}:{gap}{text}"


def format_syllable(text: str) -> str:
    r"""Return a syllable as a `w:` line writes it.

    >>> format_syllable("self-made man")
    'self\\-made~man'
    """
    return "".join(
        _IN_WORDS.get(letter) or _sign(letter, _WORD_SIGNS)
        for letter in plain_text(text)
    )
