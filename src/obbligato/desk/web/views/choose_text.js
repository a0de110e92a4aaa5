/** The choice as text: one line a phrase, to be read, changed and handed back. */
import { Action, html, useEffect, useState } from "../lib/ui.js";

/**
 * The text belongs to one comp. What is being written is never replaced; when the choice has changed under it, that is
 * said, and it can be handed back only after the newer text was read.
 */
export function ChoiceText({ context: { api }, address, choice }) {
  const [open, setOpen] = useState(false);
  const [asked, setAsked] = useState(0);
  const [held, setHeld] = useState({ text: null, was: null, comp: null, trouble: "" });
  const { comp_url: comp, state } = choice;
  const edited = held.text !== held.was;
  const behind = state !== "fresh" || held.comp !== comp;
  useEffect(() => {
    if (!open || state !== "fresh" || (edited && !asked) || held.comp === comp) return undefined;
    const stop = new AbortController();
    api.get(`${address}/choice/text`, { signal: stop.signal }).then(
      ({ text }) => { setHeld({ text, was: text, comp, trouble: "" }); setAsked(0); },
      (error) => error.name !== "AbortError" && setHeld((before) => ({ ...before, trouble: error.message })),
    );
    return () => stop.abort();
  }, [open, comp, state, asked, edited]);
  async function save() {
    await api.work(api.post(`${address}/choice/text`, { text: held.text }));
    setHeld((before) => ({ ...before, was: before.text }));
    return "The choice is as written.";
  }
  if (!comp) return null;
  return html`<details class="choose-text" onToggle=${(event) => setOpen(event.target.open)}><summary>The choice as text</summary>
    ${held.text === null ? html`<p class="soft">${held.trouble || (state === "fresh" ? "Opening it …" : "It is here once the comp is rendered as chosen.")}</p>`
      : html`<label>Phrase, bars, take, gain: change a take or a gain
        <textarea rows="12" spellcheck="false" value=${held.text} onInput=${(event) => setHeld((before) => ({ ...before, text: event.target.value }))}></textarea></label>`}
    ${held.text !== null && behind && html`<p class="care" role="status">${state === "fresh" ? "The choice has changed since this was read." : "The choice has changed; the text follows once the comp is rendered."}
      ${edited && state === "fresh" && html` <button type="button" onClick=${() => setAsked(asked + 1)}>Read it again, without what I wrote</button>`}</p>`}
    <${Action} label="Choose as written here" disabled=${held.text === null || behind || !edited} onClick=${save} />
  </details>`;
}
