/** What every view is made with: the component library, the store as a hook, and a button that tells how it goes. */
import { html, render, useCallback, useEffect, useLayoutEffect, useMemo, useRef, useState } from "../vendor/htm-preact-standalone-3.1.1.js";

export { html, render, useCallback, useEffect, useLayoutEffect, useMemo, useRef, useState };
export { bytes, clock, counted, moment, signs } from "./text.js";

/**
 * A part of the store's state; the component is drawn again when that part changes. It listens from the moment it is
 * drawn: an effect after painting would miss what changes in between.
 */
export function useStore(store, select = (state) => state) {
  const [, redraw] = useState(0);
  const held = useRef();
  held.current = { value: select(store.get()), select };
  useLayoutEffect(() => store.subscribe((state) => {
    if (!Object.is(held.current.select(state), held.current.value)) redraw((n) => n + 1);
  }), [store]);
  return held.current.value;
}

/**
 * A button for something that takes a while: at once marked as busy, then what came of it is said beside it.
 * `onClick` returns a promise; what that resolves to is said when it is a text.
 */
export function Action({ label, onClick, main = false, busyLabel = "…", disabled = false, title }) {
  const [state, setState] = useState({ busy: false, said: "", bad: false });
  const alive = useRef(true);
  useEffect(() => () => { alive.current = false; }, []);
  async function press() {
    setState({ busy: true, said: "", bad: false });
    try {
      const said = await onClick();
      if (alive.current) setState({ busy: false, said: typeof said === "string" ? said : "", bad: false });
    } catch (error) {
      if (alive.current) setState({ busy: false, said: error.message, bad: error.code !== "cancelled" });
    }
  }
  return html`<span class="action">
    <button type="button" class=${main ? "main" : ""} disabled=${disabled} aria-busy=${state.busy} title=${title}
      onClick=${() => !state.busy && press()}>${state.busy ? busyLabel === "…" ? `${label} …` : busyLabel : label}</button>
    <span class=${`said ${state.bad ? "trouble" : "soft"}`} role="status" hidden=${!state.said}>${state.said}</span>
  </span>`;
}

/** A place to drop files on, with a button that does the same. */
export function Drop({ words, label = "Choose a file", accept, multiple = false, onFiles }) {
  const [over, setOver] = useState(false);
  const input = useRef();
  const take = (list) => list.length && onFiles(multiple ? [...list] : [list[0]]);
  return html`<div class=${`drop ${over ? "over" : ""}`}
    onDragOver=${(event) => { event.preventDefault(); setOver(true); }}
    onDragLeave=${() => setOver(false)}
    onDrop=${(event) => { event.preventDefault(); event.stopPropagation(); setOver(false); take(event.dataTransfer.files); }}>
    <p>${words}</p>
    <input class="for-readers" type="file" tabindex="-1" aria-label=${label} ref=${input} accept=${accept} multiple=${multiple}
      onChange=${(event) => { take(event.target.files); event.target.value = ""; }} />
    <button type="button" onClick=${() => input.current.click()}>${label}</button>
  </div>`;
}
