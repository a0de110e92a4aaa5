/** The song: what was heard in sentences, the one thing to settle, and everything that can be put right by hand. */
import { Guides } from "./song_guides.js";
import { Hear } from "./song_hear.js";
import { AtBars, Beats, Places } from "./song_correct.js";
import { Action, html, signs, useStore } from "../lib/ui.js";

export const title = "Song";

/** Wide enough for the view to stand beside the chart. */
const WIDE = "(min-width: 68rem)";

export function View({ context }) {
  const chart = useStore(context.store, (state) => state.chart);
  const job = useStore(context.store, (state) => state.job);
  if (!chart || chart.state === "none") return html`<${Waiting} context=${context} chart=${chart} />`;
  const whole = chart.state === "whole";
  const correct = corrector(context);
  return html`<div class="song-view stack">
    <h2>What was heard</h2>
    ${chart.questions.length > 0 && html`<${Ask} question=${chart.questions[0]} more=${chart.questions.length - 1} correct=${correct} />`}
    <ul class="song-heard">${chart.sentences.map((sentence) => html`<li key=${sentence}>${signs(atPitch(sentence, job))}</li>`)}</ul>
    ${whole && html`
      <${Hear} context=${context} chart=${chart} correct=${correct} />
      <details class="song-right" open=${matchMedia(WIDE).matches}><summary>Put something right by hand</summary>
        <${Beats} chart=${chart} correct=${correct} context=${context} />
        <${Places} context=${context} chart=${chart} correct=${correct} />
        <${AtBars} context=${context} chart=${chart} correct=${correct} />
      </details>
      <${Undo} chart=${chart} correct=${correct} />
      <${Guides} context=${context} />`}
  </div>`;
}

/** Keys are heard as they sound; who plays a transposing instrument is told so. */
function atPitch(sentence, job) {
  return job?.instrument.sounding_minus_written ? sentence.replace(/^(Key: .*)\.$/, "$1; sounding pitch.") : sentence;
}

/** What sends a correction, waits until it is in force, and resolves to a sentence. */
function corrector({ store, api, actions }) {
  return async (correction, said = "Done.") => {
    const { name, pitch } = store.get();
    const answer = await api.post(`/jobs/${encodeURIComponent(name)}/map`, { pitch, ...correction });
    if (answer.task) await api.work(Promise.resolve(answer));
    await actions.refresh();
    return said;
  };
}

function Waiting({ context, chart }) {
  const { tasks, name } = useStore(context.store);
  const mine = tasks.filter((task) => task.job === name);
  const going = mine.some((task) => ["running", "waiting"].includes(task.state));
  const correct = corrector(context);
  return html`<div class="song-view stack">
    <h2>The song</h2>
    <p>${going || !chart ? "The guide is being listened to: tempo and bars first, then chords, the singer and the sections." : "The guide has not been listened to yet."}</p>
    ${!going && chart && html`<${Action} main label="Listen to the guide" onClick=${() => correct({})} />
      <details><summary>No beat can be heard in it?</summary><${GiveTempo} correct=${correct} /></details>`}
  </div>`;
}

function GiveTempo({ correct }) {
  const values = () => Object.fromEntries(["bpm", "bar_1"].map((id) => [id, document.getElementById(`give-${id}`).value.trim()]));
  function send() {
    const { bpm, bar_1 } = values();
    return correct({ bpm: Number(bpm.replace(",", ".")), ...(bar_1 ? { bar_1 } : {}) });
  }
  return html`<div class="song-fields">
    <label>Beats a minute <input id="give-bpm" inputmode="decimal" size="6" /></label>
    <label>Bar 1 begins at <input id="give-bar_1" size="8" placeholder="0:04.25" /></label>
    <${Action} label="Take this tempo" onClick=${send} />
  </div>`;
}

function Ask({ question, more, correct }) {
  return html`<section class="song-ask" aria-label="To be settled by your ear">
    <p><strong>${signs(question.text)}</strong></p>
    <div class="row">${question.choices.map((choice, index) => html`<${Action} key=${choice.label} main=${index === 0} label=${signs(choice.label)}
      onClick=${() => correct({ pitch: "sounding", ...choice.correction })} />`)}</div>
    ${more > 0 && html`<p class="soft small">${more === 1 ? "One more question follows." : `${more} more questions follow.`}</p>`}
  </section>`;
}

function Undo({ chart, correct }) {
  const { words, can_undo } = chart.corrected;
  return html`<section>
    <h3>By hand so far</h3>
    <p>${words ? `${words[0].toUpperCase()}${words.slice(1)}.` : "Nothing; all of this is as it was heard."}</p>
    <div class="row">
      <${Action} label="Undo the last change" disabled=${!can_undo} onClick=${() => correct({ undo_last: true }, "The last change is undone.")} />
      <${Action} label="Undo all" disabled=${!words} onClick=${() => correct({ undo_all: true }, "Everything is as it was heard.")} />
    </div>
  </section>`;
}
