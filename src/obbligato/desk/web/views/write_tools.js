/** The buttons of the sheet, in words; each does what its key does, and gives the focus back to the sheet. */
import { html, useMemo, useStore } from "../lib/ui.js";
import { addAtCaret, editsOf } from "./write_sheet.js";

const GROUPS = [
  ["Go back and forth", ["undo", "redo"]],
  ["The note", ["up", "down", "octaveUp", "octaveDown", "earlier", "later", "longer", "shorter", "remove"]],
];

/** @param {{line: ReturnType<import("./write_line.js").createLine>, usual: number}} props */
export function Tools({ line, usual }) {
  const { steps, step, picked, history, phase, refused } = useStore(line.store);
  const edits = useMemo(() => new Map(editsOf(line).map((edit) => [edit.id, edit])), [line]);
  const off = { undo: !history.past.length, redo: !history.future.length };
  const press = (id) => (event) => {
    edits.get(id).run();
    if (event.detail) document.querySelector(".write-sheet")?.focus({ preventScroll: true });
  };
  return html`<div class="write-tools" role="toolbar" aria-label="Change the line">
    ${GROUPS.map(([label, ids]) => html`<div class="group" role="group" aria-label=${label}>
      ${ids.map((id) => html`<button type="button" title=${`${edits.get(id).does} (${edits.get(id).keys.split(" / ")[0]})`}
        disabled=${phase !== "ready" || (id in off ? off[id] : picked < 0)} onClick=${press(id)}>${edits.get(id).label}</button>`)}
    </div>`)}
    <div class="group">
      <button type="button" title="add a note at the mark (Enter)" disabled=${phase !== "ready"} onClick=${() => addAtCaret(line, null, 80, usual)}>Add a note</button>
      <label>step <select value=${step} onChange=${(event) => line.setStep(Number(event.target.value))}>
        ${steps.map(({ name }, index) => html`<option value=${index} selected=${index === step}>${name}</option>`)}</select></label>
    </div>
    <p class="refused trouble" role="status" hidden=${!refused}>${refused}</p>
  </div>`;
}
