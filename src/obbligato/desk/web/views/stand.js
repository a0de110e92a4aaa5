/** The page to play from: the part over the whole screen, following the song, its rows turning ahead. */
import { barAt, fitRows, letterAt, markerX, places, restAt, rowAt, rowToShow } from "../lib/stand.js";
import { html, signs, useEffect, useRef, useState, useStore } from "../lib/ui.js";
import { useOwn } from "./own.js";
import { useAwake } from "./stand_awake.js";

export const title = "Stand";

const RATIO_STEP = 0.05;
const MARGIN_PX = 16;

export function View({ context }) {
  const { store, api, player, actions } = context;
  const { job, name, theme } = useStore(store);
  const { playing, ready } = useStore(store, (state) => state.player);
  const screen = useScreen();
  const ratio = Math.max(0.2, Math.min(6, Math.round((screen.width / screen.height) / RATIO_STEP) * RATIO_STEP)).toFixed(2);
  const [part, , trouble] = useOwn(api, `/jobs/${encodeURIComponent(name)}/stand?ratio=${ratio}`, job.stamp);
  const awake = useAwake();
  const head = useRef();
  const leave = () => (document.fullscreenElement ? document.exitFullscreen() : actions.go("page"));
  useLeavingWholeScreen(() => actions.go("page"));

  const headHeight = head.current?.offsetHeight ?? screen.height * 0.12;
  const fit = part && fitRows({
    heights: part.rows.map(({ row }) => row.height), rowWidth: part.width, stave: part.stave,
    width: screen.width - 2 * MARGIN_PX, height: screen.height, head: headHeight,
  });
  const follow = useFollowing({ player, part, shown: fit?.shown ?? 1, playing });
  useEffect(() => context.keys.add("Stand", [
    { keys: "PageDown / Right / Down / Space", does: "the next rows (a pedal does the same)", run: () => follow.turn(1) },
    { keys: "PageUp / Left / Up", does: "the rows before", run: () => follow.turn(-1) },
    { keys: "p / Enter", does: "play or stop", run: () => player.toggle() },
    { keys: "f", does: "follow the song again", run: () => follow.again() },
    { keys: "Home", does: "the first row", run: () => follow.to(0) },
    { keys: "Esc", does: "leave the stand", run: leave },
  ]), [part, fit?.shown]);

  if (!part) {
    return html`<div class="stand"><div class="stand-wait"><p class=${trouble ? "trouble" : "soft"}>${trouble || "Setting the part …"}</p>
      <button type="button" onClick=${leave}>Leave the stand</button></div></div>`;
  }
  const { bar, letter, rest } = counted(part, follow.bar);
  return html`<div class="stand">
    <header class="stand-head" ref=${head}>
      <p class="stand-place nums"><span class="letter">${letter}</span> <span class="bar">${bar < 1 ? "before bar 1" : `bar ${bar}`}</span></p>
      <p class=${`stand-rest nums ${rest ? "" : "quiet"}`} role="status">${rest ? rest.words : follow.bar <= part.bars[0].number && !playing ? signs(part.tempo) : ""}</p>
      <div class="stand-tools">
        <button type="button" class="main" disabled=${!ready} onClick=${() => player.toggle()}>${playing ? "Stop" : ready ? "Play" : "Loading …"}</button>
        ${follow.away && html`<button type="button" onClick=${follow.again}>Follow the song</button>`}
        <button type="button" onClick=${() => actions.setTheme(theme === "dark" ? "light" : "dark")}>${theme === "dark" ? "Light" : "Dark"}</button>
        <button type="button" onClick=${() => document.documentElement.requestFullscreen?.()}>Whole screen</button>
        <button type="button" onClick=${leave}>Leave</button>
      </div>
    </header>
    <h1 class="for-readers">${part.title}, ${part.instrument}, version ${part.version}</h1>
    <p class="for-readers">${part.reading} ${part.first_note} ${awake.words}</p>
    <div class="stand-rows">
      ${places(follow.first, fit.shown, part.rows.length).map((index, place) => index === null
        ? html`<div class="stand-row gone" key=${`gone-${place}`}></div>`
        : html`<${Row} key=${index} one=${part.rows[index]} scale=${fit.scale} played=${index === follow.played} onMark=${follow.register} index=${index} />`)}
    </div>
    <p class="stand-foot small soft">${signs(part.instrument)}, version ${part.version}. ${awake.words} <kbd>PageDown</kbd> or a pedal turns, <kbd>P</kbd> plays, <kbd>Esc</kbd> leaves.</p>
  </div>`;
}

