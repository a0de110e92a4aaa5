/** The engraved rows of the line for the chart, fetched anew when line, pitch or bars a row change. */
import { useEffect, useState } from "../lib/ui.js";

const NONE = [];

export function useStaves({ store, api }, chart, perRow, pitch) {
  const [held, setHeld] = useState({ about: "", rows: NONE });
  const name = store.get().name;
  const version = chart.line?.version ?? 0;
  const about = `${name} ${chart.stamp} ${perRow} ${pitch}`;
  useEffect(() => {
    if (!version || !perRow) return undefined;
    const asked = new AbortController();
    api.get(`/jobs/${encodeURIComponent(name)}/staves?per_row=${perRow}&pitch=${pitch}`, { signal: asked.signal })
      .then(({ rows }) => setHeld({ about, perRow, rows }))
      .catch((error) => { if (error.name !== "AbortError") setHeld({ about, rows: NONE }); });
    return () => asked.abort();
  }, [about, version]);
  return held.perRow === perRow && version ? held.rows : NONE;
}
