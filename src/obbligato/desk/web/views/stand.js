/** The page to play from: the part over the whole screen, following the song, its rows turning ahead. */
import { fitRows, places } from "../lib/stand.js";
import { html, signs, useEffect, useRef, useStore } from "../lib/ui.js";
import { useOwn } from "./own.js";
import { useAwake } from "./stand_awake.js";
import { MARGIN_PX, Row, counted, ratioOf, useFollowing, useScreen } from "./stand_rows.js";

export const title = "Stand";

export function View({ context }) {
  const { store, api, player, actions } = context;
  const { job, name, theme } = useStore(store);
  const { playing, ready } = useStore(store, (state) => state.player);
  const screen = useScreen();
  const [part, , trouble] = useOwn(api, `/jobs/${encodeURIComponent(name)}/stand?ratio=${ratioOf(screen)}`, job.stamp);
  const awake = useAwake();
  const head = useRef();
  const leave = () => (document.fullscreenElement ? document.exitFullscreen() : actions.go("page"));
  useLeavingWholeScreen(() => actions.go("page"));

  const headHeight = head.current?.offsetHeight ?? screen.height * 0.12;
  const fit = part && fitRows({
    heights: part.rows.map(({ row }) => row.height), rowWidth: part.width, stave: part.stave,
    width: screen.width - 2 * MARGIN_PX, height: screen.height, head: headHeight,
  });
  const follow = useFollowing({ source: player, part, shown: fit?.shown ?? 1, playing });
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

/** Escape on the whole screen is taken by the browser, which leaves the whole screen; the stand is left with it. */
function useLeavingWholeScreen(leave) {
  useEffect(() => {
    const changed = () => !document.fullscreenElement && leave();
    document.addEventListener("fullscreenchange", changed);
    return () => document.removeEventListener("fullscreenchange", changed);
  }, []);
}
