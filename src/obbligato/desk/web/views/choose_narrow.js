/** Choosing on a small page: one phrase at a time, its takes one under another. */
import { html, signs } from "../lib/ui.js";
import { takeName } from "../lib/choice.js";
import { CellPicture, shortVerdict } from "./choose_cell.js";

export function OneByOne({ choice, takes, hidden, pitch, place, onPlace, children }) {
  const row = choice.phrases[place.row];
  const last = choice.phrases.length - 1;
  const go = (to) => onPlace({ row: to, column: Math.max(0, takes.indexOf(choice.phrases[to].chosen)) });
  return html`<div class="choose-one">
    <div class="row choose-turn">
      <button type="button" disabled=${place.row === 0} onClick=${() => go(place.row - 1)}>Phrase before</button>
      <strong class="nums">${row.index + 1} of ${last + 1}</strong>
      <button type="button" disabled=${place.row === last} onClick=${() => go(place.row + 1)}>Next phrase</button>
    </div>
    <p class="soft">Bar${row.first_bar === row.last_bar ? "" : "s"} ${row.bars}${row.section && `, section ${row.section}`}: ${row.notes.slice(0, 6).map((note) => signs(note[pitch])).join(" ")}${row.notes.length > 6 ? " …" : ""}</p>
    <div class="choose-stack" role="group" aria-label="Takes of this phrase">${takes.map((number, column) => {
      const cell = row.cells.find((one) => one.take === number);
      const here = column === place.column;
      const used = row.chosen === number ? row.by_hand ? "used by-hand" : "used" : "";
      return html`<button type="button" aria-expanded=${here} key=${number} class=${`choose-card ${used} ${cell?.flags.length ? "faulty" : ""}`} onClick=${() => onPlace({ row: place.row, column })}>
        <span class="choose-card-name">${takeName(number, hidden)}${used && html`<span class="small soft">${row.by_hand ? "by hand" : "used"}</span>`}</span>
        ${cell ? html`<${CellPicture} cell=${cell} /><span class="small choose-card-words">${shortVerdict(cell, hidden)}</span>` : html`<span class="small">not read yet</span>`}
      </button>${here && children}`;
    })}</div>
  </div>`;
}
