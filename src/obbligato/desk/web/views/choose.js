/** Choosing: which take for which phrase; proposed with reasons, decided by the player. */
import { Action, html, useEffect, useMemo, useRef, useState, useStore } from "../lib/ui.js";
import { matchedGainsDb, renamed, shuffled, spanHeard, takeName } from "../lib/choice.js";
import { Grid } from "./choose_grid.js";
import { useChoice } from "./choose_deciding.js";
import { Joining } from "./choose_joining.js";
import { useChoosingKeys } from "./choose_keys.js";
import { LayersTogether, Remarks } from "./choose_mending.js";
import { OneByOne } from "./choose_narrow.js";
import { Phrase } from "./choose_phrase.js";
import { Seams, useSeams } from "./choose_seams.js";
import { AddTakes, TakeList } from "./choose_takes.js";
import { ChoiceText } from "./choose_text.js";
import { WholeTakes } from "./choose_whole.js";

export const title = "Takes";
const NARROW = "(max-width: 44rem)";

export function View({ context }) {
  const deciding = useChoice(context);
  const { choice, trouble, address } = deciding;
  if (!choice) return html`<h2>Takes</h2><p class="soft">${trouble || "Opening the takes …"}</p>`;
  const inUse = choice.takes.filter(({ left_out }) => !left_out);
  return html`<h2>Takes</h2>
    <div class="choose-top">
      <div class="choose-words">
        ${choice.coverage && html`<p class="choose-coverage">${choice.coverage}</p>`}
        <${State} deciding=${deciding} inUse=${inUse} />
      </div>
      <${AddTakes} context=${context} address=${address} />
    </div>
    <${Remarks} context=${context} address=${address} choice=${choice} />
    ${choice.phrases.length > 0 && html`<${Choosing} context=${context} deciding=${deciding} />`}
    ${!choice.has_line && inUse.length > 0 && html`<${WholeTakes} takes=${inUse} whole=${choice.whole} use=${deciding.useWhole} />`}
    ${choice.takes.length > 0 && html`<${TakeList} context=${context} address=${address} choice=${choice} onChoice=${deciding.put} />`}`;
}

/** How the comp stands beside the choice, and what there is to press. */
function State({ deciding, inUse }) {
  const { choice, trouble, rendering, render, clear } = deciding;
  const byHand = Object.keys(choice.by_hand).length;
  const reads = choice.unheard.length > 0 || (choice.has_line && choice.state === "none");
  return html`<p role="status">${rendering ? "The comp is being rendered as chosen …" : choice.sentence}</p>
    ${trouble && html`<p class="trouble" role="alert">${trouble}</p>`}
    <p class="row">
      ${inUse.length > 0 && choice.state !== "fresh" && html`<${Action} main=${true} label=${reads ? "Read and choose" : "Render the comp"} disabled=${rendering} onClick=${render} />`}
      ${choice.sheet_url && html`<a href=${choice.sheet_url} target="_blank" rel="noopener">The take sheet (PDF)</a>`}
      ${byHand > 0 && html`<${Action} label="Forget all choices by hand" onClick=${clear} />`}
    </p>`;
}

