import assert from "node:assert/strict";
import test from "node:test";
import { asIf, letter, matchedGainsDb, moved, renamed, secondsOf, shortened, shuffled, takeName, typedNumber } from "../../../src/obbligato/desk/web/lib/choice.js";
import { pencilLine } from "../../../src/obbligato/desk/web/lib/choice_path.js";
import { MOST_CENTS, MOST_MS, noteDetails, noteWords, outlines, picture } from "../../../src/obbligato/desk/web/lib/choice_picture.js";

const note = (more) => ({ index: 0, played: true, cents: 0, onset_ms: 0, ...more });
const size = { width: 100, height: 40 };

test("a note in time and in tune stands in its place", () => {
  const { marks, middle } = picture({ notes: [note(), note()], extra_notes: 0 }, size);
  assert.deepEqual(marks.map(({ x, y, place }) => [x, y, place]), [[25, middle, 25], [75, middle, 75]]);
});

test("sharp is up, flat is down, late is right, early is left", () => {
  const place = (more) => picture({ notes: [note(more)], extra_notes: 0 }, size).marks[0];
  assert.ok(place({ cents: 20 }).y < 20 && place({ cents: -20 }).y > 20);
  assert.ok(place({ onset_ms: 40 }).x > 50 && place({ onset_ms: -40 }).x < 50);
});

test("no mark leaves the room of its note, however far off it is", () => {
  for (const cents of [-900, -MOST_CENTS, 0, MOST_CENTS, 900]) {
    for (const onset_ms of [-2000, -MOST_MS, 0, MOST_MS, 2000]) {
      const { marks, slot } = picture({ notes: [note(), note({ cents, onset_ms }), note()], extra_notes: 0 }, size);
      assert.ok(Math.abs(marks[1].x - marks[1].place) <= slot / 2);
      assert.ok(marks[1].y >= 0 && marks[1].y <= size.height);
      assert.equal(marks[1].far, Math.abs(cents) > MOST_CENTS || Math.abs(onset_ms) > MOST_MS);
    }
  }
});

test("missed, other and extra notes are drawn each in their own way", () => {
  const notes = [note(), note({ played: false, cents: null, onset_ms: null }), note({ played: false, cents: null, onset_ms: 8 })];
  const drawn = picture({ notes, extra_notes: 2 }, size);
  assert.deepEqual(drawn.marks.map(({ kind }) => kind), ["played", "missed", "other"]);
  assert.equal(drawn.extras.length, 2);
  assert.ok(drawn.extras.every((x) => x > drawn.marks[2].x && x < size.width));
  const lines = outlines(drawn, 3);
  assert.equal(lines.places.match(/M/g).length, 3);
  for (const kind of ["played", "missed", "other"]) assert.ok(lines[kind].length > 0, kind);
  assert.doesNotMatch(Object.values(lines).join(" "), /NaN|undefined|Infinity/);
});

test("an empty phrase makes an empty picture", () => {
  assert.deepEqual(picture({ notes: [], extra_notes: 0 }, size).marks, []);
});

test("a note in words", () => {
  assert.equal(noteWords(note()), "in time, in tune");
  assert.equal(noteWords(note({ cents: -12.4, onset_ms: 31.2 })), "31 ms late, 12 cents flat");
  assert.equal(noteWords(note({ played: false, cents: null, onset_ms: null })), "not played");
  assert.equal(noteWords(note({ played: false, cents: null, onset_ms: 4 })), "another note in its place");
  assert.equal(noteWords(note({ cents: null, onset_ms: -20 })), "20 ms early");
});

test("the pencil line goes through every chosen cell, and lifts where none is chosen", () => {
  const path = pencilLine([1, 1, 3, null, 0], { inset: 0.1, keep: 0.8 });
  assert.equal(path.match(/M/g).length, 2);
  const straight = [...path.matchAll(/V([\d.]+)/g)].map(([, y]) => Number(y));
  for (const row of [0, 1, 2, 4]) assert.ok(straight.includes(Number((row + 0.9).toFixed(3))), `row ${row}`);
  assert.match(path, /C1\.1 2 3\.1 2 3\.1 2\.1/);
  assert.equal(pencilLine([]), "");
});

test("letters go on after Z", () => {
  assert.deepEqual([0, 25, 26, 39, 51, 52].map(letter), ["A", "Z", "AA", "AN", "AZ", "BA"]);
});

test("a hidden order holds every take once, each place as likely (chi square)", () => {
  let state = 7;
  const random = () => { state = (48271 * state) % 2147483647; return state / 2147483647; };
  const counts = Array.from({ length: 4 }, () => [0, 0, 0, 0]);
  const draws = 4000;
  for (let i = 0; i < draws; i += 1) {
    const order = shuffled([0, 1, 2, 3], random);
    assert.deepEqual([...order].sort(), [0, 1, 2, 3]);
    order.forEach((take, position) => { counts[take][position] += 1; });
  }
  // 4 by 4 cells with sums fixed leave 9 degrees of freedom; 27.9 is exceeded once in a thousand (any table of chi square).
  const expected = draws / 4;
  const chi2 = counts.flat().reduce((sum, count) => sum + (count - expected) ** 2 / expected, 0);
  assert.ok(chi2 < 27.9, String(chi2));
});

