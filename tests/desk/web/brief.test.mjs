// The brief's form and the list of jobs. Expected values are written by hand.
import assert from "node:assert/strict";
import test from "node:test";
import { GROUPS, briefFrom, changesBetween, guideFirst, numberFrom, openQuestions, titleFrom, typedFrom } from "../../../src/obbligato/desk/web/lib/brief.js";
import { dueWords, grouped, hours, money } from "../../../src/obbligato/desk/web/lib/brief_jobs.js";
import { checklist, inShort } from "../../../src/obbligato/desk/web/lib/brief_pack.js";

test("a title is read off a file's name", () => {
  for (const [name, title] of [
    ["night_ferry-guide_v3.wav", "Night ferry"], ["Night Ferry.mp3", "Night Ferry"], ["03 - Lanterns Low - rough mix 96bpm.m4a", "Lanterns Low"],
    ["guide.wav", "Guide"], ["rough_mix.wav", "Rough"], ["1999.wav", "1999"], ["99 lanterns.wav", "Lanterns"], ["été à la mer.flac", "Été à la mer"], ["NoExtension", "NoExtension"],
  ]) assert.equal(titleFrom(name), title);
});

test("of two files the voice alone comes second", () => {
  const names = (list) => guideFirst(list.map((name) => ({ name }))).map((file) => file.name);
  assert.deepEqual(names(["ferry_lead_vocal.wav", "ferry.wav"]), ["ferry.wav", "ferry_lead_vocal.wav"]);
  assert.deepEqual(names(["ferry.wav", "ferry VOX.wav"]), ["ferry.wav", "ferry VOX.wav"]);
  assert.deepEqual(names(["invoice.wav", "b.wav"]), ["invoice.wav", "b.wav"]);
});

test("numbers are taken with a point or a comma, and nothing else for a number", () => {
  assert.equal(numberFrom("119,9"), 119.9);
  assert.equal(numberFrom(" 48000 "), 48000);
  assert.equal(numberFrom(""), null);
  for (const text of ["12x", "1e3", "Infinity", "1.000,5"]) assert.ok(Number.isNaN(numberFrom(text)), text);
});

test("what was typed becomes a brief, and what cannot be one is told by field", () => {
  const { brief, wrong } = briefFrom({ title: " Night Ferry ", stated_bpm: "119,9", layers: "2", fee: "", approver: " Ida " });
  assert.deepEqual(wrong, {});
  assert.deepEqual([brief.title, brief.stated_bpm, brief.layers, brief.fee, brief.approver, brief.rounds_included], ["Night Ferry", 119.9, 2, null, "Ida", 2]);
  const { wrong: faults } = briefFrom({ title: "", layers: "1.5", fee: "-1", bit_depth: "100", stated_bpm: "fast" });
  assert.deepEqual(Object.keys(faults).sort(), ["bit_depth", "fee", "layers", "stated_bpm", "title"]);
});

test("a brief put into the form and taken out again is the same", () => {
  const brief = briefFrom({ title: "x", stated_bpm: "96.5", writer: "client", deadline: "2026-12-01", rounds_included: "0" }).brief;
  assert.deepEqual(briefFrom(typedFrom(brief)).brief, brief);
  assert.deepEqual(changesBetween(brief, { ...brief, layers: 3 }), { layers: 3 });
  assert.deepEqual(changesBetween(brief, brief), {});
});

test("a question is open while one of its fields is empty", () => {
  const questions = [{ fields: ["lines", "layers"] }, { fields: ["approver"] }, { fields: ["vocal_stem"] }];
  const left = (brief, more) => openQuestions(questions, brief, more).map((question) => question.fields[0]);
  assert.deepEqual(left({}), ["lines", "approver", "vocal_stem"]);
  assert.deepEqual(left({ lines: 1, layers: null, approver: "Ida", vocal_stem: "" }, { hasVocal: true }), ["lines"]);
  assert.deepEqual(left({ lines: 1, layers: 2, approver: "Ida", vocal_stem: "no" }), []);
});

test("no field stands in the form twice", () => {
  const names = GROUPS.flatMap((group) => group.fields.map((field) => field.name));
  assert.equal(new Set(names).size, names.length);
});

test("jobs stand by need: the nearest date on top, then the newest", () => {
  const job = (name, state, stage, days, created) => ({ name, next: { state, stage }, due: days === null ? null : { days_left: days }, created_at: created });
  const groups = grouped([
    job("old", "open", "map", null, "2026-01-01"), job("new", "stale", "part", null, "2026-02-01"), job("late", "open", "takes", -2, "2026-01-05"),
    job("soon", "open", "map", 3, "2026-01-02"), job("sent", "waiting", "review", 1, "2026-01-03"), job("over", "done", "account", null, "2026-01-04"),
    { name: "hurt", trouble: "It cannot be read." },
  ]);
  assert.deepEqual(groups.map((group) => group.jobs.map((one) => one.name)), [["late", "soon", "new", "old"], ["sent"], ["over"], ["hurt"]]);
});

test("a date is told with what is left of the time, once the job is out with the day alone", () => {
  const job = { deadline: "2026-12-01", next: { stage: "map", state: "open" }, due: { day: "2026-12-01", days_left: 2, is_over: false, words: "in 2 days" } };
  assert.deepEqual(dueWords(job, "en-GB"), { day: "Tue 1 Dec", words: "in 2 days", tone: "care" });
  assert.equal(dueWords({ ...job, due: { ...job.due, is_over: true, days_left: -1 } }, "en-GB").tone, "bad");
  assert.equal(dueWords({ ...job, next: { stage: "account", state: "done" } }, "en-GB").words, "");
  assert.equal(dueWords({ deadline: "Friday", due: null }).day, "by Friday");
});

test("time and money in words", () => {
  assert.deepEqual([80, 45, 120, 0, 0.3, -15].map(hours), ["1 h 20 min", "45 min", "2 h", "0 min", "under 1 min", "−15 min"]);
  assert.equal(money(180, "eur", "en-GB"), "€180.00");
  assert.equal(money(180, "shells", "en-GB"), "180.00 shells");
  assert.equal(money(1234.5, "", "en-GB"), "1,234.50");
});

test("each proof stands beside its file, the others below", () => {
  const pack = {
    files: [{ name: "01_x.wav" }, { name: "02_y.wav" }, { name: "checksums.txt" }],
    checks: [{ ok: true, sentence: "File 01 has 24 bits." }, { ok: true, sentence: "File 01, read back, is the comp." }, { ok: true, sentence: "File 02 is the guide plus file 01." },
      { ok: true, sentence: "No file is empty." }],
  };
  const list = checklist(pack);
  assert.deepEqual(list.files.map((one) => one.checks.map((check) => check.sentence)), [["Has 24 bits.", "Read back, is the comp."], ["Is the guide plus file 01."], []]);
  assert.deepEqual(list.whole.map((check) => check.sentence), ["No file is empty."]);
  assert.equal(inShort(pack), "3 files, 4 things proved");
});
