/** The keys of choosing, for the key card and while this view is open. */
import { useEffect, useRef } from "../lib/ui.js";
import { typedNumber } from "../lib/choice.js";

const DIGITS_MS = 700;

/** @param {{takes: number[], hidden: number[]|null, choose: Function, hide: Function, seams: object}} now what the keys act on */
export function useChoosingKeys({ keys }, now) {
  const held = useRef(now);
  held.current = now;
  useEffect(() => {
    let digits = "";
    let timer = 0;
    function use() {
      const { takes, hidden, choose } = held.current;
      const shown = hidden ? takes.map((_, position) => position + 1) : takes;
      const number = Number(digits);
      digits = "";
      if (shown.includes(number)) choose(hidden ? takes[number - 1] : number);
    }
    function digit({ key }) {
      clearTimeout(timer);
      if (!digits && key === "0") return held.current.choose(null);
      digits += key;
      const { takes, hidden } = held.current;
      const shown = hidden ? takes.map((_, position) => position + 1) : takes;
      if (typedNumber(digits, shown) !== null || digits.length > 3) return use();
      timer = setTimeout(use, DIGITS_MS);
    }
    const remove = keys.add("Takes", [
      { keys: "Up / Down / Left / Right", does: "go from phrase to phrase and take to take, on the grid" },
      { keys: "Enter", does: "play the phrase with the guide, on the grid" },
      { keys: "Shift+Enter", does: "play the phrase alone, on the grid" },
      { keys: "1 / 2 / 3 / 4 / 5 / 6 / 7 / 8 / 9", does: "use that take for the phrase (the place in the row while names are hidden)", run: digit },
      { keys: "0", does: "back to what was proposed for the phrase", run: digit },
      { keys: "h", does: "hide or show the takes' names", run: () => held.current.hide() },
      { keys: "s", does: "hear the seams one after another, or stop", run: () => (held.current.seams.at === null ? held.current.seams.hear() : held.current.seams.stop()) },
    ]);
    return () => {
      clearTimeout(timer);
      remove();
    };
  }, [keys]);
}
