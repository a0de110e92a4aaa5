/** The account: hours by stage, time entered by hand, rounds, the fee and what it comes to, and the statement. */
import { numberFrom } from "../lib/brief.js";
import { hours, money, stageChoices, stageWords } from "../lib/brief_jobs.js";
import { Action, html, moment, useState, useStore } from "../lib/ui.js";
import { useOwn } from "./own.js";

export const title = "Account";

export function View({ context }) {
  const { store, api } = context;
  const { job, name } = useStore(store);
  const address = `/jobs/${encodeURIComponent(name)}`;
  const [view, setView, trouble] = useOwn(api, `${address}/time`, job.stamp);
  if (!view) return html`<p class=${trouble ? "trouble" : "soft"}>${trouble || "One moment …"}</p>`;
  return html`<div class="account stack">
    <h2>The account</h2>
    <${Hours} view=${view} />
    <${Enter} context=${context} address=${address} onEntered=${setView} />
    ${view.entries.length > 0 && html`<${Entries} context=${context} address=${address} entries=${view.entries} onEntered=${setView} />`}
    <${Money} view=${view} />
    <${Statement} context=${context} address=${address} view=${view} onWritten=${setView} />
  </div>`;
}

function Hours({ view }) {
  const longest = Math.max(1, ...view.stages.map((stage) => stage.minutes));
  return html`<section><table class="hours">
    <caption>${hours(view.minutes)} so far <span class="soft small">${day(view.since)} to ${day(view.until)}</span></caption>
    <thead class="for-readers"><tr><th>Stage</th><th>Time</th></tr></thead>
    <tbody>${view.stages.map((stage) => html`<tr key=${stage.stage}><th scope="row">${stageWords(stage.stage)}</th>
      <td><div><svg class="stroke" viewBox="0 0 100 4" preserveAspectRatio="none" aria-hidden="true"><rect width=${Math.max(0, 100 * stage.minutes / longest)} height="4" /></svg><span class="nums">${hours(stage.minutes)}</span></div></td></tr>`)}</tbody>
  </table>
  <p class="soft small">Counted from one thing you did to the next; a gap of more than half an hour is a break.</p></section>`;
}

const day = (iso) => new Date(iso).toLocaleDateString(undefined, { day: "numeric", month: "short" });

function Enter({ context: { api, announce }, address, onEntered }) {
  const [stage, setStage] = useState("takes");
  const [typed, setTyped] = useState("");
  const [what, setWhat] = useState("");
  async function enter(sign) {
    const minutes = numberFrom(typed);
    if (!(minutes > 0) || minutes > 9999) throw new Error("Write the minutes, a number up to 9999.");
    onEntered(await api.post(`${address}/hours`, { stage, minutes: sign * minutes, what }));
    setTyped("");
    setWhat("");
    announce(sign > 0 ? "Entered." : "Taken back.");
  }
  return html`<section><h3>Time away from this page</h3>
    <form class="fields" onSubmit=${(event) => event.preventDefault()}>
      <label class="field few"><span>For</span><select name="stage" value=${stage} onChange=${(event) => setStage(event.target.value)}>
        ${stageChoices().map(([key, words]) => html`<option value=${key} selected=${key === stage}>${words}</option>`)}</select></label>
      <label class="field few"><span>Minutes</span><input name="minutes" inputmode="decimal" autocomplete="off" value=${typed} onInput=${(event) => setTyped(event.target.value)} /></label>
      <label class="field"><span>What it was</span><input name="what" maxlength="500" autocomplete="off" value=${what} onInput=${(event) => setWhat(event.target.value)} /></label>
      <div class="row"><${Action} label="Enter" onClick=${() => enter(1)} /><${Action} label="Take off" onClick=${() => enter(-1)} /></div>
    </form></section>`;
}

function Entries({ context: { api, announce }, address, entries, onEntered }) {
  async function takeBack(entry) {
    onEntered(await api.post(`${address}/hours`, { stage: entry.stage, minutes: -entry.minutes, what: `taken back: ${entry.what}`.slice(0, 500) }));
    announce("Taken back.");
  }
  return html`<details><summary>Entered by hand: ${entries.length}</summary>
    <ul class="entries">${entries.map((entry) => html`<li key=${`${entry.at}${entry.minutes}${entry.what}`}>
      <p><span class="nums">${hours(entry.minutes)}</span> for ${stageWords(entry.stage)}<br /><span class="soft small">${entry.what}, ${moment(entry.at)}</span></p>
      ${entry.minutes > 0 && html`<${Action} label="Take back" onClick=${() => takeBack(entry)} />`}</li>`)}</ul></details>`;
}

function Money({ view }) {
  return html`<section><h3>Rounds and fee</h3>
    ${view.rounds.map((sentence, at) => html`<p class=${at ? "care" : ""}>${sentence}</p>`)}
    <p>${view.fee === null ? "No fee is written in the brief." : `The fee agreed is ${money(view.fee, view.currency)}.`}
      ${view.fee !== null && (view.fee_per_hour === null ? " What it comes to an hour is told once there is an hour." : ` That comes to ${money(view.fee_per_hour, view.currency)} an hour so far.`)}</p>
  </section>`;
}

function Statement({ context: { api, announce }, address, view, onWritten }) {
  async function write() {
    await api.work(api.post(`${address}/statement`));
    onWritten(await api.get(`${address}/time`));
    announce("The statement is written.");
  }
  return html`<section><h3>Statement</h3>
    ${view.statements.length > 0 && html`<ul class="statements">${view.statements.map((file, at) => html`<li key=${file.name}><a class=${at ? "" : "button"} href=${file.url} target="_blank" rel="noopener">Open ${file.name}</a></li>`)}</ul>`}
    <${Action} main=${!view.statements.length} label=${view.statements.length ? "Write a new statement" : "Write the statement"} onClick=${write} />
    <p class="soft small">Hours, rounds and the fee as a PDF, with blanks for what depends on local law.</p></section>`;
}
