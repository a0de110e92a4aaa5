/** Playing the line in: a MIDI keyboard or the computer's keys, against the guide, or step by step at the mark. */
import { pitchOfKey } from "../lib/keyboard.js";
import { typing } from "../lib/keys.js";
import { createCapture, playedAt, toNotes } from "../lib/line_capture.js";
import { beatToSeconds, secondsToBeat } from "../lib/line_time.js";
import { listenToMidi } from "../lib/midi_in.js";
import { Action, html, useEffect, useRef, useState, useStore } from "../lib/ui.js";
import { addAtCaret } from "./write_sheet.js";
import { createTone } from "./write_tone.js";

const LATENCY = "obbligato-latency-ms";
const VELOCITY_OF_KEYS = 80;
/** So much of the run-in is taken down as well: a pick-up, or a first note that comes early. */
const PICK_UP_BEATS = 1;

/** @param {{context: object, line: object, transposition: number}} props `transposition`: sounding minus written */
export function Play({ context, line, transposition }) {
  const { player, store } = context;
  const [keysPlay, setKeysPlay] = useState(false);
  const [octave, setOctave] = useState(1);
  const [mode, setMode] = useState("sound");
  const [keysAre, setKeysAre] = useState("sounding");
  const [names, setNames] = useState(null);
  const [latency, setLatency] = useState(Number(localStorage.getItem(LATENCY) ?? 0) || 0);
  const recording = useStore(line.store, (state) => state.recording) ?? false;
  const ready = useStore(store, (state) => state.player.ready);
  const playing = useStore(store, (state) => state.player.playing);
  const midi = useRef(null);
  const hands = useHands({ context, line, now: { mode, latency, shift: keysAre === "written" ? transposition : 0 } });

  useEffect(() => () => midi.current?.(), []);
  useEffect(() => {
    if (!playing && recording) stop();
  }, [playing]);
  useEffect(() => (keysPlay ? listenToKeys(hands, octave, setOctave) : undefined), [keysPlay, octave]);

  function record() {
    const { anchors, sheet } = line.store.get();
    const bar = line.barOfCaret();
    const first = (bar - 1) * sheet.beats_per_bar;
    player.setRunIn(true);
    player.seek(Math.max(0, beatToSeconds(anchors, first)));
    hands.begin(beatToSeconds(anchors, first - PICK_UP_BEATS));
    line.store.set({ recording: true });
    player.play();
    context.announce(`Taking down from bar ${bar}, after two bars.`);
  }

  function stop() {
    hands.end();
    line.store.set({ recording: false });
    if (store.get().player.playing) player.pause();
    line.takePlayed();
  }

  function connect() {
    midi.current?.();
    return listenToMidi(navigator, hands.midi, setNames).then((end) => { midi.current = end; });
  }

  function changeLatency(event) {
    const value = Math.min(500, Math.max(0, Number(event.target.value) || 0));
    localStorage.setItem(LATENCY, value);
    setLatency(value);
  }

  const bar = useStore(line.store, (state) => state.sheet && line.barOfCaret());
  return html`<section class="write-play">
    <h3>Play it in</h3>
    <div class="row">
      ${recording
        ? html`<button type="button" class="main" onClick=${stop}>Stop, and keep what I played</button>`
        : html`<button type="button" class="main" disabled=${!ready} onClick=${record}>Take down from bar ${bar}</button>`}
      <${Action} label=${names ? "Look for keyboards again" : "Use a MIDI keyboard"} onClick=${connect} />
      <button type="button" aria-pressed=${keysPlay} onClick=${() => setKeysPlay(!keysPlay)}>Play on the computer's keys</button>
    </div>
    <p class="small soft">${recording ? "The guide plays from two bars before; what you play is written down as you go."
      : ready ? "The guide starts two bars before; what you play takes the place of what stands there." : "The sounds are still being loaded."}</p>
    ${names && html`<p class="small">${names.length ? `Listening to ${names.join(" and ")}.` : "No MIDI keyboard is plugged in; plug one in, it is found by itself."}</p>`}
    ${keysPlay && html`<p class="small">The keys <kbd>Z</kbd> to <kbd>/</kbd> and <kbd>Q</kbd> to <kbd>P</kbd>, by where they lie, are two rows of a keyboard, the black keys in
      the rows above them; <kbd>PageUp</kbd> and <kbd>PageDown</kbd> change the octave (now from C${3 + octave}).</p>`}
    <details class="small"><summary>How keys are taken</summary>
      <fieldset class="row"><legend>Between takes, a key</legend>
        ${[["sound", "only sounds"], ["write", "writes a note at the mark"]].map(([value, words]) => html`<label><input type="radio" name="mode"
          checked=${mode === value} onChange=${() => setMode(value)} /> ${words}</label>`)}</fieldset>
      ${transposition !== 0 && html`<fieldset class="row"><legend>My keyboard gives</legend>
        ${["sounding", "written"].map((value) => html`<label><input type="radio" name="keys-are" checked=${keysAre === value}
          onChange=${() => setKeysAre(value)} /> ${value} pitch</label>`)}</fieldset>`}
      <label>My keys arrive late by <input type="number" min="0" max="500" step="1" class="nums" value=${latency} onChange=${changeLatency} /> ms</label>
      <p class="soft">That much is taken off every note's time, and nothing else is done to it.</p>
    </details>
  </section>`;
}

