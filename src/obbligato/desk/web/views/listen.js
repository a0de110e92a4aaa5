/** The listening bar under every view: play and stop, the place in words, three sliders, tempo, loop and run-in. */
import { clock, html, useEffect, useRef, useState, useStore } from "../lib/ui.js";
import { inWords } from "../lib/mix_levels.js";
import { barAway, spanOf, whereAt } from "../lib/mix_where.js";

export const title = "Listening";

const SPEEDS = [1, 0.9, 0.8, 0.7, 0.6];
const speedWords = (speed) => (speed === 1 ? "as recorded" : `${Math.round(100 * speed)} %`);
const NO_BARS = [];

export function View({ context }) {
  const { store, player } = context;
  const state = useStore(store, (all) => all.player);
  const bars = useStore(store, (all) => all.chart?.bars) ?? NO_BARS;
  const selection = useStore(store, (all) => all.selection);
  const [open, setOpen] = useState(false);
  useListeningKeys(context);
  useLoopFollows(context, bars, selection);
  return html`<section class="listen" aria-label="Listening">
    <div class="listen-first">
      <button type="button" class="main listen-play" disabled=${!state.ready} onClick=${() => player.toggle()}>
        ${state.playing ? "Stop" : "Play"}</button>
      <${Where} context=${context} bars=${bars} />
      <button type="button" class="listen-more" aria-expanded=${open} aria-controls="listen-rest"
        onClick=${() => setOpen(!open)}>${open ? "Less" : "Levels"}</button>
    </div>
    <${PlaceLine} context=${context} bars=${bars} />
    <div class=${`listen-rest ${open ? "open" : ""}`} id="listen-rest">
      <${Level} context=${context} name="guide" label="Guide" />
      <${Level} context=${context} name="click" label="Click" />
      <${Third} context=${context} />
      <${Ways} context=${context} bars=${bars} selection=${selection} />
    </div>
    ${state.trouble && html`<p class="trouble small">${state.trouble}</p>`}
  </section>`;
}

/** Bar, beat, section and clock; drawn again on each beat, not in between. */
function Where({ context, bars }) {
  const { store, player } = context;
  const state = useStore(store, (all) => all.player);
  const words = usePlace(player, (place_s) => placeWords(bars, place_s), [bars]);
  const waiting = !state.ready ? "fetching the guide …" : state.loading ? `fetching the ${state.loading} …` : "";
  return html`<p class="listen-where nums">
    <span class="listen-bar">${words.bar}</span>
    <span class="soft">${waiting ? html`<em>${waiting}</em>` : words.rest}</span>
  </p>`;
}

function placeWords(bars, place_s) {
  const where = whereAt(bars, place_s);
  const time = clock(Math.max(0, place_s), 0);
  if (!bars.length) return { bar: time, rest: "" };
  if (place_s < 0 || !where) return { bar: "Before the first bar", rest: time };
  if (where.bar < 1) return { bar: `Count-in, beat ${where.beat}`, rest: time };
  const section = where.section ? `section ${where.section} · ` : "";
  return { bar: `Bar ${where.bar}, beat ${where.beat}`, rest: section + time };
}

/** The place as a thin line to take hold of; arrows go by bars. */
function PlaceLine({ context, bars }) {
  const { store, player } = context;
  const duration_s = useStore(store, (all) => all.chart?.duration_s) ?? bars.at(-1)?.end_s ?? 0;
  const line = useRef();
  const held = useRef(false);
  useEffect(() => player.onFrame((place_s) => {
    if (!line.current || held.current) return;
    line.current.value = place_s;
    line.current.style.setProperty("--done", `${(100 * Math.max(0, place_s)) / (duration_s || 1)}%`);
  }), [player, duration_s]);
  const words = usePlace(player, (place_s) => placeWords(bars, place_s), [bars]);
  const steps = { ArrowLeft: -1, ArrowDown: -1, ArrowRight: 1, ArrowUp: 1, PageDown: -8, PageUp: 8, Home: -1e6, End: 1e6 };
  function onKeyDown(event) {
    const by = steps[event.key];
    if (by === undefined || event.altKey || event.ctrlKey || event.metaKey) return;
    event.preventDefault();
    player.seek(barAway(bars, player.position(), by));
  }
  const valueText = [words.bar, words.rest].filter(Boolean).join(", ");
  return html`<input type="range" class="listen-line" ref=${line} min="0" max=${duration_s} step="0.01" disabled=${!duration_s}
    aria-label="Place in the song" aria-valuetext=${valueText} onKeyDown=${onKeyDown}
    onPointerDown=${() => { held.current = true; }} onPointerUp=${() => { held.current = false; }}
    onInput=${(event) => player.seek(Number(event.target.value))}
    onChange=${() => { held.current = false; }} />`;
}

