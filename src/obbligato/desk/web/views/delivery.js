/** The delivery: what it rests on, how it is written, and each pack as a checklist with the proof beside every line. */
import { capital, checklist, inShort } from "../lib/brief_pack.js";
import { Action, bytes, html, moment, useState, useStore } from "../lib/ui.js";
import { toPlace } from "../state/places.js";
import { useOwn } from "./own.js";

export const title = "Delivery";
const WHERE = { map: ["song", "to the song"], takes: ["choose", "to the takes"], client: ["client", "to the client"], comp: ["choose", "to the takes"], line: ["write", "to the line"] };

export function View({ context }) {
  const { store, api } = context;
  const { job, name } = useStore(store);
  const address = `/jobs/${encodeURIComponent(name)}`;
  const [view, , trouble] = useOwn(api, `${address}/delivery`, job.stamp);
  if (!view) return html`<p class=${trouble ? "trouble" : "soft"}>${trouble || "One moment …"}</p>`;
  const [newest, ...older] = view.packs;
  return html`<div class="delivery stack">
    <h2>The delivery</h2>
    ${newest && html`<${Pack} pack=${newest} rule=${view.import_rule} />`}
    <${Order} context=${context} address=${address} view=${view} name=${name} />
    ${older.length > 0 && html`<section><h3>Earlier packs</h3>${older.map((pack) => html`<details key=${pack.version}><summary>Delivery ${pack.version}, ${moment(pack.at)}</summary><${Pack} pack=${pack} rule=${view.import_rule} /></details>`)}</section>`}
    ${view.log.length > 0 && html`<${Log} rows=${view.log} />`}
  </div>`;
}

/** The profile to begin with: the last pack's, or what the brief says. */
function firstProfile(view) {
  if (view.packs.length) return view.profile;
  return { ...view.profile, sample_rate: view.asked_rate, bit_depth: [16, 24, 32].includes(view.asked_depth) ? view.asked_depth : null };
}