function Choosing({ context, deciding }) {
  const { store, player, announce } = context;
  const { choice, decide } = deciding;
  const pitch = useStore(store, (state) => state.pitch);
  const sounds = useStore(store, (state) => state.player.sounds);
  const narrow = useMedia(NARROW);
  const [hidden, setHidden] = useState(null);
  const [place, setPlace] = useState({ row: 0, column: null });
  const [playing, setPlaying] = useState(null);
  const turn = useRef(0);
  const numbers = choice.takes.filter(({ left_out }) => !left_out).map(({ number }) => number);
  const takes = useMemo(() => (hidden ? hidden.filter((number) => numbers.includes(number)) : numbers), [hidden, numbers.join()]);
  const here = { row: Math.min(place.row, choice.phrases.length - 1), column: Math.min(place.column ?? Math.max(0, takes.indexOf(choice.phrases[0].chosen)), takes.length - 1) };
  const row = choice.phrases[here.row];
  const number = takes[here.column];
  const cell = row.cells.find((one) => one.take === number);
  const seams = useSeams(context, choice);
  const audible = sounds.includes(`take-${number}`);

  async function play(alone) {
    if (playing && playing.phrase === row.index && playing.take === number && playing.alone === alone) return player.pause();
    if (!audible) return announce("The takes can be heard once the comp has been rendered.");
    const mine = ++turn.current;
    const name = `take-${number}`;
    const gainsDb = { [name]: matchedGainsDb(row.cells)[number] ?? 0 };
    setPlaying({ phrase: row.index, take: number, alone });
    announce(`Phrase ${row.index + 1}, ${takeName(number, hidden)}${alone ? " alone" : ""}.`);
    try {
      await player.playSpan(...spanHeard(row, alone), { alone: alone ? name : null, gainsDb });
    } finally {
      if (mine === turn.current) setPlaying(null);
    }
  }
  function choose(wanted, at = row) {
    if (wanted !== null && !at.cells.some(({ take }) => take === wanted)) return announce(`${takeName(wanted, hidden)} has not been read yet.`);
    decide(at.index, wanted);
    announce(wanted === null ? `Phrase ${at.index + 1} as proposed.` : `Phrase ${at.index + 1}: ${takeName(wanted, hidden)}.`);
  }
  function hide() {
    setHidden(hidden ? null : shuffled(numbers));
    announce(hidden ? "The takes have their names again." : "The takes are called by letters, in an order drawn anew.");
  }
  useChoosingKeys(context, { takes, hidden, choose, hide, seams, playing: () => player.pause() });
  const parts = { choice, takes, hidden, pitch, playing, place: here, onPlace: setPlace, onPlay: play };
  const phrase = html`<${Phrase} row=${row} cell=${cell} number=${number} hidden=${hidden} pitch=${pitch} playing=${playing} audible=${audible} onPlay=${play} onChoose=${(wanted) => choose(wanted)} />`;
  return html`<p class="row choose-tools"><button type="button" aria-pressed=${Boolean(hidden)} onClick=${hide}>${hidden ? "Show the takes' names" : "Hide the takes' names"} <kbd>H</kbd></button>
      <span class="small soft choose-legend">Each note stands off its place: up where sharp, down where flat, right where late, left where early. A ring is a note not played, a cross another note, a plus one too many.</span></p>
    ${narrow ? html`<${OneByOne} ...${parts}>${phrase}<//>`
      : html`<div class="choose-table"><div class="choose-scroll"><${Grid} ...${parts} /></div><div class="choose-side">${phrase}</div></div>`}
    ${!hidden && html`<${Joining} deciding=${deciding} takes=${numbers} />`}
    <${Seams} choice=${choice} hidden=${hidden} seams=${seams} />
    ${!hidden && html`<${ChoiceText} context=${context} address=${deciding.address} choice=${choice} />
      <${LayersTogether} context=${context} address=${deciding.address} takes=${numbers} />`}
    <details><summary>Every choice and why</summary><ol class="choose-whys">${choice.phrases.map((one) => html`<li key=${one.index}>Bar${one.first_bar === one.last_bar ? "" : "s"} ${one.bars}: ${one.chosen === null ? "none" : takeName(one.chosen, hidden)}. ${renamed(one.why, hidden)} ${renamed(one.change, hidden)}</li>`)}</ol></details>`;
}

/** Whether the window is such, and again when that changes. */
function useMedia(query) {
  const [fits, setFits] = useState(() => matchMedia(query).matches);
  useEffect(() => {
    const media = matchMedia(query);
    const changed = () => setFits(media.matches);
    media.addEventListener("change", changed);
    return () => media.removeEventListener("change", changed);
  }, [query]);
  return fits;
}
