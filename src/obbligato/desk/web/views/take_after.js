/** After a take: what is to be known of it, what the player says of it, how long to rest, and what is covered. */
import { lostWords, restOf } from "../lib/record.js";
import { html, signs, useEffect, useState } from "../lib/ui.js";
import { CoverMap, Marks } from "./record_cover.js";

/** More than these are told in one sentence. */
const MOST_LOST_SHOWN = 3;

export function After({ outcome, view, last, onMark }) {
  const take = view?.cover.takes.find(({ number }) => number === last);
  return html`<section class="take-after" aria-label="After the take">
    <div>
      <ul class="take-said" role="status">${outcome.sentences.map((sentence) => html`<li key=${sentence}>${signs(sentence)}</li>`)}</ul>
      ${outcome.lost.length > 0 && outcome.lost.length <= MOST_LOST_SHOWN && html`<ul class="take-said care">${outcome.lost.map((lost) => html`<li key=${lost.at_s}>${lostWords(lost)}</li>`)}</ul>`}
      ${take && html`<${Marks} take=${take} onMark=${onMark} keys=${true} />`}
      ${view && html`<${Rest} view=${view} />`}
    </div>
    ${view && html`<${CoverMap} cover=${view.cover} />`}
  </section>`;
}

/** How long to rest, counted down; a suggestion, and gone when it has passed. */
export function Rest({ view }) {
  const left = useCountdown(view);
  const played = `${view.played_minutes.toFixed(1)} minutes of notes played here so far.`;
  if (!view.rest_share) return null;
  return html`<p class="take-rest nums">${left > 0 ? html`<strong>Rest for ${restOf(left)}</strong> <span class="soft small">(${played} A suggestion: you know better.)</span>`
    : html`<span class="soft small">Rested. ${played}</span>`}</p>`;
}

function useCountdown(view) {
  const [left, setLeft] = useState(view.rest_s);
  useEffect(() => {
    const until_ms = performance.now() + 1000 * view.rest_s;
    const count = () => setLeft(Math.max(0, (until_ms - performance.now()) / 1000));
    count();
    if (!view.rest_s) return undefined;
    const timer = setInterval(count, 1000);
    return () => clearInterval(timer);
  }, [view]);
  return left;
}
