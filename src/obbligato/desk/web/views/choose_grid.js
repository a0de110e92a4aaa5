/** Phrases down, takes across; a pencil line runs through what is chosen. */
import { html, signs, useRef } from "../lib/ui.js";
import { pencilLine } from "../lib/choice_path.js";
import { moved, takeName } from "../lib/choice.js";
import { CellPicture, cellWords, shortVerdict } from "./choose_cell.js";

/**
 * @param {{choice: object, takes: number[], place: {row: number, column: number}, hidden: number[]|null, playing: object|null,
 *   pitch: string, onPlace: Function, onPlay: Function}} props `takes`: the numbers in the order shown
 */
export function Grid({ choice, takes, place, hidden, playing, pitch, onPlace, onPlay }) {
  const grid = useRef();
  const size = { rows: choice.phrases.length, columns: takes.length };
  function onKeyDown(event) {
    const cell = event.target.closest("[role=gridcell]");
    if (!cell || event.altKey || event.ctrlKey || event.metaKey) return;
    if (event.key === "Enter") {
      event.preventDefault();
      onPlay(event.shiftKey);
      return;
    }
    const from = { row: Number(cell.dataset.row), column: Number(cell.dataset.column) };
    const to = event.shiftKey ? null : moved(from, event.key, size);
    if (!to) return;
    event.preventDefault();
    const there = grid.current.querySelector(`[data-row="${to.row}"][data-column="${to.column}"]`);
    there.focus({ preventScroll: true });
    there.scrollIntoView({ block: "nearest", inline: "nearest" });
  }
  return html`<div class="choose-grid" role="grid" aria-label="Phrases down, takes across" aria-rowcount=${size.rows + 1} aria-colcount=${size.columns + 1}
    style=${`--takes: ${takes.length}`} ref=${grid} onKeyDown=${onKeyDown}>
    <div class="choose-row choose-head" role="row" aria-rowindex="1">
      <div role="columnheader" class="choose-corner">Phrase</div>
      ${takes.map((number) => html`<div role="columnheader" key=${number}>${takeName(number, hidden)}</div>`)}
    </div>
    <div class="choose-body" role="rowgroup">
      <${Pencil} choice=${choice} takes=${takes} />
      ${choice.phrases.map((row, index) => html`<div class="choose-row" role="row" aria-rowindex=${index + 2} key=${row.index}>
        <${RowHead} row=${row} pitch=${pitch} />
        ${takes.map((number, column) => html`<${GridCell} key=${column} row=${row} cell=${row.cells.find((one) => one.take === number)} number=${number}
          hidden=${hidden} at=${{ row: index, column }} here=${place.row === index && place.column === column} playing=${playing?.phrase === row.index && playing?.take === number}
          onPlace=${() => onPlace({ row: index, column })} />`)}
      </div>`)}
    </div>
  </div>`;
}

function RowHead({ row, pitch }) {
  const names = row.notes.slice(0, 4).map((note) => signs(note[pitch]));
  return html`<div role="rowheader" class="choose-rowhead">
    <span><strong>${row.index + 1}</strong> <span class="soft">bar${row.first_bar === row.last_bar ? "" : "s"} ${row.bars}</span>${row.section && html` <span class="choose-letter" aria-label=${`section ${row.section}`}>${row.section}</span>`}</span>
    <span class="small soft">${names.join(" ")}${row.notes.length > 4 ? " …" : ""}</span>
    ${row.by_hand && html`<span class="choose-hand">by hand</span>`}
  </div>`;
}

function GridCell({ row, cell, number, hidden, at, here, playing, onPlace }) {
  const chosen = row.chosen === number;
  const state = `${chosen ? row.by_hand ? "used by-hand" : "used" : ""} ${cell?.flags.some((flag) => flag !== "absent") ? "faulty" : ""} ${cell?.flags.includes("absent") ? "absent" : ""} ${playing ? "playing" : ""}`;
  if (!cell) {
    return html`<div role="gridcell" class="choose-cell" data-row=${at.row} data-column=${at.column} tabindex=${here ? 0 : -1} aria-label=${`${takeName(number, hidden)}: not read yet`} onFocus=${onPlace}>
      <span class="small soft">not read yet</span></div>`;
  }
  return html`<div role="gridcell" class=${`choose-cell ${state}`} data-row=${at.row} data-column=${at.column} tabindex=${here ? 0 : -1}
    aria-selected=${chosen} aria-label=${cellWords(row, cell, hidden)} onFocus=${onPlace}>
    <${CellPicture} cell=${cell} />
    <span class="choose-verdict small">${shortVerdict(cell, hidden)}</span>
    ${playing && html`<span class="choose-playing small" aria-hidden="true">playing</span>`}
  </div>`;
}

/** The line through the chosen cells, behind the pictures; what it says stands in each cell's own words. */
function Pencil({ choice, takes }) {
  const columns = choice.phrases.map(({ chosen }) => { const column = takes.indexOf(chosen); return column < 0 ? null : column; });
  return html`<svg class="choose-pencil" viewBox="0 0 ${takes.length} ${columns.length}" preserveAspectRatio="none" aria-hidden="true" focusable="false">
    <path d=${pencilLine(columns)} /></svg>`;
}
