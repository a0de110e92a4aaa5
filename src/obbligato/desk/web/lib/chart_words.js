/** The chart in words: what stands in a bar, for those who hear the page, and short labels for those who see it. */

const ROOM = { fill: "room for an answer", break: "the singer is out", feature: "room for a solo" };
const FLAT_NAMES = ["C", "Db", "D", "Eb", "E", "F", "Gb", "G", "Ab", "A", "Bb", "B"];
const SHARP_NAMES = ["C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B"];
const SPOKEN = [[/maj7/g, " major seven"], [/m7b5/g, " minor seven flat five"], [/m\(maj7\)/g, " minor major seven"], [/dim/g, " diminished "],
  [/aug/g, " augmented "], [/sus/g, " suspended "], [/^([A-G][b#]?)m(?![a-z])/g, "$1 minor "], [/([A-G])b/g, "$1 flat"], [/([A-G])#/g, "$1 sharp"], [/\//g, " over "]];

/** A chord symbol cut for the eye: root, kind, bass. */
export function chordParts(text) {
  const [, root, kind, bass] = /^([A-G][b#]?)([^/]*)(?:\/(.+))?$/.exec(text) ?? ["", text, "", ""];
  return { root, kind: kind ?? "", bass: bass ?? "" };
}

const spoken = new Map([["N.C.", "no chord"]]);

/** A chord symbol as it is said: `Bbm7/Db` -> `B flat minor 7 over D flat`. */
export function chordSpoken(text) {
  if (!spoken.has(text)) spoken.set(text, SPOKEN.reduce((words, [sign, said]) => words.replace(sign, said), text).replace(/\s+/g, " ").trim());
  return spoken.get(text);
}

/** Name of a MIDI pitch with its octave, middle C being C4. */
export function pitchName(midi, flats = true) {
  return `${(flats ? FLAT_NAMES : SHARP_NAMES)[((midi % 12) + 12) % 12]}${Math.floor(midi / 12) - 1}`;
}

/** Whether a key such as `F minor` is better read in flats. */
export function flatKey(key) {
  const [tonic, mode] = (key ?? "C major").split(" ");
  const fifths = { F: -1, C: 0, G: 1, D: 2, A: 3, E: 4, B: 5 }[tonic[0]] + (tonic[1] === "#" ? 7 : tonic[1] === "b" ? -7 : 0);
  return fifths - (mode === "minor" ? 3 : 0) <= 0;
}

/** Beats in a tenth, without a point where there is none: `2.9`, `4`. */
export const beatsText = (beats) => String(Math.round(10 * beats) / 10);

/** An opening in a few words, its letter first. */
export function openingLabel({ letter, beats, kind }) {
  return `${letter} · ${beatsText(beats)} beats, ${ROOM[kind]}`;
}

/** The same in as many words as there is room for, in characters. */
export function openingShort(opening, room) {
  const ways = [openingLabel(opening), `${opening.letter} · ${beatsText(opening.beats)} beats`, `${opening.letter} · ${beatsText(opening.beats)}`];
  return ways.find((words) => words.length <= room) ?? opening.letter;
}

/**
 * All that stands in a bar, as one sentence after another.
 * @param {object} bar of the chart
 * @param {{openings: object[], notes: object[], remarks: object[], pitch: "sounding" | "written", beats: number}} about
 */
export function barWords(bar, { openings, notes, remarks, pitch, beats, flats = true }) {
  const words = [`Bar ${bar.number}`];
  if (bar.section) words.push(`section ${bar.section} begins`);
  if (bar.key) words.push(`key ${signsSpoken(bar.key[pitch])}`);
  if (bar.count_in) words.push("count-in");
  const chords = bar.chords.filter((chord) => chord[pitch] !== "N.C." || bar.chords.length > 1);
  if (chords.length) words.push(`chord ${chords.map((chord) => chordSpoken(chord[pitch]) + (chord.beat ? ` on beat ${chord.beat + 1}` : "")).join(", ")}`);
  if (bar.voice.length) words.push(voiceWords(bar.voice, beats));
  for (const part of bar.openings) {
    const opening = openings[part.index];
    words.push(`opening ${opening.letter} of ${beatsText(opening.beats)} beats, ${ROOM[opening.kind]}`);
  }
  if (notes.length) {
    const names = notes.map((note) => signsSpoken(pitchName(pitch === "written" ? note.written : note.pitch, flats)));
    words.push(`line: ${names.join(", ")}`);
  }
  words.push(...remarks.map((remark) => remark.text.replace(/\.$/, "")));
  return `${words.join("; ")}.`;
}

function voiceWords(voice, beats) {
  if (voice.length === 1 && voice[0][0] === 0 && voice[0][1] === 1) return "the singer sings throughout";
  const spans = voice.map(([from, to]) => {
    const first = beatsText(1 + from * beats);
    return to === 1 ? `from beat ${first} on` : from === 0 ? `until beat ${beatsText(1 + to * beats)}` : `from beat ${first} to ${beatsText(1 + to * beats)}`;
  });
  return `the singer sings ${spans.join(" and ")}`;
}

const signsSpoken = (name) => name.replace(/([A-G])b/, "$1 flat").replace(/([A-G])#/, "$1 sharp");
