/** Before and between takes: is everything ready, what is recorded, what is covered; devices, headphones, microphone. */
import { orderWords } from "../lib/record.js";
import { html, signs, useEffect, useState, useStore } from "../lib/ui.js";
import { toPlace } from "../state/places.js";
import { useOwn } from "./own.js";
import { CoverMap, CutOff, TakeMarks } from "./record_cover.js";
import { Devices } from "./record_devices.js";
import { Phones } from "./record_phones.js";
import { Ready } from "./record_ready.js";
import { Rest } from "./take_after.js";

export const title = "Record";

export function View({ context }) {
  const { store, api, recorder, announce } = context;
  const { job, name, selection } = useStore(store);
  const { now, order } = useStore(recorder.store);
  const [settled, setSettled] = useState(0);
  const [said, setSaid] = useState([]);
  const address = `/jobs/${encodeURIComponent(name)}`;
  const [view, setView, trouble] = useOwn(api, `${address}/recording`, `${job.stamp} ${settled} ${now.outcome?.id ?? ""}`);
  useEffect(() => recorder.watch(), []);
  useEffect(() => {
    if (now.phase === "idle") recorder.setOrder({ bars: selection && selection.first >= 1 ? [selection.first, selection.last] : null });
  }, [selection, now.phase]);
  if (!job.mapped) return html`<div class="record"><h2>Record</h2><p>The guide has to be listened to first, under <a href=${toPlace(name, "song")}>Song</a>.</p></div>`;
  if (!view) return html`<div class="record"><h2>Record</h2><p class=${trouble ? "trouble" : "soft"}>${trouble || "Looking at what is there …"}</p></div>`;
  const changed = (settings) => { setView({ ...view, settings }); setSettled((n) => n + 1); };
  const mark = async (number, word) => {
    setView({ ...view, cover: await api.post(`${address}/takes/${number}/mark`, { mark: word }) });
    announce(`Take ${number}: ${word}.`);
  };
  const outcome = now.outcome?.job === name ? now.outcome : null;
  return html`<div class="record stack">
    <h2>Record</h2>
    <${CutOff} context=${context} address=${address} count=${view.cut_off} onDone=${(sentences) => { setSaid(sentences); setSettled((n) => n + 1); }} />
    ${said.map((sentence) => html`<p class="small" key=${sentence}>${sentence}</p>`)}
    <${Ready} context=${context} address=${address} view=${view} now=${now} />
    <section class="record-go stack">
      <h3>What is recorded</h3>
      <p>${orderWords(order)}</p>
      <${Order} recorder=${recorder} order=${order} />
      <p><a class="button hand-over" href=${toPlace(name, "take")}>To the music, and record</a></p>
      <p class="small soft">Mark bars on the chart to record only these. Takes recorded elsewhere are dropped under <a href=${toPlace(name, "choose")}>Takes</a>.</p>
      <${Rest} view=${view} />
      ${outcome?.what === "record" && outcome.kind === "take" && html`<ul class="take-said small">${outcome.sentences.map((sentence) => html`<li key=${sentence}>${signs(sentence)}</li>`)}</ul>`}
      ${outcome?.kind === "refused" && outcome.what === "record" && outcome.sentences.map((sentence) => html`<p class=${outcome.failed ? "trouble" : "soft"} key=${sentence}>${sentence}</p>`)}
    </section>
    <section class="stack"><h3>What is covered</h3>
      <${CoverMap} cover=${view.cover} />
      ${view.cover.takes.length > 0 && html`<details><summary>Good, again or noise, take by take</summary><${TakeMarks} takes=${view.cover.takes} onMark=${mark} /></details>`}
    </section>
    <${Devices} context=${context} address=${address} view=${view} now=${now} onSettings=${changed} />
    <${Phones} context=${context} address=${address} view=${view} job=${job} onSettings=${changed} />
    <section class="stack"><h3>Where to put the microphone</h3>
      <figure class="placement"><div aria-hidden="true" dangerouslySetInnerHTML=${{ __html: view.placement_svg }}></div>
        <figcaption>${view.placement.map((sentence) => html`<p key=${sentence}>${signs(sentence)}</p>`)}</figcaption></figure>
      ${view.low_cut && html`<p>${view.low_cut}</p>`}
    </section>
  </div>`;
}

/** How takes follow each other, and what is let pass. */
function Order({ recorder, order }) {
  const ways = [["one", "One take"], ["loop", "Take after take, until stopped"], ["open", "Open: over and over in one recording; each pass becomes a take"]];
  const way = order.open_ended ? "open" : order.loop ? "loop" : "one";
  return html`<fieldset class="choices"><legend class="for-readers">How takes follow each other</legend>
    ${ways.map(([value, words]) => html`<label key=${value}><input type="radio" name="way" checked=${way === value}
      onChange=${() => recorder.setOrder({ loop: value === "loop", open_ended: value === "open", measure_each: value === "open" ? false : order.measure_each })} /> ${words}</label>`)}
    <details class="small"><summary>For devices that do not behave</summary>
      <label><input type="checkbox" checked=${order.measure_each} disabled=${order.open_ended} onChange=${(event) => recorder.setOrder({ measure_each: event.target.checked })} />
        Each take measures the way out and back at its start; the cable stays in</label>
      <label><input type="checkbox" checked=${order.anyway} onChange=${(event) => recorder.setOrder({ anyway: event.target.checked })} />
        Record although the device answers too late to play to</label>
    </details>
  </fieldset>`;
}
