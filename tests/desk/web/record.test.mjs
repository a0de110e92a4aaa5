/** A take in words and measures, under plain Node. */
import assert from "node:assert/strict";
import { test } from "node:test";
import { readPedal } from "../../../src/obbligato/desk/web/lib/midi_in.js";
import {
  levelWord, lostWords, meterShare, meterWords, orderWords, placeWords, positionNow, restOf, restWords, stateWord,
} from "../../../src/obbligato/desk/web/lib/record.js";

const IDLE = { phase: "idle", lost: [], outcome: null };
const BARS = [1, 2, 3].map((number) => {
  const start_s = 2 + 2 * (number - 1);
  return { number, start_s, end_s: start_s + 2, beats_s: [0, 0.5, 1, 1.5].map((at) => start_s + at), section: number === 1 ? "A" : "" };
});

test("the state is one word, and what was lost comes first", () => {
  assert.equal(stateWord(IDLE).word, "Ready");
  assert.deepEqual(stateWord({ ...IDLE, phase: "count-in" }), { word: "Count-in", sign: "waits" });
  assert.deepEqual(stateWord({ ...IDLE, phase: "recording" }), { word: "Recording", sign: "runs" });
  assert.deepEqual(stateWord({ ...IDLE, phase: "recording", lost: [{}] }), { word: "Lost sound", sign: "lost" });
  assert.equal(stateWord({ ...IDLE, outcome: { kind: "take", failed: false } }).word, "Stopped");
  assert.deepEqual(stateWord({ ...IDLE, outcome: { kind: "take", failed: true } }), { word: "Broke off", sign: "lost" });
});

test("the place goes on between two answers, but not for ever", () => {
  const now = { phase: "recording", position_s: 10, age_s: 0.02 };
  assert.ok(Math.abs(positionNow(now, 1000, 1080) - 10.1) < 1e-9);
  assert.equal(positionNow(now, 1000, 9000), 11);
  assert.equal(positionNow({ ...now, phase: "idle" }, 1000, 9000), 10);
});

test("before bar 1 the beats to it are counted, then bars and beats", () => {
  assert.equal(placeWords(BARS, 0).big, "−4");
  assert.equal(placeWords(BARS, 1.6).small, "1 beat to bar 1");
  assert.deepEqual(placeWords(BARS, 4.6), { big: "2", small: "bar 2, beat 2", section: "A", bar: 2 });
  assert.equal(placeWords(BARS, 9).small, "after the last bar");
});

test("a rest is counted down to its entry", () => {
  const silences = [{ first_bar: 5, last_bar: 8, entry_bar: 9, letter: "B" }, { first_bar: 12, last_bar: 13, entry_bar: null, letter: "" }];
  assert.equal(restWords(silences, 5), "Rest: 4 bars more, in at B, bar 9");
  assert.equal(restWords(silences, 8), "In next, at B, bar 9");
  assert.equal(restWords(silences, 9), "");
  assert.equal(restWords(silences, 12), "No more to play: let it ring.");
});

test("the meter runs from 60 dB down to full scale, and says the same in words", () => {
  assert.deepEqual([-200, -60, -30, 0, 6].map(meterShare), [0, 0, 0.5, 1, 1]);
  const meter = { peak_dbfs: [-20], hold_dbfs: [-12.34], highest_dbfs: [-9], overs: 0 };
  assert.equal(meterWords(meter), "−12.3 dBFS just now, −9.0 dBFS at most; no overs.");
  assert.match(meterWords({ ...meter, overs: 2 }), /2 samples at full scale/);
  const at = (highest) => levelWord({ ...meter, highest_dbfs: [highest] });
  assert.deepEqual([-60, -30, -18, -9, -5, 0].map(at), ["", "low", "good", "good", "high", "over"]);
});

test("lost sound is said with its bar", () => {
  assert.equal(lostWords({ words: "bar 12 beat 3", lost_ms: 10.66 }), "Bar 12 beat 3: 10.7 ms were lost; what follows comes early.");
  assert.equal(lostWords({ words: "bar 0 beat 2", lost_ms: null }), "In the count-in: the device says that sound was lost.");
});

test("what is recorded is said in words", () => {
  assert.equal(orderWords({ bars: null, loop: false, open_ended: false }), "The whole song, one take.");
  assert.equal(orderWords({ bars: [5, 8], loop: true, open_ended: false }), "Bars 5 to 8, with two bars before, a new take each time until stopped.");
  assert.equal(restOf(64.2), "1:05");
});

test("pedals are controllers 64, 66 and 67 of any channel (MIDI 1.0)", () => {
  assert.deepEqual(readPedal([0xb0, 64, 127]), { kind: "down", controller: 64 });
  assert.deepEqual(readPedal([0xbf, 67, 0]), { kind: "up", controller: 67 });
  for (const other of [[0xb0, 1, 127], [0x90, 64, 127], [0xb0, 64]]) assert.equal(readPedal(other), null);
});