function Level({ context, name, label, heading }) {
  const { store, player } = context;
  const gain = useStore(store, (all) => all.player.gains[name] ?? 0);
  const there = useStore(store, (all) => all.player.sounds.includes(name));
  return html`<div class="listen-level">
    ${heading ?? html`<label for=${`level-${name}`}>${label}</label>`}
    <input type="range" id=${`level-${name}`} min="0" max="1" step="0.02" value=${gain} disabled=${!there}
      aria-label=${`${label}, how loud`} aria-valuetext=${inWords(gain)} style=${`--done: ${100 * gain}%`}
      onInput=${(event) => player.setGain(name, Number(event.target.value))} />
  </div>`;
}

/** The third slider: the line or the comp, whichever is chosen. */
function Third({ context }) {
  const { store, player } = context;
  const third = useStore(store, (all) => all.player.third);
  const sounds = useStore(store, (all) => all.player.sounds);
  const choices = ["line", "comp"].filter((name) => sounds.includes(name));
  const name = third ?? "line";
  const heading = choices.length < 2
    ? html`<label for=${`level-${name}`}>${choices.length ? wordFor(name) : "Line (none yet)"}</label>`
    : html`<span class="listen-third" role="group" aria-label="Third sound">${choices.map((one) => html`
        <button type="button" class="plain" key=${one} aria-pressed=${one === third}
          onClick=${() => player.setThird(one)}>${wordFor(one)}</button>`)}</span>`;
  return html`<${Level} context=${context} name=${name} label=${wordFor(name)} heading=${heading} />`;
}

function wordFor(name) {
  return name === "comp" ? "Comp" : "Line";
}

/** How it is played: tempo, loop, run-in. */
function Ways({ context, bars, selection }) {
  const { store, player } = context;
  const state = useStore(store, (all) => all.player);
  const chosen = spanOf(bars, selection);
  const label = selection ? barsWords(selection) : "chosen bars";
  return html`<div class="listen-ways">
    <label class="listen-speed">Tempo <select value=${state.speed} aria-label="Tempo"
      onChange=${(event) => player.setSpeed(Number(event.target.value))}>
      ${SPEEDS.map((speed) => html`<option value=${speed} key=${speed}>${speedWords(speed)}</option>`)}
    </select></label>
    <label class="listen-tick"><input type="checkbox" checked=${state.loop !== null} disabled=${!chosen && !state.loop}
      onChange=${(event) => player.setLoop(event.target.checked ? chosen : null)} /> Loop ${label}</label>
    <label class="listen-tick"><input type="checkbox" checked=${state.runIn}
      onChange=${(event) => player.setRunIn(event.target.checked)} /> Two bars before</label>
  </div>`;
}

function barsWords({ first, last }) {
  return first === last ? `bar ${first}` : `bars ${first}–${last}`;
}

/** Bars chosen on the chart are looped; without a choice there is no loop. */
function useLoopFollows({ player, announce }, bars, selection) {
  const before = useRef(null);
  useEffect(() => {
    const span = spanOf(bars, selection);
    const words = JSON.stringify(span);
    if (words === before.current) return;
    if (before.current !== null || span) player.setLoop(span);
    if (span) announce?.(`Loop: ${barsWords(selection)}`);
    before.current = words;
  }, [bars, selection]);
}

/** What is to be shown of the place, as text; the component is drawn again only when that changes. */
function usePlace(player, words, inputs) {
  const [shown, setShown] = useState(() => words(player.position()));
  useEffect(() => {
    let last = "";
    return player.onFrame((place_s) => {
      const next = words(place_s);
      const key = JSON.stringify(next);
      if (key !== last) setShown(next);
      last = key;
    });
  }, [player, ...inputs]);
  return shown;
}

function useListeningKeys({ store, player, keys, announce }) {
  useEffect(() => {
    const bars = () => store.get().chart?.bars ?? NO_BARS;
    const move = (by) => player.seek(barAway(bars(), player.position(), by));
    const speed = (by) => {
      const at = SPEEDS.indexOf(store.get().player.speed);
      const next = SPEEDS[Math.min(Math.max(at + by, 0), SPEEDS.length - 1)];
      player.setSpeed(next);
      announce?.(`Tempo ${speedWords(next)}`);
    };
    const fromFirst = () => {
      const { loop } = store.get().player;
      player.seek(loop ? loop.start_s : 0);
      player.play();
    };
    const loopOrNot = () => {
      const span = store.get().player.loop ? null : spanOf(bars(), store.get().selection);
      player.setLoop(span);
      announce?.(span ? "Loop on" : "Loop off");
    };
    return keys?.add("Listening", [
      { keys: "Space", does: "play or stop", run: () => player.toggle() },
      { keys: "Shift+Space", does: "play from the first of the chosen bars, or from the beginning", run: fromFirst },
      { keys: "Alt+,", does: "a bar back", run: () => move(-1) },
      { keys: "Alt+.", does: "a bar on", run: () => move(1) },
      { keys: "Alt+-", does: "slower", run: () => speed(1) },
      { keys: "Alt++ / Alt+=", does: "faster", run: () => speed(-1) },
      { keys: "Alt+o", does: "loop the chosen bars, or not", run: loopOrNot },
    ]);
  }, [store, player, keys]);
}
