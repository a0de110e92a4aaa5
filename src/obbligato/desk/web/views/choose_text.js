/** The choice as text: one line a phrase, to be read, changed and handed back. */
import { Action, html, useState } from "../lib/ui.js";

export function ChoiceText({ context, address, choice }) {
  const [text, setText] = useState(null);
  const { api, announce } = context;
  const open = async (event) => {
    if (!event.target.open || text !== null) return;
    try {
      setText((await api.get(`${address}/choice/text`)).text);
    } catch (error) {
      announce(error.message);
    }
  };
  async function save() {
    await api.work(api.post(`${address}/choice/text`, { text }));
    setText(null);
    return "The choice is as written.";
  }
  if (!choice.comp_url) return null;
  return html`<details class="choose-text" onToggle=${open}><summary>The choice as text</summary>
    ${text === null ? html`<p class="soft">Opening it …</p>` : html`<label>Phrase, bars, take, gain: change a take or a gain
      <textarea rows="12" spellcheck="false" value=${text} onInput=${(event) => setText(event.target.value)}></textarea></label>
      <${Action} label="Choose as written here" onClick=${save} />`}
  </details>`;
}
