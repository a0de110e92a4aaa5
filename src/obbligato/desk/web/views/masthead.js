/** The head of the page: which song, how it is shown, the stages as words, and what is going on. */
import { Action, html, signs, useStore } from "../lib/ui.js";
import { RUNNING } from "../lib/record.js";
import { VIEWS, stateOfView, toPlace, viewOfStage } from "../state/places.js";

export function Masthead({ context: { store, actions } }) {
  const { job, name, pitch, theme } = useStore(store);
  const transposes = job && job.instrument.sounding_minus_written !== 0;
  return html`<header class="masthead">
    <a class="home" href="#/">Obbligato</a>
    <h1 class="song">${job ? html`${job.brief.title} <small>${signs(job.instrument.name)}${job.brief.client && ` · for ${job.brief.client}`}</small>` : name ? html`${name} <small> </small>` : html`<span class="for-readers">The desk</span>`}</h1>
    <div class="row">
      ${transposes && html`<fieldset class="row"><legend class="for-readers">Pitch shown</legend>
        ${["written", "sounding"].map((one) => html`<button type="button" aria-pressed=${pitch === one} onClick=${() => actions.setPitch(one)}>${one} pitch</button>`)}
      </fieldset>`}
      <button type="button" onClick=${() => actions.setTheme(theme === "dark" ? "light" : "dark")}>${theme === "dark" ? "Light page" : "Dark page"}</button>
      <button type="button" aria-haspopup="dialog" onClick=${() => store.set({ keysOpen: true })}>Keys <kbd>?</kbd></button>
    </div>
  </header>`;
}

export function Stages({ context: { store } }) {
  const { job, name, view } = useStore(store);
  const next = job?.next;
  return html`<nav class="job-nav" aria-label="The job, stage by stage">
    <ul class="stages">${VIEWS.map((one) => {
      const state = job ? stateOfView(one.view, job.stages) : "";
      return html`<li><a href=${toPlace(name, one.view)} aria-current=${one.view === view ? "page" : undefined}>${one.title} <span class="state">${state || " "}</span></a></li>`;
    })}</ul>
    <p class="next-step">${next && html`${next.state === "open" ? "Next: " : ""}<a href=${toPlace(name, viewOfStage(next.stage))}>${next.sentence}</a>`} </p>
  </nav>`;
}

const WORDS = {
  gone: "The desk is not running. Start it again (obbligato desk); this page then goes on by itself, and what you wrote here is kept.",
  strange: "The desk was started anew. Open it once by the address it printed; this page then goes on by itself, and what you wrote here is kept.",
};

export function Notices({ context: { store, api } }) {
  const { online, tasks, name, job, recording } = useStore(store);
  const work = tasks.filter((task) => task.lane === "work");
  const going = work.filter((task) => task.state === "running" || task.state === "waiting");
  const ended = work.filter((task) => task.job === name).slice(-1).filter((task) => task.state === "failed");
  return html`<div class="notices">
    ${online !== "yes" && html`<div class="notice" role="alert"><p>${WORDS[online]}</p></div>`}
    ${RUNNING.includes(recording.phase) && html`<div class="notice"><p>Take ${recording.number} of ${recording.job === name && job ? job.brief.title : recording.job} is being recorded; it goes on whatever this page shows.</p>
      <a class="button" href=${toPlace(recording.job, "take")}>To the take</a>
      <${Action} label="Stop the take" busyLabel="Ringing out …" onClick=${() => api.post("/recording/stop").then(() => "")} /></div>`}
    ${going.map((task) => html`<div class="notice" key=${task.id}>
      <p>${task.job === name || !name ? "" : `${task.job}: `}${task.what}${task.state === "waiting" ? " (waiting its turn)" : task.message ? `: ${task.message}` : ""}</p>
      <progress max="1" value=${task.fraction} aria-label=${task.what}></progress>
      <${Action} label="Stop this" busyLabel="Stopping …" onClick=${() => api.cancel(task.id).then(() => "")} />
    </div>`)}
    ${ended.map((task) => html`<div class="notice" role="alert" key=${task.id}><p class="trouble">${task.what}: ${task.error}</p></div>`)}
  </div>`;
}
