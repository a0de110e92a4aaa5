/** The list of jobs, what each needs next and by when; and the start of a new one from a guide that is dropped here. */
import { briefFrom, guideFirst, openQuestions, titleFrom } from "../lib/brief.js";
import { dueWords, grouped } from "../lib/brief_jobs.js";
import { capital } from "../lib/brief_pack.js";
import { Action, bytes, Drop, html, signs, useEffect, useRef, useState, useStore } from "../lib/ui.js";
import { toPlace } from "../state/places.js";
import { BriefFields, InstrumentChoice, Risks } from "./brief.js";

export const title = "Jobs";
const REMEMBERED = "obbligato-new-job";
const SOUNDS = "audio/*,video/*,.wav,.aif,.aiff,.flac,.mp3,.m4a,.ogg,.mp4,.mov";

export function View({ context }) {
  const [files, setFiles] = useState(null);
  return files ? html`<${NewJob} context=${context} files=${files} onLeave=${() => setFiles(null)} />`
    : html`<${Ledger} context=${context} onFiles=${(list) => setFiles(guideFirst(list))} />`;
}

function Ledger({ context, onFiles }) {
  const { jobs, folder } = useStore(context.store);
  const none = jobs !== null && jobs.length === 0;
  useDropAnywhere(onFiles);
  return html`<div class="ledger">
    <div class="ledger-sheet">
      <h2>${none ? "No jobs yet" : "Jobs"} <small class="soft">${folder && `in the folder “${folder}”`}</small></h2>
      <${Drop} multiple=${true} accept=${SOUNDS} label="Choose a guide" onFiles=${onFiles}
        words=${none ? "Drop the guide a client sent you here: any sound file, or a film. Its tempo is on the page seconds later." : "To start a job, drop the client's guide here."} />
      ${jobs === null ? html`<p class="soft">Reading the folder …</p>` : grouped(jobs).map((group) => html`<section class="job-group" key=${group.heading}>
        <h3>${group.heading}</h3>
        <ul class="job-list">${group.jobs.map((job) => html`<${JobRow} key=${job.name} job=${job} />`)}</ul>
      </section>`)}
    </div>
  </div>`;
}

function JobRow({ job }) {
  const due = dueWords(job);
  const step = job.task ? `${capital(job.task.what)} …` : job.next ? `${job.next.state === "open" ? "Next: " : ""}${lower(job.next)}` : "";
  return html`<li class="job">
    <p class="job-due"><span>${due.day}</span>${due.words && html`<strong class=${due.tone}>${due.words}</strong>`}</p>
    <div class="job-what">
      <h4>${job.trouble ? job.title : html`<a href=${toPlace(job.name, "song")}>${job.title}</a>`}</h4>
      <p class="soft">${signs(job.instrument)}${job.client && ` for ${job.client}`}</p>
      ${job.trouble ? html`<p class="trouble">${job.trouble}</p>` : html`<p>${step}</p>`}
    </div>
  </li>`;
}

const lower = (next) => (next.state === "open" ? next.sentence.charAt(0).toLowerCase() + next.sentence.slice(1) : next.sentence);

/** What the last new job had that the next will have too. */
function remembered() {
  try {
    return JSON.parse(localStorage.getItem(REMEMBERED)) ?? {};
  } catch {
    return {};
  }
}

/** What the newest job is played on. */
function lastPlayed(jobs) {
  return [...jobs].filter((job) => job.instrument).sort((a, b) => b.created_at.localeCompare(a.created_at))[0]?.instrument ?? "";
}

/** Files on their way in: each starts at once, while the brief is being filled in, and is sent only once. */
function useUploads(api, files) {
  const [states, setStates] = useState(new Map());
  const going = useRef(new Map());
  useEffect(() => {
    for (const file of files) {
      if (going.current.has(file)) continue;
      const say = (state) => setStates((before) => new Map(before).set(file, state));
      const arrived = api.upload(file, (fraction) => say({ fraction: Math.min(fraction, 0.99), trouble: "" }));
      going.current.set(file, arrived);
      arrived.then(() => say({ fraction: 1, trouble: "" }), (error) => say({ fraction: 0, trouble: error.message }));
    }
  }, files);
  return { state: (file) => states.get(file) ?? { fraction: 0, trouble: "" }, arrived: (file) => going.current.get(file) ?? null };
}

/** Files dropped beside the marked places count too; without this the browser would leave the page for them. */
function useDropAnywhere(take) {
  const newest = useRef(take);
  newest.current = take;
  useEffect(() => {
    const over = (event) => event.preventDefault();
    const drop = (event) => {
      event.preventDefault();
      if (event.dataTransfer?.files.length) newest.current([...event.dataTransfer.files]);
    };
    addEventListener("dragover", over);
    addEventListener("drop", drop);
    return () => {
      removeEventListener("dragover", over);
      removeEventListener("drop", drop);
    };
  }, []);
}

