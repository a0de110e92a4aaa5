/** The versions of the line: what each changed, going on from an older one, a MIDI file dropped as a new one. */
import { Action, counted, Drop, html, signs, useState } from "../lib/ui.js";
import { Files } from "./files.js";
import { useOwn } from "./own.js";

const SHOWN = 6;
const MOCKUP_FILES = { "blend.mp3": "Guide and line together", "blend.wav": "The same, uncompressed", "line.wav": "The line alone" };

/** @param {{context: object, line: object, address: string, job: object}} props */
export function Versions({ context, line, address, job }) {
  const [versions, , trouble] = useOwn(context.api, `${address}/lines`, job.stamp);
  if (!versions) return trouble && html`<p class="trouble">${trouble}</p>`;
  const links = new Map(job.lines.map(({ version, url }) => [version, url]));
  return html`<section class="write-versions">
    <h3>Versions</h3>
    ${versions.length === 0 && html`<p class="soft">There is none yet: write one above, or drop a MIDI file.</p>`}
    <ol reversed>${versions.map((one) => html`<${Version} key=${one.version} one=${one} line=${line} url=${links.get(one.version)} newest=${versions[0].version} />`)}</ol>
    <${DropLine} context=${context} line=${line} address=${address} />
  </section>`;
}

function Version({ one, line, url, newest }) {
  const { version, given_as: from, notes, changes } = one;
  return html`<li>
    <p><strong>Version ${version}</strong>, ${counted(notes, "note")}, <span class="soft">from “${from}”</span></p>
    ${changes.length > 0 && html`<details><summary>${counted(changes.length, "bar")} changed since version ${version - 1}</summary>
      <ul>${changes.slice(0, SHOWN).map((words) => html`<li>${signs(words)}</li>`)}</ul>
      ${changes.length > SHOWN && html`<details><summary>and ${changes.length - SHOWN} more</summary><ul>${changes.slice(SHOWN).map((words) => html`<li>${signs(words)}</li>`)}</ul></details>`}
    </details>`}
    ${changes.length === 0 && version > 1 && html`<p class="soft">The same notes as version ${version - 1}.</p>`}
    <p class="row">
      <button type="button" onClick=${() => line.open(version, { goOn: false })}>${version === newest ? "Open it" : "Go on from this one"}</button>
      ${url && html`<a class="button" href=${`${url}?download=true`} download>Download the MIDI file</a>`}
    </p>
  </li>`;
}

const STARTS = [
  ["auto", "work it out"], ["guide", "time zero is the guide's first sample"], ["bar-1", "its first tick is bar 1"],
];

function DropLine({ context: { api, announce }, line, address }) {
  const [start, setStart] = useState("auto");
  const [said, setSaid] = useState({ text: "", bad: false });
  async function take([file]) {
    setSaid({ text: `Reading '${file.name}' …`, bad: false });
    try {
      const { upload } = await api.upload(file);
      const { version, sentences } = await api.post(`${address}/line`, { upload, start });
      await line.open(version, { goOn: false });
      setSaid({ text: `It is version ${version}. ${sentences.join(" ")}`, bad: false });
      announce(`Version ${version} is in.`);
    } catch (error) {
      setSaid({ text: error.message, bad: true });
    }
  }
  return html`<div>
    <${Drop} words="Drop a MIDI file of the line here, in sounding pitch." label="Choose a MIDI file" accept=".mid,.midi,audio/midi" onFiles=${take} />
    <label class="small">Where it starts: <select value=${start} onChange=${(event) => setStart(event.target.value)}>
      ${STARTS.map(([value, words]) => html`<option value=${value}>${words}</option>`)}</select></label>
    <p class=${`small ${said.bad ? "trouble" : "soft"}`} role="status">${said.text}</p>
  </div>`;
}

/** What stands ready for the newest version: the check, and the mock-up for the client. */
export function Next({ context: { api, announce }, address, job, unkept }) {
  const newest = job.lines.at(-1);
  const [check, setCheck] = useState(null);
  if (!newest) return null;
  const stage = (name) => job.stages.find((one) => one.stage === name);
  const mockup = job.made.find((made) => made.stage === "mockup");
  const files = mockup && mockup.line_version === newest.version ? mockup.files : [];
  async function look() {
    const { remarks } = await api.post(`${address}/check`);
    setCheck(remarks);
    const stops = remarks.filter(({ severity }) => severity === "stop").length;
    return remarks.length ? `${counted(remarks.length, "remark")}, ${stops ? `${stops} of them serious` : "none of them serious"}.` : "Nothing stands in the way.";
  }
  async function make() {
    const { result } = await api.work(api.post(`${address}/mockup`, {}));
    announce("The mock-up is made.");
    return result.sentence;
  }
  return html`<section class="write-next">
    <h3>With version ${newest.version}</h3>
    ${unkept && html`<p class="care">What you changed since is not in it; keep it as a version first.</p>`}
    <p class="soft">${stage("check")?.sentence} ${stage("mockup")?.sentence}</p>
    <div class="row"><${Action} label="Check it" onClick=${look} /><${Action} label="Make the mock-up" busyLabel="Making the mock-up …" onClick=${make} /></div>
    ${check && html`<${Remarks} remarks=${check} />`}
    ${files.length > 0 && html`<${Files} files=${files} words=${{ ...MOCKUP_FILES, ...sectionWords(files) }} />`}
  </section>`;
}

/** What the file of each section is called: `section_02_B.mp3` is section B alone. */
function sectionWords(files) {
  const named = files.map(({ name }) => [name, /^section_\d+_(.+)\.mp3$/.exec(name)?.[1]]).filter(([, label]) => label);
  return Object.fromEntries(named.map(([name, label]) => [name, `Section ${label} alone`]));
}

const WORDS = { stop: "cannot be played", look: "look at this", note: "good to know" };

const SIGNS = { stop: "✕", look: "!", note: "·" };

/** Remarks as sentences, the gravest first. */
export function Remarks({ remarks, onBar, onFix }) {
  return html`<ul class="remarks">${remarks.map(({ severity, sentence, fixes = [], first_bar: bar }) => html`<li class=${severity}>
    <b class="remark-sign" aria-hidden="true">${SIGNS[severity]}</b><span class="for-readers">${WORDS[severity]}: </span>${signs(sentence)}
    ${onBar && html` <button type="button" class="plain" onClick=${() => onBar(bar)}>go to bar ${bar}</button>`}
    ${onFix && fixes.map(({ words, edit }) => html` <button type="button" class="plain fix" onClick=${() => onFix(edit)}>do it: ${signs(words)}</button>`)}</li>`)}</ul>`;
}
