/**
 * Following a part on the screen: which row is played, which rows are shown, where the marker stands, what to count.
 * @typedef {{row: {width: number, height: number, bars: {number: number, bars: number, left: number, right: number}[]}, marks: {at_s: number, x: number}[]}} StandRow
 */
import { interpolate } from "./line_time.js";

/** A stave at least this share of the screen's height is read from two metres. */
export const READABLE = 1 / 8;
const MOST_ROWS = 4;

/** The row that is played at a time: the first before the song, the last after it. @param {StandRow[]} rows */
export function rowAt(rows, at_s) {
  let found = 0;
  rows.forEach(({ marks }, index) => {
    if (marks[0].at_s <= at_s) found = index;
  });
  return found;
}

/**
 * The row to show first at a time. Where several rows are shown it is the one that is played; where there is room for
 * one only, it turns in the middle of the row's last bar, so that the next is there in time.
 */
export function rowToShow(rows, at_s, shown) {
  const played = rowAt(rows, at_s);
  if (shown > 1 || played === rows.length - 1) return played;
  const { row, marks } = rows[played];
  const last = row.bars[row.bars.length - 1];
  const bars = row.bars.reduce((sum, { bars: count }) => sum + count, 0);
  const begins = row.bars.length > 1 ? timeAt(marks, last.left) : marks[0].at_s;
  const ends = marks[marks.length - 1].at_s;
  const lastBar_s = (ends - begins) / (row.bars.length > 1 ? last.bars : bars);
  return at_s >= ends - lastBar_s / 2 ? played + 1 : played;
}

/**
 * Which row stands in which place of the screen: a row that has been played gives its place to the one that follows
 * those on the screen, so the next row is always there before it is needed.
 * @returns {(number | null)[]} an index of a row for each place from the top
 */
export function places(first, shown, count) {
  return Array.from({ length: shown }, (_, place) => {
    const row = first + ((place - (first % shown) + shown) % shown);
    return row < count ? row : null;
  });
}

/** Where the marker stands on its row. @param {{at_s: number, x: number}[]} marks */
export function markerX(marks, at_s) {
  const held = Math.min(Math.max(at_s, marks[0].at_s), marks[marks.length - 1].at_s);
  return interpolate(marks.map((mark) => mark.at_s), marks.map((mark) => mark.x), held);
}

function timeAt(marks, x) {
  return interpolate(marks.map((mark) => mark.x), marks.map((mark) => mark.at_s), x);
}

/**
 * How many rows fit, and how large: as wide as the screen where two rows fit so, else a little smaller, but never so
 * small that the stave is below `READABLE`; on an upright screen, where a row is narrow, more rows.
 * @param {{heights: number[], rowWidth: number, stave: number, width: number, height: number, head: number}} screen px
 * @returns {{scale: number, shown: number}} px for a unit of the drawing
 */
export function fitRows({ heights, rowWidth, stave, width, height, head }) {
  const room = Math.max(1, height - head);
  const wide = width / rowWidth;
  const tallest = (count) => {
    let most = 0;
    for (let i = 0; i < heights.length; i += 1) {
      most = Math.max(most, heights.slice(i, i + count).reduce((sum, one) => sum + one, 0));
    }
    return most;
  };
  for (let shown = Math.min(MOST_ROWS, heights.length); shown > 1; shown -= 1) {
    if (tallest(shown) * wide <= room) return { scale: wide, shown };
  }
  const two = room / tallest(2);
  if (heights.length > 1 && two * stave >= READABLE * height) return { scale: Math.min(wide, two), shown: 2 };
  return { scale: Math.min(wide, room / tallest(1)), shown: 1 };
}

/** The bar of a time. @param {{number: number, beats_s: number[], section: string}[]} bars */
export function barAt(bars, at_s) {
  let found = bars[0];
  for (const bar of bars) if (bar.beats_s[0] <= at_s + 1e-3) found = bar;
  return found;
}

/** The letter of the section a bar lies in. */
export function letterAt(bars, number) {
  let letter = "";
  for (const bar of bars) if (bar.number <= number && bar.section) letter = bar.section;
  return letter;
}

/**
 * What a player counts in a rest of two bars or more; null where there is nothing to count.
 * @returns {{bar: number, of: number, words: string} | null}
 */
export function restAt(silences, number) {
  const rest = silences.find(({ first_bar: first, last_bar: last }) => number >= first && number <= last);
  if (!rest || rest.last_bar === rest.first_bar) return null;
  const bar = number - rest.first_bar + 1;
  const of = rest.last_bar - rest.first_bar + 1;
  const entry = rest.entry_bar === null ? "no more to play" : `in at ${rest.letter ? `${rest.letter}, ` : ""}bar ${rest.entry_bar}`;
  return { bar, of, words: `${of} bars rest: ${bar}, ${entry}` };
}
