"""A written part as music21 plays it out."""

import music21  # noqa: TID251 (the oracle of the tests)


def opened(part: music21.stream.Part) -> music21.stream.Part:
    """Open the repeats of a part that opened nowhere at the end of the last repeat.

    ABC 2.1, section 4.8 says so; music21 goes back to the very beginning.
    """
    bracketed = {
        measure
        for bracket in part.recurse().getElementsByClass("RepeatBracket")
        for measure in bracket.getSpannedElements()
    }
    repeat = music21.bar.Repeat
    begin = None
    after = False
    for measure in part.getElementsByClass("Measure"):
        if isinstance(measure.leftBarline, repeat):
            begin, after = None, False
        elif after and measure not in bracketed:
            begin, after = measure, False
        if isinstance(measure.rightBarline, repeat):
            if begin is not None:
                begin.leftBarline = repeat(direction="start")
            begin, after = None, True
    return part


def sounds(part: music21.stream.Part) -> list[tuple[int, ...]]:
    """Return the note numbers of each bar."""
    return [
        tuple(p.midi for note in bar.recurse().notes for p in note.pitches)
        for bar in part.getElementsByClass("Measure")
    ]