/** What keys going down and up do; the settings are read at the moment a key is pressed. */
function useHands({ context, line, now }) {
  const settings = useRef(now);
  settings.current = now;
  const hands = useRef(null);
  hands.current ??= createHands(context, line, settings);
  useEffect(() => () => hands.current.close(), []);
  return hands.current;
}

function createHands({ player, store }, line, settings) {
  const tone = createTone();
  let capture = null;
  let earliest_s = 0;

  const place = (timeStamp) => playedAt({
    position_s: player.position(), late_ms: Math.max(0, performance.now() - timeStamp), latency_ms: settings.current.latency,
    speed: store.get().player.speed ?? 1,
  });

  function show(now_s) {
    const { anchors } = line.store.get();
    line.showPlayed(toNotes(capture.until(now_s), (seconds) => secondsToBeat(anchors, seconds)));
  }

  function on(given, velocity, timeStamp) {
    const pitch = given + settings.current.shift;
    if (pitch < 0 || pitch > 127) return;
    tone.on(pitch);
    if (capture && store.get().player.playing) {
      const at_s = place(timeStamp);
      if (at_s >= earliest_s) capture.on(pitch, velocity, at_s);
    } else if (!capture && settings.current.mode === "write") addAtCaret(line, pitch, velocity);
  }

  function off(given, timeStamp) {
    const pitch = given + settings.current.shift;
    tone.off(pitch);
    if (!capture) return;
    const at_s = place(timeStamp);
    capture.off(pitch, at_s);
    show(at_s);
  }

  return {
    on, off,
    midi: (note, timeStamp) => (note.kind === "on" ? on(note.pitch, note.velocity, timeStamp) : off(note.pitch, timeStamp)),
    /** Take down what is played from now on; what begins before `from_s` of the guide only sounds. */
    begin(from_s) {
      capture = createCapture();
      earliest_s = from_s;
    },
    end() {
      if (capture?.holding) show(player.position());
      capture = null;
      tone.silence();
    },
    close() {
      capture = null;
      tone.close();
    },
  };
}

/** While it is on, the two rows of keys play, and nothing else hears them. */
function listenToKeys(hands, octave, setOctave) {
  const down = new Map();
  function press(event) {
    if (typing(event.target) || event.ctrlKey || event.metaKey || event.altKey) return;
    if (event.key === "PageUp" || event.key === "PageDown") {
      setOctave(Math.min(4, Math.max(-2, octave + (event.key === "PageUp" ? 1 : -1))));
      event.preventDefault();
      event.stopPropagation();
      return;
    }
    const pitch = pitchOfKey(event.code, octave);
    if (pitch === null || event.shiftKey) return;
    event.preventDefault();
    event.stopPropagation();
    if (event.repeat || down.has(event.code)) return;
    down.set(event.code, pitch);
    hands.on(pitch, VELOCITY_OF_KEYS, event.timeStamp);
  }
  function release(event) {
    const pitch = down.get(event.code);
    if (pitch === undefined) return;
    down.delete(event.code);
    hands.off(pitch, event.timeStamp);
  }
  function releaseAll() {
    for (const pitch of down.values()) hands.off(pitch, performance.now());
    down.clear();
  }
  addEventListener("keydown", press, true);
  addEventListener("keyup", release, true);
  addEventListener("blur", releaseAll);
  return () => {
    releaseAll();
    removeEventListener("keydown", press, true);
    removeEventListener("keyup", release, true);
    removeEventListener("blur", releaseAll);
  };
}
