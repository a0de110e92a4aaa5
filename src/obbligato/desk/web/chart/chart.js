/**
 * The song as a page of bar rows; everything that is known or said hangs on its bars. One component for every view:
 * the song comes from the store, a view may add `marks` of its own and take what is done to a bar (`onBar`).
 */
import { Bars } from "./rows.js";
import { useNow } from "./now.js";
import { useChoosing } from "./choosing.js";
import { useStaves } from "./staves.js";
import { WHOLE_BARS, barsPerRow, pagePlan, rowsOf } from "../lib/chart_layout.js";
import { openingLabel } from "../lib/chart_words.js";
import { counted, html, signs, useEffect, useMemo, useRef, useState, useStore } from "../lib/ui.js";

const NO_MARKS = [];
const KINDS = [["client", "Client"], ["check", "Check"], ["verdict", "Takes"]];
const KEPT = "obbligato-chart-hidden";

export function Chart({ context, marks = NO_MARKS, onBar }) {
  const chart = useStore(context.store, (state) => state.chart);
  if (!chart || chart.state === "none" || !chart.bars.length) return html`<${Nothing} context=${context} chart=${chart} />`;
  return html`<${Page} context=${context} chart=${chart} marks=${marks} onBar=${onBar} />`;
}

function Nothing({ context, chart }) {
  const { tasks, name } = useStore(context.store);
  const listening = tasks.some((task) => task.job === name && ["running", "waiting"].includes(task.state));
  const words = !chart ? "Fetching the chart …"
    : listening ? "The guide is being listened to. The bars come first, in a few seconds; chords, singer and sections follow."
      : "The chart stands here once the guide has been listened to.";
  return html`<p class="chart-empty soft">${words}</p>`;
}

function Page({ context, chart, marks, onBar }) {
  const { store } = context;
  const pitch = useStore(store, (state) => state.pitch);
  const sheet = useRef();
  const width = useWidth(sheet);
  const [hidden, setHidden] = useState(() => (localStorage.getItem(KEPT) ?? "").split(" ").filter(Boolean));
  const perRow = barsPerRow(width || 700);
  const staves = useStaves(context, chart, width ? perRow : null, pitch);
  const rows = useMemo(() => rowsOf(chart.bars, perRow), [chart, perRow]);
  const said = useMemo(() => [...chart.remarks.filter(({ kind }) => !hidden.includes(kind)), ...marks], [chart, marks, hidden]);
  const page = useMemo(() => ({ ...pagePlan(staves, perRow), width }), [perRow, staves, width]);
  useNow(context, chart, rows, sheet, page);
  const choosing = useChoosing(context, rows, sheet, onBar);
  const kinds = KINDS.filter(([kind]) => chart.remarks.some((remark) => remark.kind === kind));
  function toggle(kind) {
    const next = hidden.includes(kind) ? hidden.filter((one) => one !== kind) : [...hidden, kind];
    localStorage.setItem(KEPT, next.join(" "));
    setHidden(next);
  }
  const body = useMemo(() => html`<${Bars} chart=${chart} rows=${rows} staves=${staves} page=${page} pitch=${pitch} said=${said} />`,
    [chart, rows, staves, page, pitch, said]);
  return html`<div class="chart">
    <${Head} chart=${chart} pitch=${pitch} job=${store.get().job} />
    <div class="chart-rows" ref=${sheet} role="grid" aria-label="Bars of the song" aria-colcount=${perRow} aria-readonly="true"
      aria-multiselectable="true" aria-describedby="chart-how" ...${choosing}>
      ${width ? body : null}
    </div>
    <${Foot} chart=${chart} said=${said} kinds=${kinds} hidden=${hidden} toggle=${toggle} />
  </div>`;
}

function Head({ chart, pitch, job }) {
  const { tempo, meter } = chart;
  const key = chart.bars.find((bar) => bar.key)?.key;
  const transposed = key && key.sounding !== key.written;
  return html`<header class="chart-head">
    <h2>${chart.title}</h2>
    <p class="nums">${meter.signature}, ${tempo.steady ? "" : "about "}${tempo.bpm.toFixed(1)} ${meter.unit}s a minute${key ? `, ${signs(key[pitch])}` : ""}</p>
    ${transposed && html`<p class="soft">${pitch === "written" ? `Written pitch${job ? ` for ${signs(job.instrument.name)}` : ""}` : "Sounding pitch"}</p>`}
    ${chart.state === "tempo" && html`<p class="soft" role="status">Still listening: chords, the singer and sections come in a moment.</p>`}
  </header>`;
}

function Foot({ chart, said, kinds, hidden, toggle }) {
  const whole = said.filter((remark) => remark.last_bar - remark.first_bar > WHOLE_BARS);
  return html`<footer class="chart-foot">
    ${chart.state === "whole" && html`<p class="small soft"><span class="chart-swatch voice"></span> the singer sings
      <span class="chart-swatch opening"></span> an opening: room the singer leaves</p>`}
    ${kinds.length > 0 && html`<p class="row small chart-kinds"><span class="soft">Notes under the bars:</span>${kinds.map(([kind, word]) => html`
      <button type="button" class="plain" key=${kind} aria-pressed=${!hidden.includes(kind)} onClick=${() => toggle(kind)}>${word}</button>`)}</p>`}
    ${whole.length > 0 && html`<ul class="small">${whole.map((remark) => html`<li key=${remark.text}>${signs(remark.text)}</li>`)}</ul>`}
    ${chart.openings.length > 0 && html`<details class="small"><summary>${counted(chart.openings.length, "opening")} as a list</summary>
      <ul class="chart-openings">${chart.openings.map((opening) => html`<li key=${opening.index}>Bar ${opening.first_bar}${opening.last_bar !== opening.first_bar ? `–${opening.last_bar}` : ""}: ${openingLabel(opening)}</li>`)}</ul></details>`}
    <p class="for-readers" id="chart-how">Arrow keys go from bar to bar, Enter plays from a bar, Shift with arrows chooses bars to loop, Escape lets them go.</p>
  </footer>`;
}

function useWidth(ref) {
  const [width, setWidth] = useState(0);
  useEffect(() => {
    const measure = () => setWidth(Math.round(ref.current.clientWidth));
    const observer = new ResizeObserver(measure);
    observer.observe(ref.current);
    measure();
    return () => observer.disconnect();
  }, []);
  return width;
}
