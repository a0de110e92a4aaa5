/** What is in the headphones while recording, how loud, and what that may mean for the ears. */
import { Action, html, useState } from "../lib/ui.js";

const USUAL_CLICK_DB = 2;

export function Phones({ context, address, view, job, onSettings }) {
  const { api, announce } = context;
  const { levels, headphones, volts } = view.settings;
  const [said, setSaid] = useState([]);
  const [trouble, setTrouble] = useState("");
  const hasMockup = job.made.some(({ stage }) => stage === "mockup");
  const change = (patch) => api.patch("/recording/settings", patch).then((settings) => { setTrouble(""); setSaid([]); onSettings(settings); }, (error) => setTrouble(error.message));
  const level = (patch) => change({ levels: { ...levels, ...patch } });
  async function mix() {
    const { result } = await api.work(api.post(`${address}/recording/phones`));
    setSaid(result.sentences);
    announce("Mixed for the headphones.");
  }
  return html`<section class="stack phones"><h3>In the headphones</h3>
    <${Level} name="Guide" words="brought down to a comfortable level" value=${levels.guide_db} usual=${-10} min=${-40} max=${0} off="turned down by itself" onChange=${(guide_db) => level({ guide_db })} />
    <${Level} name="Click" words="against the guide" value=${levels.click_db} usual=${USUAL_CLICK_DB} min=${-20} max=${12} onChange=${(click_db) => level({ click_db })} />
    ${hasMockup && html`<${Level} name="Mock-up" words="against its level in the mock-up" value=${levels.mockup_db} usual=${-6} min=${-30} max=${6} off="not heard" onChange=${(mockup_db) => level({ mockup_db })} />`}
    <${Level} name="Yourself" words="against how you come in" value=${levels.self_db} usual=${0} min=${-30} max=${30} off="not heard" onChange=${(self_db) => level({ self_db })} />
    ${levels.self_db !== null && html`<p class="small care">You hear yourself late by the way out and back${view.round_trip_ms === null ? "" : `, ${view.round_trip_ms.toFixed(0)} ms`}. If that disturbs, leave it off and use the direct monitoring of your interface. Only with headphones on: with loudspeakers it howls.</p>`}
    ${trouble && html`<p class="trouble" role="alert">${trouble}</p>`}
    <details><summary>Your headphones' data sheet</summary>
      <label class="device-choice">Sensitivity <input type="text" value=${headphones} placeholder="96 dB/mW, 80 ohm" maxlength="100" onChange=${(event) => change({ headphones: event.target.value })} /></label>
      <label class="device-choice">The output's voltage at full volume <input type="number" min="0.05" max="100" step="0.05" value=${volts} onChange=${(event) => change({ volts: Number(event.target.value) })} /></label>
    </details>
    <${Action} label="Mix it, and estimate how loud it is" onClick=${mix} />
    ${said.map((sentence) => html`<p class="small" key=${sentence}>${sentence}</p>`)}
    <p class="small soft">Nothing in the mix passes −6 dBTP, whatever is set here. How loud that is at your ear depends on your equipment: start with the volume down.</p>
  </section>`;
}

/** A level in decibels, or none. */
function Level({ name, words, value, usual, min, max, off = null, onChange }) {
  const id = `phones-${name.toLowerCase()}`;
  const db = value ?? usual;
  return html`<div class="phones-level">
    <label for=${id}>${name} <span class="soft small">${value === null ? off : `${db > 0 ? "+" : db < 0 ? "−" : ""}${Math.abs(db)} dB ${words}`}</span></label>
    <input type="range" id=${id} min=${min} max=${max} step="1" value=${db} disabled=${value === null} style=${`--done: ${(100 * (db - min)) / (max - min)}%`} aria-valuetext=${`${db} decibels ${words}`} onChange=${(event) => onChange(Number(event.target.value))} />
    ${off && html`<label class="small"><input type="checkbox" checked=${value === null} onChange=${(event) => onChange(event.target.checked ? null : usual)} /> ${off}</label>`}
  </div>`;
}
