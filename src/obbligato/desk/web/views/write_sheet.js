/** The line written out, row by row, to be changed by keys and pointer; under each row the breath and the range. */
import { airCurve, airWords, airY, ZONE_WORDS } from "../lib/line_air.js";
import { add, lengthen, remove, shift, transpose } from "../lib/line_edit.js";
import { clearMarks, LEVELS, markWords, toggleMark } from "../lib/line_marks.js";
import { keyName } from "../lib/keys.js";
import { beatOfX, noteNear, xOfBeat } from "../lib/line_place.js";
import { lengthWords, placeWords, secondsToBeat } from "../lib/line_time.js";
import { html, signs, useEffect, useMemo, useRef, useStore } from "../lib/ui.js";

const STAVE_PX = 36;
const BAR_STAVES = 8;
const REACH = 34;
const AIR_HEIGHT = 40;
const PER_ROW = [8, 4, 2, 1];

const MARK_KEYS = [
  ["staccato", "s", "Staccato", "staccato, or not"],
  ["tenuto", "t", "Tenuto", "tenuto, or not"],
  ["accent", "a", "Accent", "an accent, or not"],
  ["marcato", "m", "Marcato", "marcato, or not"],
  ["slur", "l", "Slur", "a slur over the notes taken in, or to the next note"],
  ["crescendo", "<", "Louder", "a hairpin that grows"],
  ["diminuendo", ">", "Softer", "a hairpin that fades"],
  ["breath", "b", "Breath", "a breath after the note"],
  ["staccatissimo", "Shift+s", "Very short", "staccatissimo, or not"],
  ["up-bow", "u", "Up-bow", "an up-bow, or not"],
  ["down-bow", "d", "Down-bow", "a down-bow, or not"],
];

/** Everything the keys do on the sheet; the same list is printed on the key card and does the work of the buttons. */
export function editsOf(line) {
  const { store } = line;
  const picked = (change) => () => {
    const { picked: index, notes } = store.get();
    if (index < 0) line.pick(nearest(store.get()));
    else line.apply(change(notes, index, line.stepBeats()));
  };
  const walk = (steps, how) => () => {
    const { picked: index } = store.get();
    line.pick(index < 0 ? nearest(store.get()) : index + steps, index < 0 ? {} : how);
  };
  const marking = (change) => () => {
    if (store.get().picked < 0) line.pick(nearest(store.get()));
    else line.mark(change);
  };
  return [
    { id: "before", keys: "Left", does: "the note before", run: walk(-1) },
    { id: "next", keys: "Right", does: "the next note", run: walk(1) },
    { id: "up", keys: "Up", label: "Up", does: "up a semitone", run: picked((notes, i) => transpose(notes, i, 1)) },
    { id: "down", keys: "Down", label: "Down", does: "down a semitone", run: picked((notes, i) => transpose(notes, i, -1)) },
    { id: "octaveUp", keys: "Shift+Up", label: "Octave up", does: "up an octave", run: picked((notes, i) => transpose(notes, i, 12)) },
    { id: "octaveDown", keys: "Shift+Down", label: "Octave down", does: "down an octave", run: picked((notes, i) => transpose(notes, i, -12)) },
    { id: "earlier", keys: "Shift+Left", label: "Earlier", does: "earlier by a step", run: picked((notes, i, step) => shift(notes, i, -step)) },
    { id: "later", keys: "Shift+Right", label: "Later", does: "later by a step", run: picked((notes, i, step) => shift(notes, i, step)) },
    { id: "longer", keys: "+ / Shift++", label: "Longer", does: "longer by a step", run: picked((notes, i, step) => lengthen(notes, i, step)) },
    { id: "shorter", keys: "-", label: "Shorter", does: "shorter by a step", run: picked((notes, i, step) => lengthen(notes, i, -step)) },
    { id: "remove", keys: "Delete / Backspace", label: "Remove", does: "remove the note", run: picked((notes, i) => remove(notes, i)) },
    { id: "add", keys: "Enter", label: "Add a note", does: "add a note at the mark", run: () => addAtCaret(line) },
    { id: "takeBefore", keys: "Ctrl+Shift+Left", does: "take in the note before, for marks", run: walk(-1, { extend: true }) },
    { id: "takeNext", keys: "Ctrl+Shift+Right", does: "take in the next note, for marks", run: walk(1, { extend: true }) },
    ...MARK_KEYS.map(([mark, keys, label, does]) => ({ id: mark, keys, label, does, run: marking((notes, first, last, index) => toggleMark(notes, first, last, mark, index)) })),
    ...LEVELS.map((level, i) => ({
      id: level, keys: `${i + 1}`, label: level, does: `${level} from here on`, run: marking((notes, first, last, index) => toggleMark(notes, first, last, level, index)),
    })),
    { id: "clear", keys: "0", label: "No marks", does: "take all marks off", run: marking(clearMarks) },
    { id: "caretBack", keys: "Ctrl+Left", does: "the mark a step back", run: () => line.setCaret(store.get().caret - line.stepBeats()) },
    { id: "caretOn", keys: "Ctrl+Right", does: "the mark a step on", run: () => line.setCaret(store.get().caret + line.stepBeats()) },
    { id: "first", keys: "Home", does: "the first note", run: () => line.pick(0) },
    { id: "last", keys: "End", does: "the last note", run: () => line.pick(Infinity) },
    { id: "undo", keys: "Ctrl+z", label: "Undo", does: "undo", run: line.undo },
    { id: "redo", keys: "Ctrl+Shift+z / Ctrl+y", label: "Redo", does: "do again", run: line.redo },
  ];
}

