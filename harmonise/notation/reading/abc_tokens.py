"""The signs of ABC music: one pattern that cuts a line into them.

Each sign is told apart by the name of its group; what it says is read elsewhere.
Source: ABC 2.1, sections 4 and 8.1.
"""

import re
from functools import cache

_TOKENS = r"""
 (?P<note>(?:[\^_=]+(?:\d*/\d*)?)?[A-Ga-g][,']*[\d/]*)
|(?P<space>[ \t`]+)
|(?P<bar>\.?(?:\[(?=\|)|[|:])(?:[|:\]]|\[(?=[|\]:]))*(?:[1-9][\d,\-]*)?)
|(?P<tuplet>\(\d{1,2}(?::\d{0,2}){0,2})
|(?P<slur>\.?\()
|(?P<close>\.?\))
|(?P<tie>\.?-)
|(?P<broken>>+|<+)
|(?P<rest>[zx][\d/]*)
|(?P<bars>[ZX]\d*)
|(?P<spacer>y[\d/]*)
|(?P<quote>"[^"]*")
|(?P<grace>\{[^}]*\})
|(?P<field>\[[A-Za-z]:[^\]]*\])
|(?P<ending>\[[1-9][\d,\-]*)
|(?P<chord>\[(?:"[^"]*"|!\S+?!|[^\]"|\[])*\][\d/]*)
|(?P<named>![^!\s\[\]|:]+!|\+[^+\s\[\]|:]+\+)
|(?P<letter>\.|[~H-Wh-w](?=[\^_=A-Ga-gz(\[{"!.~HLMOPSTuv]))
|(?P<stray>[~H-Wh-w])
|(?P<dollar>\$)
|(?P<mark>!)
|(?P<reserved>[\#*;?@])
|(?P<overlay>&+)
|(?P<other>.)
"""


@cache
def tokens() -> re.Pattern[str]:
    """Return the pattern of all signs; made at its first use, as it is large.

    >>> [found.lastgroup for found in tokens().finditer('"G"^c2- | [1 z')]
    ['quote', 'note', 'tie', 'space', 'bar', 'space', 'ending', 'space', 'rest']
    """
    return re.compile(_TOKENS, re.VERBOSE)


_CHORD = r"""
 (?P<note>(?:[\^_=]+(?:\d*/\d*)?)?[A-Ga-g][,']*[\d/]*)
|(?P<tie>\.?-)
|(?P<named>![^!\s\[\]|:]+!|\+[^+\s\[\]|:]+\+)
|(?P<letter>[.~H-Wh-w])
|(?P<quote>"[^"]*")
|(?P<slur>[()])
|(?P<broken>>+|<+)
|(?P<space>[ \t`]+)
|(?P<other>.)
"""


@cache
def inner_tokens() -> re.Pattern[str]:
    """Return the pattern of the signs within a chord or between grace braces."""
    return re.compile(_CHORD, re.VERBOSE)
