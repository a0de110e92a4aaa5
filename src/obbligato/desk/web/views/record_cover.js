/** What is covered so far: phrases down, takes across; and what the player says of each take. */
import { CELLS, barsText } from "../lib/record.js";
import { Action, html } from "../lib/ui.js";

const MARKS = [["good", "Good"], ["again", "Again"], ["noise", "Noise"]];
const NEWEST = 8;

/** @param {{cover: object}} props */
export function CoverMap({ cover }) {
  const takes = cover.takes.filter(({ is_placed, cells }) => is_placed && cells.length).slice(-NEWEST);
  const hidden = cover.takes.length - takes.length;
  if (!cover.phrases.length || !takes.length) return html`<p class="cover-sentence">${cover.sentence}</p>`;
  return html`<div class="cover">
    <p class="cover-sentence">${cover.sentence}</p>
    <div class="cover-scroll" tabindex="0" role="region" aria-label="Phrases by takes"><table class="nums">
      <thead><tr><th scope="col">Bars</th>${takes.map(({ number, mark, left_out: out }) => html`<th scope="col" key=${number}>${number}
        <small>${out ? "left out" : mark ?? ""}</small></th>`)}<th scope="col">usable</th></tr></thead>
      <tbody>${cover.phrases.map((phrase) => html`<tr key=${phrase.index}><th scope="row">${barsText(phrase)}</th>
        ${takes.map(({ number, cells, left_out: out, mark }) => {
          const { sign, words } = CELLS[cells[phrase.index]];
          return html`<td key=${number} class=${`cell ${cells[phrase.index]} ${out || mark === "again" ? "off" : ""}`} title=${words}><span aria-hidden="true">${sign}</span><span class="for-readers">${words}</span></td>`;
        })}<td class=${phrase.usable ? "" : "care"}>${phrase.usable}</td></tr>`)}</tbody>
    </table></div>
    <p class="small soft">${Object.values(CELLS).map(({ sign, words }) => `${sign} ${words}`).join(", ")}.${hidden > 0 ? ` ${hidden} more takes are not shown, or it is not known yet where they lie.` : ""} How it was played is read under Takes.</p>
  </div>`;
}

/** Good, again or noise: pressed once, changed at any time. */
export function Marks({ take, onMark, keys = false }) {
  return html`<fieldset class="row marks"><legend class="for-readers">Take ${take.number} is</legend>
    ${MARKS.map(([mark, word]) => html`<button type="button" key=${mark} aria-pressed=${take.mark === mark}
      onClick=${(event) => { if (event.detail) event.currentTarget.blur(); onMark(take.number, mark); }}>${word}${keys ? html` <kbd>${word[0].toLowerCase()}</kbd>` : ""}</button>`)}
  </fieldset>`;
}

/** The takes, newest first. */
export function TakeMarks({ takes, onMark }) {
  const shown = [...takes].reverse();
  return html`<ul class="take-marks">${shown.map((take) => html`<li key=${take.number}>
    <span class="nums"><strong>Take ${take.number}</strong> <span class="soft small">${take.seconds.toFixed(0)} s${take.left_out ? ", left out" : ""}</span></span>
    <${Marks} take=${take} onMark=${onMark} /></li>`)}</ul>`;
}

/** Bring takes back that were cut off. */
export function CutOff({ context: { api, announce }, address, count, onDone }) {
  if (!count) return null;
  const recover = async () => {
    const { sentences } = await api.post(`${address}/recording/recover`);
    announce(sentences.join(" "));
    onDone(sentences);
  };
  return html`<div class="notice-here"><p>${count === 1 ? "A take was cut off" : `${count} takes were cut off`} while it ran; what was recorded is there.</p>
    <${Action} main=${true} label="Put it into the job" onClick=${recover} /></div>`;
}