function NewJob({ context, files, onLeave }) {
  const { api, store, actions } = context;
  const { instruments, jobs } = useStore(store);
  const [guide, setGuide] = useState(files[0]);
  const [vocal, setVocal] = useState(files[1] ?? null);
  const [questions, setQuestions] = useState([]);
  const [typed, setTyped] = useState(() => ({ ...remembered(), title: titleFrom(files[0].name), rounds_included: "2", vocal_stem: files[1] ? "yes" : "" }));
  const [instrument, setInstrument] = useState(() => remembered().instrument ?? lastPlayed(jobs ?? []));
  const [wrong, setWrong] = useState({});
  const heading = useRef();
  const uploads = useUploads(api, vocal ? [guide, vocal] : [guide, guide]);
  useEffect(() => { api.get("/brief-questions").then(setQuestions, () => {}); }, [api]);
  useEffect(() => { heading.current?.focus(); }, []);
  const open = openQuestions(questions, briefFrom(typed).brief, { hasVocal: Boolean(vocal) });
  const onInput = (name, value) => {
    setTyped((before) => ({ ...before, [name]: value }));
    setWrong(({ [name]: _, ...others }) => others);
  };
  const play = (name) => {
    setInstrument(name);
    setWrong(({ instrument: _, ...others }) => others);
  };
  const takeVocal = (list) => {
    setVocal(list[0]);
    onInput("vocal_stem", "yes");
  };
  useDropAnywhere(takeVocal);
  function swap() {
    setGuide(vocal);
    setVocal(guide);
  }

  async function start() {
    const { brief, wrong: found } = briefFrom(typed);
    const faults = instrument ? found : { ...found, instrument: "Choose your instrument." };
    setWrong(faults);
    const [first] = Object.keys(faults);
    if (first) {
      document.getElementById(`brief-${first}`)?.focus();
      throw new Error("Something in the form is to be corrected first.");
    }
    const [guideHere, vocalHere] = await Promise.all([uploads.arrived(guide), uploads.arrived(vocal)]);
    const started = await api.post("/jobs", { guide: guideHere.upload, vocal: vocalHere?.upload ?? null, instrument, brief });
    localStorage.setItem(REMEMBERED, JSON.stringify({ player: brief.player, currency: brief.currency, instrument }));
    await api.work(started);
    actions.open(started.job);
  }

  return html`<div class="ledger new-job">
    <form class="ledger-sheet" onSubmit=${(event) => event.preventDefault()}>
      <h2 tabindex="-1" ref=${heading}>A new job</h2>
      <div class="arriving">
        <${Arriving} what="Guide" file=${guide} state=${uploads.state(guide)} />
        ${vocal ? html`<${Arriving} what="The singer alone" file=${vocal} state=${uploads.state(vocal)} />
          <button type="button" class="plain" onClick=${swap}>It is the other way round</button>`
          : html`<${Drop} words="If the client sent the singer alone, drop that file too." accept=${SOUNDS} label="Choose the singer's file" onFiles=${takeVocal} />`}
      </div>
      <div class="fields pair">
        <div class="field few"><label for="brief-title">Title of the song</label>
          <input id="brief-title" name="title" value=${typed.title} autocomplete="off" aria-invalid=${Boolean(wrong.title)} aria-describedby=${wrong.title ? "brief-title-wrong" : undefined}
            onInput=${(event) => onInput("title", event.target.value)} />
          ${wrong.title && html`<p class="trouble small" id="brief-title-wrong">${wrong.title}</p>`}</div>
        <${InstrumentChoice} instruments=${instruments} value=${instrument} wrong=${wrong.instrument} onChange=${play} />
      </div>
      <div class="row begin"><${Action} main=${true} label="Start the job" busyLabel="Taking the guide in …" onClick=${start} />
        <button type="button" class="plain" onClick=${onLeave}>Not now</button></div>
      <p class="soft small">The rest can be filled in now or later, under Client. ${open.length ? `Open questions: ${open.length}.` : "No question is open."}</p>
      <${BriefFields} typed=${typed} wrong=${wrong} onInput=${onInput} />
    </form>
    <aside class="ledger-margin" tabindex="0" aria-label="What is still open"><${Risks} open=${open} /></aside>
  </div>`;
}

function Arriving({ what, file, state }) {
  return html`<div class="arrives"><p>${what}: <strong>${file.name}</strong> <span class="soft">${bytes(file.size)}${state.fraction === 1 ? ", is here" : ""}</span></p>
    ${state.trouble ? html`<p class="trouble">${state.trouble}</p>` : state.fraction < 1 && html`<progress max="1" value=${state.fraction} aria-label=${`${what} on its way`}></progress>`}
  </div>`;
}
