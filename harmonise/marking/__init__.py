"""Marking: what was asked, what the pupil wrote, what it is worth.

task      what is asked for, chord by chord
tasks     tasks of tunes and drills             sheets   tasks of worksheets
aligned   a script on the bars of its task      hands    tune, inner notes, left hand
work      the script as music                   naming   the chord that notes make
labels    symbols, numerals, shapes             signs    labels made plain
finding   faults, by the rules of the theory    rhythm   bars and lengths
fault     what is found at a place              lists    lists of planted faults
kinds     what each fault is called, hides and is practised with
points    what each costs: the table of rules, or a teacher's own table
weighing  one slip, one deduction               marked   the sum, line by line
praise    what went well                        hints    questions before answers
slip      for the pupil, as text                page     the same, engraved
classes   a whole class in one table
"""
