import assert from "node:assert/strict";
import { test } from "node:test";

const lib = new URL("../../../src/obbligato/desk/web/lib/", import.meta.url);
const { LOWEST_C, pitchOfKey } = await import(new URL("keyboard.js", lib));
const { listenToMidi, readNote } = await import(new URL("midi_in.js", lib));
const time = await import(new URL("line_time.js", lib));
const edit = await import(new URL("line_edit.js", lib));
const marks = await import(new URL("line_marks.js", lib));
const history = await import(new URL("line_history.js", lib));
const { createCapture, playedAt, toNotes } = await import(new URL("line_capture.js", lib));
const { draftsOf, dropDraft, saveDraft, tabName } = await import(new URL("line_draft.js", lib));
const place = await import(new URL("line_place.js", lib));
const { airBefore, airCurve, airWords, airY } = await import(new URL("line_air.js", lib));

const note = (onset_beat, duration_beats = 0.9, pitch = 60) => ({ onset_beat, duration_beats, pitch, velocity: 80 });
const LINE = [note(0), note(1), note(2), note(4, 2)];
const STEADY = [1, 2, 3].map((number) => ({ number, section: "", beats_s: [0, 1, 2, 3, 4].map((i) => 2 + 4 * (number - 1) + i) }));

test("the two rows are a keyboard: white keys give a major scale, both rows overlap by an octave", () => {
  const white = ["KeyZ", "KeyX", "KeyC", "KeyV", "KeyB", "KeyN", "KeyM", "Comma"].map((code) => pitchOfKey(code) - LOWEST_C);
  assert.deepEqual(white, [0, 2, 4, 5, 7, 9, 11, 12]); // the major scale, any theory book
  assert.equal(pitchOfKey("KeyQ"), pitchOfKey("Comma"));
  assert.equal(pitchOfKey("KeyQ", 1), pitchOfKey("KeyQ") + 12);
  assert.equal(pitchOfKey("Digit4"), null); // between E and F there is no black key
  assert.equal(pitchOfKey("KeyF"), null);
  assert.equal(pitchOfKey("KeyZ", 99), null);
});

test("MIDI 1.0 note messages are read on every channel, and a note on without velocity is a note off", () => {
  assert.deepEqual(readNote([0x90, 60, 64]), { kind: "on", pitch: 60, velocity: 64 }); // MIDI 1.0 Detailed Specification, table II
  assert.deepEqual(readNote([0x9f, 61, 1]), { kind: "on", pitch: 61, velocity: 1 });
  assert.deepEqual(readNote([0x93, 60, 0]), { kind: "off", pitch: 60, velocity: 0 });
  assert.deepEqual(readNote([0x80, 60, 64]), { kind: "off", pitch: 60, velocity: 64 });
  for (const other of [[0xb0, 64, 127], [0xf8], [0xe0, 0, 64], [0x90, 60]]) assert.equal(readNote(other), null);
});

test("keyboards that are plugged in later are listened to, and a refusal is said plainly", async () => {
  const heard = [];
  const names = [];
  const access = { inputs: new Map([["a", { name: "Keys A", state: "connected" }]]), onstatechange: null };
  const stop = await listenToMidi({ requestMIDIAccess: async () => access }, (one) => heard.push(one), (all) => names.push(all));
  access.inputs.set("b", { name: "Keys B", state: "connected" });
  access.onstatechange();
  access.inputs.get("b").onmidimessage({ data: [0x90, 62, 100], timeStamp: 5 });
  assert.deepEqual(heard, [{ kind: "on", pitch: 62, velocity: 100 }]);
  assert.deepEqual(names, [["Keys A"], ["Keys A", "Keys B"]]);
  stop();
  assert.equal(access.inputs.get("a").onmidimessage, null);
  await assert.rejects(listenToMidi({}, () => {}, () => {}), /knows no MIDI/);
  const refusing = { requestMIDIAccess: async () => { throw new Error("no"); } };
  await assert.rejects(listenToMidi(refusing, () => {}, () => {}), /allow it/);
});

