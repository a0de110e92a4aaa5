/** The brief as a form: its fields, what was typed into them as values, and which questions they leave open. */

/**
 * Every field of the form, in groups. `kind`: text, words (several lines), number, choice, date, zone (a time zone).
 * `few`: a short field that shares its row.
 */
export const GROUPS = [
  { heading: "The part", fields: [
    { name: "wishes", label: "What is to be added, and where", kind: "words" },
    { name: "references", label: "Songs that show what is meant", kind: "text" },
    { name: "avoid", label: "What to avoid", kind: "text" },
    { name: "writer", label: "Who writes the line", kind: "choice", few: true, options: [["player", "the player"], ["client", "the client"], ["both", "both together"]] },
    { name: "purpose", label: "Final or demo", kind: "choice", few: true, options: [["final", "the final part"], ["demo", "a demo"]] },
    { name: "lines", label: "Lines", kind: "number", few: true, whole: true, from: 1, to: 1000 },
    { name: "layers", label: "Layers of each", kind: "number", few: true, whole: true, from: 1, to: 1000 },
  ] },
  { heading: "Their song and session", fields: [
    { name: "stated_bpm", label: "Their tempo", kind: "number", few: true, from: 1, to: 1000 },
    { name: "stated_key", label: "Their key", kind: "text", few: true },
    { name: "stated_meter", label: "Their time signature", kind: "text", few: true },
    { name: "sample_rate", label: "Their sample rate in Hz", kind: "number", few: true, whole: true, from: 1, to: 1_000_000, known: [44100, 48000, 88200, 96000] },
    { name: "bit_depth", label: "Their bit depth", kind: "number", few: true, whole: true, from: 1, to: 64, known: [16, 24, 32] },
    { name: "vocal_stem", label: "A track of the singer alone", kind: "choice", few: true, options: [["yes", "yes"], ["no", "no"]] },
  ] },
  { heading: "What was agreed", fields: [
    { name: "client", label: "Who ordered it", kind: "text", few: true },
    { name: "approver", label: "The one person who says yes", kind: "text", few: true },
    { name: "deadline", label: "Due on", kind: "date", few: true },
    { name: "time_zone", label: "In the time zone", kind: "zone", few: true },
    { name: "rounds_included", label: "Rounds of changes included", kind: "number", few: true, whole: true, from: 0, to: 1_000_000, otherwise: 2 },
    { name: "fee", label: "Fee", kind: "number", few: true, from: 0 },
    { name: "currency", label: "Currency", kind: "text", few: true },
    { name: "usage", label: "What the song is for", kind: "text", few: true },
    { name: "credit", label: "How the player is credited", kind: "text", few: true },
    { name: "player", label: "Who plays", kind: "text", few: true },
  ] },
];

const FIELDS = GROUPS.flatMap((group) => group.fields);
const NOT_THE_TITLE = /^(guide|rough|mix|mixdown|bounce|ref|reference|master|stereo|backing|track|v\d+|\d+ ?bpm|\d+|wav|mp3|\d+k\d*)$/i;

/** A song's title from a file's name: `night_ferry-guide_v3.wav` -> `Night ferry`. */
export function titleFrom(fileName) {
  const words = fileName.replace(/\.[^.]{1,5}$/, "").split(/[\s_\-]+/).filter(Boolean);
  const kept = [...words];
  while (kept.length > 1 && NOT_THE_TITLE.test(kept.at(-1))) kept.pop();
  while (kept.length > 1 && /^\d{1,2}$/.test(kept[0])) kept.shift();
  const title = kept.join(" ");
  return title === title.toLowerCase() ? title.charAt(0).toUpperCase() + title.slice(1) : title;
}

/** Which of two files dropped together is the guide: the one whose name does not speak of the voice alone. */
export function guideFirst(files) {
  const alone = (file) => /(^|[^a-z])(vocal|vocals|vox|voice|singer|acapella|a cappella)([^a-z]|$)/i.test(file.name);
  return [...files].sort((a, b) => Number(alone(a)) - Number(alone(b))).slice(0, 2);
}

/** A number as it was typed, with a decimal point or comma; null for nothing, NaN for no number. */
export function numberFrom(text) {
  const typed = String(text ?? "").trim();
  if (typed === "") return null;
  return /^-?\d+([.,]\d+)?$/.test(typed) ? Number(typed.replace(",", ".")) : NaN;
}

/**
 * What was typed, as the server takes it.
 * @param {Record<string, string>} typed
 * @returns {{brief: Record<string, string | number | null>, wrong: Record<string, string>}} `wrong`: by field, what to correct
 */
export function briefFrom(typed) {
  const brief = { title: (typed.title ?? "").trim() };
  const wrong = brief.title ? {} : { title: "The song needs a title." };
  for (const field of FIELDS) {
    const text = (typed[field.name] ?? "").trim();
    if (field.kind !== "number") {
      brief[field.name] = text;
      continue;
    }
    const value = numberFrom(text) ?? field.otherwise ?? null;
    brief[field.name] = value;
    if (value === null) continue;
    if (Number.isNaN(value) || (field.whole && !Number.isInteger(value))) wrong[field.name] = field.whole ? "Write a whole number." : "Write a number.";
    else if (value < field.from || value > (field.to ?? Infinity)) {
      wrong[field.name] = field.to ? `Write a number from ${field.from} to ${field.to}.` : `Write a number from ${field.from} on.`;
    }
  }
  return { brief, wrong };
}

/** A brief as the form shows it: everything as text. */
export function typedFrom(brief) {
  return Object.fromEntries(["title", ...FIELDS.map((field) => field.name)].map((name) => [name, brief[name] === null || brief[name] === undefined ? "" : String(brief[name])]));
}

/** Only the fields that differ. */
export function changesBetween(before, after) {
  return Object.fromEntries(Object.entries(after).filter(([name, value]) => (before[name] ?? null) !== value));
}

/**
 * The questions that nothing was answered to.
 * @param {{question: string, consequence: string, fields: string[]}[]} questions
 * @param {Record<string, unknown>} brief
 */
export function openQuestions(questions, brief, { hasVocal = false } = {}) {
  const empty = (field) => brief[field] === "" || brief[field] === null || brief[field] === undefined;
  return questions.filter(({ fields }) => fields.some((field) => !(hasVocal && field === "vocal_stem") && empty(field)));
}
