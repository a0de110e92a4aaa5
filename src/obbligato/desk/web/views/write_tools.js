/** The buttons of the sheet, in words; each does what its key does, and gives the focus back to the sheet. */
import { hasMark, LEVELS, marksOf, setLevel } from "../lib/line_marks.js";
import { html, useMemo, useStore } from "../lib/ui.js";
import { addAtCaret, editsOf } from "./write_sheet.js";

const GROUPS = [
  ["Go back and forth", ["undo", "redo"]],
  ["The note", ["up", "down", "octaveUp", "octaveDown", "earlier", "later", "longer", "shorter", "remove"]],
];
const MARKS = ["staccato", "tenuto", "accent", "marcato", "slur", "crescendo", "diminuendo", "breath"];

/** @param {{line: ReturnType<import("./write_line.js").createLine>, usual: number}} props */
export function Tools({ line, usual }) {
  const { steps, step, picked, notes, history, phase, refused } = useStore(line.store);
  const [first, last] = line.chosen();
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
    <div class="group" role="group" aria-label="Marks">
      ${MARKS.map((id) => html`<button type="button" title=${`${edits.get(id).does} (${edits.get(id).keys})`} disabled=${phase !== "ready" || picked < 0}
        aria-pressed=${hasMark(notes, first, last, id)} onClick=${press(id)}>${edits.get(id).label}</button>`)}
      <label>dynamic <select disabled=${phase !== "ready" || picked < 0} value=${marksOf(notes[first]).level ?? ""} onChange=${(event) => line.mark((all, from, _, index) => ({ ...setLevel(all, from, event.target.value || null), index }))}>
        ${["", ...LEVELS].map((level) => html`<option value=${level} selected=${level === (marksOf(notes[first]).level ?? "")}>${level || "none"}</option>`)}</select></label>
    </div>
    <p class="refused trouble" role="status" hidden=${!refused}>${refused}</p>
  </div>`;
}
