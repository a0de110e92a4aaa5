/** Where a moment of the guide lies in the song: its bar, beat and section, and the bars around it. */

/**
 * Index of the bar in which a moment lies; -1 before the first.
 * @param {{start_s: number}[]} bars in order
 */
export function barIndexAt(bars, place_s) {
  let [low, high] = [0, bars.length];
  while (low < high) {
    const middle = (low + high) >> 1;
    if (bars[middle].start_s <= place_s + 1e-3) low = middle + 1;
    else high = middle;
  }
  return low - 1;
}

/**
 * @param {{number: number, start_s: number, beats_s: number[], section?: string}[]} bars
 * @returns {{bar: number, beat: number, section: string} | null} beats from 1; null before the first bar
 */
export function whereAt(bars, place_s) {
  const index = barIndexAt(bars, place_s);
  if (index < 0) return null;
  const bar = bars[index];
  const beat = bar.beats_s.filter((at_s) => at_s <= place_s + 1e-3).length;
  return { bar: bar.number, beat: Math.max(1, beat), section: bar.section ?? "" };
}

/**
 * Where the bar so many bars away begins; a bar hardly begun counts as its own beginning when going back.
 * @param {number} by bars, below 0 back
 */
export function barAway(bars, place_s, by) {
  if (!bars.length) return place_s;
  const index = barIndexAt(bars, place_s);
  const late = index >= 0 && place_s - bars[index].start_s > 0.4;
  const target = index + by + (by < 0 && late ? 1 : 0);
  return Math.max(0, bars[Math.min(Math.max(target, 0), bars.length - 1)].start_s);
}

/**
 * The span of a choice of bars, in seconds of the guide; null when there is none.
 * @param {{first: number, last: number} | null} selection numbers of bars
 */
export function spanOf(bars, selection) {
  if (!selection) return null;
  const chosen = bars.filter(({ number }) => number >= selection.first && number <= selection.last);
  if (!chosen.length) return null;
  return { start_s: Math.max(0, chosen[0].start_s), end_s: chosen[chosen.length - 1].end_s };
}
