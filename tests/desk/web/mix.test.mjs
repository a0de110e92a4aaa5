// The mix, its ceiling, the count and the reading of wave files. Constructed signals throughout.
import assert from "node:assert/strict";
import test from "node:test";
import { decodeWav } from "../../../src/obbligato/desk/web/audio/wav.js";
import { Mixer } from "../../../src/obbligato/desk/web/lib/mix.js";
import { countSound, runIn } from "../../../src/obbligato/desk/web/lib/mix_count.js";
import { CEILING, Limiter } from "../../../src/obbligato/desk/web/lib/mix_limit.js";

const SR = 48000;
const BLOCK = 128;

function noise(n, seed = 1) {
  let state = seed;
  return Float32Array.from({ length: n }, () => {
    state = (Math.imul(state, 1664525) + 1013904223) >>> 0; // Numerical Recipes' generator
    return state / 2 ** 31 - 1;
  });
}

function sine(hz, n) {
  return Float32Array.from({ length: n }, (_, i) => 0.5 * Math.sin((2 * Math.PI * hz * i) / SR));
}

function mixerOf(sounds) {
  const mixer = new Mixer(SR);
  for (const [name, y] of Object.entries(sounds)) {
    mixer.setSound(name, [y]);
    mixer.setGain(name, 1);
  }
  return mixer;
}

function rendered(mixer, n) {
  const left = new Float32Array(n);
  const right = new Float32Array(n);
  for (let i = 0; i < n; i += BLOCK) mixer.render(left.subarray(i, i + BLOCK), right.subarray(i, i + BLOCK));
  return left;
}

const greatestStep = (y) => y.reduce((most, v, i) => (i ? Math.max(most, Math.abs(v - y[i - 1])) : 0), 0);

test("two sounds are read at one place: one the negative of the other sums to nothing, through a jump and a loop", () => {
  const y = noise(2 * SR);
  const mixer = mixerOf({ guide: y, other: Float32Array.from(y, (v) => -v) });
  mixer.play({ from: 0 });
  mixer.setLoop({ start: 1000, end: 20011 });
  assert.ok(rendered(mixer, 256 * BLOCK).every((v) => v === 0));
  mixer.seek(5003);
  assert.ok(rendered(mixer, 256 * BLOCK).every((v) => v === 0));
});

test("a loop has its exact length, begins whole, and its joint does not click", () => {
  const y = sine(311, 2 * SR);
  const mixer = mixerOf({ guide: y });
  const [start, end] = [4800, 4800 + 24001]; // half a turn of phase: without a crossfade the sine would jump
  mixer.setLoop({ start, end });
  mixer.play({ from: start });
  const out = rendered(mixer, 80000);
  for (let turn = 1; turn < 3; turn++) {
    const at = turn * (end - start);
    for (let i = 0; i < 20000; i++) assert.equal(out[at + i], y[start + i]);
  }
  // A sine of 0.5 moves by at most 0.5 * 2 pi 311 / 48000 = 0.0204 a sample; the crossfade of 144 samples adds 1/144.
  assert.ok(greatestStep(out) < 0.0204 + 1 / 144, `${greatestStep(out)}`);
});

test("starting, stopping, jumping and moving a slider never click", () => {
  const mixer = mixerOf({ guide: sine(311, 4 * SR) });
  mixer.play({ from: 33 });
  const parts = [rendered(mixer, 8192)];
  mixer.seek(70001);
  parts.push(rendered(mixer, 8192));
  mixer.setGain("guide", 0.1);
  parts.push(rendered(mixer, 8192));
  mixer.pause();
  parts.push(rendered(mixer, 8192));
  const out = Float32Array.from(parts.flatMap((p) => [...p]));
  // As above; the fades of 240 samples add at most 0.5 / 240.
  assert.ok(greatestStep(out) < 0.0204 + 0.5 / 240 + 1e-4, `${greatestStep(out)}`);
  assert.ok(parts[3].subarray(300).every((v) => v === 0));
  assert.ok(mixer.still);
});

test("a slider moved at once is followed over 20 ms", () => {
  const mixer = mixerOf({ guide: new Float32Array(SR).fill(0.5) });
  mixer.play({ from: 0 });
  rendered(mixer, 1024);
  mixer.setGain("guide", 0);
  const out = rendered(mixer, 2048);
  assert.ok(greatestStep(out) <= 0.5 / 960 + 1e-6, `${greatestStep(out)}`);
  assert.equal(out[1100], 0);
});

