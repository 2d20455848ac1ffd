"""The parts of `harmonise.drill`: keys, progressions, voicings, copies, booklet."""
