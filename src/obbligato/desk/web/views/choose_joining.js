/** How takes are joined: the dial from fewest joins to the best of each phrase, a base take, gains that match. */
import { Action, html, useState } from "../lib/ui.js";

const SAID = [[0, "as few joins as possible"], [0.25, "fewer joins"], [0.5, "balanced"], [0.75, "more joins"], [1, "the best of each phrase"]];

/** What the dial says at a place from 0 to 1. */
export function dialWords(joins) {
  return SAID.reduce((best, one) => (Math.abs(one[0] - joins) < Math.abs(best[0] - joins) ? one : best))[1];
}

export function Joining({ deciding, takes }) {
  const { choice, join } = deciding;
  const [dial, setDial] = useState(null);
  const joins = dial ?? choice.joins;
  const settle = async () => {
    if (dial === null || dial === choice.joins) return setDial(null);
    await join({ joins: dial });
    setDial(null);
  };
  const proposed = Object.entries(choice.matching_db);
  const inForce = Object.entries(choice.gains_db);
  return html`<fieldset class="choose-joining"><legend>How they are joined</legend>
    <label class="choose-dial"><span>Fewest joins</span>
      <input type="range" class="choose-turn" min="0" max="1" step="0.05" value=${joins} style=${`--done: ${100 * joins}%`} aria-label="From fewest joins to the best of each phrase" aria-valuetext=${dialWords(joins)}
        onInput=${(event) => setDial(Number(event.target.value))} onChange=${settle} />
      <span>Best of each phrase</span></label>
    <p class="small soft" role="status">${dialWords(joins)}</p>
    <label>Keep where no other is clearly better <select value=${choice.base ?? ""} onChange=${(event) => join({ base: event.target.value ? Number(event.target.value) : null })}>
      <option value="">no take</option>${takes.map((number) => html`<option value=${number}>take ${number}</option>`)}</select></label>
    ${proposed.length > 0 && html`<p>To be equally loud where they meet: ${gains(proposed)}. <${Action} label="Use these gains" onClick=${() => join({ gains_db: choice.matching_db })} /></p>`}
    ${inForce.length > 0 && html`<p>Gains in force: ${gains(inForce)}. <${Action} label="Without gains" onClick=${() => join({ gains_db: Object.fromEntries(inForce.map(([take]) => [take, 0])) })} /></p>`}
  </fieldset>`;
}

const gains = (entries) => entries.map(([take, db]) => `take ${take} ${db > 0 ? "+" : "−"}${Math.abs(db).toFixed(1)} dB`).join(", ");
