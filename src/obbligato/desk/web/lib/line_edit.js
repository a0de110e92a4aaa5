import { joined, parted, sameMarks, without } from "./line_marks.js";

/**
 * Changing a line a note at a time. Every change takes the notes (in order, one at a time) and gives new ones, with
 * the index of the note it was about, or says in a sentence why it cannot be.
 * @typedef {{onset_beat: number, duration_beats: number, pitch: number, velocity: number, marks?: import("./line_marks.js").Marks}} Note pitch sounding
 * @typedef {{notes: Note[], index: number} | {refused: string}} Edit
 */

/** Notes closer together than this (in beats) begin together. */
export const TOGETHER = 1 / 16;
/** No note is made shorter than this, in beats. */
export const SHORTEST = 1 / 16;
const NEAR = 1e-6;

/** @param {Note[]} notes @returns {Edit} */
export function transpose(notes, index, semitones) {
  const pitch = notes[index].pitch + semitones;
  if (pitch < 0 || pitch > 127) return { refused: "There is no note beyond that." };
  return { notes: withNote(notes, index, { pitch }), index };
}

/** Earlier (below 0) or later, by so many beats; the player's own timing inside the step stays. @returns {Edit} */
export function shift(notes, index, beats) {
  const onset = notes[index].onset_beat + beats;
  const before = notes[index - 1];
  const after = notes[index + 1];
  if (before && onset < before.onset_beat + TOGETHER - NEAR) return { refused: "The note before begins there; move that one first." };
  if (after && onset > after.onset_beat - TOGETHER + NEAR) return { refused: "The note after begins there; move that one first." };
  return { notes: fitted(withNote(notes, index, { onset_beat: onset })), index };
}

/** Longer or (below 0) shorter, by so many beats, at most until the next note. @returns {Edit} */
export function lengthen(notes, index, beats) {
  const note = notes[index];
  const room = notes[index + 1] ? notes[index + 1].onset_beat - note.onset_beat : Infinity;
  const wanted = Math.min(note.duration_beats + beats, room);
  if (beats > 0 && wanted <= note.duration_beats + NEAR) return { refused: "The next note begins there; move that one first." };
  if (wanted < SHORTEST - NEAR) return { refused: "It cannot be shorter by that; take a finer step, or remove it." };
  return { notes: withNote(notes, index, { duration_beats: wanted }), index };
}

/** @returns {Edit} the index is of the note that is nearest now, -1 when none is left */
export function remove(notes, index) {
  const left = without(notes, index);
  return { notes: left, index: Math.min(index, left.length - 1) };
}

/** Put a note in; one that sounds there is ended, and it lasts at most until the next. @returns {Edit} */
export function add(notes, note) {
  if (notes.some(({ onset_beat }) => Math.abs(onset_beat - note.onset_beat) < TOGETHER - NEAR)) {
    return { refused: "A note begins there already; change that one." };
  }
  const all = fitted([...notes, note].sort(byOnset));
  const index = all.findIndex(({ onset_beat }) => onset_beat === note.onset_beat);
  return { notes: joined(all, index), index };
}

/** Take what was played in place of what stood there, to the end of its last note. @param {Note[]} played in order @returns {Note[]} */
export function playedOver(notes, played) {
  if (!played.length) return notes;
  const from = played[0].onset_beat - TOGETHER;
  const last = played[played.length - 1];
  const to = last.onset_beat + Math.max(TOGETHER, last.duration_beats - TOGETHER);
  const kept = notes.filter(({ onset_beat }) => onset_beat < from || onset_beat > to);
  return fitted(parted([...kept, ...played].sort(byOnset), notes));
}

/** End every note where the next begins, at the latest; untouched notes stay the same objects. @returns {Note[]} */
export function fitted(notes) {
  return notes.map((note, index) => {
    const room = (notes[index + 1]?.onset_beat ?? Infinity) - note.onset_beat;
    return note.duration_beats > room ? { ...note, duration_beats: room } : note;
  });
}

/**
 * What is different between two states of a line: how many notes are the same at the front and at the back, and the
 * beats between which it differs; null when nothing does.
 */
export function changedPart(before, after) {
  let front = 0;
  while (front < before.length && front < after.length && same(before[front], after[front])) front += 1;
  let back = 0;
  const most = Math.min(before.length, after.length) - front;
  while (back < most && same(before[before.length - 1 - back], after[after.length - 1 - back])) back += 1;
  const touched = [...before.slice(front, before.length - back), ...after.slice(front, after.length - back)];
  if (!touched.length) return null;
  return {
    front, back,
    from: Math.min(...touched.map(({ onset_beat }) => onset_beat)),
    to: Math.max(...touched.map(({ onset_beat, duration_beats }) => onset_beat + duration_beats)),
  };
}

function same(a, b) {
  return a === b || (a.onset_beat === b.onset_beat && a.duration_beats === b.duration_beats && a.pitch === b.pitch && a.velocity === b.velocity && sameMarks(a, b));
}

function withNote(notes, index, change) {
  return notes.map((note, i) => (i === index ? { ...note, ...change } : note));
}

const byOnset = (a, b) => a.onset_beat - b.onset_beat;
