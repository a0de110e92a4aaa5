/** The ready check: one sentence, green when all is well, else the one thing to do next; all checks on request. */
import { Action, Drop, html, useState } from "../lib/ui.js";
import { Meter } from "./record_meter.js";

const SOUNDS = "audio/*,.wav,.flac,.aif,.aiff";
const STATES = { wrong: "to put right", usable: "may stay", good: "good", unknown: "could not be told" };

export function Ready({ context, address, view, now }) {
  const { recorder, player } = context;
  const [byFile, setByFile] = useState(null);
  const checking = now.phase === "checking";
  const outcome = now.outcome?.job === now.job || !now.job ? now.outcome : null;
  const check = byFile ?? (outcome?.kind === "check" ? outcome.check : null);
  const listen = () => { player.pause(); setByFile(null); return recorder.check(address); };
  return html`<section class="ready stack" aria-label="Ready">
    <h3>Ready?</h3>
    ${checking ? html`<p class="ready-sentence">Silence for three seconds, then play ${barsOf(view.check_bars)} as you mean them.</p>
        <progress max="1" value=${now.fraction} aria-label="Listening to you"></progress>`
      : check ? html`<p class=${`ready-sentence ${check.ready ? "good" : ""}`} role="status"><span aria-hidden="true">${check.ready ? "✓ " : "→ "}</span>${check.sentence}</p>`
      : html`<p class="ready-sentence">${view.play}</p>`}
    ${outcome?.kind === "refused" && outcome.what === "check" && outcome.sentences.map((sentence) => html`<p class=${outcome.failed ? "trouble" : "soft"} role="status" key=${sentence}>${sentence}</p>`)}
    ${checking && html`<${Meter} meter=${now.meter} />`}
    <p class="row">${checking ? html`<${Action} label="Stop listening" onClick=${() => recorder.stop()} />`
      : html`<${Action} main=${!check?.ready} label=${check ? "Listen to me again" : "Listen to me for 15 seconds"} disabled=${now.phase !== "idle"} onClick=${listen} />`}</p>
    ${check && html`<${Checks} check=${check} />`}
    <details class="small"><summary>A recording made elsewhere</summary><${ByFile} context=${context} address=${address} onCheck=${setByFile} /></details>
  </section>`;
}

function barsOf(bars) {
  if (!bars.length) return "the loudest passage";
  const [first, last] = [bars[0], bars[bars.length - 1]];
  return first === last ? `bar ${first}` : `bars ${first}–${last}`;
}

/** Everything that was looked at, with its number. */
function Checks({ check }) {
  return html`<details class="small"><summary>All that was looked at</summary>
    <ul class="checks">${check.checks.map(({ what, state, sentence }) => html`<li key=${what}><strong>${what}</strong> <span class=${state === "wrong" ? "bad" : state === "good" ? "good" : "soft"}>${STATES[state]}</span><br />${sentence}</li>`)}</ul></details>`;
}

function ByFile({ context: { api }, address, onCheck }) {
  const [state, setState] = useState({ busy: false, trouble: "" });
  async function take([file]) {
    setState({ busy: true, trouble: "" });
    try {
      const { upload } = await api.upload(file);
      const { result } = await api.work(api.post(`${address}/recording/check-file`, { upload }));
      onCheck(result);
      setState({ busy: false, trouble: "" });
    } catch (error) {
      setState({ busy: false, trouble: error.message });
    }
  }
  return html`<div class="stack"><${Drop} words=${state.busy ? "Looking at it …" : "Drop a few seconds of playing, silence first, from the recorder you use."} label="Choose a recording" accept=${SOUNDS} onFiles=${take} />
    ${state.trouble && html`<p class="trouble" role="alert">${state.trouble}</p>`}</div>`;
}
