/** One phrase in one take, large: its picture, its verdict, why which take is used, and what can be done. */
import { html, signs } from "../lib/ui.js";
import { noteDetails, noteWords } from "../lib/choice_picture.js";
import { renamed, takeName } from "../lib/choice.js";
import { LargePicture } from "./choose_cell.js";

export function Phrase({ row, cell, number, hidden, pitch, playing, audible, onPlay, onChoose }) {
  const name = takeName(number, hidden);
  const Name = name[0].toUpperCase() + name.slice(1);
  const chosen = row.chosen === number;
  const heard = playing?.phrase === row.index && playing?.take === number;
  return html`<section class="choose-phrase" aria-label=${`Phrase ${row.index + 1}, ${name}`}>
    <h3>Phrase ${row.index + 1} <span class="soft">bar${row.first_bar === row.last_bar ? "" : "s"} ${row.bars}${row.section && `, section ${row.section}`}</span> · ${Name}</h3>
    ${cell ? html`<${LargePicture} cell=${cell} notes=${row.notes} pitch=${pitch} />
      <p class=${cell.flags.length ? "care" : ""}>${cell.flags.length ? "" : html`<span class="good">✓ </span>`}${signs(renamed(cell.verdict, hidden))} ${cell.lost && html`<span class="small soft">${cell.lost}</span>`}
        ${cell.breath_dbfs !== null && html` <span class="small soft">${signs(`The breath before it reaches ${cell.breath_dbfs.toFixed(0)} dBFS.`)}</span>`}</p>` : html`<p class="soft">${Name} has not been read yet.</p>`}
    <div class="row">
      <button type="button" disabled=${!audible} onClick=${() => onPlay(false)}>${heard && !playing.alone ? "Stop" : "Play with the guide"}</button>
      <button type="button" disabled=${!audible} onClick=${() => onPlay(true)}>${heard && playing.alone ? "Stop" : "Play alone"}</button>
      <button type="button" class=${chosen ? "" : "main"} aria-pressed=${chosen} disabled=${!cell} onClick=${() => onChoose(number)}>${chosen ? `${Name} is used` : `Use ${name}`}</button>
      ${row.by_hand && html`<button type="button" onClick=${() => onChoose(null)}>As proposed</button>`}
    </div>
    ${!audible && cell && html`<p class="small soft">The takes can be heard once the comp has been rendered.</p>`}
    <p><em>${row.chosen === null ? "" : `${cap(takeName(row.chosen, hidden))} is used. `}${signs(renamed(row.why, hidden))}</em> ${signs(renamed(row.change, hidden))}</p>
    ${cell && html`<details><summary>Note by note</summary><table class="nums small"><thead><tr><th>Note</th><th>How it was played</th><th>More</th></tr></thead>
      <tbody>${cell.notes.map((note, position) => html`<tr><td>${signs(row.notes[position][pitch])}</td><td>${noteWords(note)}</td><td class="soft">${noteDetails(note)}</td></tr>`)}
        ${cell.extra_notes > 0 && html`<tr><td>besides</td><td>${cell.extra_notes === 1 ? "one note too many" : `${cell.extra_notes} notes too many`}</td><td></td></tr>`}</tbody></table></details>`}
  </section>`;
}

const cap = (text) => text[0].toUpperCase() + text.slice(1);