test("seconds and beats are each other's inverse, on a steady and on a drifting song", () => {
  const drifting = STEADY.map((bar) => ({ ...bar, beats_s: bar.beats_s.map((s) => s + 0.01 * s * s) }));
  for (const bars of [STEADY, drifting]) {
    const anchors = time.anchorsOf(bars, 4);
    for (const beat of [-3, 0, 0.5, 4, 7.25, 11.9, 14]) {
      const back = time.secondsToBeat(anchors, time.beatToSeconds(anchors, beat));
      assert.ok(Math.abs(back - beat) < 1e-9);
    }
  }
  assert.equal(time.secondsToBeat(time.anchorsOf(STEADY, 4), 6.5), 4.5); // bar 2 begins at 6 s, a beat is a second
});

test("places and lengths are said as a player says them", () => {
  assert.equal(time.placeWords(0, 4), "bar 1, beat 1");
  assert.equal(time.placeWords(33.5, 4), "bar 9, beat 2½");
  assert.equal(time.placeWords(-1, 4), "bar 0, beat 4");
  assert.equal(time.placeWords(3.9999, 4), "bar 2, beat 1");
  assert.equal(time.lengthWords(1), "1 beat");
  assert.equal(time.lengthWords(1 / 3), "⅓ beat");
  assert.equal(time.lengthWords(2.49), "2½ beats");
});

test("the steps fit the metre: in twos where the beat is plain, in threes where it is dotted", () => {
  const beats = (sheet) => time.stepsOf(sheet).map((step) => Number(step.beats.toFixed(4)));
  assert.deepEqual(beats({ beat_quarters: 1, compound: false }), [1, 0.5, 0.25, 0.3333]);
  assert.deepEqual(beats({ beat_quarters: 1.5, compound: true }), [1, 0.3333, 0.1667]);
  assert.deepEqual(beats({ beat_quarters: 0.5, compound: false }), [1, 0.5, 0.3333]); // 3/8 felt in eighths
});

test("an edit changes its note and leaves what it was given as it was", () => {
  const before = structuredClone(LINE);
  assert.equal(edit.transpose(LINE, 1, 12).notes[1].pitch, 72);
  assert.equal(edit.shift(LINE, 3, 0.5).notes[3].onset_beat, 4.5);
  assert.equal(edit.lengthen(LINE, 3, -1).notes[3].duration_beats, 1);
  assert.deepEqual(edit.remove(LINE, 3), { notes: LINE.slice(0, 3), index: 2 });
  const added = edit.add(LINE, note(3, 5, 65));
  assert.equal(added.index, 3);
  assert.equal(added.notes[3].duration_beats, 1); // ended where the next begins
  assert.deepEqual(LINE, before);
});

test("notes never overlap and never begin together, whatever is tried", () => {
  let seed = 7;
  const random = () => (seed = (seed * 16807) % 2147483647) / 2147483647; // Park and Miller, 1988
  let notes = LINE;
  let refused = 0;
  for (let i = 0; i < 3000; i += 1) {
    const index = Math.floor(random() * notes.length);
    const tries = [
      () => edit.transpose(notes, index, Math.round(random() * 30 - 15)),
      () => edit.shift(notes, index, (random() < 0.5 ? -1 : 1) / [1, 2, 4, 3][Math.floor(random() * 4)]),
      () => edit.lengthen(notes, index, (random() < 0.5 ? -1 : 1) / 4),
      () => edit.add(notes, note(Math.round(random() * 160) / 4, 1, 60)),
      () => (notes.length > 12 ? edit.remove(notes, index) : { refused: "" }),
    ];
    const result = tries[Math.floor(random() * tries.length)]();
    if ("refused" in result) refused += 1;
    else notes = result.notes;
    for (let k = 1; k < notes.length; k += 1) {
      const [a, b] = [notes[k - 1], notes[k]];
      assert.ok(b.onset_beat - a.onset_beat >= edit.TOGETHER - 1e-6);
      assert.ok(a.onset_beat + a.duration_beats <= b.onset_beat + 1e-9);
      assert.ok(a.duration_beats > 0);
    }
  }
  assert.ok(refused > 50 && notes.length >= 12);
});

