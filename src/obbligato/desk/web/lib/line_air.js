/**
 * The breath under a row, as a picture and in words: it falls while a note is held, and comes back where there is
 * time to breathe in. 1 is a comfortable breath, below 0 the reserve is drawn on, and at -½ there is none left.
 */
import { placeWords } from "./line_time.js";
import { xOfBeat } from "./line_place.js";

const RESERVE = 0.5;

/** What is there when a note begins. @param {{air: number, breathed: number}[]} views of all notes of the line */
export function airBefore(views, index) {
  if (index === 0) return 1;
  const left = views[index - 1].air;
  const { breathed } = views[index];
  return breathed ? Math.min(1, Math.max(left, -RESERVE) + breathed * (1 + RESERVE)) : left;
}

/**
 * Points of the curve on a row, note by note: where it begins and ends, and the air at both.
 * @returns {{index: number, x0: number, x1: number, before: number, after: number}[]}
 */
export function airCurve(bars, notes, views, beatsPerBar) {
  const shown = new Set(bars.flatMap(({ symbols }) => symbols.filter(({ note }) => note !== null).map(({ note }) => note)));
  const right = bars[bars.length - 1].right;
  const curve = [];
  for (const index of [...shown].sort((a, b) => a - b)) {
    if (!views[index] || views[index].air === null) continue;
    const begins = views[index].beat;
    const x0 = xOfBeat(bars, begins, beatsPerBar);
    const ends = begins + notes[index].duration_beats;
    const x1 = xOfBeat(bars, ends - 1e-2, beatsPerBar) ?? right;
    const before = airBefore(views, index);
    curve.push({ index, x0: x0 ?? bars[0].music_left, x1: Math.max(x1, (x0 ?? 0) + 1), before, after: views[index].air });
  }
  return curve;
}

/** The height of the curve for an amount of air, in a picture of a given height: full at the top, nothing at the foot. */
export function airY(air, height) {
  const share = (Math.min(1, Math.max(air, -RESERVE)) + RESERVE) / (1 + RESERVE);
  return (1 - share) * height;
}

/** The picture in words. */
export function airWords(curve, views, beatsPerBar) {
  if (!curve.length) return "No notes here.";
  const lowest = curve.reduce((least, point) => (point.after < least.after ? point : least));
  const place = placeWords(views[lowest.index].beat, beatsPerBar);
  const percent = Math.round(lowest.after * 100);
  const air = percent >= 0 ? `The breath goes down to ${percent} % at ${place}.` : `The reserve of breath is drawn on at ${place}.`;
  const zones = ["below", "ask low", "low", "high", "ask high", "above"].map((zone) => [zone, curve.filter(({ index }) => views[index].zone === zone).length]);
  const words = zones.filter(([, count]) => count).map(([zone, count]) => `${count === 1 ? "1 note" : `${count} notes`} ${ZONE_WORDS[zone]}`);
  return [air, words.length ? `${words.join(", ")}.` : ""].join(" ").trim();
}

/** Beyond the safe range: what a strong player has, what to ask the player first, what the instrument has not. */
export const ZONE_WORDS = {
  below: "below the range", "ask low": "very low, ask first", low: "low", high: "high", "ask high": "very high, ask first", above: "above the range",
};
