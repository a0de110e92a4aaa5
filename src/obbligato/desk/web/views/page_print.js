/** How the part is printed: the print, the stave's height, the sheet and its ground; remembered on this machine. */
import { html, useState } from "../lib/ui.js";

const REMEMBERED = "part-print";
const PRINTS = [
  ["normal", "Normal"],
  ["large", "Large print"],
  ["low-vision", "Low vision (bold, thicker lines)"],
];
const SMALLEST_MM = 5;
const LARGEST_MM = 30;

/** What the player chose last, how to change it, and the order that is sent for it. */
export function usePrint() {
  const [chosen, setChosen] = useState(remembered);
  return {
    chosen,
    choose(change) {
      const next = { ...chosen, ...change };
      setChosen(next);
      localStorage.setItem(REMEMBERED, JSON.stringify(next));
    },
    order() {
      const { print, stave, landscape, tinted } = chosen;
      const stave_mm = stave.trim() === "" ? null : Number(stave.replace(",", "."));
      if (stave_mm !== null && !(stave_mm >= SMALLEST_MM && stave_mm <= LARGEST_MM)) {
        throw new Error(`Write the stave's height as a number of millimetres from ${SMALLEST_MM} to ${LARGEST_MM}; 7 is usual.`);
      }
      return { print, stave_mm, landscape, tinted };
    },
  };
}

function remembered() {
  const usual = { print: "normal", stave: "", landscape: false, tinted: false };
  try {
    return { ...usual, ...JSON.parse(localStorage.getItem(REMEMBERED)) };
  } catch {
    return usual;
  }
}

export function PrintChoice({ print: { chosen, choose } }) {
  return html`<fieldset class="page-print">
    <legend class="small">The print you read, beside the normal one</legend>
    <div class="song-fields">
      <label>Print <select value=${chosen.print} onChange=${(event) => choose({ print: event.target.value })}>
        ${PRINTS.map(([name, words]) => html`<option key=${name} value=${name} selected=${name === chosen.print}>${words}</option>`)}</select></label>
      <label>Stave in mm <input inputmode="decimal" size="4" maxlength="5" placeholder="usual" autocomplete="off" value=${chosen.stave}
        onInput=${(event) => choose({ stave: event.target.value })} /></label>
    </div>
    <div class="row small">
      <label><input type="checkbox" checked=${chosen.landscape} onChange=${(event) => choose({ landscape: event.target.checked })} /> Sheet across</label>
      <label><input type="checkbox" checked=${chosen.tinted} onChange=${(event) => choose({ tinted: event.target.checked })} /> Off-white ground</label>
    </div>
  </fieldset>`;
}
