/**
 * Marks on the notes of a line. Every mark belongs to a note: one that is slurred is slurred to the next, and each
 * note under a hairpin says so. Nothing here changes the notes it is given.
 * @typedef {{signs: string[], level: string | null, swell: string | null, slurred: boolean, breath: boolean}} Marks
 */

/** @type {Marks} */
const NONE = { signs: [], level: null, swell: null, slurred: false, breath: false };

export const LEVELS = ["pp", "p", "mp", "mf", "f", "ff"];
export const SWELLS = ["crescendo", "diminuendo"];
/** Articulations and bowings, in the order in which they are told. */
export const SIGNS = ["staccato", "staccatissimo", "tenuto", "accent", "marcato", "up-bow", "down-bow"];

/** @returns {Marks} */
export const marksOf = (note) => note?.marks ?? NONE;

/** @returns {boolean} */
export function sameMarks(a, b) {
  const [one, other] = [marksOf(a), marksOf(b)];
  return one === other || (one.level === other.level && one.swell === other.swell && one.slurred === other.slurred
    && one.breath === other.breath && one.signs.length === other.signs.length && one.signs.every((sign) => other.signs.includes(sign)));
}

/** Whether the notes `first` to `last` have a mark: a sign and a hairpin each of them, a slur all but the last. */
export function hasMark(notes, first, last, mark) {
  if (first < 0 || last >= notes.length) return false;
  const all = notes.slice(first, last + 1).map(marksOf);
  if (LEVELS.includes(mark)) return all[0].level === mark;
  if (mark === "breath") return all[all.length - 1].breath;
  if (mark === "slur") return (all.length > 1 ? all.slice(0, -1) : all).every(({ slurred }) => slurred);
  return all.every(({ swell, signs }) => swell === mark || signs.includes(mark));
}

/**
 * Put a mark on the notes `first` to `last`, or take it off where it is on them: a loudness at the first, a breath
 * after the last, a slur over exactly these; of one note alone, from it to the next.
 * @returns {import("./line_edit.js").Edit}
 */
export function toggleMark(notes, first, last, mark, index = last) {
  const on = !hasMark(notes, first, last, mark);
  if (LEVELS.includes(mark)) return { notes: marked(notes, [first], () => ({ level: on ? mark : null })), index };
  const all = notes.map((_, i) => i).slice(first, last + 1);
  if (SWELLS.includes(mark)) return { notes: marked(notes, all, () => ({ swell: on ? mark : null })), index };
  if (mark === "breath") return { notes: marked(notes, [last], () => (on ? { breath: true, slurred: false } : { breath: false })), index };
  if (mark === "slur") return slur(notes, first, last, on, index);
  const signs = (old) => SIGNS.filter((sign) => (sign === mark ? on : old.includes(sign)));
  return { notes: marked(notes, all, (marks) => ({ signs: signs(marks.signs) })), index };
}

function slur(notes, first, last, on, index) {
  if (first === last && first === notes.length - 1) return { refused: "There is no note after it to slur to." };
  const inside = notes.map((_, i) => i).slice(first, Math.max(first + 1, last));
  if (!on) return { notes: marked(notes, inside, () => ({ slurred: false })), index };
  const ends = first === last ? [] : [first - 1, last].filter((i) => i >= 0);
  const apart = marked(notes, ends, () => ({ slurred: false }));
  return { notes: marked(apart, inside, () => ({ slurred: true, breath: false })), index };
}

/** The loudness at a note set, or with null taken off. @returns {import("./line_edit.js").Edit} */
export function setLevel(notes, index, level) {
  return { notes: marked(notes, [index], () => ({ level })), index };
}

/** Take all marks off the notes `first` to `last`; a slur or hairpin that reaches them goes as a whole. @returns {import("./line_edit.js").Edit} */
export function clearMarks(notes, first, last, index = last) {
  const range = (from, to) => notes.map((_, i) => i).slice(Math.max(0, from), to + 1);
  let [from, to] = [first, last];
  while (from > 0 && marksOf(notes[from - 1]).slurred) from -= 1;
  while (to + 1 < notes.length && marksOf(notes[to]).slurred) to += 1;
  const unslurred = marked(notes, range(from, to), () => ({ slurred: false }));
  [from, to] = [first, last];
  while (sameHairpin(notes, from - 1)) from -= 1;
  while (sameHairpin(notes, to)) to += 1;
  const even = marked(unslurred, range(from, to), () => ({ swell: null }));
  return { notes: marked(even, range(first, last), () => NONE), index };
}

/** Whether one hairpin lies over a note and the next: where a loudness is marked, another begins. */
function sameHairpin(notes, index) {
  const [one, next] = [marksOf(notes[index]), marksOf(notes[index + 1])];
  return index >= 0 && index + 1 < notes.length && one.swell !== null && one.swell === next.swell && next.level === null;
}

/** The notes without the one at `index`: its slur closes, its loudness goes on to the next, its breath to the one before. */
export function without(notes, index) {
  const { slurred, level, breath } = marksOf(notes[index]);
  const handed = marked(notes, index + 1 < notes.length && level ? [index + 1] : [], (marks) => ({ level: marks.level ?? level }));
  const closed = marked(handed, index > 0 ? [index - 1] : [], (marks) => ({ slurred: marks.slurred && slurred && index + 1 < notes.length, breath: marks.breath || breath }));
  return closed.filter((_, i) => i !== index);
}

/** A note that was put in at `index`, under the slur or the hairpin that its neighbours are in. */
export function joined(notes, index) {
  if (index === 0 || index === notes.length - 1) return notes;
  const [before, after] = [marksOf(notes[index - 1]), marksOf(notes[index + 1])];
  return marked(notes, [index], () => ({ slurred: before.slurred, swell: before.swell === after.swell ? before.swell : null }));
}

/** Notes that were put together anew: a slur holds only where the note it went to still follows. */
export function parted(notes, old) {
  const next = new Map(old.map((note, i) => [note, old[i + 1]]));
  const loose = notes.map((_, i) => i).filter((i) => marksOf(notes[i]).slurred && (!notes[i + 1] || next.get(notes[i]) !== notes[i + 1]));
  return marked(notes, loose, () => ({ slurred: false }));
}

/** The marks of a note in words: `mf, accent, slurred on`. */
export function markWords(note) {
  const { signs, level, swell, slurred, breath } = marksOf(note);
  return [level, ...signs, swell, slurred && "slurred on", breath && "then a breath"].filter(Boolean).join(", ");
}

function marked(notes, indices, change) {
  if (!indices.length) return notes;
  const chosen = new Set(indices);
  return notes.map((note, i) => {
    if (!chosen.has(i)) return note;
    const marks = { ...marksOf(note), ...change(marksOf(note)) };
    return sameMarks(note, { marks }) ? note : { ...note, marks };
  });
}
