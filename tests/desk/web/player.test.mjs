// The player's arithmetic: where the ear is, how loud each sound is, which bars lie around a place.
import assert from "node:assert/strict";
import test from "node:test";
import { heardTime, Place } from "../../../src/obbligato/desk/web/audio/place.js";
import { amplitude, countLevel, inWords, playingLevels, spanLevels } from "../../../src/obbligato/desk/web/lib/mix_levels.js";
import { barAway, barIndexAt, spanOf, whereAt } from "../../../src/obbligato/desk/web/lib/mix_where.js";

const BARS = Array.from({ length: 6 }, (_, k) => ({
  number: k - 1, start_s: 0.5 + 2 * k, end_s: 2.5 + 2 * k, beats_s: [0, 1, 2, 3].map((b) => 0.5 + 2 * k + 0.5 * b), section: k < 2 ? "" : "A",
}));

test("between reports the place goes on by the clock, at the speed reported", () => {
  const place = new Place();
  place.stand(10);
  assert.equal(place.at(5), 10);
  place.add({ time: 6, place_s: 10, speed: 1, moving: true });
  assert.equal(place.at(5.9), 10); // not heard yet
  assert.equal(place.at(6.25), 10.25);
  place.add({ time: 7, place_s: 11, speed: 0.6, moving: true });
  assert.ok(Math.abs(place.at(6.99) - 10.99) < 1e-12);
  assert.ok(Math.abs(place.at(8) - 11.6) < 1e-12);
  place.stand(3);
  assert.equal(place.at(99), 3);
});

test("in a loop the place wraps, but a run-in before it does not", () => {
  const place = new Place();
  place.loop = { start_s: 4, end_s: 6 };
  place.add({ time: 0, place_s: 1, speed: 1, moving: true });
  assert.equal(place.at(2), 3);
  assert.equal(place.at(5.5), 4.5);
});

test("what is heard lies behind what is computed, by the latency the browser states", () => {
  assert.equal(heardTime({ currentTime: 2, outputLatency: 0.05 }, 0), 1.95);
  assert.equal(heardTime({ currentTime: 2, baseLatency: 0.01 }, 0), 1.99);
  const smooth = { currentTime: 2, outputLatency: 0.05, getOutputTimestamp: () => ({ contextTime: 1.93, performanceTime: 1000 }) };
  assert.ok(Math.abs(heardTime(smooth, 1012) - 1.942) < 1e-12);
  const asleep = { ...smooth, getOutputTimestamp: () => ({ contextTime: 0, performanceTime: 1000 }) };
  assert.equal(heardTime(asleep, 1000), 1.95);
});

test("only guide, click and the third sound are heard, by their sliders", () => {
  const gains = { guide: 1, click: 0.5, line: 0.7, comp: 0.8 };
  const sounds = ["guide", "click", "line", "comp", "take-1"];
  const levels = playingLevels({ gains, third: "comp", sounds });
  assert.deepEqual(levels, { guide: 1, click: 0.25, line: 0, comp: amplitude(0.8), "take-1": 0 });
});

test("a span of choosing plays its sounds matched, alone or over the guide", () => {
  const state = { gains: { guide: 1, click: 1, line: 1, comp: 0.5 }, sounds: ["guide", "click", "take-1", "take-2"] };
  const together = spanLevels(state, { gainsDb: { "take-1": -6.0206 } });
  assert.ok(Math.abs(together["take-1"] - 0.125) < 1e-5); // half of 0.25
  assert.equal(together.guide, 1);
  assert.equal(together.click, 0);
  const alone = spanLevels(state, { alone: "take-2", gainsDb: { "take-1": 0, "take-2": 6.0206 } });
  assert.ok(Math.abs(alone["take-2"] - 0.5) < 1e-5);
  assert.equal(alone.guide + alone["take-1"], 0);
});

test("the level is told in words", () => {
  assert.equal(inWords(0), "silent");
  assert.equal(inWords(1), "as loud as the file");
  assert.equal(inWords(0.5), "12 decibels below the file"); // 20 log10 of a quarter is -12.04
});

test("the count stays as loud whether or not the click is heard with it", () => {
  assert.equal(countLevel(3, 0.2) + 0.2, 0.5);
  assert.equal(countLevel(3, 0.8), 0);
  assert.equal(countLevel(-1, 0.2), 0.5);
});

test("bar, beat and section of a place", () => {
  assert.equal(whereAt(BARS, 0.2), null);
  assert.deepEqual(whereAt(BARS, 0.5), { bar: -1, beat: 1, section: "" });
  assert.deepEqual(whereAt(BARS, 6.2), { bar: 1, beat: 4, section: "A" });
  assert.deepEqual(whereAt(BARS, 99), { bar: 4, beat: 4, section: "A" });
  assert.equal(barIndexAt([], 1), -1);
});

test("going by bars: back from inside a bar is to its beginning", () => {
  assert.equal(barAway(BARS, 5.2, -1), 4.5);
  assert.equal(barAway(BARS, 4.6, -1), 2.5);
  assert.equal(barAway(BARS, 4.6, 1), 6.5);
  assert.equal(barAway(BARS, 4.6, -99), 0.5);
  assert.equal(barAway(BARS, 4.6, 99), 10.5);
  assert.equal(barAway([], 4.6, 1), 4.6);
});

test("chosen bars as a span of the guide", () => {
  assert.deepEqual(spanOf(BARS, { first: 1, last: 2 }), { start_s: 4.5, end_s: 8.5 });
  assert.equal(spanOf(BARS, { first: 40, last: 41 }), null);
  assert.equal(spanOf(BARS, null), null);
});
