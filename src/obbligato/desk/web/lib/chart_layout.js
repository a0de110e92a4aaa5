/** Where things stand on the chart: bars in rows, places in a bar, chords that keep clear of one another. No DOM. */

/** Notes stand a little right of the bar line; this share of a bar, as the engraving leaves it. */
export const LEAD = 0.06;
/** Remarks on more bars than this are said once, at the foot. */
export const WHOLE_BARS = 12;
const HEAD_UNITS = 954;
const BAR_UNITS = 4900;
const NARROW_PX = 560;
const WIDE_PX = 1500;
const CHORD_GAP_PX = 5;

/** @param {number} width_px of the sheet @returns {2 | 4 | 8} bars in a full row */
export function barsPerRow(width_px) {
  if (width_px < NARROW_PX) return 2;
  return width_px < WIDE_PX ? 4 : 8;
}

/**
 * Rows of bars: a section begins a new row, and so does bar 1.
 * @template {{number: number, section: string}} B
 * @param {B[]} bars @param {number} perRow @returns {B[][]}
 */
export function rowsOf(bars, perRow) {
  const rows = [];
  for (const bar of bars) {
    if (!rows.length || rows.at(-1).length === perRow || bar.section || bar.number === 1) rows.push([]);
    rows.at(-1).push(bar);
  }
  return rows;
}

/** Where a place in a bar (0 to 1 of its time) stands in the bar's width (0 to 1). */
export function acrossBar(share) {
  return share <= 0 ? 0 : LEAD + (1 - LEAD) * Math.min(1, share);
}

/** The inverse of `acrossBar`. */
export function timeAcross(width) {
  return Math.min(1, Math.max(0, (width - LEAD) / (1 - LEAD)));
}

/**
 * What all rows share: bars in a full row, the widest clef and key, and the width of a bar, in units of the drawings.
 * @param {{bars_x: number[]}[]} staves the engraved rows; with none a bar has its usual width
 */
export function pagePlan(staves, perRow) {
  const head = Math.max(HEAD_UNITS, ...staves.map(({ bars_x }) => bars_x[0]));
  const widths = staves.map(({ bars_x }) => (bars_x.at(-1) - bars_x[0]) / (bars_x.length - 1));
  return { perRow, head, bar: widths.length ? Math.max(...widths) : BAR_UNITS };
}

/**
 * Edges of a row's bars as shares of a full row's width, and the place of its drawing.
 * @param {number} count bars in the row
 * @param {{bars_x: number[], width: number} | null} stave the engraved row, where the line plays in it
 * @param {ReturnType<typeof pagePlan>} page
 * @returns {{edges: number[], stave: {left: number, width: number} | null}}
 */
export function rowPlan(count, stave, { perRow, head, bar }) {
  const full = head + perRow * bar;
  if (!stave) return { edges: Array.from({ length: count + 1 }, (_, i) => (head + i * bar) / full), stave: null };
  const shift = head - stave.bars_x[0];
  return {
    edges: stave.bars_x.map((x) => (x + shift) / full),
    stave: { left: shift / full, width: stave.width / full },
  };
}

/**
 * How many bars a text under a row takes, from the bar it belongs to; near the end it begins further left.
 * @returns {{from: number, span: number}} `from` counted from 0
 */
export function textSpan(from, count, text_px, bar_px) {
  const span = Math.min(count, Math.max(1, Math.ceil(text_px / bar_px)));
  return { from: Math.min(from, count - span), span };
}

/** Index of the bar that sounds at a time; -1 before the first, the last one after the end. */
export function barAt(bars, seconds) {
  let low = 0;
  let high = bars.length;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (bars[middle].start_s <= seconds) low = middle + 1;
    else high = middle;
  }
  return low - 1;
}

/**
 * Left edges in px for chords at their beats: one that would run into the next pushes it on, and all move together
 * to the left when the last would leave the bar.
 * @param {{at: number, width: number}[]} chords `at` and `width` in px
 * @param {number} room_px width of the bar
 */
export function placeChords(chords, room_px) {
  const lefts = [];
  let free = 0;
  for (const { at, width } of chords) {
    lefts.push(Math.max(at, free));
    free = lefts.at(-1) + width + CHORD_GAP_PX;
  }
  let limit = room_px;
  for (let i = chords.length - 1; i >= 0; i -= 1) {
    lefts[i] = Math.max(0, Math.min(lefts[i], limit - chords[i].width));
    limit = lefts[i] - CHORD_GAP_PX;
  }
  return lefts;
}

/** Stretches of one row, drawn together over bar lines: `parts(bar)` gives [from, to] shares of a bar. */
export function stretches(row, edges, parts) {
  const found = [];
  row.forEach((bar, index) => {
    const width = edges[index + 1] - edges[index];
    for (const part of parts(bar)) {
      const left = edges[index] + width * acrossBar(part.start);
      const right = edges[index] + width * acrossBar(part.end);
      const last = found.at(-1);
      if (last && last.key === part.key && left - last.right < 0.0005 + LEAD * width * (part.start === 0)) last.right = right;
      else found.push({ key: part.key, left, right });
    }
  });
  return found;
}

/** The bar one step on: by bars, or by rows keeping the place in the row. */
export function barBeside(rows, number, key) {
  const row = rows.findIndex((bars) => bars.some((bar) => bar.number === number));
  if (row < 0) return rows[0]?.[0]?.number ?? null;
  const place = rows[row].findIndex((bar) => bar.number === number);
  const all = rows.flat();
  const index = all.findIndex((bar) => bar.number === number);
  const to = {
    ArrowLeft: () => all[Math.max(0, index - 1)],
    ArrowRight: () => all[Math.min(all.length - 1, index + 1)],
    ArrowUp: () => atPlace(rows[Math.max(0, row - 1)], place),
    ArrowDown: () => atPlace(rows[Math.min(rows.length - 1, row + 1)], place),
    Home: () => all[0],
    End: () => all.at(-1),
  }[key];
  return to ? to().number : null;
}

const atPlace = (row, place) => row[Math.min(place, row.length - 1)];
