"""The parts of `harmonise.worksheet`: items of each kind, answers, faults, pages."""
