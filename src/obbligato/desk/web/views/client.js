/** The client: what they are sent, what they answer, on which bars, and how many rounds that makes. */
import { briefFrom, changesBetween, typedFrom } from "../lib/brief.js";
import { Action, bytes, clock, Drop, html, moment, useState, useStore } from "../lib/ui.js";
import { BriefFields, Risks } from "./brief.js";
import { useOwn } from "./own.js";

export const title = "Client";

export function View({ context }) {
  const { store, api } = context;
  const { job, name } = useStore(store);
  const address = `/jobs/${encodeURIComponent(name)}`;
  const [view, setView, trouble] = useOwn(api, `${address}/client`, job.stamp);
  if (!view) return html`<p class=${trouble ? "trouble" : "soft"}>${trouble || "One moment …"}</p>`;
  const [newest] = view.rounds;
  return html`<div class="client stack">
    <h2>The client</h2>
    <${Counter} view=${view} />
    <${Send} context=${context} address=${address} view=${view} newest=${newest} />
    ${view.rounds.some((round) => round.state === "waits") && html`<${Reply} context=${context} address=${address} onRead=${setView} />`}
    ${view.rounds.map((round) => html`<${Round} key=${round.number} context=${context} round=${round} open=${round === newest} />`)}
    <${Brief} context=${context} address=${address} job=${job} />
  </div>`;
}

function Counter({ view }) {
  const strokes = Array.from({ length: Math.min(12, Math.max(view.used, view.included)) }, (_, at) =>
    (at < view.used ? (at < view.included ? "used" : "beyond") : "free"));
  return html`<div class="counter">
    <p class="strokes" aria-hidden="true">${strokes.map((kind) => html`<span class=${kind}>${kind === "free" ? "○" : "●"}</span>`)}</p>
    ${view.counter.map((sentence, at) => html`<p class=${at ? "care" : ""}>${sentence}</p>`)}
  </div>`;
}

function Send({ context: { api, announce }, address, view, newest }) {
  async function make() {
    await api.work(api.post(`${address}/review`));
    announce("The client's page is made.");
  }
  const waits = newest?.state === "waits" && !view.should_send;
  return html`<section class="send">
    ${newest?.page && html`<p class="row"><a class="button" href=${newest.page.url} target="_blank" rel="noopener">Open the client's page</a>
      <a class="button" href=${`${newest.page.url}?download=true`} download>Download it</a><span class="soft small">round ${newest.number}, ${bytes(newest.page.bytes)}</span></p>`}
    <p>${view.sentence}${waits ? " Send them the file above; their answer comes back as a small text file." : ""}</p>
    ${!waits && html`<${Action} main=${view.should_send} disabled=${!view.can_send}
      label=${newest ? `Make the page of round ${newest.number + 1}` : "Make the client's page"} onClick=${make} />`}
    ${view.holds.length > 0 && html`<details class="small"><summary>What the page holds</summary><ul>${view.holds.map((line) => html`<li>${line}</li>`)}</ul></details>`}
  </section>`;
}

function Reply({ context: { api, announce }, address, onRead }) {
  const [text, setText] = useState("");
  const [said, setSaid] = useState("");
  function read(body) {
    return api.post(`${address}/reply`, body).then((view) => {
      setText("");
      onRead(view);
      announce(view.rounds.find((round) => round.state !== "waits")?.sentence ?? "The answer was read.");
    });
  }
  async function take([file]) {
    setSaid("Reading …");
    try {
      const { upload } = await api.upload(file);
      await read({ upload });
      setSaid("");
    } catch (error) {
      setSaid(error.message);
    }
  }
  return html`<section class="reply">
    <h3>Their answer</h3>
    <${Drop} words="Drop the text file that the client sent back." label="Choose the answer" accept=".txt,text/plain" onFiles=${take} />
    ${said && html`<p class=${said === "Reading …" ? "soft" : "trouble"} role="status">${said}</p>`}
    <details><summary>Or paste it</summary>
      <label class="field"><span>The text of their answer, from the first line to the last</span>
        <textarea name="reply" rows="6" value=${text} onInput=${(event) => setText(event.target.value)}></textarea></label>
      <${Action} label="Read it" disabled=${!text.trim()} onClick=${() => read({ text })} />
    </details>
  </section>`;
}

