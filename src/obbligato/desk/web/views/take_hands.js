/** What starts, stops and marks a take: one key, a pedal that sends keys or MIDI, the buttons. */
import { RUNNING } from "../lib/record.js";
import { listenToMidi } from "../lib/midi_in.js";
import { Action, html, useEffect, useRef, useState } from "../lib/ui.js";

const SUSTAIN = 64;

/**
 * @param {{context: object, address: string, outcome: object | null, onCover: (cover: object) => void, onTrouble: (words: string) => void}} what
 * @returns {{act: () => void, again: () => void, mark: (number: number, mark: string) => void, silences: {current: object[]}, pedal: any}}
 */
export function useHands({ context, address, outcome, onCover, onTrouble }) {
  const { recorder, player, keys, actions, announce, api } = context;
  const silences = useRef([]);
  const held = useRef({});
  held.current = { outcome, onCover };
  const busy = useRef(false);
  const phase = () => recorder.store.get().now.phase;

  function doing(work) {
    return async (...given) => {
      if (busy.current) return;
      busy.current = true;
      onTrouble("");
      try {
        await work(...given);
      } catch (error) {
        onTrouble(error.message);
      }
      busy.current = false;
    };
  }

  async function mark(number, word) {
    held.current.onCover(await api.post(`${address}/takes/${number}/mark`, { mark: word }));
    announce(`Take ${number}: ${word}.`);
  }

  function begin() {
    player.pause();
    return recorder.record(address);
  }

  const act = doing(() => (phase() === "idle" ? begin() : recorder.stop(phase() === "ringing")));
  const again = doing(async () => {
    if (RUNNING.includes(phase())) {
      const ended = recorder.ended();
      await recorder.stop(true);
      const { outcome: last } = await ended;
      if (last?.kind === "take" && !last.failed) await mark(last.numbers.at(-1), "again");
    } else if (phase() === "idle" && held.current.outcome?.numbers.length) {
      await mark(held.current.outcome.numbers.at(-1), "again");
    }
    await begin();
  });
  const markLast = (word) => doing(async () => {
    const last = held.current.outcome?.numbers.at(-1);
    if (last !== undefined && phase() === "idle") await mark(last, word);
  });

  useEffect(() => keys.add("Take", [
    { keys: "Space / PageDown / Right / Down", does: "record, or stop (a pedal does the same); once more to stop at once", run: () => act() },
    { keys: "PageUp / Left / Up / Backspace", does: "again: the take is marked so, and a new one begins", run: () => again() },
    { keys: "g / Enter", does: "the last take is good", run: () => markLast("good")() },
    { keys: "a", does: "the last take is to be played again", run: () => markLast("again")() },
    { keys: "n", does: "noise: the last take is left out", run: () => markLast("noise")() },
    { keys: "l", does: "take after take, or one", run: () => recorder.setOrder({ loop: !recorder.store.get().order.loop, open_ended: false }) },
    { keys: "o", does: "open: over and over in one recording, or not", run: () => recorder.setOrder({ open_ended: !recorder.store.get().order.open_ended, loop: false }) },
    { keys: "Esc", does: "leave; a take that runs goes on", run: () => actions.go("record") },
  ]), [address]);
  return { act, again, mark: (number, word) => doing(() => mark(number, word))(), silences, pedal: usePedal({ act, again }) };
}

/** A MIDI pedal: the right one, which sustains, starts and stops; any other plays it again. */
function usePedal(hands) {
  const [names, setNames] = useState(null);
  const stop = useRef(null);
  const held = useRef(hands);
  held.current = hands;
  useEffect(() => () => stop.current?.(), []);
  async function connect() {
    stop.current?.();
    const onPedal = ({ kind, controller }) => kind === "down" && (controller === SUSTAIN ? held.current.act() : held.current.again());
    stop.current = await listenToMidi(navigator, () => {}, setNames, onPedal);
  }
  if (names?.length) return html`<span class="small soft">Pedal at ${names.join(" and ")}.</span>`;
  return html`<${Action} label=${names ? "No MIDI pedal found" : "MIDI pedal"} onClick=${connect} />`;
}
