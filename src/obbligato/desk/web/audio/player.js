/**
 * The player of the page: loads the sounds of a job, plays them from one place, and knows where the ear is.
 * What the views show of it stands in the store under `player`.
 */

import { countLevel, FIRST_GAINS, playingLevels, spanLevels } from "../lib/mix_levels.js";
import { countSound, runIn } from "../lib/mix_count.js";
import { Engine } from "./engine.js";
import { Shelf } from "./shelf.js";

/**
 * @param {{api: object, store: ReturnType<import("../state/store.js").createStore>}} page
 */
export function createPlayer({ api, store }) {
  const player = () => store.get().player;
  const set = (patch) => store.set(({ player: before }) => ({ player: { ...before, ...patch } }));
  const frames = new Set();
  const engine = new Engine(report);
  const shelf = new Shelf({ api, engine, changed: (patch) => { set(patch); setLevels(); } });
  let span = null;
  let frame = 0;
  let turn = 0;

  set({
    ready: false, loading: null, playing: false, speed: 1, loop: null, runIn: true, third: null, trouble: "",
    sounds: [], ...player(), gains: { ...FIRST_GAINS, ...player()?.gains },
  });

  function report(state) {
    if (state.ended && player().playing) stopped();
  }

  function stopped() {
    const ended = span;
    span = null;
    set({ playing: false });
    setLevels();
    setLoopOf(player().loop);
    ended?.done();
    draw();
  }

  function setLevels() {
    const state = { ...player(), sounds: shelf.names };
    const gains = span ? spanLevels(state, span) : playingLevels(state);
    engine.tell({ type: "gains", gains });
  }

  function setLoopOf(loop) {
    engine.place.loop = loop;
    engine.tell({ type: "loop", loop });
  }

  /** The count of a run-in becomes a sound of its own before the place; returns where playing begins. */
  function prepareRunIn(place_s) {
    const bars = store.get().chart?.bars ?? [];
    if (!player().runIn || span) return place_s;
    const { from_s, counts } = runIn(bars, place_s);
    const click = playingLevels({ ...player(), sounds: shelf.names }).click ?? 0;
    const rate = engine.context.sampleRate;
    const { y, offset } = countSound(counts, rate, ({ at_s }) => countLevel(at_s, click));
    engine.tell({ type: "sound", name: "count", channels: [y], offset }, [y.buffer]);
    engine.tell({ type: "gains", gains: { count: 1 } });
    return from_s;
  }

  function begin(from_s, until_s) {
    if (!span) engine.tell({ type: "gains", gains: { count: player().runIn ? 1 : 0 } });
    engine.go({ type: "play", from_s, until_s }, from_s);
    set({ playing: true });
    draw();
  }

  function draw() {
    cancelAnimationFrame(frame);
    frame = requestAnimationFrame(() => {
      const place_s = position();
      for (const one of frames) one(place_s);
      if (player().playing && frames.size) draw();
    });
  }

  function position() {
    return engine.heard_s;
  }

  async function play() {
    if (!player().ready) return;
    const mine = ++turn;
    interrupt();
    await engine.context.resume();
    if (mine !== turn) return;
    const { loop } = player();
    const end_s = shelf.duration_s;
    let place_s = standing();
    if (loop && (place_s < loop.start_s || place_s >= loop.end_s - 0.01)) place_s = loop.start_s;
    if (place_s >= end_s - 0.05) place_s = 0;
    begin(prepareRunIn(place_s));
  }

  function standing() {
    const { reports } = engine.place;
    return reports.length ? Math.max(0, position()) : 0;
  }

  function pause() {
    turn += 1;
    const place_s = position();
    interrupt();
    engine.go({ type: "pause" }, place_s);
    set({ playing: false });
    draw();
  }

  /** End a span that another wish cuts short. */
  function interrupt() {
    if (!span) return;
    const cut = span;
    span = null;
    setLevels();
    setLoopOf(player().loop);
    cut.done();
  }

  function seek(place_s) {
    const to_s = Math.min(Math.max(0, place_s), shelf.duration_s || Infinity);
    if (span) pause();
    engine.go({ type: "seek", to_s }, to_s);
    draw();
  }

  /**
   * Play a stretch once: `alone` only that sound, else the sounds of `gainsDb` over the guide. Resolves when it has
   * ended, or when something else is played or stopped; what is asked for last is what is heard.
   */
  async function playSpan(start_s, end_s, { alone = null, gainsDb = {} } = {}) {
    const names = [...new Set([...Object.keys(gainsDb), ...(alone ? [alone] : [])])];
    const mine = ++turn;
    await Promise.all(names.map((name) => shelf.need(name)));
    if (!player().ready || mine !== turn) return;
    await engine.context.resume();
    if (mine !== turn) return;
    interrupt();
    await new Promise((done) => {
      span = { alone, gainsDb, done };
      setLevels();
      setLoopOf(null);
      engine.tell({ type: "gains", gains: { count: 0 } });
      begin(start_s, end_s);
    });
  }

  return {
    load: (name, stamp) => shelf.load(name, stamp),
    play, pause, seek, playSpan, position,
    toggle: () => (player().playing ? pause() : play()),
    setLoop(loop) {
      set({ loop });
      if (!span) setLoopOf(loop);
    },
    setSpeed(speed) {
      set({ speed });
      engine.tell({ type: "speed", speed });
    },
    setGain(name, value) {
      set({ gains: { ...player().gains, [name]: value } });
      setLevels();
    },
    setRunIn: (on) => set({ runIn: on }),
    /** Which of `line` and `comp` is heard beside guide and click; null for neither. */
    setThird(name) {
      set({ third: name });
      setLevels();
      if (name) shelf.need(name).catch((error) => set({ trouble: error.message }));
    },
    /** Call `fn` with the place heard, in seconds of the guide, at every frame while it moves. */
    onFrame(fn) {
      frames.add(fn);
      draw();
      return () => frames.delete(fn);
    },
    engine,
  };
}
