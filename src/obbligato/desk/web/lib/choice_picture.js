/**
 * The small picture of how a phrase was played: every note has a place on a line, and the note as played stands off it,
 * higher where sharp, lower where flat, to the right where late, to the left where early.
 */

/** How far a note must be off to stand at the edge of its room; further is drawn at the edge, and marked. */
export const MOST_CENTS = 40;
export const MOST_MS = 60;

/**
 * @typedef {{index: number, played: boolean, cents: number|null, onset_ms: number|null}} Note
 * @typedef {{x: number, y: number, place: number, kind: "played"|"other"|"missed", far: boolean}} Mark
 * @param {{notes: Note[], extra_notes: number}} cell
 * @param {{width: number, height: number}} size
 * @returns {{middle: number, slot: number, marks: Mark[], extras: number[]}} `place` is the note's x were it in time
 */
export function picture({ notes, extra_notes }, { width, height }) {
  const slot = width / Math.max(1, notes.length + (extra_notes ? 1 : 0));
  const middle = height / 2;
  const roomX = 0.46 * slot;
  const roomY = 0.8 * middle;
  const marks = notes.map((note, position) => {
    const place = (position + 0.5) * slot;
    const late = (note.onset_ms ?? 0) / MOST_MS;
    const sharp = (note.cents ?? 0) / MOST_CENTS;
    const kind = note.played ? "played" : note.onset_ms === null ? "missed" : "other";
    return {
      place, kind,
      x: place + roomX * within(late),
      y: middle - roomY * within(sharp),
      far: Math.abs(late) > 1 || Math.abs(sharp) > 1,
    };
  });
  const extras = Array.from({ length: Math.min(3, extra_notes) }, (_, i) => width - slot * (0.5 + 0.22 * (i - (Math.min(3, extra_notes) - 1) / 2)));
  return { middle, slot, marks, extras };
}

const within = (share) => Math.max(-1, Math.min(1, share));
const n = (value) => Number(value.toFixed(2));

/**
 * The picture as a few outlines, so that a page of a thousand of them stays light.
 * @param {ReturnType<typeof picture>} drawn
 * @param {number} head half the width of a note's head
 */
export function outlines({ middle, marks, extras }, head) {
  const of = (kind) => marks.filter((mark) => mark.kind === kind);
  const tick = 0.9 * head;
  return {
    places: marks.map(({ place }) => `M${n(place)} ${n(middle - tick)}v${n(2 * tick)}`).join(""),
    tails: marks.filter(({ kind, x, y, place }) => kind === "played" && Math.hypot(x - place, y - middle) > head)
      .map(({ x, y, place }) => `M${n(place)} ${n(middle)}L${n(x)} ${n(y)}`).join(""),
    played: of("played").filter(({ far }) => !far).map((mark) => ellipse(mark, head)).join(""),
    far: of("played").filter(({ far }) => far).map((mark) => ellipse(mark, head)).join(""),
    other: of("other").map(({ x, y }) => cross(x, y, head)).join(""),
    missed: of("missed").map(({ place }) => ellipse({ x: place, y: middle }, head)).join(""),
    extras: extras.map((x) => `M${n(x - head)} ${n(middle)}h${n(2 * head)}M${n(x)} ${n(middle - head)}v${n(2 * head)}`).join(""),
  };
}

/** A note head: an ellipse leaning to the right. */
function ellipse({ x, y }, head) {
  const [dx, dy] = [0.94 * head, -0.34 * head];
  const arc = `A${n(head)} ${n(0.72 * head)} -20 1 1`;
  return `M${n(x - dx)} ${n(y - dy)}${arc} ${n(x + dx)} ${n(y + dy)}${arc} ${n(x - dx)} ${n(y - dy)}Z`;
}

function cross(x, y, head) {
  const arm = 0.85 * head;
  return `M${n(x - arm)} ${n(y - arm)}l${n(2 * arm)} ${n(2 * arm)}m0 ${n(-2 * arm)}l${n(-2 * arm)} ${n(2 * arm)}`;
}

/** How a note was played, in words. */
export function noteWords({ played, cents, onset_ms }) {
  if (!played) return onset_ms === null ? "not played" : "another note in its place";
  const time = onset_ms === null ? "" : Math.abs(onset_ms) < 5 ? "in time" : `${Math.abs(Math.round(onset_ms))} ms ${onset_ms > 0 ? "late" : "early"}`;
  const tune = cents === null ? "" : Math.abs(cents) < 3 ? "in tune" : `${Math.abs(Math.round(cents))} cents ${cents > 0 ? "sharp" : "flat"}`;
  return [time, tune].filter(Boolean).join(", ") || "played";
}

const close = (value, size, one, other) => (value === null || value === undefined || Math.abs(value) < size ? "" : `${Math.abs(Math.round(value))} ${value > 0 ? one : other}`);

/** What else was heard of a note, in words: against the chord and the guide's own playing, vibrato, end, tone, steadiness. */
export function noteDetails(note) {
  if (!note.played) return "";
  return [
    close(note.cents_just, 5, "cents over the chord's pure place", "cents under the chord's pure place"),
    close(note.groove_ms, 8, "ms behind the band", "ms ahead of the band"),
    note.vibrato_hz ? `vibrato ${note.vibrato_hz.toFixed(1)} a second, ${Math.round(note.vibrato_cents)} cents either way` : "",
    close(note.release_ms, 60, "ms held on too long", "ms let go early"),
    note.brightness_hz ? `tone centred at ${(note.brightness_hz / 1000).toFixed(1)} kHz` : "",
    note.steadiness_cents !== null && note.steadiness_cents > 8 ? `wavers by ${Math.round(note.steadiness_cents)} cents` : "",
  ].filter(Boolean).join(", ");
}
