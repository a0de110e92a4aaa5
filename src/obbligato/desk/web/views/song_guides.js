/** Another guide from the client: dropped here, told apart from the one in force by section, taken over or left. */
import { Action, Drop, html, moment, signs, useState, useStore } from "../lib/ui.js";
import { useOwn } from "./own.js";

const SOUNDS = "audio/*,video/*,.wav,.aif,.aiff,.flac,.mp3,.m4a,.ogg";

export function Guides({ context }) {
  const { store, api } = context;
  const { name, job } = useStore(store);
  const address = `/jobs/${encodeURIComponent(name)}/guides`;
  const [view, , trouble] = useOwn(api, address, job.stamp);
  const waiting = view?.others.filter((other) => other.state === "waiting") ?? [];
  const aside = view?.others.filter((other) => other.state !== "waiting") ?? [];
  return html`<section class="song-guides" aria-label="Guides">
    <h3>The client sent a new guide?</h3>
    ${waiting.map((other) => html`<${Waiting} key=${other.guide} context=${context} address=${address} other=${other} inForce=${view.in_force} />`)}
    <${Give} context=${context} address=${address} />
    ${aside.length > 0 && html`<details><summary>Guides beside ‘${view.in_force}’</summary>
      ${aside.map((other) => html`<${Aside} key=${other.guide} context=${context} address=${address} other=${other} inForce=${view.in_force} />`)}</details>`}
    ${trouble && html`<p class="trouble" role="alert">${trouble}</p>`}
  </section>`;
}

function Give({ context: { api, actions, announce }, address }) {
  const [coming, setComing] = useState(null);
  const [trouble, setTrouble] = useState("");
  async function take([file]) {
    setTrouble("");
    setComing({ name: file.name, done: 0 });
    try {
      const { upload } = await api.upload(file, (done) => setComing({ name: file.name, done }));
      setComing({ name: file.name, done: 1 });
      await api.work(api.post(address, { upload }));
      await actions.refresh();
      announce(`${file.name} is compared with the guide in force.`);
    } catch (error) {
      setTrouble(error.message);
    }
    setComing(null);
  }
  return html`<div class="stack">
    ${coming ? html`<p role="status">${coming.done < 1 ? `‘${coming.name}’ is on its way` : `‘${coming.name}’ is compared with the guide in force`}
        <progress max="1" value=${coming.done < 1 ? coming.done : undefined} aria-label=${`${coming.name} on its way`}></progress></p>`
      : html`<${Drop} words="Drop it here: what it changes is told bar by bar, and nothing changes before you say so." label="Choose a new guide" accept=${SOUNDS} onFiles=${take} />`}
    ${trouble && html`<p class="trouble" role="alert">${trouble}</p>`}
  </div>`;
}

function Waiting({ context, address, other, inForce }) {
  return html`<div class="song-guide song-ask">
    <p><strong>‘${other.given_as}’ beside ‘${inForce}’</strong></p>
    <${Report} context=${context} address=${address} other=${other} />
    <div class="row">
      ${other.report?.same_song && html`<${Action} main label="Take it over" busyLabel="Taking it over and listening …" onClick=${() => takeOver(context, address, other)} />`}
      <${Action} label="Leave it" onClick=${() => leave(context, address, other)} />
    </div>
    <p class="soft small">Everything made so far is kept either way.</p>
  </div>`;
}

function Aside({ context, address, other, inForce }) {
  const [shown, setShown] = useState(false);
  const was = other.state === "before" ? `gone by until ${moment(other.at)}` : `left aside, here since ${moment(other.at)}`;
  return html`<div class="song-guide">
    <p>‘${other.given_as}’, ${was}.</p>
    ${shown && html`<p class="soft">Against ‘${inForce}’:</p><${Report} context=${context} address=${address} other=${other} />`}
    <div class="row">
      ${!shown && html`<${Action} label="What is different" onClick=${async () => setShown(true)} />`}
      <${Action} label=${`Go by ‘${other.given_as}’`} busyLabel="Taking it over and listening …" onClick=${() => takeOver(context, address, other)} />
    </div>
  </div>`;
}

function Report({ context, address, other }) {
  const { report } = other;
  const going = useStore(context.store, (state) => state.tasks.some(({ job, what, state: how }) =>
    job === state.name && ["running", "waiting"].includes(how) && what.startsWith("comparing")));
  if (!report && going) return html`<p class="soft">They are being compared.</p>`;
  if (!report) return html`<p><${Action} label="Compare the two" onClick=${() => compare(context, address, other)} /></p>`;
  return html`<div class="stack">
    ${report.sentences.map((sentence) => html`<p key=${sentence}>${signs(sentence)}</p>`)}
    ${report.same_song && report.sections.map(({ section, changes }, index) => html`<div key=${index}>
      <h4>${section ? `Section ${section}` : "Before the first section"}</h4>
      <ul class="song-changes">${changes.map((change, at) => html`<li key=${at} data-kind=${change.kind}><${Change} context=${context} change=${change} /></li>`)}</ul>
    </div>`)}
    ${report.takes.length > 0 && html`<h4>Takes</h4><ul class="song-changes">${report.takes.map((sentence) => html`<li key=${sentence}>${sentence}</li>`)}</ul>`}
  </div>`;
}

/** A sentence on some bars; pressed, it chooses them on the chart. */
function Change({ context: { actions }, change }) {
  const { first_bar, last_bar, sentence } = change;
  if (first_bar === null) return sentence;
  return html`<button type="button" class="plain" title="Choose these bars on the chart" onClick=${() => actions.select(first_bar, last_bar)}>${sentence}</button>`;
}

async function compare({ api, actions }, address, other) {
  await api.work(api.post(`${address}/${other.guide}/compare`));
  await actions.refresh();
}

async function takeOver({ api, actions, announce }, address, other) {
  const { result } = await api.work(api.post(`${address}/${other.guide}/take-over`));
  await actions.refresh();
  announce(result.join(" "));
  return result.join(" ");
}

async function leave({ api, actions, announce }, address, other) {
  await api.post(`${address}/${other.guide}/leave`);
  await actions.refresh();
  announce(`‘${other.given_as}’ is left aside.`);
}
