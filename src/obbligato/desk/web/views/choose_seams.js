/** The joins between takes: each in a sentence, heard one after another. */
import { html, useRef, useState } from "../lib/ui.js";
import { renamed } from "../lib/choice.js";

const ABOUT_S = 1;

/** @returns {{at: number|null, hear: (first?: number, last?: number) => Promise<void>, stop: () => void}} */
export function useSeams({ player, announce }, choice) {
  const [at, setAt] = useState(null);
  const turn = useRef(0);
  async function hear(first = 0, last = choice.seams.length - 1) {
    const mine = ++turn.current;
    if (!choice.seams.length) return announce("There are no seams: one take is used throughout.");
    if (choice.state !== "fresh") return announce("The seams can be heard once the comp is rendered as chosen.");
    for (let i = first; i <= last && mine === turn.current; i += 1) {
      setAt(i);
      const { at_s } = choice.seams[i];
      await player.playSpan(Math.max(0, at_s - ABOUT_S), at_s + ABOUT_S, { alone: "comp" });
    }
    if (mine === turn.current) setAt(null);
  }
  function stop() {
    turn.current += 1;
    setAt(null);
    player.pause();
  }
  return { at, hear, stop };
}

export function Seams({ choice, hidden, seams }) {
  if (!choice.seams.length) return choice.state === "fresh" && choice.phrases.length ? html`<p class="soft">No seams: one take is used throughout.</p>` : null;
  const ready = choice.state === "fresh";
  return html`<section class="choose-seams" aria-label="Seams"><h3>Seams</h3>
    <p class="row">${seams.at === null ? html`<button type="button" disabled=${!ready} onClick=${() => seams.hear()}>Hear them one after another <kbd>S</kbd></button>`
      : html`<button type="button" onClick=${seams.stop}>Stop <kbd>S</kbd></button>`}
      ${!ready && html`<span class="small soft">They can be heard once the comp is rendered as chosen.</span>`}</p>
    <ol>${choice.seams.map((seam, i) => html`<li key=${seam.at_s} class=${seams.at === i ? "playing" : ""} aria-current=${seams.at === i ? "true" : undefined}>
      Before phrase ${seam.before_phrase + 1}. ${renamed(seam.sentence, hidden)} <button type="button" class="plain" disabled=${!ready} aria-label=${`Hear the seam before phrase ${seam.before_phrase + 1}`} onClick=${() => seams.hear(i, i)}>hear</button></li>`)}</ol>
  </section>`;
}
