/** One phrase in one take: its picture, and the same in words. */
import { html, signs, useMemo } from "../lib/ui.js";
import { noteWords, outlines, picture } from "../lib/choice_picture.js";
import { renamed, shortened, takeName } from "../lib/choice.js";

const SMALL = { width: 120, height: 44 };
const HEAD = 3.6;

/** The picture small, for the grid: it is told in words by the cell that holds it. */
export function CellPicture({ cell }) {
  return useMemo(() => {
    const drawn = picture(cell, SMALL);
    return html`<svg class="cell-picture" viewBox="0 0 ${SMALL.width} ${SMALL.height}" aria-hidden="true" focusable="false">
      <${Lines} drawn=${drawn} width=${SMALL.width} head=${Math.min(HEAD, 0.36 * drawn.slot)} /></svg>`;
  }, [cell]);
}

/** The picture large, with the names of the notes under their places. */
export function LargePicture({ cell, notes, pitch }) {
  const width = Math.max(300, 64 * (cell.notes.length + (cell.extra_notes ? 1 : 0)));
  const height = 150;
  const drawn = picture(cell, { width, height });
  return html`<svg class="large-picture" viewBox="0 -14 ${width} ${height + 44}" style=${`max-width: ${width * 1.15}px`} role="img" aria-label=${pictureWords(cell, notes, pitch)}>
    <${Lines} drawn=${drawn} width=${width} head=${8} />
    <text class="cell-scale" x="2" y="0">sharp</text><text class="cell-scale" x="2" y=${height - 2}>flat</text>
    <text class="cell-scale" x=${width - 2} y="0" text-anchor="end">early ‹ › late</text>
    ${drawn.marks.map(({ place }, position) => html`<text class="cell-note" x=${place} y=${height + 22} text-anchor="middle">${signs(notes[position][pitch])}</text>`)}
  </svg>`;
}

function Lines({ drawn, width, head }) {
  const lines = outlines(drawn, head);
  return html`<path class="in-tune" d=${`M0 ${drawn.middle}H${width}`} /><path class="places" d=${lines.places} />
    <path class="tails" d=${lines.tails} /><path class="played" d=${lines.played} /><path class="far" d=${lines.far} /><path class="missed" d=${lines.missed} />
    <path class="other" d=${lines.other} /><path class="extras" d=${lines.extras} />`;
}

/** The picture in words, note by note. */
export function pictureWords(cell, notes, pitch) {
  const told = cell.notes.map((note, position) => `${signs(notes[position][pitch])} ${noteWords(note)}`);
  if (cell.extra_notes) told.push(cell.extra_notes === 1 ? "one note too many" : `${cell.extra_notes} notes too many`);
  return `${told.join("; ")}.`;
}

/** A verdict without the remedies and the places, for where there is little room. */
export function shortVerdict(cell, hidden) {
  return signs(renamed(shortened(cell.verdict), hidden));
}

/** What a reader of the screen is told of a cell. */
export function cellWords(row, cell, hidden) {
  const chosen = row.chosen === cell.take ? row.by_hand ? " Used, by hand." : " Used." : "";
  return `${takeName(cell.take, hidden)}: ${shortVerdict(cell, hidden)}.${chosen}`;
}
