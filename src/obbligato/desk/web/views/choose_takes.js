/** The takes themselves: dropped here, left out, used again; where each lies. */
import { Action, Drop, clock, counted, html, signs, useState } from "../lib/ui.js";
import { secondsOf } from "../lib/choice.js";

const SOUNDS = "audio/*,.wav,.flac,.aif,.aiff,.mp3,.m4a,.ogg";

/** Where takes are dropped; each file shows how far it is on its way in. */
export function AddTakes({ context, address }) {
  const { api, announce } = context;
  const [coming, setComing] = useState([]);
  const [trouble, setTrouble] = useState("");
  const [at, setAt] = useState("");
  const busy = coming.length > 0;
  async function take(files) {
    const starts_s = secondsOf(at);
    if (Number.isNaN(starts_s)) return setTrouble("Where the files start is no time; write 31.5 or 0:31.5, or leave it empty.");
    setTrouble("");
    setComing(files.map(({ name }) => ({ name, done: 0 })));
    try {
      const uploads = [];
      for (const [position, file] of files.entries()) {
        const tell = (done) => setComing((all) => all.map((one, i) => (i === position ? { ...one, done } : one)));
        uploads.push((await api.upload(file, tell)).upload);
        tell(1);
      }
      const { result } = await api.work(api.post(`${address}/takes`, { uploads, at: starts_s }));
      announce(`${counted(result.length, "take")} added.`);
      setAt("");
    } catch (error) {
      setTrouble(error.message);
    }
    setComing([]);
  }
  return html`<div class="choose-add">
    ${busy ? html`<ul class="choose-coming">${coming.map(({ name, done }) => html`<li>${name} <progress max="1" value=${done} aria-label=${`${name} on its way`}></progress></li>`)}</ul>`
      : html`<${Drop} words="Drop takes here, several at once: WAV or FLAC as they were recorded." label="Choose files" accept=${SOUNDS} multiple=${true} onFiles=${take} />`}
    <details><summary>They start at a place I know</summary>
      <label>Where on the guide's time the files start <input value=${at} inputmode="decimal" placeholder="0:31.5" size="8" onInput=${(event) => setAt(event.target.value)} /></label>
      <p class="small soft">Left empty, it is found by listening.</p></details>
    ${trouble && html`<p class="trouble" role="alert">${trouble}</p>`}
  </div>`;
}

/** Every take with where it lies and whether it takes part. */
export function TakeList({ context, address, choice, onChoice }) {
  const { api } = context;
  const leave = (number, use_again) => async () => { onChoice(await api.post(`${address}/takes/leave-out`, { numbers: [number], use_again })); };
  return html`<details class="choose-takes"><summary>${counted(choice.takes.length, "take")}, where each lies, and leaving one out</summary>
    <ul>${choice.takes.map((take) => html`<li key=${take.number} class=${take.left_out ? "soft" : ""}>
      <p><strong>Take ${take.number}</strong> <span class="soft">${take.given_as}, ${clock(take.seconds, 0)}</span>${take.left_out && " — left out"}</p>
      <p class="small">${take.heard ? `${signs(take.sentence)} ${tuning(take)}` : take.left_out ? "" : "Not read yet."}</p>
      <${Action} label=${take.left_out ? `Use take ${take.number} again` : `Leave take ${take.number} out`} onClick=${leave(take.number, take.left_out)} />
    </li>`)}</ul></details>`;
}

function tuning({ tuning_cents }) {
  if (Math.abs(tuning_cents) < 3) return "Tuned to the song.";
  return `Tuned ${Math.abs(Math.round(tuning_cents))} cents ${tuning_cents > 0 ? "above" : "below"} the song.`;
}
