/** The rows of the chart as elements: letters, bars, chords, the singer, openings, the line, what is said. */
import { WHOLE_BARS, acrossBar, placeChords, rowPlan, stretches, textSpan } from "../lib/chart_layout.js";
import { barWords, chordParts, flatKey, openingLabel, openingShort } from "../lib/chart_words.js";
import { html, signs } from "../lib/ui.js";

const ROOT_PX = 12;
const KIND_PX = 7.4;
const SIGN_PX = 6;
const SMALL_PX = 6.1;
const REMARK_PX = 6.6;
const percent = (share) => `${(100 * share).toFixed(3)}%`;

export function Bars({ chart, rows, staves, page, pitch, said }) {
  const engraved = new Map(staves.map((stave) => [stave.first_bar, stave]));
  const notes = Map.groupBy(chart.line?.notes ?? [], (note) => note.bar);
  const flats = flatKey(chart.bars.find((bar) => bar.key)?.key[pitch]);
  const shown = new Set();
  return rows.map((row, index) => {
    const stave = engraved.get(row[0].number);
    const matching = stave && stave.last_bar === row.at(-1).number ? stave : null;
    const remarks = said.filter((remark) => remark.first_bar >= row[0].number && remark.first_bar <= row.at(-1).number);
    const about = { chart, notes, flats, pitch, page, shown, remarks, plan: rowPlan(row.length, matching, page), stave: matching };
    return html`<${Row} key=${row[0].number} index=${index} row=${row} about=${about} />`;
  });
}

function Row({ row, index, about }) {
  const { chart, plan, stave, remarks } = about;
  const { edges } = plan;
  const sung = stretches(row, edges, (bar) => bar.voice.map(([start, end]) => ({ key: 0, start, end })));
  const room = stretches(row, edges, (bar) => bar.openings.map((part) => ({ key: part.index, ...part })));
  const labels = room.map((part) => label(part, about));
  const below = remarks.filter((remark) => remark.last_bar - remark.first_bar <= WHOLE_BARS);
  return html`<div class=${`chart-row ${room.length ? "with-room" : ""}`} role="rowgroup" data-row=${index}>
    <div class="chart-music" role="row">
      ${row[0].section && html`<span class="chart-letter" role="rowheader" aria-label=${`Section ${row[0].section}`}>${row[0].section}</span>`}
      ${sung.map((part) => html`<i class="chart-voice" aria-hidden="true" style=${place(part)}></i>`)}
      ${room.map((part, i) => html`<i class="chart-opening" aria-hidden="true" style=${place(part)}><b title=${labels[i].full}>${labels[i].short}</b></i>`)}
      ${row.map((bar, place_) => html`<${Bar} key=${bar.number} bar=${bar} left=${edges[place_]} right=${edges[place_ + 1]} first=${place_ === 0} about=${about} />`)}
      ${stave ? html`<div class="chart-stave" aria-hidden="true" style=${{ marginLeft: percent(plan.stave.left), width: percent(plan.stave.width) }}
          dangerouslySetInnerHTML=${{ __html: stave.svg }}></div>`
        : html`<div class="chart-no-stave" aria-hidden="true"></div>`}
    </div>
    ${below.length > 0 && html`<div class="chart-said" role="row"><div role="gridcell" aria-colspan=${row.length} style=${columns(edges)}>
      ${below.map((remark) => html`<${Remark} key=${remark.kind + remark.first_bar + remark.text} remark=${remark} row=${row} bar_px=${(edges[1] - edges[0]) * about.page.width} />`)}</div></div>`}
  </div>`;
}

const columns = (edges) => ({
  marginLeft: percent(edges[0]), width: percent(edges.at(-1) - edges[0]), gridTemplateColumns: `repeat(${edges.length - 1}, minmax(0, 1fr))`,
});
const place = ({ left, right }) => ({ left: percent(left), width: percent(right - left) });

