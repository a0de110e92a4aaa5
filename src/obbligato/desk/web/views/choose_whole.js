/** Without a line there are no phrases to compare: one whole take is used. */
import { Action, html } from "../lib/ui.js";

export function WholeTakes({ takes, deciding: { choice, decide } }) {
  if (takes.length < 2) return html`<p>There is no line, so the whole take is used as it is.</p>`;
  return html`<section aria-label="The take to use"><h3>The take to use</h3>
    <p class="row">${takes.map(({ number, given_as }) => html`<${Action} key=${number} label=${`Take ${number} (${given_as})${choice.by_hand[1] === number ? " is used" : ""}`}
      onClick=${async () => decide(0, number)} />`)}</p></section>`;
}
