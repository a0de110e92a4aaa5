/** The one recorder of the desk as this page knows it: asked often while something goes on, carried on in between. */
import { RUNNING, positionNow } from "../lib/record.js";
import { createStore } from "./store.js";

const WHILE_RUNNING_MS = 100;
const WHILE_IDLE_MS = 2000;
const NOTHING = {
  phase: "idle", job: "", number: null, position_s: 0, age_s: 0, first_s: 0, ends_s: 0, bars: null, loop: false, open_ended: false,
  round: 1, meter: null, lost: [], safe_s: 0, fraction: 0, message: "", outcome: null,
};

/** @param {{api: object}} page */
export function createRecorder({ api }) {
  const store = createStore({ now: NOTHING, toldAt_ms: 0, order: { bars: null, loop: false, open_ended: false, measure_each: false, anyway: false } });
  const frames = new Set();
  let watchers = 0;
  let timer = 0;
  let frame = 0;
  let turn = 0;

  function take(now) {
    store.set({ now, toldAt_ms: performance.now() });
    draw();
  }

  async function ask() {
    clearTimeout(timer);
    const mine = ++turn;
    try {
      const now = await api.get("/recording");
      if (mine === turn) take(now);
    } catch {
      // The page says by itself that the desk is gone; it is asked again in a while.
    }
    if (mine === turn && watchers) timer = setTimeout(ask, store.get().now.phase === "idle" ? WHILE_IDLE_MS : WHILE_RUNNING_MS);
  }

  function position() {
    const { now, toldAt_ms } = store.get();
    return positionNow(now, toldAt_ms, performance.now());
  }

  function draw() {
    cancelAnimationFrame(frame);
    frame = requestAnimationFrame(() => {
      const place_s = position();
      for (const one of frames) one(place_s);
      if (frames.size && RUNNING.includes(store.get().now.phase)) draw();
    });
  }

  async function begin(path, body) {
    turn += 1;
    take(await api.post(path, body));
    ask();
  }

  return {
    store, position,
    /** Be kept up to date until the function given back is called. */
    watch() {
      watchers += 1;
      ask();
      return () => { watchers -= 1; };
    },
    /** Something changed on the server. */
    changed: () => { if (watchers) ask(); },
    /** Call `fn` with the place in the song at every frame while a take runs. */
    onFrame(fn) {
      frames.add(fn);
      draw();
      return () => frames.delete(fn);
    },
    record: (address) => begin(`${address}/recording/take`, store.get().order),
    check: (address) => begin(`${address}/recording/check`, {}),
    calibrate: (address) => begin(`${address}/recording/calibrate`, {}),
    async stop(at_once = false) {
      turn += 1;
      take(await api.post("/recording/stop", { at_once }));
      ask();
    },
    /** Resolves once nothing is going on any more. */
    ended() {
      return new Promise((resolve) => {
        const leave = store.subscribe(({ now }) => {
          if (now.phase !== "idle") return;
          leave();
          resolve(now);
        });
      });
    },
    setOrder: (patch) => store.set(({ order }) => ({ order: { ...order, ...patch } })),
  };
}
