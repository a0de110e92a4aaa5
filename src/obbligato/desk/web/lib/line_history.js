/** What was done to a line, so that it can be undone and done again. */

const REMEMBERED = 300;

/** @template T @param {T} present */
export const begun = (present) => ({ past: [], present, future: [] });

/** A new state; what had been undone is forgotten. */
export function done(history, present) {
  return { past: [...history.past, history.present].slice(-REMEMBERED), present, future: [] };
}

/** The same history when there is nothing to undo. */
export function undone(history) {
  if (!history.past.length) return history;
  const past = history.past.slice(0, -1);
  return { past, present: history.past[past.length], future: [history.present, ...history.future] };
}

/** The same history when there is nothing to do again. */
export function redone(history) {
  if (!history.future.length) return history;
  const [present, ...future] = history.future;
  return { past: [...history.past, history.present], present, future };
}
