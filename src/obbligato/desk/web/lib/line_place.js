/**
 * Places on an engraved row: from a beat to where it stands and back. Between the symbols of a bar a place lies in
 * proportion; a bar begins where its music does and ends at its bar line.
 * @typedef {{number: number, bars: number, left: number, right: number, music_left: number, symbols: {beat: number, x: number, note: number | null}[]}} RowBar
 */
import { barOf, interpolate } from "./line_time.js";

/** @param {RowBar} bar @returns {{beats: number[], xs: number[]}} strictly rising */
export function anchorsOfBar(bar, beatsPerBar) {
  const start = (bar.number - 1) * beatsPerBar;
  const end = start + bar.bars * beatsPerBar;
  const beats = [];
  const xs = [];
  const put = (beat, x) => {
    if (!beats.length || (beat > beats[beats.length - 1] + 1e-6 && x > xs[xs.length - 1])) {
      beats.push(beat);
      xs.push(x);
    }
  };
  if (!bar.symbols.length || bar.symbols[0].beat > start + 1e-6) put(start, bar.music_left);
  for (const { beat, x } of bar.symbols) put(beat, x);
  put(end, bar.right);
  return { beats, xs };
}

/** The bar of a row that holds a beat; null when none does. @param {RowBar[]} bars */
export function barWith(bars, beat, beatsPerBar) {
  const number = barOf(beat, beatsPerBar);
  return bars.find((bar) => number >= bar.number && number < bar.number + bar.bars) ?? null;
}

/** Where a beat stands on a row; null when it is not on it. @param {RowBar[]} bars */
export function xOfBeat(bars, beat, beatsPerBar) {
  const bar = barWith(bars, beat, beatsPerBar);
  if (!bar) return null;
  const { beats, xs } = anchorsOfBar(bar, beatsPerBar);
  return interpolate(beats, xs, beat);
}

/** The beat at a place of a row: at its nearest end for a place outside. @param {RowBar[]} bars */
export function beatOfX(bars, x, beatsPerBar) {
  const bar = bars.find(({ right }) => x <= right) ?? bars[bars.length - 1];
  const { beats, xs } = anchorsOfBar(bar, beatsPerBar);
  const beat = interpolate(xs, beats, Math.max(x, xs[0]));
  const start = (bar.number - 1) * beatsPerBar;
  return Math.min(Math.max(beat, start), start + bar.bars * beatsPerBar - 1e-3);
}

/** The note whose head is nearest to a place on a row, within `reach`; null when none is. @param {RowBar[]} bars */
export function noteNear(bars, x, reach) {
  let best = null;
  for (const { symbols } of bars) {
    for (const { x: at, note } of symbols) {
      const away = Math.abs(at + reach / 3 - x);
      if (note !== null && away <= reach && (!best || away < best.away)) best = { note, away };
    }
  }
  return best?.note ?? null;
}
