import assert from "node:assert/strict";
import { test } from "node:test";
import {
  READABLE, barAt, fitRows, letterAt, markerX, places, restAt, rowAt, rowToShow,
} from "../../../src/obbligato/desk/web/lib/stand.js";

/** Four rows of two bars of 4 s each; the song begins at 2 s. */
const ROWS = [0, 1, 2, 3].map((row) => ({
  row: { width: 1000, height: 200, bars: [0, 1].map((bar) => ({ number: 2 * row + bar + 1, bars: 1, left: 500 * bar, right: 500 * bar + 500 })) },
  marks: [0, 4, 8].map((s) => ({ at_s: 2 + 8 * row + s, x: (s / 8) * 1000 })),
}));

test("the row that is played follows the song, before and after it too", () => {
  assert.deepEqual([-5, 2, 9.99, 10, 33, 999].map((s) => rowAt(ROWS, s)), [0, 0, 0, 1, 3, 3]);
});

test("with one row on the screen it turns in the middle of the last bar; with two, the next is there already", () => {
  assert.equal(rowToShow(ROWS, 7.9, 1), 0); // the last bar of the first row runs from 6 s to 10 s
  assert.equal(rowToShow(ROWS, 8.1, 1), 1);
  assert.equal(rowToShow(ROWS, 9.9, 2), 0);
  assert.equal(rowToShow(ROWS, 33.9, 1), 3);
});

test("the next row always stands on the screen before the one before it has ended", () => {
  for (const shown of [2, 3]) {
    for (let at_s = 2; at_s < 34; at_s += 0.25) {
      const first = rowToShow(ROWS, at_s, shown);
      const there = places(first, shown, ROWS.length);
      const played = rowAt(ROWS, at_s);
      assert.ok(there.includes(played));
      assert.ok(played + 1 >= ROWS.length || there.includes(played + 1), `${at_s} s, ${shown} rows`);
    }
  }
});

test("a row keeps its place on the screen for as long as it is shown", () => {
  assert.deepEqual(places(0, 2, 4), [0, 1]);
  assert.deepEqual(places(1, 2, 4), [2, 1]);
  assert.deepEqual(places(2, 2, 4), [2, 3]);
  assert.deepEqual(places(3, 2, 4), [null, 3]);
  assert.deepEqual(places(4, 3, 9), [6, 4, 5]);
});

test("the marker is where the song is, and stays on its row", () => {
  assert.equal(markerX(ROWS[1].marks, 12), 250);
  assert.equal(markerX(ROWS[1].marks, 0), 0);
  assert.equal(markerX(ROWS[1].marks, 99), 1000);
});

test("two rows are shown on a wide screen with a stave of an eighth of its height or more", () => {
  for (const [width, height] of [[1280, 720], [1920, 1080], [2560, 1440], [1366, 768], [1280, 800]]) {
    const rowWidth = (80 * 7.7 * width) / height; // as the server sets rows for this screen
    const { scale, shown } = fitRows({ heights: [270, 200, 230, 205], rowWidth, stave: 80, width: width - 32, height, head: 0.12 * height });
    assert.equal(shown, 2);
    assert.ok((scale * 80) / height >= READABLE, `${width} x ${height}: ${(scale * 80) / height}`);
    assert.ok(470 * scale <= 0.88 * height + 1e-6);
    assert.ok(rowWidth * scale <= width);
  }
});

test("an upright screen takes more rows, and a single row its own size", () => {
  assert.equal(fitRows({ heights: [200, 200, 200, 200, 200], rowWidth: 720, stave: 80, width: 358, height: 844, head: 90 }).shown, 4);
  assert.equal(fitRows({ heights: [200], rowWidth: 1000, stave: 80, width: 1000, height: 600, head: 60 }).shown, 1);
});

test("rests are counted out loud: how long, where in it, where to come in", () => {
  const silences = [
    { first_bar: 5, last_bar: 9, entry_bar: 10, letter: "C" }, { first_bar: 12, last_bar: 12, entry_bar: 13, letter: "" },
    { first_bar: 20, last_bar: 23, entry_bar: null, letter: "" },
  ];
  assert.equal(restAt(silences, 7).words, "5 bars rest: 3, in at C, bar 10");
  assert.equal(restAt(silences, 12), null);
  assert.equal(restAt(silences, 11), null);
  assert.match(restAt(silences, 20).words, /no more to play/);
});

test("bar and letter of a time", () => {
  const bars = [{ number: 0, beats_s: [-2, 2], section: "" }, { number: 1, beats_s: [2, 6], section: "A" }, { number: 2, beats_s: [6, 10], section: "" }];
  assert.deepEqual([-9, 0, 2, 5.9, 99].map((s) => barAt(bars, s).number), [0, 0, 1, 1, 2]);
  assert.equal(letterAt(bars, 2), "A");
  assert.equal(letterAt(bars, 0), "");
});
