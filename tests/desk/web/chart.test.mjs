// Where things stand on the chart, and what it says. Expected values are worked out by hand beside each check.
import assert from "node:assert/strict";
import test from "node:test";
import { LEAD, acrossBar, barAt, barBeside, barsPerRow, pagePlan, placeChords, rowPlan, rowsOf, stretches, textSpan, timeAcross } from "../../../src/obbligato/desk/web/lib/chart_layout.js";
import { barWords, chordParts, chordSpoken, flatKey, openingLabel, openingShort, pitchName } from "../../../src/obbligato/desk/web/lib/chart_words.js";
import { hearingSpans, tappedBpm, withTap } from "../../../src/obbligato/desk/web/lib/chart_taps.js";

const song = (sections, from = 1, to = 12) => Array.from({ length: to - from + 1 }, (_, i) => ({
  number: from + i, section: sections[from + i] ?? "", start_s: 2 * (from + i), end_s: 2 * (from + i + 1),
}));
const numbers = (rows) => rows.map((row) => row.map((bar) => bar.number));
const near = (a, b, by = 1e-9) => assert.ok(Math.abs(a - b) <= by, `${a} is not ${b}`);

test("a row begins anew at a section and at bar 1", () => {
  assert.deepEqual(numbers(rowsOf(song({ 1: "A", 7: "B" }, 0, 12), 4)), [[0], [1, 2, 3, 4], [5, 6], [7, 8, 9, 10], [11, 12]]);
  assert.deepEqual(numbers(rowsOf(song({}, 1, 5), 2)), [[1, 2], [3, 4], [5]]);
  assert.deepEqual(rowsOf([], 4), []);
});

test("narrow pages have two bars a row, wide ones eight", () => {
  assert.deepEqual([340, 720, 1700].map(barsPerRow), [2, 4, 8]);
});

test("time across a bar and back", () => {
  assert.deepEqual([acrossBar(0), acrossBar(1), acrossBar(1.4)], [0, 1, 1]);
  for (const share of [0.1, 0.5, 0.99]) near(timeAcross(acrossBar(share)), share);
  assert.equal(timeAcross(LEAD / 2), 0);
});

test("rows with and without a stave have their bars at the same places", () => {
  // Clef and key 1000 wide, bars of 4000: a full row of 4 is 17000.
  const stave = { bars_x: [1000, 5000, 9000, 13000, 17000], width: 17000 };
  const page = pagePlan([stave], 4);
  assert.deepEqual(page, { perRow: 4, head: 1000, bar: 4000 });
  assert.deepEqual(rowPlan(4, stave, page).edges, rowPlan(4, null, page).edges);
  const short = { bars_x: [800, 4800, 8800], width: 8800 };
  const plan = rowPlan(2, short, page);
  // A narrower key begins further right, so that its bars stand under the others.
  assert.deepEqual(plan.edges, [1000 / 17000, 5000 / 17000, 9000 / 17000]);
  near(plan.stave.left, 200 / 17000);
});

test("chords keep clear of one another and inside the bar", () => {
  assert.deepEqual(placeChords([{ at: 5, width: 30 }, { at: 90, width: 30 }], 160), [5, 90]);
  assert.deepEqual(placeChords([{ at: 5, width: 60 }, { at: 40, width: 30 }], 160), [5, 70]);
  // The second ends at the bar line (100 - 30), the first 5 px before it (70 - 5 - 50).
  assert.deepEqual(placeChords([{ at: 30, width: 50 }, { at: 90, width: 30 }], 100), [15, 70]);
});

test("a stretch goes on over bar lines", () => {
  const row = [{ parts: [{ key: 0, start: 0.5, end: 1 }] }, { parts: [{ key: 0, start: 0, end: 1 }] }, { parts: [{ key: 1, start: 0, end: 0.25 }] }];
  const found = stretches(row, [0, 0.25, 0.5, 0.75], (bar) => bar.parts);
  assert.equal(found.length, 2);
  near(found[0].left, 0.25 * acrossBar(0.5));
  near(found[0].right, 0.5);
  const apart = stretches([{ parts: [{ key: 0, start: 0, end: 0.3 }, { key: 0, start: 0.6, end: 1 }] }], [0, 0.25], (bar) => bar.parts);
  assert.equal(apart.length, 2);
});

test("a text under a row takes as many bars as it needs, and none outside", () => {
  assert.deepEqual(textSpan(0, 4, 150, 100), { from: 0, span: 2 });
  assert.deepEqual(textSpan(3, 4, 150, 100), { from: 2, span: 2 });
  assert.deepEqual(textSpan(3, 4, 10, 100), { from: 3, span: 1 });
  assert.deepEqual(textSpan(1, 2, 900, 100), { from: 0, span: 2 });
});

