/** What a view fetches for itself, anew whenever the job has changed; the last answer stays until the next is there. */
import { useEffect, useState } from "../lib/ui.js";

/** @returns {[any, (value: any) => void, string]} the answer, a way to put in a newer one, and what went wrong */
export function useOwn(api, path, stamp) {
  const [value, setValue] = useState(null);
  const [trouble, setTrouble] = useState("");
  useEffect(() => {
    const stop = new AbortController();
    api.get(path, { signal: stop.signal }).then(
      (found) => { setValue(found); setTrouble(""); },
      (error) => error.name !== "AbortError" && setTrouble(error.message),
    );
    return () => stop.abort();
  }, [path, stamp]);
  return [value, setValue, trouble];
}