function nearest({ notes, caret }) {
  return notes.reduce((best, note, i) => (Math.abs(note.onset_beat - caret) < Math.abs(notes[best].onset_beat - caret) ? i : best), 0);
}

/** Add a note at the mark: with a pitch that was played, or that of the note before; the mark goes on by a step. */
export function addAtCaret(line, pitch = null, velocity = 80, usual = 67) {
  const { notes, caret } = line.store.get();
  const before = notes.filter(({ onset_beat }) => onset_beat < caret).pop() ?? notes[0];
  const step = line.stepBeats();
  line.apply(add(notes, { onset_beat: caret, duration_beats: step, pitch: pitch ?? before?.pitch ?? usual, velocity }));
  if (pitch !== null) line.store.set({ caret: caret + step });
}

/** @param {{context: object, line: ReturnType<import("./write_line.js").createLine>}} props */
export function Sheet({ context, line, usual }) {
  const { rows, phase, sheet, picked, caret, notes, views, phrases, engraved } = useStore(line.store);
  const [from, to] = line.chosen();
  const { pitch } = useStore(context.store);
  const box = useRef();
  const marker = useRef(null);
  const edits = useMemo(() => editsOf(line), [line]);
  useEffect(() => {
    const measure = () => {
      const staves = Math.max(6, box.current.clientWidth / STAVE_PX);
      line.lookAt({ per_row: PER_ROW.find((n) => n * BAR_STAVES <= staves) ?? 1, width_staves: Math.round(Math.min(80, staves) * 2) / 2, pitch });
    };
    const watching = new ResizeObserver(measure);
    watching.observe(box.current);
    measure();
    return () => watching.disconnect();
  }, [line, pitch]);
  useEffect(() => context.keys.add("Line", edits.map(({ keys, does }) => ({ keys, does }))), [edits]);
  useEffect(() => followPlayer(context, line, marker), [line]);
  useEffect(() => {
    if (picked >= 0) box.current.querySelector(".picked")?.closest(".write-row").scrollIntoView({ block: "nearest" });
  }, [picked, engraved]);

  function press(event) {
    const name = keyName(event);
    const edit = edits.find(({ keys }) => keys.split(" / ").some((key) => key.toLowerCase() === name.toLowerCase()));
    if (!edit) return;
    event.preventDefault();
    if (edit.id === "add") addAtCaret(line, null, 80, usual);
    else edit.run();
  }

  function point(row, event) {
    const area = event.currentTarget.getBoundingClientRect();
    const x = ((event.clientX - area.left) / area.width) * row.width;
    const note = noteNear(row.bars, x, REACH);
    if (note !== null) line.pick(note + row.later, { extend: event.shiftKey && picked >= 0 });
    else {
      const last = row.bars[row.bars.length - 1];
      const end = (last.number + last.bars - 1) * sheet.beats_per_bar;
      line.setCaret(Math.min(beatOfX(row.bars, x, sheet.beats_per_bar), end - line.stepBeats()));
    }
  }

  const where = picked >= 0 ? line.pickedWords() : sheet ? `The mark is at ${placeWords(caret, sheet.beats_per_bar)}.` : "";
  return html`<div class="write-box" ref=${box}>
    <p class="write-where nums" aria-hidden="true">${signs(where) || " "}</p>
    <div class="write-sheet" tabindex="0" role="application" aria-roledescription="written line"
      aria-label=${`The line. Left and Right go from note to note, Up and Down change the pitch; the question mark shows every key. ${where}`} onKeyDown=${press}>
      ${phase === "ready" && !rows.length && html`<p class="soft">Writing it out …</p>`}
      ${rows.map((row) => html`<${Row} key=${row.bars[0].number} row=${row} picked=${picked} from=${from} to=${to} caret=${caret} notes=${notes} views=${views}
        phrases=${phrases} current=${engraved === notes} beatsPerBar=${sheet.beats_per_bar} onPoint=${point} marker=${marker} />`)}
    </div>
    ${views.some(({ air }) => air !== null) && html`<p class="small soft">Under each stave: the breath, from full down to the line where it is used up; dashed, the reserve. A stroke marks the start of a phrase.</p>`}
  </div>`;
}

