// From crotchets to seconds, through all changes of tempo. Pure.

/** Return how many seconds lie before a time in crotchets, at the written tempos. */
export function secondsAt(tempos, time) {
  let seconds = 0;
  for (const [place, { t, perMinute }] of tempos.entries()) {
    if (place && t >= time) break;
    const end = Math.min(tempos[place + 1]?.t ?? time, time);
    const start = place ? t : Math.min(t, 0);
    seconds += ((Math.max(end, start) - start) * 60) / perMinute;
  }
  return seconds;
}

/** Return the tempo at a time, in crotchets a minute. */
export function tempoAt(tempos, time) {
  return (tempos.findLast(({ t }) => t <= time) ?? tempos[0]).perMinute;
}

/** Return the times between which some bars sound, {start, end}; the first way through. */
export function stretchOf(playedBars, end, from, to) {
  const first = Math.max(
    0,
    playedBars.findIndex(({ index }) => index === from),
  );
  let last = playedBars.findIndex(({ index }, place) => place >= first && index === to);
  if (last < 0) last = playedBars.length - 1;
  return { start: playedBars[first].t, end: playedBars[last + 1]?.t ?? end };
}