function counted(part, number) {
  return { bar: number, letter: letterAt(part.bars, number), rest: restAt(part.silences, number) };
}

function Row({ one, scale, played, onMark, index }) {
  const mark = useRef();
  const { row } = one;
  useEffect(() => onMark(index, mark.current), [index]);
  const first = row.bars[0].number;
  const last = row.bars[row.bars.length - 1];
  const number = first === last.number + last.bars - 1 ? `Bar ${first}` : `Bars ${first} to ${last.number + last.bars - 1}`;
  return html`<section class=${`stand-row ${played ? "played" : ""}`} style=${{ width: `${row.width * scale}px`, height: `${row.height * scale}px` }} aria-label=${number}>
    <span class="stand-number nums" aria-hidden="true">${first}</span>
    <div aria-hidden="true" dangerouslySetInnerHTML=${{ __html: row.svg }}></div>
    <svg class="stand-over" viewBox=${`0 0 ${row.width} ${row.height}`} aria-hidden="true">
      <rect ref=${mark} class="stand-mark" y=${row.stave_top - 24} height="128" width="0" /></svg>
  </section>`;
}

/** Where the song is, which rows are to be shown for it, and turning them by hand. */
function useFollowing({ player, part, shown, playing }) {
  const [state, setState] = useState({ first: 0, played: 0, bar: 1 });
  const [byHand, setByHand] = useState(null);
  const marks = useRef(new Map());
  const hand = useRef(null);
  hand.current = byHand;
  const calm = useRef(matchMedia("(prefers-reduced-motion: reduce)"));

  useEffect(() => {
    if (!part) return undefined;
    return player.onFrame((position_s) => {
      const played = rowAt(part.rows, position_s);
      const first = rowToShow(part.rows, position_s, shown);
      const bar = barAt(part.bars, position_s).number;
      setState((before) => (before.first === first && before.played === played && before.bar === bar ? before : { first, played, bar }));
      if (hand.current !== null && played >= hand.current && played < hand.current + shown && inside(position_s, part.rows[played])) setByHand(null);
      for (const [index, mark] of marks.current) place(mark, part.rows[index], index === played, position_s, calm.current.matches);
    });
  }, [part, shown]);
  useEffect(() => { if (playing) setByHand(null); }, [playing]);

  const first = byHand ?? state.first;
  const last = (part?.rows.length ?? 1) - 1;
  return {
    ...state, first, away: byHand !== null,
    turn: (pages) => setByHand(Math.min(Math.max((hand.current ?? state.first) + pages * shown, 0), last)),
    to: (row) => setByHand(row),
    again: () => setByHand(null),
    register(index, mark) {
      marks.current.set(index, mark);
      return () => marks.current.delete(index);
    },
  };
}

/** Whether the song is inside a row, and not before or after it. */
function inside(position_s, { marks }) {
  return position_s >= marks[0].at_s && position_s <= marks[marks.length - 1].at_s;
}

/** The marker is a narrow stroke that moves with the song; where motion is not wanted, the bar itself is shaded. */
function place(mark, one, here, position_s, calm) {
  if (!mark || !one) return;
  if (!here || position_s < one.marks[0].at_s) {
    mark.setAttribute("width", 0);
    return;
  }
  const x = markerX(one.marks, position_s);
  const bar = calm && one.row.bars.find(({ left, right }) => x >= left && x <= right);
  mark.setAttribute("x", bar ? bar.left : x - 4);
  mark.setAttribute("width", bar ? bar.right - bar.left : 8);
}

function useScreen() {
  const size = () => ({ width: innerWidth, height: innerHeight });
  const [screen, setScreen] = useState(size);
  useEffect(() => {
    const measure = () => setScreen(size());
    addEventListener("resize", measure);
    return () => removeEventListener("resize", measure);
  }, []);
  return screen;
}

/** Escape on the whole screen is taken by the browser, which leaves the whole screen; the stand is left with it. */
function useLeavingWholeScreen(leave) {
  useEffect(() => {
    const changed = () => !document.fullscreenElement && leave();
    document.addEventListener("fullscreenchange", changed);
    return () => document.removeEventListener("fullscreenchange", changed);
  }, []);
}