test("a refused edit says why", () => {
  assert.match(edit.shift(LINE, 1, 1).refused, /note after/);
  assert.match(edit.shift(LINE, 1, -1).refused, /note before/);
  assert.match(edit.add(LINE, note(1)).refused, /already/);
  assert.match(edit.lengthen([note(0, 1), note(1)], 0, 0.5).refused, /next note/);
  assert.match(edit.lengthen([note(0, 0.25)], 0, -0.25).refused, /shorter/);
  assert.match(edit.transpose([note(0, 1, 120)], 0, 12).refused, /beyond/);
});

test("what was played takes the place of what stood there, and of nothing else", () => {
  const played = [note(1.02, 0.5, 70), note(1.6, 1.9, 71)];
  const result = edit.playedOver(LINE, played);
  assert.deepEqual(result.map(({ onset_beat }) => onset_beat), [0, 1.02, 1.6, 4]);
  assert.equal(result[0].duration_beats, 0.9);
  assert.equal(result[2].duration_beats, 1.9);
  assert.equal(edit.playedOver(LINE, []), LINE);
});

test("the changed part of a line is found, for drawing only that", () => {
  const after = edit.transpose(LINE, 1, 1).notes;
  assert.deepEqual(edit.changedPart(LINE, after), { front: 1, back: 2, from: 1, to: 1.9 });
  assert.equal(edit.changedPart(LINE, [...LINE]), null);
  const removed = edit.remove(LINE, 3).notes;
  assert.deepEqual(edit.changedPart(LINE, removed), { front: 3, back: 0, from: 4, to: 6 });
});

test("undo and redo walk to and fro, and a new change ends the way forward", () => {
  let states = history.begun(0);
  for (const n of [1, 2, 3]) states = history.done(states, n);
  states = history.undone(history.undone(states));
  assert.equal(states.present, 1);
  assert.equal(history.redone(states).present, 2);
  states = history.done(states, 9);
  assert.equal(history.redone(states), states);
  for (let i = 0; i < 9; i += 1) states = history.undone(states);
  assert.equal(states.present, 0);
});

test("keys become notes of one line: a new key ends the one held, one stroke is one note", () => {
  const capture = createCapture();
  capture.on(60, 90, 1.0);
  capture.on(62, 80, 1.5); // legato: the first is still down
  capture.off(60, 1.55);
  capture.off(62, 2.0);
  capture.on(64, 70, 3.0);
  capture.on(65, 70, 3.02); // two fingers, one stroke
  capture.off(64, 3.3);
  assert.equal(capture.holding, true);
  assert.deepEqual(capture.until(3.5), [
    { start_s: 1, end_s: 1.5, pitch: 60, velocity: 90 },
    { start_s: 1.5, end_s: 2, pitch: 62, velocity: 80 },
    { start_s: 3, end_s: 3.5, pitch: 65, velocity: 70 },
  ]);
});

test("a late keyboard is taken at its word: what was heard when the key went down", () => {
  assert.ok(Math.abs(playedAt({ position_s: 10, late_ms: 5, latency_ms: 20, speed: 1 }) - 9.975) < 1e-9);
  assert.ok(Math.abs(playedAt({ position_s: 10, late_ms: 0, latency_ms: 100, speed: 0.6 }) - 9.94) < 1e-9);
  const anchors = time.anchorsOf(STEADY, 4);
  const [first] = toNotes([{ start_s: 6.5, end_s: 7.5, pitch: 60, velocity: 80 }], (s) => time.secondsToBeat(anchors, s));
  assert.deepEqual(first, { onset_beat: 4.5, duration_beats: 1, pitch: 60, velocity: 80 });
});

function fakeStorage() {
  const kept = new Map();
  return {
    get length() { return kept.size; },
    key: (i) => [...kept.keys()][i],
    getItem: (key) => kept.get(key) ?? null,
    setItem: (key, value) => kept.set(key, value),
    removeItem: (key) => kept.delete(key),
  };
}

