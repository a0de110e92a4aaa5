/** A take on the whole screen, to be read from two metres: the state, the bar, the music, the level; one key does it. */
import { lostWords, orderWords, placeWords, restWords, RUNNING, stateWord } from "../lib/record.js";
import { html, useEffect, useRef, useState, useStore } from "../lib/ui.js";
import { toPlace } from "../state/places.js";
import { useOwn } from "./own.js";
import { Meter } from "./record_meter.js";
import { useAwake } from "./stand_awake.js";
import { After } from "./take_after.js";
import { useHands } from "./take_hands.js";
import { Music } from "./take_music.js";

export const title = "Take";

export function View({ context }) {
  const { store, api, recorder, actions } = context;
  const { job, name, chart, selection } = useStore(store);
  const { now, order } = useStore(recorder.store);
  const address = `/jobs/${encodeURIComponent(name)}`;
  const [view, setView, trouble] = useOwn(api, `${address}/recording`, job.stamp);
  const [refused, setRefused] = useState("");
  const awake = useAwake();
  const head = useRef();
  const here = !now.job || now.job === name;
  const running = here && RUNNING.includes(now.phase);
  const outcome = now.outcome?.job === name && now.outcome.what === "record" ? now.outcome : null;
  const state = stateWord({ ...now, outcome });
  const bars = chart?.bars ?? [];
  const place = usePlaceWords(recorder, bars, running, startOf(bars, order));
  useEffect(() => recorder.watch(), []);
  useSelectionIsOrder(recorder, selection, now.phase === "idle");
  useEffect(() => { if (now.phase === "idle") setRefused(""); }, [outcome?.id]);

  const hands = useHands({ context, address, outcome, onCover: (cover) => setView({ ...view, cover }), onTrouble: setRefused });
  const last = outcome?.numbers?.at(-1);
  return html`<div class=${`take ${running ? "running" : ""} ${state.sign}`}>
    <header class="take-head" ref=${head}>
      <p class="take-state"><span class="take-sign" aria-hidden="true"></span>${here ? state.word : "Busy"}</p>
      <p class="take-bar nums"><span class="for-readers">Bar </span>${place.big}</p>
      <p class="take-beat nums"><span class="take-letter">${place.section}</span> ${place.small}</p>
      <p class="take-line">${lineWords({ now, here, running, place, silences: hands.silences.current, order })}</p>
    </header>
    <h1 class="for-readers">Recording ${job.brief.title}</h1>
    ${(running || !outcome) && html`<${Music} context=${context} job=${job} name=${name} head=${head} running=${running} lost=${now.lost}
      start_s=${startOf(bars, order)} silences=${hands.silences} />`}
    ${!running && outcome && html`<${After} outcome=${outcome} view=${view} last=${last} onMark=${hands.mark} />`}
    ${(refused || trouble) && html`<p class="trouble take-trouble" role="alert">${refused || trouble}</p>`}
    <footer class="take-foot">
      <${Meter} meter=${here ? now.meter : null} large=${true} />
      <${Tools} context=${context} now=${now} here=${here} order=${order} selection=${selection} hands=${hands} />
      <p class="small soft take-keys"><kbd>Space</kbd> or a pedal starts and stops, <kbd>PageUp</kbd> plays it again, <kbd>Esc</kbd> leaves; a take goes on without this page. ${awake.words}</p>
    </footer>
  </div>`;
}

/** Start and stop, what is recorded, and the way out. */
function Tools({ context: { recorder, actions, store }, now, here, order, selection, hands }) {
  const idle = now.phase === "idle";
  const theme = useStore(store, (all) => all.theme);
  const calm = (fn) => (event) => { if (event.detail) event.currentTarget.blur(); fn(); };
  const stopWord = now.phase === "ringing" ? "Stop at once" : "Stop";
  return html`<div class="take-tools">
    <button type="button" class="main take-go" disabled=${now.phase === "keeping"} onClick=${calm(hands.act)}>${idle ? "Record" : stopWord}</button>
    <button type="button" onClick=${calm(hands.again)} disabled=${!here || ["making", "keeping", "checking", "calibrating"].includes(now.phase)}>${idle ? "Again" : "Again, from the start"}</button>
    ${idle && html`<fieldset class="row"><legend class="for-readers">What to record</legend>
      <button type="button" aria-pressed=${!order.bars} onClick=${calm(() => { actions.select(null); recorder.setOrder({ bars: null }); })}>Whole song</button>
      ${selection && html`<button type="button" aria-pressed=${Boolean(order.bars)} onClick=${calm(() => recorder.setOrder({ bars: [selection.first, selection.last] }))}>
        ${selection.first === selection.last ? `Bar ${selection.first}` : `Bars ${selection.first}–${selection.last}`}</button>`}
      <button type="button" aria-pressed=${order.loop} onClick=${calm(() => recorder.setOrder({ loop: !order.loop, open_ended: false }))}>Take after take</button>
      <button type="button" aria-pressed=${order.open_ended} onClick=${calm(() => recorder.setOrder({ open_ended: !order.open_ended, loop: false }))}>Open</button>
    </fieldset>`}
    <span class="take-more">
      ${hands.pedal}
      <button type="button" onClick=${calm(() => actions.setTheme(theme === "dark" ? "light" : "dark"))}>${theme === "dark" ? "Light" : "Dark"}</button>
      <button type="button" onClick=${() => document.documentElement.requestFullscreen?.()}>Whole screen</button>
      <a class="button" href=${toPlace(store.get().name, "record")}>Leave</a>
    </span>
  </div>`;
}

function lineWords({ now, here, running, place, silences, order }) {
  if (!here) return `Something of '${now.job}' is being recorded.`;
  if (running && now.lost.length) return lostWords(now.lost.at(-1));
  if (now.phase === "ringing") return "Keep still until it has rung out.";
  if (running) {
    const pass = now.open_ended ? `Pass ${now.round}. ` : "";
    return `${pass}${restWords(silences, place.bar) || (now.bars && now.phase === "count-in" ? `In at bar ${now.bars[0]}` : `Take ${now.number}`)}`;
  }
  if (now.phase === "making") return `${now.message || "Opening the device"} …`;
  return now.phase === "idle" ? orderWords(order) : "";
}

function startOf(bars, order) {
  const first = order.bars?.[0] ?? 1;
  return bars.find(({ number }) => number === first)?.start_s ?? 0;
}

/** The place in words; drawn again only when the words change. */
function usePlaceWords(recorder, bars, running, start_s) {
  const [words, setWords] = useState(() => placeWords(bars, start_s));
  useEffect(() => {
    let shown = "";
    return recorder.onFrame((place_s) => {
      const next = placeWords(bars, running ? place_s : start_s);
      const key = JSON.stringify(next);
      if (key !== shown) setWords(next);
      shown = key;
    });
  }, [bars, running, start_s]);
  return words;
}

/** Bars marked on the chart are what is recorded, until something else is chosen. */
function useSelectionIsOrder(recorder, selection, idle) {
  const before = useRef(undefined);
  useEffect(() => {
    const key = selection ? `${selection.first}-${selection.last}` : "";
    if (!idle || key === before.current) return;
    before.current = key;
    recorder.setOrder({ bars: selection && selection.first >= 1 ? [selection.first, selection.last] : null });
  }, [selection, idle]);
}
