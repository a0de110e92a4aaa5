/** Beats tapped along: a first idea of the tempo while tapping. The server reads the same taps with more care. */

const FEWEST = 3;
const RESTART_S = 4;

/** Taps with one more; after a long pause, or a jump back, tapping begins anew. */
export function withTap(taps, at_s) {
  const last = taps.at(-1);
  if (last === undefined || at_s <= last || at_s - last > RESTART_S) return [at_s];
  return [...taps, at_s];
}

/** Taps a minute by the middle one of the gaps between them; null while there are too few. */
export function tappedBpm(taps) {
  if (taps.length < FEWEST) return null;
  const gaps = taps.slice(1).map((at, i) => at - taps[i]).sort((a, b) => a - b);
  const middle = gaps.length / 2;
  return 60 / ((gaps[Math.floor(middle - 0.5)] + gaps[Math.ceil(middle - 0.5)]) / 2);
}

/** Four-second spans at the start, in the middle and near the end of the bars, each from a bar line. */
export function hearingSpans(bars, length_s = 4) {
  const music = bars.filter((bar) => bar.number >= 1);
  if (!music.length) return [];
  const spanAt = (word, share) => {
    const bar = music[Math.min(music.length - 1, Math.floor(share * music.length))];
    return { word, bar: bar.number, start_s: Math.max(0, bar.start_s), end_s: bar.start_s + length_s };
  };
  return [spanAt("start", 0), spanAt("middle", 0.5), spanAt("end", 0.9)];
}
