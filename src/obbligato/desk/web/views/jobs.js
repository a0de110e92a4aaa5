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
  const { jobs, folder } = useStore(context.store);
  const [files, setFiles] = useState(null);
  const none = jobs !== null && jobs.length === 0;
  if (files) return html`<${NewJob} context=${context} files=${files} onLeave=${() => setFiles(null)} />`;
  return html`<div class="ledger">
    <div class="ledger-sheet">
      <h2>${none ? "No jobs yet" : "Jobs"} <small class="soft">${folder && `folder ${folder}`}</small></h2>
      <${Drop} multiple=${true} accept=${SOUNDS} label="Choose a guide" onFiles=${(list) => setFiles(guideFirst(list))}
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

/** A file on its way in: it starts at once, while the brief is being filled in. */
function useUpload(api, file) {
  const [state, setState] = useState({ fraction: 0, trouble: "" });
  const going = useRef(null);
  if (file && going.current?.file !== file) {
    const arrived = api.upload(file, (fraction) => setState({ fraction, trouble: "" }));
    going.current = { file, arrived };
    arrived.then(() => setState({ fraction: 1, trouble: "" }), (error) => setState({ fraction: 0, trouble: error.message }));
  }
  return { ...state, arrived: file ? going.current.arrived : Promise.resolve(null) };
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
  const guideIn = useUpload(api, guide);
  const vocalIn = useUpload(api, vocal);
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
    const [guideHere, vocalHere] = await Promise.all([guideIn.arrived, vocalIn.arrived]);
    const started = await api.post("/jobs", { guide: guideHere.upload, vocal: vocalHere?.upload ?? null, instrument, brief });
    localStorage.setItem(REMEMBERED, JSON.stringify({ player: brief.player, currency: brief.currency, instrument }));
    await api.work(started);
    actions.open(started.job);
  }

  return html`<div class="ledger new-job">
    <form class="ledger-sheet" onSubmit=${(event) => event.preventDefault()}>
      <h2 tabindex="-1" ref=${heading}>A new job</h2>
      <div class="arriving">
        <${Arriving} what="Guide" file=${guide} state=${guideIn} />
        ${vocal ? html`<${Arriving} what="The singer alone" file=${vocal} state=${vocalIn} />
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
      <p class="soft small">The rest can be filled in now or later, under Client. ${open.length ? `${open.length} questions are open.` : "No question is open."}</p>
      <${BriefFields} typed=${typed} wrong=${wrong} onInput=${onInput} />
    </form>
    <aside class="ledger-margin"><${Risks} open=${open} /></aside>
  </div>`;
}

function Arriving({ what, file, state }) {
  return html`<div class="arrives"><p>${what}: <strong>${file.name}</strong> <span class="soft">${bytes(file.size)}${state.fraction === 1 ? ", is here" : ""}</span></p>
    ${state.trouble ? html`<p class="trouble">${state.trouble}</p>` : state.fraction < 1 && html`<progress max="1" value=${state.fraction} aria-label=${`${what} on its way`}></progress>`}
  </div>`;
}
