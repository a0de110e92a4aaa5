/** Having the server draw the line: only the rows that changed, and all of it once the pen rests. */
import { changedPart } from "../lib/line_edit.js";
import { barOf } from "../lib/line_time.js";

const REST_MS = 1500;

/** @param {{api: object, address: string, store: ReturnType<import("../state/store.js").createStore>}} line */
export function createDrawing({ api, address, store }) {
  let look = { per_row: 4, width_staves: 28, pitch: "written" };
  let under = null;
  let timer = 0;

  async function draw({ all = false } = {}) {
    clearTimeout(timer);
    const { notes, engraved, rows, sheet } = store.get();
    const part = engraved && !all && rows.length ? changedPart(engraved, notes) : undefined;
    if (part === null) return;
    const bars = part && {
      first_bar: barOf(part.from, sheet.beats_per_bar) - 1, last_bar: barOf(part.to, sheet.beats_per_bar) + 1,
    };
    under?.abort();
    const mine = new AbortController();
    under = mine;
    try {
      const drawn = await api.post(`${address}/draft`, { notes, ...look, ...bars }, { signal: mine.signal });
      if (under === mine) take(drawn, notes, Boolean(bars));
    } catch (error) {
      if (error.name !== "AbortError") store.set({ refused: error.message });
    }
  }

  function take(drawn, notes, partly) {
    const { rows, engraved, first, last, feel } = store.get();
    const moved = partly && (drawn.first_bar !== first || drawn.last_bar !== last || drawn.feel !== feel);
    store.set({
      rows: partly ? merged(rows, drawn.rows, notes.length - engraved.length) : drawn.rows.map((row) => ({ ...row, later: 0 })),
      views: drawn.notes, remarks: drawn.remarks, budgets: drawn.budgets, phrases: drawn.phrases, engraved: notes, refused: "",
      first: drawn.first_bar, last: drawn.last_bar, feel: drawn.feel,
    });
    if (moved) draw({ all: true });
    else if (partly) timer = setTimeout(() => draw({ all: true }), REST_MS);
  }

  return {
    draw,
    /** How it is to be drawn: bars a row, width of a row in staves, written or sounding. */
    lookAt(wanted) {
      if (Object.keys(wanted).every((key) => wanted[key] === look[key])) return;
      look = { ...look, ...wanted };
      if (store.get().phase === "ready") draw({ all: true });
    },
    close() {
      clearTimeout(timer);
      under?.abort();
    },
  };
}

/** Rows with the fresh ones in their places; those after them have their notes counted on by `more`. */
export function merged(rows, fresh, more) {
  const first = fresh[0].bars[0].number;
  const lastBar = fresh[fresh.length - 1].bars.at(-1);
  const after = lastBar.number + lastBar.bars;
  return [
    ...rows.filter(({ bars }) => bars[0].number < first),
    ...fresh.map((row) => ({ ...row, later: 0 })),
    ...rows.filter(({ bars }) => bars[0].number >= after).map((row) => ({ ...row, later: row.later + more })),
  ];
}