function Row({ row, picked, from, to, caret, notes, views, phrases, current, beatsPerBar, onPoint, marker }) {
  const music = useRef();
  const line = useRef();
  const bars = useMemo(() => (row.later ? row.bars.map((bar) => ({ ...bar, symbols: bar.symbols.map(later(row.later)) })) : row.bars), [row]);
  useEffect(() => {
    for (const old of music.current.querySelectorAll(".picked")) old.classList.remove("picked");
    for (const head of picked < 0 ? [] : music.current.querySelectorAll("[data-note]")) {
      const note = Number(head.dataset.note) + row.later;
      if (note >= from && note <= to) head.classList.add("picked");
    }
  }, [picked, from, to, row]);
  useEffect(() => {
    marker.current ??= new Map();
    marker.current.set(row.bars[0].number, { row, line: line.current });
    return () => marker.current.delete(row.bars[0].number);
  }, [row]);
  const caretX = picked < 0 ? xOfBeat(bars, caret, beatsPerBar) : null;
  const first = bars[0].number;
  const last = bars[bars.length - 1];
  return html`<section class="write-row" aria-label=${`Bars ${first} to ${last.number + last.bars - 1}`}>
    <span class="bar-number nums">${first}</span>
    <div class="write-music" onClick=${(event) => onPoint(row, event)}>
      <div ref=${music} aria-hidden="true" dangerouslySetInnerHTML=${{ __html: row.svg }}></div>
      <svg class="write-over" viewBox=${`0 0 ${row.width} ${row.height}`} aria-hidden="true">
        ${caretX !== null && html`<line class="caret" x1=${caretX} x2=${caretX} y1=${row.stave_top - 30} y2=${row.stave_top + 110} />`}
        <line class="marker" ref=${line} y1=${row.stave_top - 40} y2=${row.stave_top + 120} visibility="hidden" />
      </svg>
    </div>
    ${current && html`<${Air} row=${row} bars=${bars} notes=${notes} views=${views} phrases=${phrases} beatsPerBar=${beatsPerBar} />`}
    <ul class="for-readers">${bars.flatMap(({ symbols }) => symbols).filter(({ note }) => note !== null && views[note] && notes[note])
      .map(({ note }) => html`<li>${signs(views[note].written)}, ${placeWords(views[note].beat, beatsPerBar)}, ${[lengthWords(notes[note].duration_beats), markWords(notes[note])].filter(Boolean).join(", ")}</li>`)}</ul>
  </section>`;
}

const later = (more) => (symbol) => (symbol.note === null ? symbol : { ...symbol, note: symbol.note + more });

/** The breath as a line that falls and comes back, and a word where a note leaves the comfortable range. */
function Air({ row, bars, notes, views, phrases, beatsPerBar }) {
  const curve = airCurve(bars, notes, views, beatsPerBar);
  const outside = bars.flatMap(({ symbols }) => symbols).filter(({ note }) => views[note] && views[note].zone !== "comfortable");
  if (!curve.length && !outside.length) return null;
  const begins = new Set(phrases.map(([first]) => first));
  const left = bars[0].music_left;
  const right = bars[bars.length - 1].right;
  const height = AIR_HEIGHT + (outside.length ? 34 : 0);
  const zero = airY(0, AIR_HEIGHT);
  return html`<svg class="air" viewBox=${`0 -4 ${row.width} ${height + 8}`} role="img" aria-label=${airWords(curve, views, beatsPerBar)}>
    ${curve.length > 0 && html`<line class="empty" x1=${left} x2=${right} y1=${zero} y2=${zero} />`}
    ${curve.map(({ index, x0, x1, before, after }) => html`<path class=${after < 0 ? "reserve" : "breath"}
      d=${`M${x0} ${zero} L${x0} ${airY(before, AIR_HEIGHT)} L${x1} ${airY(after, AIR_HEIGHT)} L${x1} ${zero} Z`} />
      ${begins.has(index) && html`<path class="phrase" d=${`M${x0 - 8} 0 V${AIR_HEIGHT}`} />`}`)}
    ${outside.map(({ x, note }) => html`<text x=${x} y=${AIR_HEIGHT + 28} class=${`zone ${views[note].zone}`}>${views[note].zone.startsWith("ask") ? "ask" : ZONE_WORDS[views[note].zone]}</text>`)}
  </svg>`;
}

/** A thin line where the song is now. */
function followPlayer({ player }, line, marker) {
  let shown = null;
  return player.onFrame((position_s) => {
    const { anchors, sheet } = line.store.get();
    if (!anchors || !marker.current) return;
    const beat = secondsToBeat(anchors, position_s);
    for (const place of marker.current.values()) {
      const x = xOfBeat(place.row.bars, beat, sheet.beats_per_bar);
      if (x === null) {
        if (shown === place) shown = null;
        place.line?.setAttribute("visibility", "hidden");
        continue;
      }
      place.line?.setAttribute("visibility", "visible");
      place.line?.setAttribute("x1", x);
      place.line?.setAttribute("x2", x);
      if (shown !== place) {
        shown = place;
        if (line.store.get().recording) place.line?.ownerSVGElement.scrollIntoView({ block: "center" });
      }
    }
  });
}
