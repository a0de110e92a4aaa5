/** What is to be said of takes as a whole, with the mends that would help; each is made on a press and taken back again. */
import { Action, html, signs } from "../lib/ui.js";

const WHAT = {
  rate: "Read it at its true rate", steps: "Put the lost time back", clock: "Follow the guide's clock", bleed: "Take the click out", hum: "Take the hum out",
  "low-cut": "Cut below the lowest note",
};
const DONE = { rate: "its rate", steps: "the lost time", clock: "its clock", bleed: "the click", hum: "the hum", "low-cut": "a low cut" };

/** What a mend as the job keeps it is called in a sentence: `hum`, `gain=-3`, `move=12 phrase 4`. */
export function mendWords(what) {
  const [, kind, value, phrase] = /^([a-z-]+)(?:=([-\d.]+))?(?: phrase (\d+))?$/.exec(what) ?? [];
  const size = value === undefined ? "" : kind === "gain" ? `${value.replace("-", "−")} dB` : `${value.replace("-", "−")} ms`;
  const name = { gain: `level by ${size}`, move: `place by ${size}` }[kind] ?? DONE[kind] ?? what;
  return phrase ? `phrase ${phrase}: ${name}` : name;
}

export function Remarks({ context, address, choice }) {
  const said = choice.takes.filter(({ left_out, remarks, mends, passes }) => !left_out && (remarks.length || mends.length || passes));
  if (!said.length) return null;
  const work = (path, body) => () => context.api.work(context.api.post(`${address}/takes/${path}`, body)).then(() => "");
  return html`<section class="choose-remarks" aria-label="About whole takes"><h3>About whole takes</h3>
    <ul>${said.map((take) => html`<li key=${take.number}><strong>Take ${take.number}</strong>
      ${take.remarks.map((remark) => html`<p>${signs(remark)}</p>`)}
      ${take.passes && html`<p><${Action} label=${`Cut take ${take.number} into its passes`} onClick=${work(`${take.number}/cut`)} /></p>`}
      ${take.offers.length > 0 && html`<p class="row">${take.offers.map((what) => html`<${Action} key=${what} label=${`${WHAT[what]} in take ${take.number}`} onClick=${work(`${take.number}/mend`, { what })} />`)}</p>`}
      ${take.mends.map(({ what, did }) => html`<p key=${what}>Mended: ${mendWords(what)}. <span class="soft">${signs(did)}</span>
        <${Action} label=${`Take this back in take ${take.number}: ${mendWords(what)}`} onClick=${work(`${take.number}/mend`, undone(what))} /></p>`)}
    </li>`)}</ul></section>`;
}

function undone(what) {
  const phrase = / phrase (\d+)$/.exec(what)?.[1];
  return { what: what.replace(/ phrase \d+$/, ""), phrase: phrase ? Number(phrase) : null, undo: true };
}

/** Takes that are to sound together, compared. */
export function LayersTogether({ context, address, takes }) {
  return takes.length > 1 && html`<details class="choose-layers"><summary>To be stacked as layers?</summary>
    <p class="small soft">Starts, ends, pitch, common breaths and the click of all takes together.</p>
    <${Action} label="Compare them as layers" onClick=${async () => {
      const { result } = await context.api.work(context.api.post(`${address}/layers`, { takes }));
      return result.join(" ");
    }} /></details>`;
}
