"""Changes to a score in MEI, verovio's own format, before it is engraved.

MusicXML has no place for these matters, or verovio does not read them there.
"""

import re

_WORD_AND_NOTE = re.compile(r"([^<>\s])(</rend>\s*<rend\b[^>]*\bglyph)")
_VERSE = re.compile(r'<verse xml:id="[^"]*" n="(\d+)"(?! label)')
_LABEL = re.compile(
    r'(<verse\b[^>]*label="position"[^>]*>\s*<syl\b[^>]*>[^<]+)(</syl>)'
)
_TEXT = re.compile(r"(<(?:harm|fing|tempo|dir)\b[^>]*>)([^<]+)(</)")


def dress(mei: str, *, bold: bool) -> str:
    """Return a score with numbered verses, well spaced tempo marks and labels.

    Labels are no words of one song: without a space at its end one would run into the
    next.

    Args:
        mei: The score.
        bold: Whether all its text is bold and upright.
    """
    mei = _WORD_AND_NOTE.sub("\\1\u00a0\u00a0\\2", mei)
    # Verovio puts a space between a note and its dot.
    mei = _number_verses(mei.replace(" \uecb7", "\uecb7"))
    mei = _LABEL.sub("\\1\u00a0\\2", mei)
    return _embolden(mei) if bold else mei


def _number_verses(mei: str) -> str:
    """Return a score whose verses begin with their numbers, if there are several."""
    verses = set(_VERSE.findall(mei))
    for verse in sorted(verses) if len(verses) > 1 else ():
        first = rf'(<verse xml:id="[^"]*" n="{verse}">)'
        mei = re.sub(first, rf"\1<label>{verse}.</label>", mei, count=1)
    return mei


def _embolden(mei: str) -> str:
    """Return a score whose words, symbols, numerals and fingers are bold and upright.

    verovio takes the widths of letters into account, so this is no matter of drawing.
    """
    mei = _TEXT.sub(r'\1<rend fontweight="bold">\2</rend>\3', mei)
    mei = re.sub(r'(<syl\b[^>]*?) fontstyle="\w+"', r"\1", mei)
    return mei.replace("<syl ", '<syl fontweight="bold" ')
