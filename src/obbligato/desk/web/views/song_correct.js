/** Putting right by hand: the count, where bar 1 is, metre, key; chords, letters and the singer at bars. */
import { Action, clock, html, signs, useRef, useState, useStore } from "../lib/ui.js";

const METERS = ["2/4", "3/4", "4/4", "5/4", "6/4", "7/4", "2/2", "3/8", "6/8", "7/8", "9/8", "12/8"];
const TONICS = ["C", "Db", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B"];
const MINOR_TONICS = ["C", "C#", "D", "Eb", "E", "F", "F#", "G", "G#", "A", "Bb", "B"];
const KEYS = [...TONICS.map((tonic) => `${tonic} major`), ...MINOR_TONICS.map((tonic) => `${tonic} minor`)];

/** The tempo and the metre. */
export function Beats({ chart, correct }) {
  const { tempo, meter } = chart;
  const field = useRef();
  const others = tempo.steady ? tempo.alternatives.filter((bpm) => ![2, 0.5].includes(Math.round((100 * bpm) / tempo.bpm) / 100)) : [];
  function set() {
    const bpm = Number(field.current.value.trim().replace(",", "."));
    if (!(bpm > 0)) throw new Error("Write the tempo as a number, such as 96 or 119.5.");
    return correct({ bpm });
  }
  return html`<section>
    <h3>The count</h3>
    <div class="row">
      <${Action} label=${`Twice as fast (${(2 * tempo.bpm).toFixed(1)})`} onClick=${() => correct({ double: true })} />
      <${Action} label=${`Half as fast (${(tempo.bpm / 2).toFixed(1)})`} onClick=${() => correct({ halve: true })} />
    </div>
    ${others.length > 0 && html`<p class="small soft">In twos or threes instead:</p>
      <div class="row">${others.map((bpm) => html`<${Action} key=${bpm} label=${`${bpm.toFixed(1)} a minute`} title=${`Count ${bpm.toFixed(2)} ${meter.unit}s a minute from bar 1 on`} onClick=${() => correct({ bpm })} />`)}</div>`}
    <div class="song-fields">
      <label>${meter.unit[0].toUpperCase()}${meter.unit.slice(1)}s a minute <input ref=${field} inputmode="decimal" size="7" placeholder=${tempo.bpm.toFixed(2)} /></label>
      <${Action} label="Set" onClick=${async () => set()} />
    </div>
    <${Choice} label="Metre" options=${METERS} value=${meter.signature} onSet=${(signature) => correct({ meter: signature })} />
  </section>`;
}

/** Where bar 1 is, and which key from which bar. */
export function Places({ context, chart, correct }) {
  const { store, player } = context;
  const bars = useChosen(store, chart);
  const pitch = useStore(store, (state) => state.pitch);
  const inForce = chart.bars.filter((bar) => bar.key && bar.number <= bars.first).at(-1)?.key ?? chart.bars.find((bar) => bar.key)?.key;
  const steps = [[-1, "A beat earlier"], [-0.5, "½ beat earlier"], [0.5, "½ beat later"], [1, "A beat later"]];
  return html`<section>
    <h3>Bar 1</h3>
    <div class="row">${steps.map(([shift_beats, label]) => html`<${Action} key=${label} label=${label} onClick=${() => correct({ shift_beats })} />`)}</div>
    <p class="row"><${Action} label="Bar 1 is where it plays now" onClick=${toNow} />
      ${bars.first !== 1 && html`<${Action} label=${`Bar ${bars.first} is bar 1`} onClick=${() => correct({ bar_1_near_s: startOf(chart, bars.first) })} />`}</p>
    <h3>Key</h3>
    <${Choice} label=${`${pitch === "written" ? "Written" : "Sounding"} key from bar ${bars.first} on`} options=${KEYS} value=${inForce?.[pitch] ?? KEYS[0]} key=${`${bars.first} ${pitch}`}
      onSet=${(key) => correct({ keys: [`${bars.first}=${key}`] })} />
  </section>`;

  function toNow() {
    const at_s = player.position();
    return correct({ bar_1_near_s: Math.max(0, at_s) }, `Bar 1 is at the beat next to ${clock(at_s)}.`);
  }
}

/** What sounds in the chosen bars: a chord, a letter, the singer. */
export function AtBars({ context, chart, correct }) {
  const { store } = context;
  const bars = useChosen(store, chart);
  const pitch = useStore(store, (state) => state.pitch);
  const [beat, setBeat] = useState(1);
  const chord = useRef();
  const letter = useRef();
  const sung = useRef();
  const here = chart.bars.find((bar) => bar.number === bars.first);
  const section = here?.section;
  const place = bars.first === bars.last ? `${bars.first}` : `${bars.first}-${bars.last}`;
  const words = bars.first === bars.last ? `bar ${bars.first}` : `bars ${bars.first}–${bars.last}`;
  const sounding = here?.chords.filter((one) => one.beat < beat).at(-1)?.[pitch] ?? "";
  function setChord() {
    const symbol = chord.current.value.trim();
    if (!symbol) throw new Error("Write the chord first, such as Cm7 or F/A.");
    return correct({ chords: [`${bars.first}:${beat}=${symbol}`] }, `${symbol} in bar ${bars.first}.`).then(cleared(chord));
  }
  function setLetter() {
    const text = letter.current.value.trim();
    if (!text) throw new Error("Write the letter first, such as B.");
    return correct({ sections: [`${bars.first}=${text}`] }, `${text} begins in bar ${bars.first}.`).then(cleared(letter));
  }
  function setWords() {
    const text = sung.current.value.trim();
    return correct({ words: [`${bars.first}=${text}`] }, text ? `Words noted at bar ${bars.first}.` : `No words at bar ${bars.first}.`).then(cleared(sung));
  }
  return html`<section>
    <h3>In ${words}</h3>
    <p class="soft small">${bars.chosen ? "As chosen on the chart." : "The bar you went to last; choose several on the chart by dragging, or with Shift and a click."}</p>
    <div class="song-fields">
      <label>${pitch === "written" ? "Written" : "Sounding"} chord in bar ${bars.first} <input ref=${chord} size="8" maxlength="20" placeholder=${signs(sounding)} autocomplete="off" spellcheck=${false} /></label>
      <label>on beat <select value=${beat} onChange=${(event) => setBeat(Number(event.target.value))}>
        ${here?.beats_s.map((_, index) => html`<option value=${index + 1} key=${index}>${index + 1}</option>`)}</select></label>
      <${Action} label="Set chord" onClick=${async () => setChord()} />
    </div>
    <div class="song-fields">
      <label>Section letter at bar ${bars.first} <input ref=${letter} size="4" maxlength="12" placeholder=${section || "none"} autocomplete="off" /></label>
      <${Action} label="Set letter" onClick=${async () => setLetter()} />
      ${section && html`<${Action} label=${`No section begins here`} onClick=${() => correct({ sections: [`${bars.first}=`] })} />`}
    </div>
    <div class="song-fields">
      <label>Words sung from bar ${bars.first} on, a cue for the page <input ref=${sung} size="24" maxlength="60" autocomplete="off" /></label>
      <${Action} label="Set words" onClick=${async () => setWords()} />
    </div>
    <div class="row">
      <${Action} label=${`The singer sings in ${words}`} onClick=${() => correct({ singer: [`${place}=yes`] }, "Noted; the openings follow.")} />
      <${Action} label="The singer rests there" onClick=${() => correct({ singer: [`${place}=no`] }, "Noted; the openings follow.")} />
    </div>
  </section>`;
}

const cleared = (field) => (said) => {
  if (field.current) field.current.value = "";
  return said;
};

/** A choice that is only sent when it is pressed, so that looking through it with the keys changes nothing. */
function Choice({ label, options, value, onSet }) {
  const [picked, setPicked] = useState(null);
  const all = options.includes(value) ? options : [value, ...options];
  return html`<div class="song-fields">
    <label>${label} <select value=${picked ?? value} onChange=${(event) => setPicked(event.target.value)}>${all.map((one) => html`<option value=${one} key=${one}>${signs(one)}</option>`)}</select></label>
    <${Action} label="Set" disabled=${picked === null || picked === value} onClick=${() => onSet(picked)} />
  </div>`;
}

/** The bars chosen on the chart, or the one gone to last. */
function useChosen(store, chart) {
  const selection = useStore(store, (state) => state.selection);
  const here = useStore(store, (state) => state.here);
  if (selection) return { ...selection, chosen: true };
  const bar = chart.bars.find((one) => one.number === here) ?? chart.bars.find((one) => one.number >= 1) ?? chart.bars[0];
  return { first: bar.number, last: bar.number, chosen: false };
}

const startOf = (chart, number) => Math.max(0, chart.bars.find((bar) => bar.number === number).start_s);