test("a draft is kept under its own tab: two tabs never write over each other", () => {
  const storage = fakeStorage();
  saveDraft(storage, { job: "Night/Ferry", version: 2, tab: "one", notes: LINE, at: 1 });
  saveDraft(storage, { job: "Night/Ferry", version: 2, tab: "two", notes: LINE.slice(1), at: 2 });
  saveDraft(storage, { job: "Other", version: 2, tab: "one", notes: [], at: 3 });
  storage.setItem("obbligato-draft/Night%2FFerry/1/three", "not json");
  const drafts = draftsOf(storage, "Night/Ferry");
  assert.deepEqual(drafts.map(({ tab, version, notes }) => [tab, version, notes.length]), [["two", 2, 3], ["one", 2, 4]]);
  dropDraft(storage, "Night/Ferry", 2, "two");
  assert.deepEqual(draftsOf(storage, "Night/Ferry").map(({ tab }) => tab), ["one"]);
  const full = { ...fakeStorage(), setItem: () => { throw new Error("quota"); } };
  assert.equal(saveDraft(full, { job: "a", version: 1, tab: "x", notes: [], at: 1 }), false);
});

test("a tab keeps its name after a reload, and a doubled tab gets a new one", async () => {
  const held = new Set();
  const locks = { request: (name, _, take) => { const free = !held.has(name); if (free) held.add(name); take(free ? {} : null); } };
  const session = fakeStorage();
  const names = ["a", "b", "c"];
  const fresh = () => names.shift();
  assert.equal(await tabName(session, locks, fresh), "a");
  const doubled = fakeStorage();
  doubled.setItem("obbligato-draft", "a");
  assert.equal(await tabName(doubled, locks, fresh), "b");
  held.clear(); // the reload lets go of the lock
  assert.equal(await tabName(session, locks, fresh), "a");
});

const ROW = [
  { number: 3, bars: 1, left: 0, right: 400, music_left: 100, symbols: [{ beat: 8, x: 100, note: 0 }, { beat: 10, x: 250, note: 1 }] },
  { number: 4, bars: 1, left: 400, right: 600, music_left: 410, symbols: [] },
  { number: 5, bars: 2, left: 600, right: 900, music_left: 610, symbols: [] },
];

test("places on a row: from beat to x and back", () => {
  for (const beat of [8, 8.5, 9.9, 10, 11.5, 12, 14, 16, 20, 23.9]) {
    assert.ok(Math.abs(place.beatOfX(ROW, place.xOfBeat(ROW, beat, 4), 4) - beat) < 1e-6, `${beat}`);
  }
  assert.equal(place.xOfBeat(ROW, 9, 4), 175);
  assert.equal(place.xOfBeat(ROW, 7, 4), null);
  assert.equal(place.beatOfX(ROW, -50, 4), 8);
  assert.ok(place.beatOfX(ROW, 5000, 4) < 24);
  assert.equal(place.noteNear(ROW, 255, 40), 1);
  assert.equal(place.noteNear(ROW, 500, 40), null);
});

test("the curve of breath follows the tank the server worked out", () => {
  const views = [
    { beat: 8, bar: 3, zone: "comfortable", air: 0.5, breathed: 1 },
    { beat: 10, bar: 3, zone: "high", air: -0.1, breathed: 0 },
    { beat: 16, bar: 5, zone: "low", air: 0.2, breathed: 0.4 },
  ];
  assert.equal(airBefore(views, 0), 1);
  assert.equal(airBefore(views, 1), 0.5);
  assert.ok(Math.abs(airBefore(views, 2) - (-0.1 + 0.4 * 1.5)) < 1e-9); // the rule of music/breath.py
  const curve = airCurve(ROW, [note(8, 2), note(10, 1.5), note(16)], views, 4);
  assert.deepEqual(curve.map(({ index, before, after }) => [index, before, after]), [[0, 1, 0.5], [1, 0.5, -0.1]]);
  assert.ok(curve.every(({ x0, x1 }) => x1 > x0));
  assert.equal(airY(1, 30), 0);
  assert.equal(airY(-0.5, 30), 30);
  assert.ok(Math.abs(airY(0, 30) - 20) < 1e-9);
  assert.match(airWords(curve, views, 4), /reserve of breath is drawn on at bar 3, beat 3\. 1 note high\./);
});

