/** Writing the line: the sheet to write on, playing it in, what the check says of it, its versions. */
import { Action, counted, html, moment, useEffect, useMemo, useStore } from "../lib/ui.js";
import { createLine } from "./write_line.js";
import { Play } from "./write_play.js";
import { Sheet } from "./write_sheet.js";
import { Tools } from "./write_tools.js";
import { Budgets, OpeningsHelp } from "./write_help.js";
import { Next, Remarks, Versions } from "./write_versions.js";

export const title = "Line";

export function View({ context }) {
  const { api, store, announce } = context;
  const { job, name } = useStore(store);
  const address = `/jobs/${encodeURIComponent(name)}`;
  const line = useMemo(
    () => createLine({ api, name, announce, local: localStorage, session: sessionStorage, locks: navigator.locks }), [name],
  );
  useEffect(() => {
    const look = () => line.lookForOthers();
    addEventListener("storage", look);
    return () => {
      removeEventListener("storage", look);
      line.close();
    };
  }, [line]);
  useEffect(() => {
    if (job.mapped && line.store.get().phase !== "ready") line.open(null);
  }, [line, job.mapped]);
  const { phase, trouble, remarks, budgets, sheet, others, unkept } = useStore(line.store);
  if (!job.mapped) return html`<div class="write stack"><h2>The line</h2><p>The guide has to be listened to before a line can be written on its bars; see Song.</p></div>`;
  if (phase === "failed") return html`<div class="write stack"><h2>The line</h2><p class="trouble">${trouble}</p></div>`;
  const { instrument } = job;
  const usual = Math.round((instrument.comfortable_low + instrument.comfortable_high) / 2) + instrument.sounding_minus_written;
  const toBar = (bar) => line.pick(line.store.get().views.findIndex((view) => view.bar >= bar));
  return html`<div class="write stack">
    <${Head} line=${line} newest=${job.lines.at(-1)?.version ?? 0} />
    ${trouble && html`<p class="trouble">${trouble}</p>`}
    ${others.map((other) => html`<${Other} key=${`${other.version}/${other.tab}`} other=${other} line=${line} />`)}
    <${Tools} line=${line} usual=${usual} />
    <${Sheet} context=${context} line=${line} usual=${usual} />
    <div class="write-below">
      <${Play} context=${context} line=${line} transposition=${instrument.sounding_minus_written} />
      <section class="write-check"><h3>What the check says</h3>
        ${remarks.length ? html`<${Remarks} remarks=${remarks} onBar=${toBar} onFix=${line.inWords} />` : html`<p class="soft">Nothing to remark on so far.</p>`}
        <${Budgets} budgets=${budgets} />
        <${OpeningsHelp} context=${context} address=${address} stamp=${job.stamp} onBar=${line.setCaret} beatsPerBar=${sheet?.beats_per_bar} /></section>
      <${Next} context=${context} address=${address} job=${job} unkept=${unkept} />
      <${Versions} context=${context} line=${line} address=${address} job=${job} />
    </div>
  </div>`;
}

function Head({ line, newest }) {
  const { version, notes, unkept, phase } = useStore(line.store);
  const from = version ? `begun from version ${version}` : "a new line";
  return html`<header class="write-head">
    <h2>The line</h2>
    ${phase === "ready" && html`<p>${counted(notes.length, "note")}, ${unkept ? `${from}, not kept as a version yet` : version ? `version ${version}` : "nothing written yet"}.
      ${version < newest ? html` <span class="care">There is a version ${newest} since.</span>` : ""}</p>`}
    <div class="row">
      ${unkept && html`<${Action} main label=${`Keep as version ${newest + 1}`} onClick=${line.keep} />
        ${version > 0 && html`<button type="button" onClick=${line.backToVersion}>Back to version ${version}</button>`}`}
    </div>
  </header>`;
}

function Other({ other, line }) {
  const { version, tab, at, count } = other;
  return html`<div class="write-other row">
    <p>Another draft lies here, from ${moment(new Date(at).toISOString())}: ${counted(count, "note")}, begun from ${version ? `version ${version}` : "nothing"}.</p>
    <button type="button" onClick=${() => line.takeOver(tab, version)}>Go on with that one</button>
    <button type="button" onClick=${() => line.throwAway(tab, version)}>Throw it away</button>
  </div>`;
}
