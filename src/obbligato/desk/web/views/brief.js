/** The brief as a form, with the questions it leaves open beside it; used for a new job and for changing one. */
import { GROUPS } from "../lib/brief.js";
import { html, signs } from "../lib/ui.js";

/** The instruments by family, as a choice. */
export function InstrumentChoice({ instruments, value, wrong, onChange }) {
  const families = [...new Set(instruments.map((one) => one.family))];
  return html`<div class="field few"><label for="brief-instrument">Instrument</label>
    <select id="brief-instrument" name="instrument" value=${value} aria-invalid=${Boolean(wrong)} aria-describedby=${wrong ? "brief-instrument-wrong" : undefined}
      onChange=${(event) => onChange(event.target.value)}>
      ${!value && html`<option value="" selected>choose yours</option>`}
      ${families.map((family) => html`<optgroup label=${family}>
        ${instruments.filter((one) => one.family === family).map((one) => html`<option value=${one.name} selected=${one.name === value}>${signs(one.name)}</option>`)}
      </optgroup>`)}
    </select>
    ${wrong && html`<p class="trouble small" id="brief-instrument-wrong">${wrong}</p>`}</div>`;
}

/** One field with its label, and below it what is to be corrected. */
export function Field({ field, value, wrong, onInput }) {
  const id = `brief-${field.name}`;
  const known = field.kind === "zone" ? Intl.supportedValuesOf("timeZone") : field.known ?? [];
  const shared = { id, name: field.name, "aria-invalid": Boolean(wrong), "aria-describedby": wrong ? `${id}-wrong` : undefined,
    onInput: (event) => onInput(field.name, event.target.value) };
  return html`<div class=${`field ${field.few ? "few" : ""}`}>
    <label for=${id}>${field.label}</label>
    ${field.kind === "words" ? html`<textarea ...${shared} rows="2" value=${value}></textarea>`
      : field.kind === "choice" ? html`<select ...${shared} value=${value}>
          <option value="" selected=${value === ""}>not answered</option>
          ${field.options.map(([key, words]) => html`<option value=${key} selected=${value === key}>${words}</option>`)}
        </select>`
      : field.kind === "date" ? html`<${DateField} shared=${shared} value=${value} />`
      : html`<input ...${shared} type="text" value=${value} inputmode=${field.kind === "number" ? (field.whole ? "numeric" : "decimal") : undefined}
          list=${known.length ? `${id}-known` : undefined} autocomplete="off" spellcheck=${field.kind === "text" && !field.few} />`}
    ${known.length > 0 && html`<datalist id=${`${id}-known`}>${known.map((one) => html`<option value=${one} />`)}</datalist>`}
    ${wrong && html`<p class="trouble small" id=${`${id}-wrong`}>${wrong}</p>`}
  </div>`;
}

/** A day from the calendar; a deadline in other words stays as it was written. */
function DateField({ shared, value }) {
  const isDay = value === "" || /^\d{4}-\d{2}-\d{2}$/.test(value);
  return html`<input ...${shared} type=${isDay ? "date" : "text"} value=${value} />`;
}

/** All groups of the brief. */
export function BriefFields({ typed, wrong, onInput }) {
  return GROUPS.map((group) => html`<fieldset class="brief-group" key=${group.heading}>
    <legend>${group.heading}</legend>
    <div class="fields">${group.fields.map((field) => html`<${Field} key=${field.name} field=${field} value=${typed[field.name] ?? ""} wrong=${wrong[field.name]} onInput=${onInput} />`)}</div>
  </fieldset>`);
}

/** What is still open, each question with what it may cost. */
export function Risks({ open, folded = false }) {
  const heading = html`<h3>${open.length ? `Still open with the client: ${open.length}` : "Nothing is open with the client"}</h3>`;
  const list = html`<p class="soft small">None of these has to be answered now. This is what each may cost.</p>
    <ul>${open.map((risk) => html`<li key=${risk.question}><span class="asked">${risk.question}</span> <span class="soft">${risk.consequence}</span></li>`)}</ul>`;
  if (!open.length) return html`<div class="risks">${heading}</div>`;
  return folded ? html`<details class="risks"><summary>${heading}</summary>${list}</details>` : html`<section class="risks" aria-label="Open questions">${heading}${list}</section>`;
}