test("a hidden take is called by its letter, in sentences too", () => {
  const hidden = [12, 3, 1];
  assert.equal(takeName(3, hidden), "take B");
  assert.equal(takeName(3, null), "take 3");
  assert.equal(renamed("Take 12 is not right here: take 1 (better than take 3).", hidden), "Take A is not right here: take C (better than take B).");
  assert.equal(renamed("Better than take 3.", null), "Better than take 3.");
});

test("a verdict where there is little room", () => {
  assert.equal(shortened("The written F#5 in bar 14 on beat 2.7 missing. Use another take or play it again."), "Written F#5 missing");
  assert.equal(shortened("The Bb-1 in bar -1 on beat 1 and 2 more missing; a noise at 0:12.500 (-40 dBFS). Use another take."), "Bb-1 and 2 more missing; a noise at 0:12.500 (-40 dBFS)");
  assert.equal(shortened("The click is heard in it. Use another take."), "The click is heard in it");
  assert.equal(shortened("Clean; in time, 5 cents sharp."), "Clean; in time, 5 cents sharp");
});

test("a digit waits only where a longer number could follow", () => {
  const nine = [1, 2, 3];
  const many = [1, 2, 10, 12, 40];
  assert.equal(typedNumber("2", nine), 2);
  assert.equal(typedNumber("7", nine), null);
  assert.equal(typedNumber("1", many), null);
  assert.equal(typedNumber("12", many), 12);
  assert.equal(typedNumber("2", many), 2);
  assert.equal(typedNumber("4", many), null);
});

test("keys move inside the grid and never out of it", () => {
  const size = { rows: 3, columns: 2 };
  assert.deepEqual(moved({ row: 0, column: 0 }, "ArrowUp", size), { row: 0, column: 0 });
  assert.deepEqual(moved({ row: 0, column: 0 }, "ArrowRight", size), { row: 0, column: 1 });
  assert.deepEqual(moved({ row: 0, column: 1 }, "PageDown", size), { row: 2, column: 1 });
  assert.deepEqual(moved({ row: 2, column: 1 }, "Home", size), { row: 2, column: 0 });
  assert.equal(moved({ row: 2, column: 1 }, "x", size), null);
});

test("after matching every take is as loud as the others", () => {
  const cells = [{ take: 1, level_db: -20 }, { take: 2, level_db: -23.5 }, { take: 3, level_db: -26 }, { take: 4, level_db: null }];
  const gains = matchedGainsDb(cells);
  const levels = [1, 2, 3].map((take) => cells[take - 1].level_db + gains[take]);
  assert.deepEqual(levels, [-23.5, -23.5, -23.5]);
  assert.equal(gains[4], undefined);
  assert.equal(matchedGainsDb([{ take: 1, level_db: -60 }, { take: 2, level_db: -20 }, { take: 3, level_db: -20 }])[1], 6);
  assert.deepEqual(matchedGainsDb([]), {});
});

test("a choice is shown at once, and leaves the one before as it was", () => {
  const before = { state: "fresh", sentence: "", phrases: [{ index: 0, chosen: 1, by_hand: false, why: "a" }, { index: 1, chosen: 1, by_hand: false, why: "b" }] };
  const after = asIf(before, 1, 4);
  assert.deepEqual(after.phrases.map(({ chosen, by_hand }) => [chosen, by_hand]), [[1, false], [4, true]]);
  assert.equal(after.state, "stale");
  assert.equal(before.phrases[1].chosen, 1);
  assert.equal(asIf(after, 1, null).phrases[1].by_hand, false);
});

test("a time as it is written", () => {
  assert.equal(secondsOf("0:31.5"), 31.5);
  assert.equal(secondsOf(" 2:05,25 "), 125.25);
  assert.equal(secondsOf("-3"), -3);
  assert.equal(secondsOf(""), null);
  assert.ok(Number.isNaN(secondsOf("half past")));
});

test("what else was heard of a note is said only where it is worth a word", () => {
  const plain = { played: true, cents_just: 2, groove_ms: -3, vibrato_hz: null, vibrato_cents: null, release_ms: 20, steadiness_cents: 2 };
  assert.equal(noteDetails(plain), "");
  assert.equal(noteDetails({ ...plain, vibrato_hz: 5.4, vibrato_cents: 21.6 }), "vibrato 5.4 a second, 22 cents either way");
  assert.equal(noteDetails({ ...plain, cents_just: -9.6, groove_ms: 14 }), "10 cents under the chord's pure place, 14 ms behind the band");
  assert.equal(noteDetails({ ...plain, brightness_hz: 1849 }), "tone centred at 1.8 kHz");
  assert.equal(noteDetails({ ...plain, played: false, groove_ms: 90 }), "");
});
