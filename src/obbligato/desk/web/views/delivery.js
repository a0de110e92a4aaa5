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
  </div>`;
}

function Order({ context: { api, announce }, address, view, name }) {
  const [treated, setTreated] = useState(false);
  const [allTheSame, setAllTheSame] = useState(false);
  const again = view.packs.length > 0;
  async function deliver() {
    await api.work(api.post(`${address}/delivery`, { profile: { treated }, without_yes: view.needs_consent && allTheSame }));
    announce("The pack is written, opened again and proved.");
  }
  return html`<section class="order">
    <h3>${again ? "Deliver anew" : "Before it goes out"}</h3>
    <ul class="steps">${view.before.map((step) => html`<li key=${step.about}>
      <${Mark} ok=${step.ok} care=${step.stops || step.asks} />
      <span>${step.sentence}${!step.ok && WHERE[step.about] && html` <a href=${toPlace(name, WHERE[step.about][0])}>${WHERE[step.about][1]}</a>`}</span></li>`)}</ul>
    ${view.can_deliver && html`<p><label class="tick"><input type="checkbox" name="treated" checked=${treated} onChange=${(event) => setTreated(event.target.checked)} />
      <span>Also a treated version beside the dry one: low cut, gentle compression, a small room.</span></label></p>`}
    ${view.can_deliver && view.needs_consent && html`<p><label class="tick"><input type="checkbox" name="all-the-same" checked=${allTheSame} onChange=${(event) => setAllTheSame(event.target.checked)} />
      <span>Deliver all the same, without the client's yes. The delivery note will say so.</span></label></p>`}
    <${Action} main=${!again} disabled=${!view.can_deliver || (view.needs_consent && !allTheSame)} label=${again ? "Write and prove another pack" : "Write and prove the pack"} onClick=${deliver} />
  </section>`;
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