function Order({ context: { api, announce }, address, view, name }) {
  const [profile, setProfile] = useState(() => firstProfile(view));
  const [onlyChanged, setOnlyChanged] = useState(false);
  const [allTheSame, setAllTheSame] = useState(false);
  const again = view.packs.length > 0;
  async function deliver() {
    await api.work(api.post(`${address}/delivery`, { profile, only_changed: again && onlyChanged, without_yes: view.needs_consent && allTheSame }));
    announce("The pack is written, opened again and proved.");
  }
  return html`<section class="order">
    <h3>${again ? "Deliver anew" : "Before it goes out"}</h3>
    <ul class="steps">${view.before.map((step) => html`<li key=${step.about}>
      <${Mark} ok=${step.ok} care=${step.stops || step.asks} />
      <span>${step.sentence}${!step.ok && WHERE[step.about] && html` <a href=${toPlace(name, WHERE[step.about][0])}>${WHERE[step.about][1]}</a>`}</span></li>`)}</ul>
    ${view.can_deliver && html`<${Wishes} view=${view} profile=${profile} change=${(part) => setProfile({ ...profile, ...part })} />`}
    ${view.can_deliver && again && html`<${Tick} name="only-changed" on=${onlyChanged} set=${setOnlyChanged}>Only the files that changed since delivery ${view.packs[0].version}; the note lists what changed, bar by bar.<//>`}
    ${view.can_deliver && view.needs_consent && html`<${Tick} name="all-the-same" on=${allTheSame} set=${setAllTheSame}>Deliver all the same, without the client's yes. The delivery note will say so.<//>`}
    <${Action} main=${!again} disabled=${!view.can_deliver || (view.needs_consent && !allTheSame)} label=${again ? "Write and prove another pack" : "Write and prove the pack"} onClick=${deliver} />
  </section>`;
}

const RATES = [44100, 48000, 88200, 96000];
const DEPTHS = { 16: "16 bits, dithered", 24: "24 bits", 32: "32 bits, floating point" };
const CHANNELS = { "as-recorded": "as recorded", mono: "mono", stereo: "stereo" };

/** What the client gets: rate, depth and channels, and which files go along. */
function Wishes({ view, profile, change }) {
  const number = (event) => (event.target.value ? Number(event.target.value) : null);
  const rates = [...new Set([...RATES, profile.sample_rate].filter(Boolean))].sort((a, b) => a - b);
  const along = (take, on) => change({ also: on ? [...profile.also, take] : profile.also.filter((one) => one !== take) });
  return html`<fieldset class="wishes"><legend>What the client gets</legend>
    <div class="wish-row">
      <label>Rate <select name="rate" value=${profile.sample_rate ?? ""} onChange=${(event) => change({ sample_rate: number(event) })}>
        <option value="">the guide's</option>${rates.map((rate) => html`<option value=${rate}>${rate} Hz</option>`)}</select></label>
      <label>Depth <select name="depth" value=${profile.bit_depth ?? ""} onChange=${(event) => change({ bit_depth: number(event) })}>
        <option value="">24 bits, as usual</option>${Object.entries(DEPTHS).map(([bits, words]) => html`<option value=${bits}>${words}</option>`)}</select></label>
      <label>Channels <select name="channels" value=${profile.channels} onChange=${(event) => change({ channels: event.target.value })}>
        ${Object.entries(CHANNELS).map(([value, words]) => html`<option value=${value}>${words}</option>`)}</select></label>
    </div>
    <${Tick} name="treated" on=${profile.treated} set=${(treated) => change({ treated })}>Also a treated version beside the dry one: low cut, gentle compression, a small room.<//>
    <${Tick} name="pips" on=${profile.pips} set=${(pips) => change({ pips })}>A sync reference in a file apart: the count-in and two bars of pips.<//>
    ${view.takes.length > 1 && html`<details open=${profile.also.length > 0}><summary>Whole takes that go along, as layers or to choose from</summary>
      ${view.takes.map((take) => html`<${Tick} key=${take.number} name=${`take-${take.number}`} on=${profile.also.includes(take.number)} set=${(on) => along(take.number, on)}>Take ${take.number}, ${take.given_as}<//>`)}</details>`}
  </fieldset>`;
}

function Tick({ name, on, set, children }) {
  return html`<p><label class="tick"><input type="checkbox" name=${name} checked=${on} onChange=${(event) => set(event.target.checked)} /><span>${children}</span></label></p>`;
}

/** Every file that was sent, to answer "we never got it". */
function Log({ rows }) {
  return html`<section><details><summary>Delivery log: ${rows.length} files sent</summary>
    <div class="scroll-across" tabindex="0" role="region" aria-label="Delivery log"><table class="log"><thead><tr><th>Delivery</th><th>Date</th><th>File</th><th>Size</th><th>SHA-256</th></tr></thead>
      <tbody>${rows.map((row) => html`<tr><td>${row.delivery}</td><td>${moment(row.at)}</td><td>${row.name}</td><td class="nums">${bytes(row.bytes)}</td><td><code>${row.sha256.slice(0, 16)}…</code></td></tr>`)}</tbody></table></div></details></section>`;
}

function Mark({ ok, care }) {
  return html`<span class=${`mark ${ok ? "good" : care ? "bad" : "care"}`}><span aria-hidden="true">${ok ? "✓" : care ? "!" : "·"}</span><span class="for-readers">${ok ? "In order:" : care ? "Not in order:" : "Note:"}</span></span>`;
}

/** A long file name, which may be broken after its underscores. */
const breaking = (name) => name.split(/(?<=_)/).map((part, at) => (at ? html`<wbr />${part}` : part));

function Pack({ pack, rule }) {
  const list = checklist(pack);
  return html`<section class="pack">
    <h3>Delivery ${pack.version}</h3>
    <p class="soft small">Written ${moment(pack.at)}; ${pack.proofs_kept ? inShort(pack) : `${pack.files.length} files`}.</p>
    ${pack.stale && html`<p class="care">Something changed since; this pack is of the state before.</p>`}
    ${pack.changes.length > 0 && html`<div><h4>What changed</h4><ul class="changes">${pack.changes.map((words) => html`<li>${words}</li>`)}</ul>
      ${pack.unchanged.length > 0 && html`<p class="small">These stay good: <span class="soft">${pack.unchanged.join(", ")}</span></p>`}</div>`}
    ${pack.zip && html`<p class="hand"><a class="button hand-over" href=${`${pack.zip.url}?download=true`} download>Take the pack: ${pack.zip.name}</a><span class="soft small">${bytes(pack.zip.bytes)}, this one file is what you send</span></p>`}
    ${!pack.proofs_kept && html`<p class="soft">What was proved of this pack was not kept apart; it stands in its note below.</p>`}
    <ul class="pack-files">${list.files.map(({ file, checks }) => html`<li key=${file.name}>
      <p class="file-name"><a href=${`${file.url}?download=true`} download>${breaking(file.name)}</a> <span class="soft small size">${bytes(file.bytes)}</span></p>
      ${file.role && html`<p class="small">${capital(file.role)}. <span class="soft nums">${file.facts}</span></p>`}
      ${checks.length > 0 && html`<ul class="proofs">${checks.map((check) => html`<li><${Mark} ok=${check.ok} care=${true} /><span>${check.sentence}</span></li>`)}</ul>`}
    </li>`)}</ul>
    ${list.whole.length > 0 && html`<h4>The pack as a whole</h4><ul class="proofs">${list.whole.map((check) => html`<li><${Mark} ok=${check.ok} care=${true} /><span>${check.sentence}</span></li>`)}</ul>`}
    <p class="small rule"><q>${rule}</q></p>
    <details><summary>Checksums, SHA-256</summary><dl class="sums">${pack.files.filter((file) => file.sha256).map((file) => html`<dt>${file.name}</dt><dd><code>${file.sha256}</code></dd>`)}</dl></details>
    ${pack.note && html`<details><summary>The delivery note</summary><pre class="note">${pack.note}</pre></details>`}
  </section>`;
}
