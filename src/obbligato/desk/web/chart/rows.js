/** The rows of the chart as elements: letters, bars, chords, the singer, openings, the line, what is said. */
import { WHOLE_BARS, acrossBar, placeChords, rowPlan, stretches, textSpan } from "../lib/chart_layout.js";
import { barWords, chordParts, flatKey, openingShort } from "../lib/chart_words.js";
import { html, signs } from "../lib/ui.js";

const ROOT_PX = 12;
const KIND_PX = 7.4;
const SIGN_PX = 6;
const SMALL_PX = 6.1;
const REMARK_PX = 6;
const MANY_BARS = 96;
const percent = (share) => `${(100 * share).toFixed(3)}%`;
const place = ({ left, right }) => `left:${percent(left)};width:${percent(right - left)}`;

export function Bars({ chart, rows, staves, page, pitch, said }) {
  const engraved = new Map(staves.map((stave) => [stave.first_bar, stave]));
  const notes = Map.groupBy(chart.line?.notes ?? [], (note) => note.bar);
  const flats = flatKey(chart.bars.find((bar) => bar.key)?.key[pitch]);
  const shown = new Set();
  return rows.map((row, index) => {
    const stave = engraved.get(row[0].number);
    const matching = stave && stave.last_bar === row.at(-1).number ? stave : null;
    const remarks = said.filter((remark) => remark.first_bar >= row[0].number && remark.first_bar <= row.at(-1).number);
    return rowOf(row, index, { chart, notes, flats, pitch, page, shown, remarks, plan: rowPlan(row.length, matching, page), stave: matching });
  });
}

function rowOf(row, index, about) {
  const { chart, plan, stave, remarks } = about;
  const { edges } = plan;
  const sung = stretches(row, edges, (bar) => bar.voice.map(([start, end]) => ({ key: 0, start, end })));
  const room = stretches(row, edges, (bar) => bar.openings.map((part) => ({ key: part.index, ...part })));
  const below = remarks.filter((remark) => remark.last_bar - remark.first_bar <= WHOLE_BARS);
  const kind = `${stave ? "with-stave" : ""} ${room.length ? "with-room" : ""} ${chart.bars.length > MANY_BARS ? "of-many" : ""} ${row.every((bar) => bar.count_in) ? "counting" : ""}`;
  return html`<div class=${`chart-row ${kind}`} role="rowgroup" data-row=${index} key=${row[0].number}>
    <div class="chart-music" role="row">
      ${row[0].section && html`<span class="chart-letter" role="rowheader" aria-label=${`Section ${row[0].section}`}>${row[0].section}</span>`}
      ${sung.map((part) => html`<i class="chart-voice" aria-hidden="true" style=${place(part)}></i>`)}
      ${room.map((part) => openingOf(part, about, chart.openings[part.key]))}
      ${row.map((bar, at) => barOf(bar, edges[at], edges[at + 1], at === 0, about))}
      ${stave && html`<div class="chart-stave" aria-hidden="true" style=${`margin-left:${percent(plan.stave.left)};width:${percent(plan.stave.width)}`}
          dangerouslySetInnerHTML=${{ __html: stave.svg }}></div>`}
    </div>
    ${below.length > 0 && html`<div class="chart-said" role="row"><div role="gridcell" aria-colspan=${row.length} style=${columns(edges)}>
      ${below.map((remark) => remarkOf(remark, row, (edges[1] - edges[0]) * about.page.width))}</div></div>`}
  </div>`;
}

function columns(edges) {
  const width = percent(edges.at(-1) - edges[0]);
  return `margin-left:${percent(edges[0])};width:${width};grid-template-columns:repeat(${edges.length - 1},minmax(0,1fr))`;
}

function openingOf(part, { shown, page }, opening) {
  const room = ((part.right - part.left) * page.width - 10) / SMALL_PX;
  const goesOn = shown.has(part.key);
  shown.add(part.key);
  const words = goesOn ? (room > 10 ? `${opening.letter}, goes on` : opening.letter) : openingShort(opening, room);
  return html`<i class="chart-opening" aria-hidden="true" style=${place(part)}>${words}</i>`;
}

function barOf(bar, left, right, first, about) {
  const { chart, notes, flats, pitch, page, remarks } = about;
  const words = barWords(bar, {
    openings: chart.openings, notes: notes.get(bar.number) ?? [], pitch, beats: chart.meter.beats_per_bar, flats,
    remarks: remarks.filter((remark) => remark.first_bar === bar.number),
  });
  return html`<div class=${bar.count_in ? "chart-bar count-in" : "chart-bar"} role="gridcell" id=${`bar-${bar.number}`} data-bar=${bar.number} tabindex="-1"
    aria-label=${words} style=${place({ left, right })}>
    <span class="chart-number" aria-hidden="true">${bar.number}${bar.key && bar.number > 1 ? html` <em>${signs(bar.key[pitch])}</em>` : ""}</span>
    ${chordsOf(bar, pitch, chart.meter.beats_per_bar, (right - left) * page.width, first)}
  </div>`;
}

function chordsOf(bar, pitch, beats, width_px, first) {
  if (bar.count_in) return html`<em class="chart-counted soft" aria-hidden="true">count-in</em>`;
  const chords = bar.chords.filter((chord) => first || !chord.held);
  const parts = chords.map((chord) => chordParts(chord[pitch]));
  const lefts = placeChords(chords.map(({ beat }, i) => ({ at: acrossBar(beat / beats || 1e-4) * width_px, width: chordWidth(parts[i]) })), width_px);
  return parts.map(({ root, kind, bass }, i) => html`<b class="chart-chord" aria-hidden="true" style=${`left:${percent(lefts[i] / width_px)}`}>${signs(root)}${
    kind && html`<small>${kindSigns(kind)}</small>`}${bass && `/${signs(bass)}`}</b>`);
}

const kindSigns = (kind) => kind.replace(/b(?=\d)/g, "♭").replace(/#(?=\d)/g, "♯");

/** About how wide a chord symbol is set. */
function chordWidth({ root, kind, bass }) {
  const letters = (text) => (text ? ROOT_PX + SIGN_PX * (text.length - 1) : 0);
  return letters(root) + KIND_PX * kind.length + (bass ? KIND_PX + letters(bass) : 0);
}

const SIGNS = { stop: "✕", look: "!", note: "✓", good: "✓" };
const SPOKEN = { stop: "Cannot be played: ", look: "Look: ", note: "", good: "" };

function remarkOf(remark, row, bar_px) {
  const text = remark.short ?? remark.text;
  const first = row.findIndex((bar) => bar.number === remark.first_bar);
  const { from, span } = textSpan(first, row.length, REMARK_PX * (text.length + 3), bar_px);
  const bars = remark.first_bar === remark.last_bar ? `bar ${remark.first_bar}` : `bars ${remark.first_bar}–${remark.last_bar}`;
  return html`<p class=${`chart-remark ${remark.kind} ${remark.severity ?? "note"}`} key=${remark.kind + remark.first_bar + remark.text}
    title=${remark.short ? signs(remark.text) : undefined} style=${`grid-column:${from + 1} / span ${span}`}>
    <span class="chart-remark-sign" aria-hidden="true">${SIGNS[remark.severity] ?? "·"}</span>
    <span class="for-readers">${bars}: ${SPOKEN[remark.severity] ?? ""}</span>${signs(text)}</p>`;
}
