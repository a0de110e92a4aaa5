/**
 * One store for the whole page: readable state, changed by patches, listeners told once a change.
 * @template {object} S
 * @param {S} initial
 */
export function createStore(initial) {
  let state = initial;
  const listeners = new Set();
  return {
    /** @returns {S} */
    get: () => state,
    /** @param {Partial<S> | ((state: S) => Partial<S>)} patch */
    set(patch) {
      const change = typeof patch === "function" ? patch(state) : patch;
      if (Object.keys(change).every((key) => Object.is(change[key], state[key]))) return;
      state = { ...state, ...change };
      for (const listener of [...listeners]) listener(state);
    },
    /** @param {(state: S) => void} listener @returns {() => void} stops listening */
    subscribe(listener) {
      listeners.add(listener);
      return () => listeners.delete(listener);
    },
  };
}
