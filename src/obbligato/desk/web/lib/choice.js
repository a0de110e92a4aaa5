/** Choosing among takes, as far as it is plain reckoning: moving, naming, hiding, matching levels, what a digit means. */

/** Names of takes when they are hidden: A … Z, AA, AB … */
export function letter(position) {
  const last = String.fromCharCode(65 + (position % 26));
  return position < 26 ? last : letter(Math.floor(position / 26) - 1) + last;
}

/**
 * An order drawn anew, so that neither name nor place tells which take is which (Fisher and Yates).
 * @template T
 * @param {T[]} items @param {() => number} random from 0 to below 1
 */
export function shuffled(items, random = Math.random) {
  const order = [...items];
  for (let i = order.length - 1; i > 0; i -= 1) {
    const j = Math.floor(random() * (i + 1));
    [order[i], order[j]] = [order[j], order[i]];
  }
  return order;
}

/** What a take is called: by its number, or by its letter in the hidden order. */
export function takeName(number, hidden) {
  if (!hidden) return `take ${number}`;
  const position = hidden.indexOf(number);
  return position < 0 ? "a take" : `take ${letter(position)}`;
}

/** A sentence with the takes in it called as they are shown. */
export function renamed(text, hidden) {
  return hidden ? text.replace(/\b([Tt])ake (\d+)\b/g, (_, t, digits) => t + takeName(Number(digits), hidden).slice(1)) : text;
}

/** The faults of a verdict without what to do about them and without the place, which is seen beside them. */
export function shortened(verdict) {
  const [faults] = verdict.split(/\.(?= [A-Z]|$)/);
  const plain = faults.replace(/ in bar -?\d+ on beat \d+(\.\d+)?/g, "").replace(/^The (?=(written )?[A-G][b#]?-?\d)/, "");
  return plain.charAt(0).toUpperCase() + plain.slice(1);
}

/** The number a row of digits means among `numbers`, once no longer number can begin with it; null while it is open. */
export function typedNumber(digits, numbers) {
  const typed = Number(digits);
  const longer = numbers.some((number) => String(number).length > digits.length && String(number).startsWith(digits));
  return !longer && numbers.includes(typed) ? typed : null;
}

/** A place in a grid of `rows` by `columns` after a key; null for a key that does not move. */
export function moved({ row, column }, key, { rows, columns }) {
  const to = {
    ArrowUp: [row - 1, column], ArrowDown: [row + 1, column], ArrowLeft: [row, column - 1], ArrowRight: [row, column + 1],
    Home: [row, 0], End: [row, columns - 1], PageUp: [row - 5, column], PageDown: [row + 5, column],
  }[key];
  if (!to) return null;
  const within = (value, count) => Math.max(0, Math.min(count - 1, value));
  return { row: within(to[0], rows), column: within(to[1], columns) };
}

const LOUDER_DB = 6;
const SOFTER_DB = -24;

/**
 * Gains that bring every take of a phrase to the median of them, so that the loudest does not win; by take number.
 * Raised by 6 dB at most, which the level of playing leaves room for.
 */
export function matchedGainsDb(cells) {
  const levels = cells.map(({ level_db }) => level_db).filter((level) => level !== null).sort((a, b) => a - b);
  if (!levels.length) return {};
  const middle = levels.length / 2;
  const target = levels.length % 2 ? levels[Math.floor(middle)] : (levels[middle - 1] + levels[middle]) / 2;
  return Object.fromEntries(cells.filter(({ level_db }) => level_db !== null)
    .map(({ take, level_db }) => [take, Math.max(SOFTER_DB, Math.min(LOUDER_DB, target - level_db))]));
}

/** What is heard of a phrase: with the guide from a little before it, or alone from its breath on; seconds. */
export function spanHeard({ start_s, end_s }, alone) {
  return alone ? [Math.max(0, start_s - 0.4), end_s + 0.5] : [Math.max(0, start_s - 1.5), end_s + 1];
}

/** A choice as it will stand once the server has it: shown at once, put right by its answer. */
export function asIf(choice, phrase, take) {
  const phrases = choice.phrases.map((row) => (row.index !== phrase ? row : {
    ...row, chosen: take ?? row.chosen, by_hand: take !== null, why: take === null ? "As proposed." : "By hand.",
  }));
  return { ...choice, phrases, state: choice.state === "none" ? "none" : "stale", sentence: "The comp is not yet rendered as chosen here." };
}

/** Seconds from `31.5`, `0:31.5` or `0:31,5`; null for nothing, NaN for what is no time. */
export function secondsOf(text) {
  const plain = text.trim().replace(",", ".");
  if (!plain) return null;
  if (!/^-?(\d+:)?\d+(\.\d+)?$/.test(plain)) return NaN;
  const [first, second] = plain.replace("-", "").split(":").map(Number);
  const seconds = second === undefined ? first : 60 * first + second;
  return plain.startsWith("-") ? -seconds : seconds;
}
