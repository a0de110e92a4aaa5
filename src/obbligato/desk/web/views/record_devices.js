/** Microphone and headphones by their names, the way out and back, and what is written down with each take. */
import { Action, counted, html, useEffect, useState } from "../lib/ui.js";

const BLOCKS = [0, 64, 128, 256, 512, 1024, 2048];
const BOTH = " + ";

export function Devices({ context, address, view, now, onSettings }) {
  const { api, recorder } = context;
  const { settings } = view;
  const [there, setThere] = useState(null);
  const [trouble, setTrouble] = useState("");
  const change = (patch) => api.patch("/recording/settings", patch).then(onSettings, (error) => setTrouble(error.message));
  async function look() {
    setTrouble("");
    try {
      setThere(await api.get("/recording/devices"));
    } catch (error) {
      setTrouble(error.message);
    }
  }
  useEffect(() => { look(); }, []);
  const [heardBy, playedBy = heardBy] = (settings.device ?? "").split(BOTH);
  const inputs = (there ?? []).filter((one) => one.inputs > 0);
  const outputs = (there ?? []).filter((one) => one.outputs > 0);
  const choose = (heard, played) => change({ device: heard === played ? heard : `${heard}${BOTH}${played}` });
  const chosen = inputs.find(({ asked }) => asked === heardBy);
  const played = outputs.find(({ asked }) => asked === playedBy);
  return html`<section class="stack devices"><h3>Microphone and headphones</h3>
    ${trouble && html`<p class="trouble" role="alert">${trouble}</p>`}
    ${there && !there.length && html`<p class="care">No audio device is connected. Plug one in, and look again; or record elsewhere and drop the files under Takes.</p>`}
    ${inputs.length > 0 && html`<${Choice} id="device-in" label="Records" list=${inputs} value=${chosen ? heardBy : ""} onChange=${(asked) => choose(asked, settings.device && playedBy ? (outputs.some((one) => one.asked === asked) && playedBy === heardBy ? asked : playedBy) : asked)} />`}
    ${outputs.length > 0 && html`<${Choice} id="device-out" label="Plays to the headphones" list=${outputs} value=${played ? playedBy : ""} onChange=${(asked) => choose(heardBy || asked, asked)} />`}
    ${settings.device && there?.length > 0 && (!chosen || !played) && html`<p class="care">'${settings.device}' was used last and is not there now.</p>`}
    ${chosen && played && heardBy !== playedBy && html`<p class="care small">Two devices have two clocks, which drift apart by some milliseconds in a song. One device for both is safer.</p>`}
    ${(chosen?.wireless || played?.wireless) && html`<p class="care small">That looks wireless: such headphones come 100 to 300 ms late. Use a cable.</p>`}
    ${chosen && html`<label>Inputs recorded <select value=${settings.inputs} onChange=${(event) => change({ inputs: Number(event.target.value) })}>
      ${Array.from({ length: Math.min(8, chosen.inputs) }, (_, i) => html`<option value=${i + 1} key=${i}>${i ? `1 to ${i + 1}` : "input 1 alone"}</option>`)}</select></label>`}
    <p class="row"><${Action} label="Look again" onClick=${look} disabled=${now.phase !== "idle"} /></p>
    <p>${view.round_trip_ms === null ? html`<span class="care">The way out and back is not measured for this device at ${view.sample_rate} Hz: takes may lie some milliseconds off.</span>`
      : html`Out and back takes ${view.round_trip_ms.toFixed(2)} ms at ${view.sample_rate} Hz, as measured: takes lie in their place by it.`}</p>
    <p class="small soft">To measure it, connect an output to the input with a cable, or hold one headphone to the microphone.</p>
    <${Action} label=${now.phase === "calibrating" ? "Measuring" : view.round_trip_ms === null ? "Measure it" : "Measure it again"} disabled=${now.phase !== "idle"} onClick=${() => recorder.calibrate(address)} />
    ${now.outcome?.what === "calibrate" && now.outcome.sentences.map((sentence) => html`<p class=${now.outcome.failed ? "trouble" : "small"} role="status" key=${sentence}>${sentence}</p>`)}
    <details><summary>Written down with each take</summary>
      <${Kept} label="Where you record" value=${settings.place} placeholder="kitchen, door shut" onKeep=${(place) => change({ place })} />
      <${Kept} label="How the gain stands" value=${settings.gain_note} placeholder="preamp at 2 o'clock, pad in" onKeep=${(gain_note) => change({ gain_note })} />
      <label>Frames to a block <select value=${settings.block} onChange=${(event) => change({ block: Number(event.target.value) })}>
        ${BLOCKS.map((block) => html`<option value=${block} key=${block}>${block || "the device's own"}</option>`)}</select></label>
      <p class="small soft">Smaller blocks answer sooner, larger ones lose sound less easily. Takes are named by their numbers, with date, device and all this beside them.</p>
      <label>Rest after playing <select value=${settings.rest_share ?? ""} onChange=${(event) => change({ rest_share: event.target.value === "" ? null : Number(event.target.value) })}>
        <option value="">usual for the instrument</option><option value="0">no reminder</option><option value="0.5">half as long as played</option>
        <option value="1">as long as played</option><option value="2">twice as long</option></select></label>
    </details>
  </section>`;
}

function Choice({ id, label, list, value, onChange }) {
  return html`<div class="device-choice"><label for=${id}>${label}</label><select id=${id} value=${value} onChange=${(event) => event.target.value && onChange(event.target.value)}>
    ${!value && html`<option value="">choose …</option>`}
    ${list.map((one) => html`<option value=${one.asked} key=${one.asked}>${one.name} (${counted(id === "device-in" ? one.inputs : one.outputs, id === "device-in" ? "input" : "output")}${one.wireless ? ", wireless" : ""})</option>`)}
  </select></div>`;
}

/** A line of text that is kept when one leaves it. */
function Kept({ label, value, placeholder, onKeep }) {
  const [text, setText] = useState(value);
  return html`<label class="device-choice">${label} <input type="text" value=${text} placeholder=${placeholder} maxlength="400"
    onInput=${(event) => setText(event.target.value)} onChange=${() => text !== value && onKeep(text)} /></label>`;
}