function label({ key, left, right }, { chart, shown, page }) {
  const opening = chart.openings[key];
  const room = ((right - left) * page.width - 10) / SMALL_PX;
  const goesOn = shown.has(key);
  shown.add(key);
  return { full: openingLabel(opening), short: goesOn ? (room > 10 ? `${opening.letter}, goes on` : opening.letter) : openingShort(opening, room) };
}

function Bar({ bar, left, right, first, about }) {
  const { chart, notes, flats, pitch, page, remarks } = about;
  const beats = chart.meter.beats_per_bar;
  const width_px = (right - left) * page.width;
  const words = barWords(bar, {
    openings: chart.openings, notes: notes.get(bar.number) ?? [], pitch, beats, flats,
    remarks: remarks.filter((remark) => remark.first_bar === bar.number),
  });
  return html`<div class=${`chart-bar ${bar.count_in ? "count-in" : ""}`} role="gridcell" id=${`bar-${bar.number}`} data-bar=${bar.number} tabindex="-1"
    aria-label=${words} style=${place({ left, right })}>
    <span class="chart-number" aria-hidden="true">${bar.number}${bar.key && !(bar.number < 2) ? html` <em>${signs(bar.key[pitch])}</em>` : ""}</span>
    <${Chords} bar=${bar} pitch=${pitch} beats=${beats} width_px=${width_px} first=${first} />
  </div>`;
}

function Chords({ bar, pitch, beats, width_px, first }) {
  if (bar.count_in) return html`<span class="chart-chords soft" aria-hidden="true"><em>count-in</em></span>`;
  const chords = bar.chords.filter((chord) => first || !chord.held).map((chord) => ({ ...chord, parts: chordParts(chord[pitch]) }));
  const lefts = placeChords(chords.map(({ beat, parts }) => ({ at: acrossBar(beat / beats || 0.0001) * width_px, width: chordWidth(parts) })), width_px);
  return html`<span class="chart-chords" aria-hidden="true">${chords.map(({ parts }, i) => html`<b style=${{ left: `${lefts[i].toFixed(1)}px` }}><${ChordSymbol} ...${parts} /></b>`)}</span>`;
}

function ChordSymbol({ root, kind, bass }) {
  return html`${signs(root)}<small>${signs(kind).replace(/b(?=\d)/g, "♭").replace(/#(?=\d)/g, "♯")}</small>${bass && html`<span class="chart-bass">/${signs(bass)}</span>`}`;
}

/** About how wide a chord symbol is set. */
function chordWidth({ root, kind, bass }) {
  const letters = (text) => (text ? ROOT_PX + SIGN_PX * (text.length - 1) : 0);
  return letters(root) + KIND_PX * kind.length + (bass ? KIND_PX + letters(bass) : 0);
}

const SIGNS = { stop: "✕", look: "!", note: "✓", good: "✓" };
const SPOKEN = { stop: "Cannot be played: ", look: "Look: ", note: "", good: "" };

function Remark({ remark, row, bar_px }) {
  const text = remark.short ?? remark.text;
  const first = row.findIndex((bar) => bar.number === remark.first_bar);
  const until = Math.min(row.length - 1, first + remark.last_bar - remark.first_bar);
  const { from, span } = textSpan(first, until, row.length, REMARK_PX * (text.length + 3), bar_px);
  const bars = remark.first_bar === remark.last_bar ? `bar ${remark.first_bar}` : `bars ${remark.first_bar}–${remark.last_bar}`;
  return html`<p class=${`chart-remark ${remark.kind} ${remark.severity ?? "note"}`} title=${remark.short ? signs(remark.text) : undefined} style=${{ gridColumn: `${from + 1} / span ${span}` }}>
    <span class="chart-remark-sign" aria-hidden="true">${SIGNS[remark.severity] ?? "·"}</span>
    <span class="for-readers">${bars}: ${SPOKEN[remark.severity] ?? ""}</span>${signs(text)}</p>`;
}
