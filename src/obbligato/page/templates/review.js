"use strict";
(() => {
  const data = JSON.parse(document.getElementById("data").textContent);
  const byId = (id) => document.getElementById(id);
  const calm = matchMedia("(prefers-reduced-motion: reduce)");
  const starts = data.bars.map((bar) => bar.startS);
  const ends = [...starts.slice(1), data.endS];

  function element(tag, attributes = {}, ...children) {
    const made = document.createElement(tag);
    for (const [name, value] of Object.entries(attributes)) made.setAttribute(name, value);
    made.append(...children);
    return made;
  }

  function clock(seconds) {
    const tenths = Math.max(0, Math.floor(seconds * 10 + 1e-6));
    const whole = Math.floor(tenths / 10);
    return `${Math.floor(whole / 60)}:${String(whole % 60).padStart(2, "0")}.${tenths % 10}`;
  }

  function barAt(seconds) {
    let found = 0;
    while (found + 1 < starts.length && starts[found + 1] <= seconds + 1e-6) found += 1;
    return found;
  }

  // ----- sound: one clock; each sound is decoded when it is first asked for and starts at the same zero -----

  const sound = { context: null, buffers: {}, source: null, gain: null, zero: 0, place: starts[0], playing: false, voice: "blend", turn: 0 };

  function say(text) { byId("sound-state").textContent = text; }

  async function decoded(voice) {
    if (!sound.buffers[voice]) {
      say("getting the sound ready …");
      const text = atob(byId(`mp3-${voice}`).textContent);
      const bytes = new Uint8Array(text.length);
      for (let i = 0; i < text.length; i += 1) bytes[i] = text.charCodeAt(i);
      sound.buffers[voice] = await sound.context.decodeAudioData(bytes.buffer);
      say("");
    }
    return sound.buffers[voice];
  }

  function here() {
    if (!sound.playing) return sound.place;
    return Math.max(sound.place, Math.min(sound.context.currentTime - sound.zero, data.endS));
  }

  function letGo(at) {
    if (!sound.source) return;
    sound.source.onended = null;
    sound.gain.gain.setTargetAtTime(0, at, 0.008);
    sound.source.stop(at + 0.08);
    sound.source = null;
  }

  function start(buffer, at, from) {
    const source = new AudioBufferSourceNode(sound.context, { buffer });
    const gain = new GainNode(sound.context, { gain: 0 });
    gain.gain.setTargetAtTime(1, at, 0.008);
    source.connect(gain).connect(sound.context.destination);
    source.onended = () => pause(starts[0]);
    source.start(at, Math.min(from, buffer.duration));
    Object.assign(sound, { source, gain });
  }

  async function play(from) {
    const turn = ++sound.turn;
    try {
      sound.context ??= new AudioContext();
      const awake = sound.context.resume();
      const buffer = await decoded(sound.voice);
      await awake;
      if (turn !== sound.turn) return;
      const at = sound.context.currentTime + 0.03;
      letGo(at);
      start(buffer, at, from);
      Object.assign(sound, { zero: at - from, place: from, playing: true });
    } catch {
      say("This browser cannot play the sound inside this page. Please open the page in another browser.");
    }
    show();
  }

  function pause(place = here()) {
    sound.turn += 1;
    if (sound.context) letGo(sound.context.currentTime);
    Object.assign(sound, { place, playing: false });
    show();
  }

  async function hear(voice) {
    sound.voice = voice;
    byId("sheet").dataset.voice = voice;
    if (!sound.playing) return;
    const turn = ++sound.turn;
    try {
      const buffer = await decoded(voice);
      if (turn !== sound.turn || !sound.playing) return;
      const at = sound.context.currentTime + 0.03;
      letGo(at);
      start(buffer, at, at - sound.zero);
    } catch {
      say("This browser cannot play that sound. Please open the page in another browser.");
    }
  }

  function toggle() { if (sound.playing) pause(); else play(sound.place); }

  // ----- the sheet -----

  const barButtons = [];
  let current = -1;
  const nowLine = element("span", { class: "now" });

  function strokes(index) {
    const length = ends[index] - starts[index];
    return data.spansS.filter(([a, b]) => b > starts[index] && a < ends[index]).map(([a, b]) => {
      const from = Math.max(a, starts[index]), to = Math.min(b, ends[index]);
      const stroke = element("span", { class: `stroke${a === from ? " begins" : ""}${b === to ? " ends" : ""}` });
      stroke.style.left = `${(100 * (from - starts[index])) / length}%`;
      stroke.style.width = `${(100 * (to - from)) / length}%`;
      return stroke;
    });
  }

  function barButton(bar, index) {
    const drawn = strokes(index);
    const words = [`bar ${bar.number}`, clock(bar.startS), bar.chords.replace(/\s+/g, ", "), drawn.length ? "the line plays" : "the line rests"];
    const button = element("button", { type: "button", class: "bar", tabindex: index ? "-1" : "0", "aria-label": words.filter(Boolean).join(", ") },
      element("span", { class: "bar-no" }, String(bar.number)),
      element("span", { class: "chords" }, bar.chords),
      element("span", { class: "staff" }, ...drawn));
    button.addEventListener("click", () => { rove(index); play(bar.startS); });
    barButtons.push(button);
    return button;
  }

  function rove(index) {
    barButtons.forEach((button, i) => button.setAttribute("tabindex", i === index ? "0" : "-1"));
  }

  function show() {
    byId("play").textContent = sound.playing ? "Pause" : "Play";
    const seconds = here(), index = barAt(seconds), bar = data.bars[index];
    byId("place-bar").textContent = `bar ${bar.number}${bar.section ? `, section ${bar.section}` : ""}`;
    byId("place-clock").textContent = clock(seconds);
    const share = (seconds - starts[index]) / (ends[index] - starts[index]);
    nowLine.style.left = `${100 * Math.max(0, Math.min(1, share))}%`;
    if (index === current) return;
    const before = barButtons[current];
    const wasInView = !before || inView(before);
    before?.removeAttribute("aria-current");
    current = index;
    barButtons[index].setAttribute("aria-current", "true");
    barButtons[index].querySelector(".staff").append(nowLine);
    for (const pin of document.querySelectorAll("button.pin")) pin.textContent = `Add the place: bar ${bar.number}, ${clock(bar.startS)}`;
    if (sound.playing && wasInView && !inView(barButtons[index]) && !document.activeElement?.matches("textarea, input[type=text]")) {
      barButtons[index].scrollIntoView({ block: "center", behavior: calm.matches ? "auto" : "smooth" });
    }
  }

  function inView(button) {
    const box = button.getBoundingClientRect();
    return box.top >= 0 && box.bottom <= innerHeight - document.querySelector(".player").offsetHeight;
  }

  function frame() {
    if (sound.playing) show();
    requestAnimationFrame(frame);
  }

  // ----- the answers -----

  const forms = [];

  function answerForm(section, index) {
    const group = `answer-${index}`, remarkId = `remark-${index}`;
    const choices = Object.entries(data.reply.words).map(([value, words]) =>
      element("label", {}, element("input", { type: "radio", name: group, value }), element("span", {}, words)));
    const remark = element("textarea", { id: remarkId, rows: "2", maxlength: "5000" });
    const pin = element("button", { type: "button", class: "pin" }, "Add the place");
    pin.addEventListener("click", () => {
      const bar = data.bars[current];
      const ahead = remark.value.trimEnd();
      remark.value = `${ahead ? `${ahead}\n` : ""}[bar ${bar.number}, ${clock(bar.startS)}] `;
      remark.focus();
      remark.setSelectionRange(remark.value.length, remark.value.length);
      changed();
    });
    const fieldset = element("fieldset", { class: "answer" },
      element("legend", {}, `Section ${section.name}: may it be recorded like this?`),
      element("div", { class: "choices" }, ...choices),
      element("div", { class: "remark" },
        element("label", { for: remarkId }, `Remark on section ${section.name} (may stay empty)`), pin, remark));
    fieldset.addEventListener("input", changed);
    forms.push({
      section: section.name,
      answer: () => fieldset.querySelector("input:checked")?.value ?? null,
      remark: () => remark.value.trim(),
      focus: () => fieldset.querySelector("input").focus(),
      restore: (kept) => {
        for (const radio of fieldset.querySelectorAll("input")) radio.checked = radio.value === kept.answer;
        remark.value = kept.remark;
      },
    });
    return fieldset;
  }

  function sectionBlock(name, indices) {
    const section = data.sections.find((one) => one.name === name);
    const first = data.bars[indices[0]], last = data.bars[indices[indices.length - 1]];
    const bars = indices.length > 1 ? `bars ${first.number} to ${last.number}` : `bar ${first.number}`;
    const block = element("section", { class: "part", "aria-label": name ? `Section ${name}` : "Before the first section" });
    block.append(element("div", { class: "part-head" },
      ...(name ? [element("h2", { class: "letter" }, name)] : []),
      element("small", {}, `${bars}, ${clock(first.startS)} to ${clock(ends[indices[indices.length - 1]])}`)));
    block.append(element("div", { class: "bars" }, ...indices.map((i) => barButton(data.bars[i], i))));
    if (section?.plays) block.append(answerForm(section, forms.length));
    else if (section) block.append(element("p", { class: "rests" }, "The line rests in this section; there is nothing to answer."));
    return block;
  }

  function drawSheet() {
    let run = [];
    data.bars.forEach((bar, index) => {
      run.push(index);
      if (data.bars[index + 1]?.section !== bar.section) {
        byId("sheet").append(sectionBlock(bar.section, run));
        run = [];
      }
    });
  }

  function today() {
    const now = new Date();
    return `${now.getFullYear()}-${String(now.getMonth() + 1).padStart(2, "0")}-${String(now.getDate()).padStart(2, "0")}`;
  }

  function replyText() {
    const name = byId("name").value.trim(), date = today();
    const answers = forms.filter((form) => form.answer()).map((form) => ({ section: form.section, answer: form.answer(), remark: form.remark() }));
    const unanswered = forms.filter((form) => !form.answer()).map((form) => form.section);
    const lines = [`Answer to the mock-up of "${data.title}", version ${data.version}`, `From: ${name}`, `Date: ${date}`, ""];
    for (const one of answers) {
      lines.push(`${one.section}: ${data.reply.words[one.answer]}`);
      if (one.remark) lines.push(...one.remark.split("\n").map((row) => `    ${row}`));
    }
    if (unanswered.length) lines.push("", `No answer yet: ${unanswered.join(", ")}. ${data.reply.silence}`);
    const kept = {
      kind: data.reply.kind, format_version: data.reply.formatVersion, title: data.title, version: data.version,
      fingerprint: data.fingerprint, name, date, answers, unanswered,
    };
    return [...lines, "", data.reply.begin, JSON.stringify(kept, null, 1), data.reply.end, ""].join("\n");
  }

  const storeKey = `obbligato-review-${data.fingerprint}-${data.version}`;

  function changed() {
    byId("text").value = replyText();
    const open = forms.filter((form) => !form.answer()).map((form) => form.section);
    byId("open-sections").textContent = open.length ? `Without an answer so far: ${open.join(", ")}.` : "Every section has an answer.";
    byId("said").textContent = "";
    const kept = { name: byId("name").value, forms: forms.map((form) => ({ section: form.section, answer: form.answer(), remark: form.remark() })) };
    try { localStorage.setItem(storeKey, JSON.stringify(kept)); } catch { /* a browser may keep nothing for files; the page works without */ }
  }

  function restore() {
    try {
      const kept = JSON.parse(localStorage.getItem(storeKey));
      if (!kept) return;
      byId("name").value = kept.name;
      for (const form of forms) {
        const one = kept.forms.find((other) => other.section === form.section);
        if (one) form.restore(one);
      }
    } catch { /* nothing kept, or not by this page: start empty */ }
  }

  function mayGoOut() {
    if (!forms.some((form) => form.answer())) {
      byId("said").textContent = "No section has an answer yet.";
      return false;
    }
    const halfDone = forms.find((form) => form.remark() && !form.answer());
    if (halfDone) {
      byId("said").textContent = `Section ${halfDone.section} has a remark and no answer yet; please choose one of the three.`;
      halfDone.focus();
      return false;
    }
    if (byId("name").value.trim()) return true;
    byId("said").textContent = "Please write your name first, so that it is known who answers.";
    byId("name").focus();
    return false;
  }

  function save() {
    if (!mayGoOut()) return;
    const plain = data.title.normalize("NFKD").replace(/[^A-Za-z0-9]+/g, "-").replace(/^-+|-+$/g, "").slice(0, 40) || "song";
    const url = URL.createObjectURL(new Blob([replyText()], { type: "text/plain;charset=utf-8" }));
    const link = element("a", { href: url, download: `answer-${plain}-v${data.version}.txt` });
    document.body.append(link);
    link.click();
    link.remove();
    setTimeout(() => URL.revokeObjectURL(url), 60000);
    byId("said").textContent = `Saved as ${link.download}, where your browser keeps downloads.`;
  }

  async function copy() {
    if (!mayGoOut()) return;
    byId("text").value = replyText();
    try {
      await navigator.clipboard.writeText(byId("text").value);
      byId("said").textContent = "Copied; it can be pasted into a mail.";
    } catch {
      byId("plain").open = true;
      byId("text").focus();
      byId("text").select();
      byId("said").textContent = "The text is marked below; copy it with the copy key of your device.";
    }
  }

  // ----- keys -----

  function neighbour(index, key) {
    if (key === "ArrowLeft") return Math.max(0, index - 1);
    if (key === "ArrowRight") return Math.min(barButtons.length - 1, index + 1);
    if (key === "Home") return 0;
    if (key === "End") return barButtons.length - 1;
    const box = barButtons[index].getBoundingClientRect();
    const step = key === "ArrowDown" ? 1 : -1;
    let best = index;
    for (let i = index + step; i >= 0 && i < barButtons.length; i += step) {
      const other = barButtons[i].getBoundingClientRect();
      if (Math.abs(other.top - box.top) < 4) continue;
      if (best === index) best = i;
      const row = barButtons[best].getBoundingClientRect();
      if (Math.abs(other.top - row.top) >= 4) break;
      if (Math.abs(other.left - box.left) < Math.abs(row.left - box.left)) best = i;
    }
    return best;
  }

  function goTo(index) {
    rove(index);
    barButtons[index].focus({ preventScroll: true });
    barButtons[index].scrollIntoView({ block: "nearest" });
    if (sound.playing) play(starts[index]);
    else { sound.place = starts[index]; show(); }
  }

  function onKey(event) {
    if (event.altKey || event.ctrlKey || event.metaKey) return;
    const target = event.target, onBar = target.classList?.contains("bar");
    if (target.matches?.("textarea, input, summary")) return;
    if (event.key === " " && target.matches?.("button") && !onBar) return;
    const voice = { 1: "blend", 2: "guide", 3: "line" }[event.key];
    const moves = onBar ? ["ArrowLeft", "ArrowRight", "ArrowUp", "ArrowDown", "Home", "End"] : ["ArrowLeft", "ArrowRight"];
    if (event.key === " ") toggle();
    else if (voice) { document.querySelector(`input[name=voice][value=${voice}]`).checked = true; hear(voice); }
    else if (moves.includes(event.key)) goTo(neighbour(onBar ? barButtons.indexOf(target) : current, event.key));
    else return;
    event.preventDefault();
  }

  const by = data.player ? `by ${data.player}` : "";
  byId("kind").textContent = ["Mock-up", `version ${data.version}`, data.instrument && `for ${data.instrument}`, by, data.sentOn].filter(Boolean).join(", ");
  byId("send-to").textContent = `Saving makes a small text file. Please send it back to ${data.player || "the player"}. This page itself sends nothing; what you enter stays in this browser.`;
  byId("foot").textContent = `Version ${data.version}, fingerprint ${data.fingerprint}. Times are those of the song file that you sent.`;
  drawSheet();
  restore();
  show();
  changed();
  byId("play").addEventListener("click", toggle);
  byId("save").addEventListener("click", save);
  byId("copy").addEventListener("click", copy);
  byId("name").addEventListener("input", changed);
  for (const radio of document.querySelectorAll("input[name=voice]")) radio.addEventListener("change", () => hear(radio.value));
  document.addEventListener("keydown", onKey);
  document.addEventListener("keyup", (event) => { if (event.key === " " && event.target.classList?.contains("bar")) event.preventDefault(); });
  requestAnimationFrame(frame);
})();
