"""What the page is answered: plain values as JSON.

Answers that every part of the server gives: JSON, files, refusals.
"""

import json
import re
from collections.abc import Iterator
from functools import lru_cache

from starlette.responses import Response

from harmonise.errors import HarmoniseError, OutputError, Place, Remark
from harmonise.notation.chart.plain_charts import format_chart
from harmonise.notation.paper.blocks import System
from harmonise.notation.spoken.spoken_score import format_spoken
from harmonise.notation.tune_text.tune_text import format_tune_text
from harmonise.page.drawing import NotePlaces, Sounding, by_slot
from harmonise.page.playback import TOO_LONG, heard, too_long
from harmonise.theory.arrangement import Arrangement, Hand
from harmonise.theory.tune import Tempo, Tune, format_readback

Json = dict[str, object]

_LINE = re.compile(r'\(line (\d+)(?:: ".*")?\)$')


def failure(sentence: str, error: HarmoniseError | None = None) -> Json:
    """Return the answer to what failed, with its place."""
    place = error.place if error else None
    line = _LINE.search(str(error)) if error else None
    told = {
        "sentence": sentence,
        "what": error.what if error else sentence,
        "remedy": error.remedy if error else "",
        **_place(place),
        "line": int(line[1]) if line else None,
    }
    return {"error": told}


def _place(place: Place | None) -> Json:
    beat = place.beat if place else None
    return {
        "bar": place.bar if place else None,
        "beat": None if beat is None else str(beat),
    }


def told_tunes(tunes: tuple[Tune, ...]) -> Json:
    """Return what was read."""
    return {"tunes": [_tune(tune) for tune in tunes]}


def _tune(tune: Tune) -> Json:
    readback = format_readback(tune)
    return {
        "title": tune.title,
        "readback": readback,
        "text": typed(tune),
        "key": str(tune.key),
        "time": str(tune.bars[0].time),
        "tempo": _tempo(tune.tempos),
        "bars": len([bar for bar in tune.bars if not bar.offset]) or len(tune.bars),
        "remarks": [str(remark) for remark in tune.remarks],
        "firstBar": readback.rpartition("; first bar: ")[2],
    }


def _tempo(tempos: tuple[Tempo, ...]) -> float | None:
    """Return the first tempo in crotchets a minute; None if the tune has none."""
    return float(tempos[0].per_minute * tempos[0].beat) if tempos else None


@lru_cache(maxsize=8)
def typed(tune: Tune) -> str | None:
    """Return a tune as tune text; None if it cannot be typed."""
    try:
        return format_tune_text(tune)
    except OutputError:
        return None


def told_arrangement(
    done: Arrangement, systems: tuple[System, ...], marks: NotePlaces
) -> Json:
    """Return an arrangement with its engraving.

    Args:
        done: The arrangement.
        systems: Its lines of music.
        marks: Where its notes and symbols stand in them.
    """
    tune, style = done.tune, done.style
    return {
        "title": tune.title,
        "readback": format_readback(tune),
        "text": typed(tune),
        "level": style.level,
        "harmonicRhythm": style.harmonic_rhythm.value,
        "texture": style.texture.value,
        "svg": [
            {"markup": system.svg, "bars": [int(name[1:]) for name in system.bars]}
            for system in systems
        ],
        "bars": [
            {
                "index": index,
                "number": bar.number,
                "start": str(bar.start),
                "length": str(bar.length),
            }
            for index, bar in enumerate(tune.bars)
        ],
        "slots": list(_slots(done, marks)),
        **heard(done, marks),
        "remarks": list(map(_remark, (*done.remarks, *_long(tune)))),
        "chart": format_chart(done),
        "spoken": format_spoken(done),
    }


def _long(tune: Tune) -> tuple[Remark, ...]:
    return (TOO_LONG,) if too_long(tune) else ()


def _remark(remark: Remark) -> Json:
    return {"sentence": str(remark), **_place(remark.place)}


def _slots(done: Arrangement, marks: NotePlaces) -> Iterator[Json]:
    shared = kept(done)
    for index, slot in enumerate(done.slots):
        yield {
            "index": index,
            "onset": str(slot.onset),
            "length": str(slot.length),
            **_place(slot.place),
            "chord": str(slot.chord) if slot.chord else None,
            "numeral": slot.numeral,
            "position": slot.position.value if slot.position else "",
            "reason": slot.reason,
            "locked": slot.locked,
            "kept": shared[index],
            "alternatives": [
                {
                    "chord": str(other.chord),
                    "numeral": other.numeral,
                    "cost": other.cost,
                    "reason": other.reason,
                }
                for other in slot.alternatives
            ],
            "notes": marks.at_slots[index],
            "symbol": marks.symbols.get(slot.onset),
        }


def kept(done: Arrangement) -> list[list[int]]:
    """Return for each slot the keys that its chord shares with the one before.

    A key is the MIDI number of a note of the right hand that sounds when the slot
    begins, sounded in the slot before and belongs to both chords. Where the chord goes
    on there are none.
    """
    notes = [
        Sounding(float(note.onset), float(note.onset + note.length), note.pitch.midi)
        for note in done.notes
        if note.hand is Hand.RIGHT
    ]
    spans = [(float(slot.onset), float(slot.end)) for slot in done.slots]
    found: list[list[int]] = []
    was: set[int] = set()
    chord = None
    for slot, sounding in zip(done.slots, by_slot(notes, spans), strict=True):
        own = slot.chord.pitch_classes if slot.chord else ()
        now = {note.note for note in sounding if note.note % 12 in own}
        begins = {note.note for note in sounding if note.start <= float(slot.onset)}
        found.append(sorted(was & now & begins) if slot.chord != chord else [])
        was, chord = now, slot.chord
    return found


def told(value: Json, status: int = 200) -> Response:
    """Return a value as JSON."""
    text = json.dumps(value, ensure_ascii=False, separators=(",", ":"))
    # A text may hold half a pair of Unicode surrogates; JSON of a page cannot.
    return Response(text.encode("utf-8", "replace"), status, None, "application/json")


def refused(status: int, sentence: str, wait: int = 0) -> Response:
    """Return a refusal in one sentence.

    Args:
        status: Its HTTP status.
        sentence: What is wrong.
        wait: Seconds after which it is worth asking again; 0 for none.
    """
    reply = told(failure(sentence), status)
    if wait:
        reply.headers["Retry-After"] = str(wait)
    return reply


def attached(content: bytes, name: str, media: str) -> Response:
    """Return a file to keep.

    Args:
        content: What it holds.
        name: Its name; letters, digits, hyphens and full stops.
        media: Its media type.
    """
    reply = Response(content, 200, None, media)
    reply.headers["Content-Disposition"] = f'attachment; filename="{name}"'
    return reply


def slug(title: str) -> str:
    """Return a title as the name of a file, without its ending.

    >>> slug("The Water of Tyne!")
    'the-water-of-tyne'
    """
    return re.sub(r"[^a-z0-9]+", "-", title.lower()).strip("-")[:60] or "tune"
