/**
 * Seconds of the guide and beats of the song, by the beats the server gives for every bar: steady or drifting alike.
 * @typedef {{number: number, beats_s: number[], section: string}} Bar `beats_s` has each beat and the next bar line
 */

/** The anchors of a song: beats from bar 1 and their seconds. @param {Bar[]} bars @param {number} beatsPerBar */
export function anchorsOf(bars, beatsPerBar) {
  const beats = [];
  const seconds = [];
  for (const { number, beats_s } of bars) {
    for (let i = 0; i < beatsPerBar; i += 1) {
      beats.push((number - 1) * beatsPerBar + i);
      seconds.push(beats_s[i]);
    }
  }
  const last = bars[bars.length - 1];
  beats.push(last.number * beatsPerBar);
  seconds.push(last.beats_s[beatsPerBar]);
  return { beats, seconds };
}

/** @param {{beats: number[], seconds: number[]}} anchors */
export const secondsToBeat = (anchors, seconds) => interpolate(anchors.seconds, anchors.beats, seconds);
/** @param {{beats: number[], seconds: number[]}} anchors */
export const beatToSeconds = (anchors, beat) => interpolate(anchors.beats, anchors.seconds, beat);

/** Piecewise straight through the anchors, and straight on outside them. */
export function interpolate(xs, ys, x) {
  let low = 0;
  let high = xs.length - 1;
  while (high - low > 1) {
    const middle = (low + high) >> 1;
    if (xs[middle] <= x) low = middle;
    else high = middle;
  }
  return ys[low] + ((x - xs[low]) * (ys[high] - ys[low])) / (xs[high] - xs[low]);
}

/** The bar of a place; a thousandth of a beat before a bar line belongs to the bar after it. */
export function barOf(beat, beatsPerBar) {
  return Math.floor((beat + 1e-3) / beatsPerBar) + 1;
}

const PARTS = [[0, ""], [1 / 6, "⅙"], [1 / 4, "¼"], [1 / 3, "⅓"], [1 / 2, "½"], [2 / 3, "⅔"], [3 / 4, "¾"], [5 / 6, "⅚"], [1, ""]];

/** A number of beats with the nearest plain fraction: 1.5 -> `1½`. */
export function withFraction(number) {
  const whole = Math.floor(number + 1e-6);
  const rest = number - whole;
  const [part, sign] = PARTS.reduce((best, one) => (Math.abs(one[0] - rest) < Math.abs(best[0] - rest) ? one : best));
  if (part === 1) return `${whole + 1}`;
  return whole === 0 && sign ? sign : `${whole}${sign}`;
}

/** `bar 9, beat 2½` */
export function placeWords(beat, beatsPerBar) {
  const bar = barOf(beat, beatsPerBar);
  return `bar ${bar}, beat ${withFraction(Math.max(0, beat - (bar - 1) * beatsPerBar) + 1)}`;
}

/** `1½ beats`, `½ beat` */
export function lengthWords(beats) {
  const text = withFraction(beats);
  const amount = text === "0" ? "less than ⅙" : text;
  return `${amount} beat${beats > 1.05 ? "s" : ""}`;
}

/** The steps a place or a length is changed by, in beats, coarsest first. @param {{beat_quarters: number, compound: boolean}} sheet */
export function stepsOf({ beat_quarters: quarters, compound }) {
  const names = compound
    ? [["a beat", 1], ["an eighth", 0.5 / quarters], ["a sixteenth", 0.25 / quarters]]
    : [["a beat", 1], ["an eighth", 0.5 / quarters], ["a sixteenth", 0.25 / quarters], ["a triplet", 1 / 3]];
  return names.map(([name, beats]) => ({ name, beats })).filter(({ beats }, index) => index === 0 || beats < 1);
}

/** The nearest multiple of a step. */
export function snap(beat, step) {
  return Math.round(beat / step) * step;
}
