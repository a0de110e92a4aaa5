/** Files that were made, as a list: what each is for, then its name and size. */
import { bytes, html } from "../lib/ui.js";

/** @param {{files: {name: string, url: string, bytes: number}[], words: Record<string, string>}} props */
export function Files({ files, words }) {
  return html`<ul class="made-files">${files.map(({ name, url, bytes: size }) => html`<li key=${name}>
    <a href=${url} target="_blank" rel="noopener">${words[name] ?? name}<span class="soft small">${words[name] ? `${name}, ` : ""}${bytes(size)}</span></a></li>`)}</ul>`;
}
