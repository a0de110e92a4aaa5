/** The page to play from and what is in the headphones meanwhile: the stand, the printed part, click and mix as files. */
import { Action, counted, html, moment, useState, useStore } from "../lib/ui.js";
import { toPlace } from "../state/places.js";
import { Files } from "./files.js";
import { PrintChoice, usePrint } from "./page_print.js";

export const title = "Page";

const PAPERS = { A4: "on A4", Letter: "on Letter" };
const PART_FILES = {
  ...prints("part_low-vision_", "In low-vision print"), ...prints("part_large_", "In large print"), ...prints("part_own_", "As you set it"),
  ...prints("part_", "To print"), "part.musicxml": "To open in a notation program",
  ...prints("score_", "Concert score"), "score.musicxml": "Concert score, for a notation program",
  "line.mid": "MIDI, with tempo and letters", "follow.json": "Place and time of every note",
};
const CLICK_FILES = { "headphones.wav": "Guide and click, to record with", "click.wav": "The click alone", "count-in.wav": "Two bars of count-in" };

function prints(start, words) {
  return Object.fromEntries(Object.entries(PAPERS).map(([paper, on]) => [`${start}${paper}.pdf`, `${words} ${on}`]));
}

export function View({ context }) {
  const { store, api } = context;
  const { job, name } = useStore(store);
  const address = `/jobs/${encodeURIComponent(name)}`;
  const newest = job.lines.at(-1);
  const print = usePrint();
  return html`<div class="to-play stack">
    <h2>To play from</h2>
    ${!job.mapped ? html`<p>The guide has to be listened to first; that is going on, or to be started under <a href=${toPlace(name, "song")}>Song</a>.</p>` : html`
      <section class="stack">
        ${newest ? html`<p>The part on the whole screen: it follows the song, turns ahead and counts your rests.</p>
          <p><a class="button hand-over" href=${toPlace(name, "stand")}>Put version ${newest.version} on the stand</a></p>`
          : html`<p>There is no line yet to play from: <a href=${toPlace(name, "write")}>write one, or drop a MIDI file</a>.</p>`}
      </section>
      ${newest && html`<${Made} context=${context} job=${job} stage="part" heading="On paper" words=${PART_FILES} label="Engrave the part" again="Engrave it anew"
        order=${() => api.work(api.post(`${address}/part`, print.order()))}><${PrintChoice} print=${print} /><//>`}
      <${Made} context=${context} job=${job} stage="click" heading="In the headphones" words=${CLICK_FILES} label="Make click and mix" again="Make them anew"
        order=${() => api.work(api.post(`${address}/click`, {}))} />`}
  </div>`;
}

/** Those that the words name first, in the order of the words. */
function inOrder(files, words) {
  const order = Object.keys(words);
  const rank = ({ name }) => (order.indexOf(name) + order.length + 1) % (order.length + 1);
  return [...files].sort((a, b) => rank(a) - rank(b));
}

/** One kind of files: those there are, whether they are still true, and making them. */
function Made({ context: { announce }, job, stage, heading, words, label, again, order, children }) {
  const [sentences, setSentences] = useState([]);
  const made = job.made.find((one) => one.stage === stage);
  async function make() {
    const { result } = await order();
    setSentences(result.sentences);
    announce(`${heading}: made.`);
  }
  return html`<section>
    <h3>${heading}</h3>
    ${made && html`<p class="soft small">Made ${moment(made.at)}${made.line_version ? ` from line version ${made.line_version}` : ""}, ${counted(made.files.length, "file")}.</p>`}
    ${made?.stale && html`<p class="care">Something changed since; make it anew before you play from it.</p>`}
    ${made && html`<${Files} files=${inOrder(made.files, words)} words=${words} />`}
    ${sentences.map((sentence) => html`<p class="small">${sentence}</p>`)}
    ${children}
    <p><${Action} main=${!made || made.stale} label=${made ? again : label} onClick=${make} /></p>
  </section>`;
}