const SIGNS = { yes: "✓", change: "~", "leave out": "✕" };

function Round({ context, round, open }) {
  const answered = round.answers.length > 0;
  return html`<details class="round" open=${open}>
    <summary><h3>Round ${round.number}, line version ${round.line_version}</h3></summary>
    <p class="soft small">Sent ${moment(round.sent_at)}${round.replied_at && `, answered ${moment(round.replied_at)}`}.</p>
    <p class=${round.state === "changes" ? "care" : round.state === "agreed" ? "good" : ""}>${round.sentence}</p>
    ${answered && html`<ul class="answers">${round.answers.map((answer) => html`<${Answer} key=${answer.section} context=${context} answer=${answer} />`)}</ul>`}
    <p class="small">${!open && round.page && html`<a href=${round.page.url} target="_blank" rel="noopener">Their page</a> `}${round.reply && html`<a href=${round.reply.url} target="_blank" rel="noopener">Their answer as it came</a>`}</p>
  </details>`;
}

function Answer({ context: { actions }, answer }) {
  const tone = { yes: "good", change: "care", "leave out": "care" }[answer.answer];
  const show = (first, last) => actions.select(first, last);
  return html`<li>
    <p><strong class="letter">${answer.section}</strong> <span class=${tone}><span aria-hidden="true">${SIGNS[answer.answer]} </span>${answer.words}</span>
      ${answer.first_bar !== null ? html` <button type="button" class="plain small" onClick=${() => show(answer.first_bar, answer.last_bar)}>${barsWords(answer.first_bar, answer.last_bar)}</button>`
        : html` <span class="soft small">not a section of the song any more</span>`}</p>
    ${answer.remarks.map((remark) => html`<p class="remark">${remark.bar !== null && html`<button type="button" class="plain small" onClick=${() => show(remark.bar, remark.bar)}>bar ${remark.bar}, ${clock(remark.at_s)}</button> `}<q>${remark.text}</q></p>`)}
  </li>`;
}

const barsWords = (first, last) => (first === last ? `bar ${first}` : `bars ${first} to ${last}`);

function Brief({ context: { api, announce }, address, job }) {
  const [before, setBefore] = useState(job.brief);
  const [typed, setTyped] = useState(() => typedFrom(job.brief));
  const [wrong, setWrong] = useState({});
  const onInput = (name, value) => {
    setTyped((before) => ({ ...before, [name]: value }));
    setWrong(({ [name]: _, ...others }) => others);
  };
  async function keep() {
    const { brief, wrong: faults } = briefFrom(typed);
    setWrong(faults);
    const [first] = Object.keys(faults);
    if (first) {
      document.getElementById(`brief-${first}`)?.focus();
      throw new Error("Something in the brief is to be corrected first.");
    }
    setBefore(await api.patch(`${address}/brief`, changesBetween(before, brief)));
    announce("The brief is kept.");
    return "Kept.";
  }
  return html`<section class="brief">
    <${Risks} folded=${true} open=${job.risks} />
    <details><summary>The brief</summary>
      <div class="fields"><div class="field"><label for="brief-title">Title of the song</label><input id="brief-title" name="title" value=${typed.title} onInput=${(event) => onInput("title", event.target.value)} />
        ${wrong.title && html`<p class="trouble small">${wrong.title}</p>`}</div></div>
      <${BriefFields} typed=${typed} wrong=${wrong} onInput=${onInput} />
      <p class="keep"><${Action} main=${true} label="Keep the brief" onClick=${keep} /></p>
    </details>
  </section>`;
}
