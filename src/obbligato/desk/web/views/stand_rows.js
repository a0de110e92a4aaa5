/** Rows of music on a whole screen that follow a place in the song: those of the stand and of a take that runs. */
import { barAt, letterAt, markerX, restAt, rowAt, rowToShow } from "../lib/stand.js";
import { html, useEffect, useRef, useState } from "../lib/ui.js";

const RATIO_STEP = 0.05;
export const MARGIN_PX = 16;

/** The shape of the screen as the server lays the part out for it. */
export function ratioOf({ width, height }) {
  return Math.max(0.2, Math.min(6, Math.round(width / height / RATIO_STEP) * RATIO_STEP)).toFixed(2);
}

/** The bar, its section, and what is to be counted there. */
export function counted(part, number) {
  return { bar: number, letter: letterAt(part.bars, number), rest: restAt(part.silences, number) };
}

/** A row of music with its marker; `over` is drawn on top of it, in the row's own units. */
export function Row({ one, scale, played, onMark, index, over = null }) {
  const mark = useRef();
  const { row } = one;
  useEffect(() => onMark(index, mark.current), [index]);
  const first = row.bars[0].number;
  const last = row.bars[row.bars.length - 1];
  const number = first === last.number + last.bars - 1 ? `Bar ${first}` : `Bars ${first} to ${last.number + last.bars - 1}`;
  return html`<section class=${`stand-row ${played ? "played" : ""}`} style=${{ width: `${row.width * scale}px`, height: `${row.height * scale}px` }} aria-label=${number}>
    <span class="stand-number nums" aria-hidden="true">${first}</span>
    <div aria-hidden="true" dangerouslySetInnerHTML=${{ __html: row.svg }}></div>
    <svg class="stand-over" viewBox=${`0 0 ${row.width} ${row.height}`} aria-hidden="true">
      <rect ref=${mark} class="stand-mark" y=${row.stave_top - 24} height="128" width="0" />${over}</svg>
  </section>`;
}

/** Where the song is as `source.onFrame` tells it, which rows are to be shown for it, and turning them by hand. */
export function useFollowing({ source, part, shown, playing }) {
  const [state, setState] = useState({ first: 0, played: 0, bar: 1 });
  const [byHand, setByHand] = useState(null);
  const marks = useRef(new Map());
  const hand = useRef(null);
  hand.current = byHand;
  const calm = useRef(matchMedia("(prefers-reduced-motion: reduce)"));

  useEffect(() => {
    if (!part) return undefined;
    return source.onFrame((position_s) => {
      const played = rowAt(part.rows, position_s);
      const first = rowToShow(part.rows, position_s, shown);
      const bar = barAt(part.bars, position_s).number;
      setState((before) => (before.first === first && before.played === played && before.bar === bar ? before : { first, played, bar }));
      if (hand.current !== null && played >= hand.current && played < hand.current + shown && inside(position_s, part.rows[played])) setByHand(null);
      for (const [index, mark] of marks.current) place(mark, part.rows[index], index === played, position_s, calm.current.matches);
    });
  }, [part, shown]);
  useEffect(() => { if (playing) setByHand(null); }, [playing]);

  const first = byHand ?? state.first;
  const last = (part?.rows.length ?? 1) - 1;
  return {
    ...state, first, away: byHand !== null,
    turn: (pages) => setByHand(Math.min(Math.max((hand.current ?? state.first) + pages * shown, 0), last)),
    to: (row) => setByHand(row),
    again: () => setByHand(null),
    register(index, mark) {
      marks.current.set(index, mark);
      return () => marks.current.delete(index);
    },
  };
}

/** Whether the song is inside a row, and not before or after it. */
function inside(position_s, { marks }) {
  return position_s >= marks[0].at_s && position_s <= marks[marks.length - 1].at_s;
}

/** The marker is a narrow stroke that moves with the song; where motion is not wanted, the bar itself is shaded. */
function place(mark, one, here, position_s, calm) {
  if (!mark || !one) return;
  if (!here || position_s < one.marks[0].at_s) {
    mark.setAttribute("width", 0);
    return;
  }
  const x = markerX(one.marks, position_s);
  const bar = calm && one.row.bars.find(({ left, right }) => x >= left && x <= right);
  mark.setAttribute("x", bar ? bar.left : x - 4);
  mark.setAttribute("width", bar ? bar.right - bar.left : 8);
}

/** The size of the window. */
export function useScreen() {
  const size = () => ({ width: innerWidth, height: innerHeight });
  const [screen, setScreen] = useState(size);
  useEffect(() => {
    const measure = () => setScreen(size());
    addEventListener("resize", measure);
    return () => removeEventListener("resize", measure);
  }, []);
  return screen;
}
