/** Keeping the screen awake while the part is on it, and saying plainly where that cannot be done. */
import { useEffect, useState } from "../lib/ui.js";

const NOT_HERE = "This browser cannot keep the screen awake: set that on the device.";
const REFUSED = "The screen may go dark: the device did not let it be kept awake.";

/** @returns {{words: string}} a sentence on whether the screen stays awake */
export function useAwake() {
  const [words, setWords] = useState("");
  useEffect(() => {
    if (!navigator.wakeLock) {
      setWords(NOT_HERE);
      return undefined;
    }
    let lock = null;
    let wanted = true;
    async function ask() {
      if (document.visibilityState !== "visible") return;
      try {
        lock = await navigator.wakeLock.request("screen");
        if (!wanted) lock.release();
        else setWords("The screen stays awake.");
      } catch {
        if (wanted) setWords(REFUSED);
      }
    }
    ask();
    document.addEventListener("visibilitychange", ask);
    return () => {
      wanted = false;
      document.removeEventListener("visibilitychange", ask);
      lock?.release();
    };
  }, []);
  return { words };
}
