/** The level of what comes in: a line for each input with its highest mark, and the same in words. */
import { AIM_DBFS, levelWord, meterShare, meterWords } from "../lib/record.js";
import { html } from "../lib/ui.js";

const TICKS = [-48, -36, -24, -18, -12, -6, 0];
const WORDS = { over: "Too loud", high: "Loud", low: "Soft", good: "Good" };

/** @param {{meter: object | null, large?: boolean}} props */
export function Meter({ meter, large = false }) {
  const inputs = meter?.peak_dbfs ?? [-200];
  const at = (dbfs) => `${100 * meterShare(dbfs)}%`;
  const word = levelWord(meter);
  return html`<div class=${`meter ${large ? "large" : ""} ${word}`}>
    <div class="meter-lines" aria-hidden="true">
      <span class="meter-aim" style=${{ left: at(AIM_DBFS[0]), right: `${100 - 100 * meterShare(AIM_DBFS[1])}%` }}></span>
      ${inputs.map((peak, i) => html`<div class="meter-line" key=${i}>
        <span class="meter-now" style=${{ width: at(peak) }}></span>
        ${meter && html`<span class="meter-hold" style=${{ left: at(meter.hold_dbfs[i]) }}></span>
          <span class="meter-highest" style=${{ left: at(meter.highest_dbfs[i]) }}></span>`}
      </div>`)}
      <div class="meter-scale">${TICKS.map((tick) => html`<span style=${{ left: at(tick) }}>${tick ? `−${-tick}` : "0"}</span>`)}</div>
    </div>
    <p class="meter-words nums"><strong>${meter?.overs ? `Over ${meter.overs}` : WORDS[word] ?? ""}</strong> ${meterWords(meter)}</p>
  </div>`;
}