const words = (notes) => notes.map(marks.markWords);
const put = (notes, first, last, mark) => marks.toggleMark(notes, first, last, mark).notes;

test("each mark goes where it belongs, comes off when put on again, and leaves the notes given as they are", () => {
  const slurred = put(LINE, 0, 2, "slur");
  assert.deepEqual(words(slurred), ["slurred on", "slurred on", "", ""]);
  assert.deepEqual(words(put(slurred, 0, 2, "slur")), ["", "", "", ""]);
  assert.deepEqual(words(put(LINE, 0, 2, "mf")), ["mf", "", "", ""]);
  assert.deepEqual(words(put(LINE, 0, 2, "breath")), ["", "", "then a breath", ""]);
  assert.deepEqual(words(put(put(LINE, 0, 1, "accent"), 1, 2, "staccato")), ["accent", "staccato, accent", "staccato", ""]);
  assert.deepEqual(words(put(put(LINE, 0, 2, "crescendo"), 2, 2, "diminuendo")), ["crescendo", "crescendo", "diminuendo", ""]);
  assert.deepEqual(words(marks.clearMarks(put(put(LINE, 0, 2, "slur"), 1, 1, "f"), 1, 1).notes), ["", "", "", ""]);
  const hairpins = put(put(LINE, 0, 3, "crescendo"), 2, 2, "f");
  assert.deepEqual(words(marks.clearMarks(hairpins, 0, 0).notes), ["", "", "f, crescendo", "crescendo"]);
  assert.deepEqual(words(marks.clearMarks(put(hairpins, 3, 3, "accent"), 3, 3).notes), ["crescendo", "crescendo", "f", ""]);
  assert.equal(LINE[0].marks, undefined);
});

test("one note alone is slurred to the next, a slur is over exactly its notes, and no breath lies under one", () => {
  assert.deepEqual(words(put(LINE, 1, 1, "slur")), ["", "slurred on", "", ""]);
  assert.ok(marks.toggleMark(LINE, 3, 3, "slur").refused);
  assert.deepEqual(words(put(put(LINE, 0, 3, "slur"), 1, 2, "slur")), ["slurred on", "", "slurred on", ""]);
  assert.deepEqual(words(put(put(LINE, 1, 1, "breath"), 0, 2, "slur")), ["slurred on", "slurred on", "", ""]);
  assert.deepEqual(words(put(put(LINE, 0, 3, "slur"), 1, 1, "breath")), ["slurred on", "then a breath", "slurred on", ""]);
});

test("marks go with their notes through every edit", () => {
  const slurred = put(put(put(LINE, 0, 2, "slur"), 1, 1, "f"), 2, 2, "breath");
  assert.deepEqual(words(edit.remove(slurred, 1).notes), ["slurred on", "f, then a breath", ""]);
  assert.deepEqual(words(edit.remove(slurred, 2).notes), ["slurred on", "f, then a breath", ""]);
  assert.deepEqual(words(edit.remove(put(LINE, 2, 2, "slur"), 3).notes), ["", "", ""]);
  assert.deepEqual(words(edit.add(put(LINE, 0, 2, "slur"), note(1.5, 0.25)).notes), ["slurred on", "slurred on", "slurred on", "", ""]);
  assert.deepEqual(words(edit.transpose(slurred, 1, 1).notes), words(slurred));
  assert.deepEqual(words(edit.playedOver(put(LINE, 0, 3, "slur"), [note(2, 1, 70)])), ["slurred on", "", "", ""]);
});

test("a mark alone is a change, and only where it is", () => {
  const marked = put(LINE, 2, 2, "accent");
  assert.deepEqual(edit.changedPart(LINE, marked), { front: 2, back: 1, from: 2, to: 2.9 });
  assert.equal(edit.changedPart(LINE, put(marked, 2, 2, "accent")), null);
  assert.equal(edit.changedPart(LINE, LINE.map((one) => ({ ...one, marks: { ...marks.marksOf(one) } }))), null);
});
