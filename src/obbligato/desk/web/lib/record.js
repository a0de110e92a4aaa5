/** A take in words and measures: what its state is called, where it is, how loud, what is covered. No document here. */
import { barIndexAt, whereAt } from "./mix_where.js";

/** Phases in which sound goes in and out. */
export const RUNNING = ["count-in", "recording", "ringing"];
const FLOOR_DBFS = -60;
/** Where the peaks of the loudest bars should lie (docs/play.md). */
export const AIM_DBFS = [-12, -6];
const LOW_DBFS = -18;
const SILENT_DBFS = -50;

const WORDS = {
  idle: "Ready", checking: "Listening", calibrating: "Measuring", making: "Wait", "count-in": "Count-in",
  recording: "Recording", ringing: "Ringing", keeping: "Keeping",
};

/**
 * The state as one word to be read from across the room, and its sign; what was lost comes before everything else.
 * @param {{phase: string, lost: object[], outcome: {failed: boolean, kind: string} | null}} state
 * @returns {{word: string, sign: "still" | "waits" | "runs" | "lost"}}
 */
export function stateWord({ phase, lost, outcome }) {
  if (RUNNING.includes(phase)) {
    if (lost.length) return { word: "Lost sound", sign: "lost" };
    return { word: WORDS[phase], sign: phase === "recording" ? "runs" : "waits" };
  }
  if (phase !== "idle") return { word: WORDS[phase], sign: "waits" };
  if (outcome?.failed) return { word: outcome.kind === "take" ? "Broke off" : "Not begun", sign: "lost" };
  return { word: outcome?.kind === "take" ? "Stopped" : "Ready", sign: "still" };
}

/** Where the take is now: what was told, carried on to this moment, but not past what is likely. */
export function positionNow({ phase, position_s, age_s }, toldAt_ms, now_ms) {
  if (!RUNNING.includes(phase)) return position_s;
  return position_s + Math.min(1, age_s + (now_ms - toldAt_ms) / 1000);
}

/**
 * Bar, beat and section at a place; before the first bar of the song the beats that are left to it.
 * @param {{number: number, start_s: number, end_s: number, beats_s: number[], section?: string}[]} bars
 * @returns {{big: string, small: string, section: string, bar: number}}
 */
export function placeWords(bars, place_s) {
  if (!bars.length) return { big: "", small: "", section: "", bar: 0 };
  const index = barIndexAt(bars, place_s);
  const first = bars.find(({ number }) => number >= 1) ?? bars[0];
  if (index < 0 || bars[index].number < 1) {
    const beat_s = (first.end_s - first.start_s) / Math.max(1, first.beats_s.length);
    const left = Math.max(1, Math.ceil((first.start_s - place_s) / beat_s - 0.01));
    return { big: `−${left}`, small: `${left} beat${left === 1 ? "" : "s"} to bar 1`, section: "", bar: 0 };
  }
  const { bar, beat } = whereAt(bars, place_s);
  const over = place_s > bars[bars.length - 1].end_s;
  return { big: `${bar}`, small: over ? "after the last bar" : `bar ${bar}, beat ${beat}`, section: sectionAt(bars, index), bar };
}

function sectionAt(bars, index) {
  for (let i = index; i >= 0; i -= 1) if (bars[i].section) return bars[i].section;
  return "";
}

/**
 * What is counted in a long rest: the bars that are left before the entry.
 * @param {{first_bar: number, last_bar: number, entry_bar: number | null, letter: string}[]} silences
 */
export function restWords(silences, bar) {
  const rest = silences.find(({ first_bar: first, last_bar: last }) => bar >= first && bar <= last);
  if (!rest) return "";
  if (rest.entry_bar === null) return "No more to play: let it ring.";
  const left = rest.last_bar - bar + 1;
  const at = `${rest.letter ? `${rest.letter}, ` : ""}bar ${rest.entry_bar}`;
  return left === 1 ? `In next, at ${at}` : `Rest: ${left} bars more, in at ${at}`;
}

/** A level as a share of the meter's length, 0 to 1. */
export function meterShare(dbfs) {
  return Math.min(1, Math.max(0, (dbfs - FLOOR_DBFS) / -FLOOR_DBFS));
}

/** The meter in words. @param {{hold_dbfs: number[], highest_dbfs: number[], overs: number} | null} meter */
export function meterWords(meter) {
  if (!meter) return "No sound is measured now.";
  const several = meter.hold_dbfs.length > 1;
  const inputs = meter.hold_dbfs.map((hold, i) => `${several ? `input ${i + 1}: ` : ""}${level(hold)} just now, ${level(meter.highest_dbfs[i])} at most`);
  const overs = meter.overs ? `${meter.overs} sample${meter.overs === 1 ? "" : "s"} at full scale: turn the input down` : "no overs";
  return `${inputs.join("; ")}; ${overs}.`;
}

function level(dbfs) {
  return dbfs <= -150 ? "silence" : `${dbfs.toFixed(1).replace("-", "−")} dBFS`;
}

/** How loud the take was at most, against where it should be: one word for the eye. */
export function levelWord(meter) {
  if (!meter) return "";
  const highest = Math.max(...meter.highest_dbfs);
  if (meter.overs || highest > -1) return "over";
  if (highest > AIM_DBFS[1]) return "high";
  if (highest < SILENT_DBFS) return "";
  return highest < LOW_DBFS ? "low" : "good";
}

/** A drop-out as a sentence. @param {{words: string, lost_ms: number | null}} lost */
export function lostWords({ words, lost_ms }) {
  const size = lost_ms === null ? "the device says that sound was lost." : `${lost_ms.toFixed(1)} ms were lost; what follows comes early.`;
  const where = words.replace(/^bar (0|-\d+) .*/, "in the count-in").replace(/^./, (letter) => letter.toUpperCase());
  return `${where}: ${size}`;
}

export const CELLS = {
  played: { sign: "●", words: "recorded" },
  part: { sign: "◐", words: "only in part" },
  silent: { sign: "○", words: "nothing is heard" },
  lost: { sign: "!", words: "after lost sound" },
  no: { sign: "·", words: "not reached" },
};

/** Bars of a phrase as they are written: `12`, `12–14`. */
export function barsText({ first_bar: first, last_bar: last }) {
  return first === last ? `${first}` : `${first}–${last}`;
}

/** What will be recorded, in words. @param {{bars: number[] | null, loop: boolean, open_ended: boolean}} order */
export function orderWords({ bars, loop, open_ended: open }) {
  const what = bars ? (bars[0] === bars[1] ? `Bar ${bars[0]}` : `Bars ${bars[0]} to ${bars[1]}`) : "The whole song";
  const run = bars ? ", with two bars before" : "";
  if (open) return `${what}${run}, over and over in one recording until stopped; each pass becomes a take.`;
  if (loop) return `${what}${run}, a new take each time until stopped.`;
  return `${what}${run}, one take.`;
}

/** Minutes and seconds of rest as they are said. */
export function restOf(seconds) {
  const whole = Math.max(0, Math.ceil(seconds));
  return `${Math.floor(whole / 60)}:${String(whole % 60).padStart(2, "0")}`;
}
