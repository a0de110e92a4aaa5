/**
 * Keys going down and up become notes of one line: a key pressed while another is held ends that one. Two keys within
 * some 40 ms of each other are one stroke (the spread of a chord; W. Goebl, J. Acoust. Soc. Am. 110, 2001, from
 * memory): of them the later key counts.
 */

const ONE_STROKE_S = 0.04;
const SHORTEST_S = 0.03;

/** @typedef {{start_s: number, end_s: number, pitch: number, velocity: number}} Played seconds on the guide */

export function createCapture() {
  /** @type {Played[]} */
  const played = [];
  let held = null;

  function end(at_s) {
    if (held) played.push({ ...held, end_s: Math.max(at_s, held.start_s + SHORTEST_S) });
    held = null;
  }

  return {
    on(pitch, velocity, at_s) {
      if (held && at_s - held.start_s < ONE_STROKE_S) held = { start_s: held.start_s, pitch, velocity };
      else {
        end(at_s);
        held = { start_s: at_s, pitch, velocity };
      }
    },
    off(pitch, at_s) {
      if (held?.pitch === pitch) end(at_s);
    },
    /** Everything so far; what is held counts until now. @returns {Played[]} */
    until: (now_s) => (held ? [...played, { ...held, end_s: Math.max(now_s, held.start_s + SHORTEST_S) }] : [...played]),
    get holding() {
      return held !== null;
    },
  };
}

/** When a key went down on the guide's time: what was heard then, less what the keyboard takes to tell. */
export function playedAt({ position_s, late_ms, latency_ms, speed }) {
  return position_s - ((late_ms + latency_ms) / 1000) * speed;
}

/** @param {Played[]} played @param {(seconds: number) => number} toBeat */
export function toNotes(played, toBeat) {
  return played.map(({ start_s, end_s, pitch, velocity }) => {
    const onset_beat = toBeat(start_s);
    return { onset_beat, duration_beats: Math.max(toBeat(end_s) - onset_beat, 0.01), pitch, velocity };
  });
}
