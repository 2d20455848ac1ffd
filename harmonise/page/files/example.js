// The small tune that the first visit shows.

export const EXAMPLE = `Title: Morning Steps
Key: C
Time: 4/4
Tempo: 96
E E G E | D D B3 - | C E G C5 | B A G - |
Words: Up the hill we go to-day, down the oth-er side and play,
A A C5 A | G E C E | D.E D B3 D | C - - 0 |
Words: skip the stile and mind the gate, then home_ by half past eight.
`;
