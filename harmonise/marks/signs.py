"""Labels as pupils and printers write them, made plain."""

_PLAIN = str.maketrans("⁰¹²³⁴⁵⁶⁷⁸⁹₀₁₂₃₄₅₆₇₈₉♯♭", "01234567890123456789#b")
_STACKED = ("53", "63", "64", "65", "43", "42")


def plain(text: str) -> str:
    """Return a label without raised, lowered or printed signs.

    >>> plain("V⁶₅"), plain("B♭"), plain("First inversion"), plain("⁶₃")
    ('V6/5', 'Bb', 'first', '6/3')
    """
    bare = text.translate(_PLAIN)
    for figures in _STACKED:
        if bare.endswith(figures):
            bare = f"{bare[:-2]}{figures[0]}/{figures[1]}"
    words = bare.lower().removesuffix(" inversion").removesuffix(" position")
    return words if words in ("root", "first", "second", "third", "open") else bare
