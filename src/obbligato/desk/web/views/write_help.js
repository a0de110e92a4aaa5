/** Beside the line: what it costs the lip or the bow, and what helps to write for each opening. */
import { html, signs } from "../lib/ui.js";
import { useOwn } from "./own.js";

const WIDTH = 240;
const HEIGHT = 14;
/** How far the picture goes beyond what is allowed. */
const MOST = 1.6;
const NAMES = { lip: "Lip", bow: "Bow" };

/** Each budget as a sentence and a bar: what is used, against a stroke at what is allowed. */
export function Budgets({ budgets }) {
  return budgets.map(({ kind, used, allowed, over, sentence }) => {
    const share = allowed > 0 ? used / allowed : MOST;
    return html`<div class=${`budget ${over ? "over" : ""}`}>
      <p>${sentence}</p>
      <svg viewBox=${`0 0 ${WIDTH} ${HEIGHT}`} role="img" aria-label=${`${NAMES[kind]}: ${Math.round(share * 100)} % of what is allowed`}>
        <rect class="room" width=${WIDTH} height=${HEIGHT} />
        <rect class="used" width=${(Math.min(share, MOST) / MOST) * WIDTH} height=${HEIGHT} />
        <path class="allowed" d=${`M${WIDTH / MOST} 0 V${HEIGHT}`} />
      </svg>
      <span class="small nums">${Math.round(share * 100)} %</span>
    </div>`;
  });
}

/** What helps to write for each opening, in written pitch. */
export function OpeningsHelp({ context, address, stamp, onBar, beatsPerBar }) {
  const [openings, , trouble] = useOwn(context.api, `${address}/openings/help`, stamp);
  return html`<section class="openings-help" aria-label="What to write for the openings">
    <h3>What to write for the openings</h3>
    ${trouble && html`<p class="trouble">${trouble}</p>`}
    ${openings && !openings.length && html`<p class="soft">The singer leaves no room in this song, or it is not known where they sing.</p>`}
    ${openings?.map((one) => html`<details>
      <summary>${barsText(one)}: ${Math.round(one.beats)} beats, ${one.seconds.toFixed(1)} s${one.breaths === null ? "" : `, ${one.breaths.toFixed(1)} breaths`}</summary>
      <dl>
        <dt>Chords, as written for you</dt><dd>${signs(one.chords.join(" | ")) || "not known"}</dd>
        <dt>Scale</dt><dd>${signs(one.scale.join(" ")) || "not known"}</dd>
        <dt>The singer’s last notes</dt><dd>${one.sung_before === null ? "not known; the check hears them, where the client sent a vocal stem" : signs(one.sung_before.join(" ")) || "none near"}</dd>
      </dl>
      ${beatsPerBar && html`<button type="button" class="plain" onClick=${() => onBar((one.first_bar - 1) * beatsPerBar)}>write in bar ${one.first_bar}</button>`}
    </details>`)}
  </section>`;
}

const barsText = ({ first_bar: first, last_bar: last }) => (first === last ? `Bar ${first}` : `Bars ${first} to ${last}`);
