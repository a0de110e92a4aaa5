/** The key card: every key that does something where one is now, printed from the list that the keys are looked up in. */
import { html, useEffect, useRef } from "../lib/ui.js";

export function KeysCard({ context: { store, keys } }) {
  const dialog = useRef();
  useEffect(() => {
    dialog.current.showModal();
  }, []);
  const close = () => store.set({ keysOpen: false });
  return html`<dialog class="keys-card" ref=${dialog} onClose=${close} aria-labelledby="keys-title">
    <div class="row"><h2 id="keys-title">Keys</h2><button type="button" autofocus onClick=${() => dialog.current.close()}>Close <kbd>Esc</kbd></button></div>
    <p class="soft">No key does anything while you type in a field. Tab goes from one thing to the next, Enter and Space press it.</p>
    <div class="columns">${keys.list().map(({ scope, entries }) => html`<section><h3>${scope}</h3>
      <dl>${entries.map((entry) => html`<dt>${entry.keys.split(" / ").map((one, index) => html`${index > 0 && " or "}<kbd>${one}</kbd>`)}</dt><dd>${entry.does}</dd>`)}</dl>
    </section>`)}</div>
  </dialog>`;
}