test("it goes on from where it stopped, and from below 0 there is silence first", () => {
  const y = noise(SR);
  const mixer = mixerOf({ guide: y });
  mixer.play({ from: -1000 });
  const out = rendered(mixer, 2048);
  assert.ok(out.subarray(0, 1000).every((v) => v === 0));
  assert.equal(out[1500], y[500]);
  mixer.pause();
  rendered(mixer, 2048);
  const place = mixer.position;
  mixer.play();
  assert.equal(rendered(mixer, 2048)[1000], y[place + 1000]);
});

test("a span ends where it was told to, and says so", () => {
  const mixer = mixerOf({ guide: noise(SR) });
  mixer.play({ from: 1000, until: 5000 });
  const out = rendered(mixer, 8192);
  assert.ok(mixer.ended && !mixer.playing);
  assert.ok(out.subarray(3000, 3900).some((v) => v !== 0));
  assert.ok(out.subarray(4000 + 2 * 240).every((v) => v === 0));
});

test("between speeds nothing clicks and nothing is out of place", () => {
  const mixer = mixerOf({ guide: sine(311, 8 * SR) });
  mixer.play({ from: 0 });
  const parts = [rendered(mixer, 9600 + 64)];
  for (const speed of [0.8, 0.6, 1]) {
    mixer.setSpeed(speed);
    parts.push(rendered(mixer, 19200));
  }
  const out = Float32Array.from(parts.flatMap((p) => [...p]));
  assert.ok(greatestStep(out) < 0.0204 * 1.5, `${greatestStep(out)}`);
  // Each hop may be off by the search of 12.5 ms, and speeds change at hops of 20 ms.
  const expected = 9664 + 19200 * (0.8 + 0.6 + 1);
  assert.ok(Math.abs(mixer.position - expected) < 0.0125 * SR + 0.02 * SR, `${mixer.position - expected}`);
});

test("a slow loop keeps its length over many turns", () => {
  const y = new Float32Array(2 * SR);
  y.set(Float32Array.from({ length: 2000 }, (_, i) => 0.5 * Math.exp(-i / 400) * Math.cos(i / 6)), 24000);
  const mixer = mixerOf({ guide: y });
  mixer.setLoop({ start: 24000, end: 24000 + 36000 });
  mixer.setSpeed(0.6);
  mixer.play({ from: 24000 });
  const out = rendered(mixer, 60000 * 8);
  const found = [];
  for (let i = 0, quiet = 1e9; i < out.length; i++) {
    if (Math.abs(out[i]) > 0.2) {
      if (quiet > 4000) found.push(i);
      quiet = 0;
    } else quiet += 1;
  }
  assert.equal(found.length, 8, `${found}`);
  // 36000 samples at 0.6 are 60000; each beginning is placed within 3 ms of the song's time, 5 ms slowed.
  found.forEach((at, turn) => assert.ok(Math.abs(at - 60000 * turn) < 0.006 * SR, `${found}`));
});

test("nothing passes the ceiling of -1 dBFS, and what stays below is untouched", () => {
  const limiter = new Limiter(SR);
  const loud = Float32Array.from(noise(3 * SR), (v, i) => v * (i > SR && i < 2 * SR ? 4 : 0.8));
  const [left, right] = [Float32Array.from(loud), Float32Array.from(loud, (v) => -0.5 * v)];
  limiter.process(left, right);
  assert.ok(left.every((v) => Math.abs(v) <= CEILING));
  for (let i = limiter.delay; i < SR; i++) assert.equal(left[i], loud[i - limiter.delay]);
  assert.ok(left.subarray(SR + 4800, 2 * SR).some((v) => Math.abs(v) > 0.8 * CEILING));
});

test("the limiter lets go without a step", () => {
  const limiter = new Limiter(SR);
  const y = Float32Array.from(sine(100, SR), (v, i) => v * (i > 9600 && i < 19200 ? 4 : 1));
  y.forEach((v, i) => { if (i >= 9600 && i < 9650) y[i] = 0.5 * Math.sin((2 * Math.PI * 100 * i) / SR); });
  const left = Float32Array.from(y);
  limiter.process(left, Float32Array.from(y));
  // At rest a sine of amplitude 0.5 and 100 Hz moves by 0.0065 a sample.
  assert.ok(greatestStep(left.subarray(24000)) < 0.0066);
});

