"""How chords and voicings are chosen.

A slot is a place where the chord may change. A state of a slot is a chord, the strength
of the beat on which it began (so that syncopated harmony is seen), and the right hand's
shape: from level 3 on one of two, below it the whole triad. Costs are whole thousandths
and add up.

Which chord suits the notes and the place, and which follows which, is told by
`fitted/folk.tsv` (chords at half-bars) or `fitted/hymn.tsv` (a chord a beat): named
rows, lower is better, fitted as a log-linear chain so that 1,000 is a factor of e in
chance. The table looks at its own places (half-bars or beats); a chord slot that is
longer costs exactly the sum of its places.

Bars alike, of the same notes before the same bar or in the same section, have equal
chords, as a law (H20): they share their costs, and where the cheapest path still parts
them, a search that proves its optimum ties them (`tied_path`; beyond forty paths it
tells in `Choice.gap` how far from it it may be). Other equal bars share half of their
costs.

Beside it stand the hard rules, sevenths and figures, motion, parallels and lighter
shapes. Hard rules cost more than all taste together (`NEVER`); where no chord can keep
one, the best page still comes out and a remark names the place. Where plain triads have
one lawful way at levels 1 and 2, the menu has nothing else (`only_way`).

Ties go to the lower state: the chord that stands earlier in the palette, then the
complete shape. A reason tells a fact of the tune or of the steps that parts the chosen
chord from its rival, on the side on which the costs part them;
`tests/arranging/test_explain.py` reads every sentence back and works its facts out
again. How sure a choice is, and which other chords are good, is read from the costs at
half: a chain takes neighbours that say the same for two witnesses.
"""
