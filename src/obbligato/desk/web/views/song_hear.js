/** By ear: the click with the guide in three places, and tapping along. */
import { hearingSpans, tappedBpm, withTap } from "../lib/chart_taps.js";
import { Action, clock, html, useEffect, useRef, useState } from "../lib/ui.js";

export function Hear({ context, chart, correct }) {
  const { player } = context;
  const spans = hearingSpans(chart.bars);
  return html`<section>
    <h3>Is the click with the music?</h3>
    <p class="soft">Click and guide together, four seconds each. If it drifts from one place to the next, the tempo is not right.</p>
    <div class="row">${spans.map(({ word, bar, start_s, end_s }) => html`<${Action} key=${word} label=${`${word[0].toUpperCase()}${word.slice(1)}, bar ${bar}`}
      busyLabel="Playing …" onClick=${() => player.playSpan(start_s, end_s, { gainsDb: { click: 0 } })} />`)}</div>
    <${Taps} context=${context} correct=${correct} />
  </section>`;
}

function Taps({ context: { store, player, keys, announce }, correct }) {
  const [taps, setTaps] = useState([]);
  const held = useRef(taps);
  held.current = taps;
  function tap() {
    if (!store.get().player.playing) {
      player.play();
      announce("Playing. Tap T on each beat.");
      return;
    }
    setTaps(withTap(held.current, player.position()));
  }
  useEffect(() => keys.add("Song", [{ keys: "T", does: "tap a beat while it plays", run: tap }]), [keys]);
  const bpm = tappedBpm(taps);
  async function use() {
    await correct({ taps_s: taps });
    setTaps([]);
    return "The beats are counted as you tapped them.";
  }
  async function here() {
    await correct({ bar_1_near_s: taps[0] });
    setTaps([]);
    return "Bar 1 is there now.";
  }
  return html`<div class="song-taps">
    <p>Or tap along: <button type="button" onClick=${tap}>Tap <kbd>T</kbd></button> <span class="nums" role="status">${tapWords(taps, bpm)}</span></p>
    ${taps.length > 0 && html`<div class="row">
      ${taps.length >= 4 && html`<${Action} main label=${`Count as tapped`} onClick=${use} />`}
      ${taps.length < 4 && html`<${Action} label=${`Bar 1 is at ${clock(taps[0])}`} onClick=${here} />`}
      <button type="button" class="plain" onClick=${() => setTaps([])}>Forget the taps</button>
    </div>`}
  </div>`;
}

function tapWords(taps, bpm) {
  if (!taps.length) return "one tap for bar 1, eight or more for the tempo";
  const count = `${taps.length} ${taps.length === 1 ? "tap" : "taps"}`;
  return bpm === null ? count : `${count}, about ${Math.round(bpm)} a minute`;
}