test("the count of the run-in: two bars of beats before the place", () => {
  const bars = Array.from({ length: 8 }, (_, k) => ({ start_s: 1 + 2 * k, end_s: 3 + 2 * k, beats_s: [0, 1, 2, 3].map((b) => 1 + 2 * k + 0.5 * b) }));
  const inside = runIn(bars, 9);
  assert.equal(inside.from_s, 5);
  assert.deepEqual(inside.counts.map((c) => c.at_s), [5, 5.5, 6, 6.5, 7, 7.5, 8, 8.5]);
  assert.deepEqual(inside.counts.map((c) => c.first), [true, false, false, false, true, false, false, false]);
  const opening = runIn(bars, 1);
  assert.equal(opening.from_s, -3);
  assert.deepEqual(opening.counts.map((c) => c.at_s), [-3, -2.5, -2, -1.5, -1, -0.5, 0, 0.5]);
  const pickup = runIn(bars, 8.5); // on the last beat of a bar: two whole bars before its bar line are counted up to it
  assert.equal(pickup.from_s, 5);
  assert.deepEqual(runIn(bars, 0), { from_s: 0, counts: [] });
  assert.deepEqual(runIn([], 3), { from_s: 3, counts: [] });
});

test("the tones of the count start on their samples", () => {
  const { y, offset } = countSound([{ at_s: -0.5, first: true }, { at_s: 0.25, first: false }], SR);
  assert.equal(offset, -24000);
  assert.ok(Math.abs(y[0]) < 1e-6 && Math.abs(y[36000]) < 1e-6);
  assert.ok(y.subarray(0, 100).some((v) => Math.abs(v) > 0.2));
  assert.ok(y.subarray(35900, 36000).every((v) => v === 0));
  assert.ok(y.subarray(36000, 36100).some((v) => Math.abs(v) > 0.15));
});

function wav(kind, bits, channels, data) {
  const head = Buffer.alloc(44);
  head.write("RIFF", 0);
  head.writeUInt32LE(36 + data.length, 4);
  head.write("WAVEfmt ", 8);
  head.writeUInt32LE(16, 16);
  head.writeUInt16LE(kind, 20);
  head.writeUInt16LE(channels, 22);
  head.writeUInt32LE(44100, 24);
  head.writeUInt32LE((44100 * channels * bits) / 8, 28);
  head.writeUInt16LE((channels * bits) / 8, 32);
  head.writeUInt16LE(bits, 34);
  head.write("data", 36);
  head.writeUInt32LE(data.length, 40);
  const all = Buffer.concat([head, data]);
  return all.buffer.slice(all.byteOffset, all.byteOffset + all.length);
}

test("wave files of 16, 24, 32 bits and floating point are read exactly", () => {
  const two = Buffer.alloc(8);
  [0x7fff, -0x8000, 1, -1].forEach((v, i) => two.writeInt16LE(v, 2 * i));
  const stereo = decodeWav(wav(1, 16, 2, two));
  assert.equal(stereo.sampleRate, 44100);
  assert.deepEqual([...stereo.channels[0]], [0x7fff / 0x8000, 1 / 0x8000]);
  assert.deepEqual([...stereo.channels[1]], [-1, -1 / 0x8000]);
  const three = Buffer.from([0xff, 0xff, 0x7f, 0, 0, 0x80, 1, 0, 0, 0xff, 0xff, 0xff]);
  assert.deepEqual([...decodeWav(wav(1, 24, 1, three)).channels[0]], [0x7fffff / 0x800000, -1, 1 / 0x800000, -1 / 0x800000]);
  const four = Buffer.alloc(8);
  four.writeInt32LE(-(2 ** 31), 0);
  four.writeInt32LE(2 ** 30, 4);
  assert.deepEqual([...decodeWav(wav(1, 32, 1, four)).channels[0]], [-1, 0.5]);
  const float = Buffer.alloc(8);
  float.writeFloatLE(1.5, 0);
  float.writeFloatLE(-0.25, 4);
  assert.deepEqual([...decodeWav(wav(3, 32, 1, float)).channels[0]], [1.5, -0.25]);
});

test("what is no wave file is refused with a sentence", () => {
  assert.throws(() => decodeWav(new ArrayBuffer(4)), /not a wave file/);
  assert.throws(() => decodeWav(wav(1, 8, 1, Buffer.alloc(4))), /8 bits/);
});
