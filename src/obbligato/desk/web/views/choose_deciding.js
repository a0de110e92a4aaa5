/** The choice as the server has it, changed at once by what the player decides; the comp follows a moment later. */
import { useEffect, useRef, useState, useStore } from "../lib/ui.js";
import { asIf } from "../lib/choice.js";

/** So many decisions as come within this time make one comp. */
const RENDER_AFTER_MS = 1500;

export function useChoice({ store, api }) {
  const name = useStore(store, (state) => state.name);
  const stamp = useStore(store, (state) => state.job?.stamp);
  const tasks = useStore(store, (state) => state.tasks);
  const address = `/jobs/${encodeURIComponent(name)}`;
  const [choice, setChoice] = useState(null);
  const [trouble, setTrouble] = useState("");
  const queue = useRef({ last: Promise.resolve(), open: 0, timer: 0 });
  const rendering = tasks.some((task) => task.job === name && CHOOSING.test(task.what) && (task.state === "running" || task.state === "waiting"));

  useEffect(() => {
    const stop = new AbortController();
    api.get(`${address}/choice`, { signal: stop.signal }).then(
      (found) => { if (!queue.current.open) setChoice(found); },
      (error) => error.name !== "AbortError" && setTrouble(error.message),
    );
    return () => stop.abort();
  }, [address, stamp]);
  useEffect(() => () => clearTimeout(queue.current.timer), []);

  const render = () => api.work(api.post(`${address}/choose`)).then(() => undefined);

  function renderSoon() {
    clearTimeout(queue.current.timer);
    queue.current.timer = setTimeout(() => render().catch((error) => error.code !== "cancelled" && setTrouble(error.message)), RENDER_AFTER_MS);
  }

  /** Decisions are sent one after another, in the order they were made. */
  function send(body, path = "choice") {
    const mine = queue.current;
    mine.open += 1;
    mine.last = mine.last.then(() => api.post(`${address}/${path}`, body)).then(
      (found) => { if (mine.open === 1) setChoice(found); setTrouble(""); },
      async (error) => { setTrouble(error.message); setChoice(await api.get(`${address}/choice`)); },
    ).catch(() => {}).finally(() => { mine.open -= 1; });
    return mine.last;
  }

  return {
    address, choice, trouble, rendering, render,
    put: setChoice,
    /** Use a take for a phrase (its index), or null for the proposal. */
    decide(phrase, take) {
      setChoice((before) => asIf(before, phrase, take));
      const heard = choice.unheard.length === 0 && choice.state !== "none";
      send({ phrase: phrase + 1, take }).then(() => heard && renderSoon());
    },
    /** Where there is no line: one whole take, or null to compare them phrase by phrase. */
    useWhole: (take) => send({ phrase: 0, take }).then(() => take !== null && renderSoon()),
    clear: () => send({ clear: true }).then(renderSoon),
    join: (wishes) => send(wishes, "joining"),
  };
}

const CHOOSING = /^(reading and choosing|rendering the comp)$/;
