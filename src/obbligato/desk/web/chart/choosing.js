/** Bars as something to go to, play from and choose: pointer and keys. */
import { barBeside } from "../lib/chart_layout.js";
import { useEffect, useLayoutEffect, useRef, useStore } from "../lib/ui.js";

const CARD = [
  { keys: "Left / Right", does: "go from bar to bar" },
  { keys: "Up / Down", does: "go from row to row" },
  { keys: "Home / End", does: "go to the first or last bar" },
  { keys: "Enter", does: "play from this bar" },
  { keys: "Shift+Left / Shift+Right", does: "choose bars to loop" },
  { keys: "Esc", does: "choose no bars" },
];

/** @returns what the grid listens to */
export function useChoosing(context, rows, sheet, onBar) {
  const { store, actions, keys } = context;
  const selection = useStore(store, (state) => state.selection);
  const held = useRef({ here: null, anchor: null, dragged: false, down: null });
  const latest = useRef({});
  latest.current = { rows, onBar };

  useEffect(() => keys?.add("On the chart", CARD), [keys]);
  useLayoutEffect(() => {
    for (const cell of sheet.current.querySelectorAll(".chart-bar")) {
      const number = Number(cell.dataset.bar);
      const chosen = selection !== null && number >= selection.first && number <= selection.last;
      cell.setAttribute("aria-selected", String(chosen));
    }
  });
  useLayoutEffect(() => {
    const all = rows.flat();
    const here = all.some((bar) => bar.number === held.current.here) ? held.current.here : all.find((bar) => bar.number >= 1)?.number ?? all[0].number;
    goTo(here, { focus: false });
  });

  const cellOf = (number) => sheet.current?.querySelector(`[data-bar="${number}"]`);
  const numberAt = (event) => {
    const cell = event.target.closest?.("[data-bar]");
    return cell ? Number(cell.dataset.bar) : null;
  };

  function goTo(number, { focus = true } = {}) {
    const before = sheet.current.querySelector('.chart-bar[tabindex="0"]');
    const cell = cellOf(number);
    if (!cell) return;
    if (before && before !== cell) before.tabIndex = -1;
    cell.tabIndex = 0;
    held.current.here = number;
    if (focus) {
      store.set({ here: number });
      cell.focus({ preventScroll: true });
      cell.scrollIntoView({ block: "nearest" });
    }
  }

  function play(number) {
    if (latest.current.onBar) latest.current.onBar(number);
    else actions.playFrom(number);
  }

  function choose(number) {
    held.current.anchor ??= held.current.here ?? number;
    actions.select(held.current.anchor, number);
  }

  function letGo() {
    held.current.anchor = null;
    actions.select(null);
  }

  function onKeyDown(event) {
    const number = numberAt(event);
    if (number === null || event.altKey || event.ctrlKey || event.metaKey) return;
    const next = barBeside(latest.current.rows, number, event.key);
    if (next !== null) {
      if (event.shiftKey) {
        held.current.anchor ??= number;
        goTo(next);
        choose(next);
      } else {
        held.current.anchor = null;
        goTo(next);
      }
    } else if (event.key === "Enter") play(number);
    else if (event.key === "Escape" && store.get().selection) letGo();
    else return;
    event.preventDefault();
    event.stopPropagation();
  }

  function onPointerDown(event) {
    const number = numberAt(event);
    if (number === null || event.button !== 0) return;
    if (event.shiftKey) {
      event.preventDefault();
      choose(number);
      goTo(number);
      held.current.down = null;
      return;
    }
    held.current.down = event.pointerType === "touch" ? null : number;
    held.current.dragged = false;
  }

  function onPointerMove(event) {
    const { down } = held.current;
    const number = down === null ? null : numberAt(event);
    if (number === null || !(event.buttons & 1) || (number === down && !held.current.dragged)) return;
    held.current.dragged = true;
    held.current.anchor = down;
    actions.select(down, number);
  }

  function onPointerUp() {
    held.current.down = null;
  }

  function onClick(event) {
    const number = numberAt(event);
    if (number === null || event.shiftKey) return;
    if (held.current.dragged) {
      held.current.dragged = false;
      return;
    }
    const { selection: chosen } = store.get();
    if (chosen && (number < chosen.first || number > chosen.last)) letGo();
    held.current.anchor = null;
    goTo(number);
    play(number);
  }

  return { onKeyDown, onPointerDown, onPointerMove, onPointerUp, onClick };
}
