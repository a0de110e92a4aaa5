/**
 * The line being written: its notes and how they were changed, where the mark is, what the server draws of it.
 * Nothing here touches the document; the views read `store` and call the actions.
 */
import { ZONE_WORDS } from "../lib/line_air.js";
import { changedPart, playedOver } from "../lib/line_edit.js";
import { markWords } from "../lib/line_marks.js";
import { draftsOf, dropDraft, saveDraft, tabName } from "../lib/line_draft.js";
import { begun, done, redone, undone } from "../lib/line_history.js";
import { anchorsOf, barOf, lengthWords, placeWords, snap, stepsOf } from "../lib/line_time.js";
import { createStore } from "../state/store.js";
import { createDrawing } from "./write_drawing.js";

/** @param {{api: object, name: string, announce: (text: string) => void, local: Storage, session: Storage, locks?: LockManager}} page */
export function createLine({ api, name, announce, local, session, locks }) {
  const address = `/jobs/${encodeURIComponent(name)}`;
  const store = createStore({
    phase: "opening", trouble: "", refused: "", sheet: null, anchors: null, steps: [], step: 1, tab: "",
    version: 0, base: [], history: begun([]), played: null, notes: [],
    picked: -1, anchor: -1, caret: 0, rows: [], views: [], remarks: [], budgets: [], phrases: [], engraved: null, others: [], unkept: false,
  });
  const drawing = createDrawing({ api, address, store });
  const get = () => store.get();

  /** Open a version to go on from; with `goOn`, this tab's own draft of it instead, where there is one. */
  async function open(version, { goOn = true } = {}) {
    try {
      const tab = get().tab || (await tabName(session, locks));
      const own = goOn ? draftsOf(local, name).find((draft) => draft.tab === tab) : null;
      const wanted = own ? own.version : version;
      const sheet = await api.get(`${address}/line${wanted ? `?version=${wanted}` : ""}`);
      const history = own ? done(begun(sheet.notes), own.notes) : begun(sheet.notes);
      store.set({
        phase: "ready", trouble: "", refused: "", tab, sheet, anchors: anchorsOf(sheet.bars, sheet.beats_per_bar), steps: stepsOf(sheet),
        version: sheet.version, base: sheet.notes, history, notes: history.present, played: null,
        picked: -1, anchor: -1, caret: sheet.notes[0] ? snap(sheet.notes[0].onset_beat, 1) : 0, rows: [], engraved: null,
      });
      lookForOthers();
      await drawing.draw();
    } catch (error) {
      store.set({ phase: get().phase === "ready" ? "ready" : "failed", trouble: error.message });
    }
  }

  function lookForOthers() {
    const { tab, version, notes, base } = get();
    const others = draftsOf(local, name).filter((draft) => draft.tab !== tab);
    store.set({ others: others.map(({ version: from, tab: owner, at, notes: { length } }) => ({ version: from, tab: owner, at, count: length })) });
    store.set({ unkept: changedPart(base, notes) !== null && version >= 0 });
  }

  /** Take a new state of the line as what it is now, keep it as a draft, and have it drawn. */
  async function become(history, { picked, anchor = -1, say = true } = {}) {
    const { tab, version, base } = get();
    const notes = history.present;
    const caret = picked >= 0 && notes[picked] ? snap(notes[picked].onset_beat, stepBeats()) : get().caret;
    store.set({ history, notes, played: null, refused: "", picked: picked ?? Math.min(get().picked, notes.length - 1), anchor, caret });
    if (changedPart(base, notes)) {
      const kept = saveDraft(local, { job: name, version, tab, notes, at: Date.now() });
      if (!kept) store.set({ refused: "This browser has no room to keep the draft; keep it as a version soon." });
    } else dropDraft(local, name, version, tab);
    lookForOthers();
    await drawing.draw();
    if (say && picked >= 0) announce(pickedWords());
  }

  const stepBeats = () => get().steps[get().step]?.beats ?? 0.5;

  /** Do an edit, or say why not. @param {import("../lib/line_edit.js").Edit} result */
  function apply(result) {
    if ("refused" in result) {
      store.set({ refused: result.refused });
      announce(result.refused);
      return;
    }
    become(done(get().history, result.notes), { picked: result.index });
  }

  /** First and last of the notes that marks are put on: those taken in, or the one that is picked. */
  function chosen() {
    const { picked, anchor } = get();
    return anchor < 0 ? [picked, picked] : [Math.min(picked, anchor), Math.max(picked, anchor)];
  }

  /** Put a mark on the chosen notes or take it off. @param {(notes: object[], first: number, last: number, index: number) => import("../lib/line_edit.js").Edit} change */
  function mark(change) {
    const { notes, picked, anchor, history } = get();
    const result = change(notes, ...chosen(), picked);
    if ("refused" in result) apply(result);
    else become(done(history, result.notes), { picked, anchor });
  }

  /** Do an edit in words, one that a remark names as a way out. */
  async function inWords(edit) {
    try {
      const { history } = get();
      const notes = await api.post(`${address}/draft/edit`, { notes: history.present, edit });
      await become(done(history, notes), { picked: -1 });
      announce("Done; undo takes it back.");
    } catch (error) {
      store.set({ refused: error.message });
      announce(error.message);
    }
  }

  function step(back) {
    const { history } = get();
    const next = back ? undone(history) : redone(history);
    const words_ = back ? "Undone." : "Done again.";
    if (next === history) announce(back ? "There is nothing to undo." : "There is nothing to do again.");
    else become(next, { picked: Math.min(get().picked, next.present.length - 1), say: false }).then(() => announce(words_));
  }

  /** A note in words: its written and sounding name, its place, its length. */
  function words(index) {
    const { notes, views, sheet } = get();
    const view = views[index];
    if (!view || !notes[index]) return "";
    const name_ = view.written === view.sounding ? view.written : `${view.written}, sounding ${view.sounding}`;
    const zone = view.zone === "comfortable" ? "" : `, ${ZONE_WORDS[view.zone]}`;
    const marks = markWords(notes[index]);
    return `${name_}, ${placeWords(view.beat, sheet.beats_per_bar)}, ${lengthWords(notes[index].duration_beats)}${zone}${marks && `, ${marks}`}`;
  }

  /** What is picked in words: a note, or how many were taken in. */
  function pickedWords() {
    const { picked, views } = get();
    const [first, last] = chosen();
    if (first === last) return words(picked);
    return `${last - first + 1} notes, ${views[first]?.written ?? ""} to ${views[last]?.written ?? ""}; ${words(picked)}`;
  }

  /** Pick a note; with `extend`, take in all from the one picked before, for marks. */
  function pick(index, { say = true, extend = false } = {}) {
    const { notes, picked: before, anchor: from } = get();
    if (!notes.length) return;
    const picked = Math.min(Math.max(index, 0), notes.length - 1);
    const anchor = extend ? (from >= 0 ? from : before) : -1;
    store.set({ picked, anchor, caret: snap(notes[picked].onset_beat, stepBeats()), refused: "" });
    if (say) announce(pickedWords());
  }

  function setCaret(beat) {
    const { sheet, steps, step: at } = get();
    const first = (sheet.bars[0].number - 1) * sheet.beats_per_bar;
    const last = sheet.bars[sheet.bars.length - 1].number * sheet.beats_per_bar - steps[at].beats;
    store.set({ caret: Math.min(Math.max(snap(beat, steps[at].beats), first), last), picked: -1, anchor: -1, refused: "" });
    announce(`${placeWords(get().caret, sheet.beats_per_bar)}.`);
  }

  /** Show what is being played in place of what stood there; it counts once `played` is taken. */
  function showPlayed(notes) {
    store.set({ played: notes, notes: playedOver(get().history.present, notes) });
    drawing.draw();
  }

  function takePlayed() {
    const { played, notes, history } = get();
    if (!played?.length) {
      store.set({ played: null });
      return;
    }
    become(done(history, notes), { picked: -1 }).then(() => announce(`${played.length === 1 ? "1 note" : `${played.length} notes`} taken down.`));
  }

  async function keep() {
    const { notes, version, tab } = get();
    const { version: kept } = await api.post(`${address}/line`, { notes });
    dropDraft(local, name, version, tab);
    await open(kept, { goOn: false });
    return `Kept as version ${kept}.`;
  }

  /** Go on with a draft of another tab: a copy of it, which can be undone. */
  function takeOver(owner, from) {
    const draft = draftsOf(local, name).find(({ tab, version }) => tab === owner && version === from);
    if (draft) become(done(get().history, draft.notes), { picked: -1 }).then(() => announce("The other draft is here now; undo brings yours back."));
  }

  function throwAway(owner, from) {
    dropDraft(local, name, from, owner);
    lookForOthers();
  }

  function backToVersion() {
    become(done(get().history, get().base), { picked: -1 }).then(() => announce(`As it was in version ${get().version}; undo brings the changes back.`));
  }

  return {
    store, open, apply, inWords, mark, chosen, pick, setCaret, stepBeats, pickedWords, keep, showPlayed, takePlayed, takeOver, throwAway, backToVersion, lookForOthers,
    undo: () => step(true),
    redo: () => step(false),
    setStep: (at) => store.set({ step: at }),
    lookAt: drawing.lookAt,
    barOfCaret: () => barOf(get().caret, get().sheet.beats_per_bar),
    close: drawing.close,
  };
}
