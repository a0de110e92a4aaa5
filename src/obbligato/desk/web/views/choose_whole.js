/** Without a line, takes are compared with one another; or one whole take is used as it is. */
import { Action, html } from "../lib/ui.js";

export function WholeTakes({ takes, whole, use }) {
  if (takes.length < 2) return html`<p>There is no line, so the whole take is used as it is.</p>`;
  return html`<section aria-label="One whole take" class="choose-whole"><h3>One whole take</h3>
    <p class="small soft">There is no line: the takes are compared with one another, phrase by phrase. Or use one of them as it is.</p>
    <p class="row">${takes.map(({ number, given_as }) => html`<${Action} key=${number} label=${`Take ${number} (${given_as})${whole === number ? " is used" : ""}`} onClick=${() => use(number)} />`)}
      ${whole !== null && html`<${Action} label="Compare them again" onClick=${() => use(null)} />`}</p></section>`;
}