test("the bar that sounds", () => {
  const bars = song({}, 1, 3);
  assert.deepEqual([1.99, 2, 3.99, 4, 99].map((s) => barAt(bars, s)), [-1, 0, 0, 1, 2]);
  assert.equal(barAt([], 3), -1);
});

test("keys go from bar to bar and keep their place from row to row", () => {
  const rows = rowsOf(song({ 1: "A", 7: "B" }, 1, 12), 4);
  const go = (from, key) => barBeside(rows, from, key);
  assert.deepEqual([go(1, "ArrowLeft"), go(4, "ArrowRight"), go(3, "ArrowDown"), go(6, "ArrowDown"), go(8, "ArrowUp"), go(5, "Home"), go(5, "End")], [1, 5, 6, 8, 6, 1, 12]);
  assert.equal(go(2, "x"), null);
});

test("chords for the eye and for the ear", () => {
  assert.deepEqual(chordParts("Bbm7/Db"), { root: "Bb", kind: "m7", bass: "Db" });
  assert.deepEqual(chordParts("N.C."), { root: "N.C.", kind: "", bass: "" });
  assert.equal(chordSpoken("Bbm7/Db"), "B flat minor 7 over D flat");
  assert.equal(chordSpoken("F#maj7"), "F sharp major seven");
  assert.equal(chordSpoken("N.C."), "no chord");
});

test("pitches are named as in scientific pitch notation", () => {
  // Middle C is C4 and MIDI 60; A4 = 440 Hz is MIDI 69 (ISO 16, MIDI 1.0 with the common octave numbering).
  assert.deepEqual([60, 69, 70, 21].map((midi) => pitchName(midi)), ["C4", "A4", "Bb4", "A0"]);
  assert.equal(pitchName(70, false), "A#4");
});

test("keys with flats, by the circle of fifths", () => {
  assert.deepEqual(["F major", "C major", "D minor", "Bb minor"].map(flatKey), [true, true, true, true]);
  assert.deepEqual(["G major", "E minor", "F# minor", "B major"].map(flatKey), [false, false, false, false]);
});

test("an opening in as many words as there is room for", () => {
  const opening = { letter: "b", beats: 2.94, kind: "fill" };
  assert.equal(openingLabel(opening), "b · 2.9 beats, room for an answer");
  assert.equal(openingShort(opening, 100), openingLabel(opening));
  assert.equal(openingShort(opening, 15), "b · 2.9 beats");
  assert.equal(openingShort(opening, 8), "b · 2.9");
  assert.equal(openingShort(opening, 3), "b");
});

test("a bar in words holds all that stands in it", () => {
  const bar = {
    number: 6, section: "B", key: null, count_in: false, voice: [[0, 0.25]], openings: [{ index: 0 }],
    chords: [{ beat: 0, written: "F", sounding: "Eb" }, { beat: 2, written: "Dm7", sounding: "Cm7" }],
  };
  const about = { openings: [{ letter: "b", beats: 3, kind: "fill" }], notes: [{ pitch: 63, written: 65 }], remarks: [{ text: "Take 4: clean." }], beats: 4 };
  assert.equal(barWords(bar, { ...about, pitch: "written" }),
    "Bar 6; section B begins; chord F, D minor 7 on beat 3; the singer sings until beat 2; opening b of 3 beats, room for an answer; line: F4; Take 4: clean.");
  assert.match(barWords(bar, { ...about, pitch: "sounding" }), /chord E flat, C minor 7 on beat 3.*line: E flat4/);
});

test("taps give a first idea of the tempo", () => {
  assert.deepEqual(withTap([1, 2], 3), [1, 2, 3]);
  assert.deepEqual(withTap([1, 2], 9), [9]);
  assert.deepEqual(withTap([5, 6], 2), [2]);
  assert.equal(tappedBpm([1, 2]), null);
  near(tappedBpm([0, 0.5, 1.0, 1.5]), 120);
  // One tap left out doubles one gap; the middle one stays.
  near(tappedBpm([0, 0.5, 1.5, 2.0, 2.5]), 120);
});

test("what is heard as a test begins on bar lines and stays in the song", () => {
  const spans = hearingSpans(song({}, 0, 20));
  assert.deepEqual(spans.map(({ word, bar }) => [word, bar]), [["start", 1], ["middle", 11], ["end", 19]]);
  for (const { start_s, end_s } of spans) near(end_s - start_s, 4);
  assert.deepEqual(hearingSpans([]), []);
});
