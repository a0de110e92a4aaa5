// How well sound is slowed at pitch: `node bench/stretch.mjs [FILE.wav]` prints a table; a file adds its own attacks.
import { readFileSync } from "node:fs";
import { decodeWav } from "../src/obbligato/desk/web/audio/wav.js";
import { Mixer } from "../src/obbligato/desk/web/lib/mix.js";
import { findAttacks, Stretchable } from "../src/obbligato/desk/web/lib/stretch.js";

const SR = 48000;
const SPEEDS = [0.9, 0.8, 0.7, 0.6];

function slowed(y, sr, speed) {
  const mixer = new Mixer(sr);
  mixer.setSound("sound", [y]);
  mixer.setGain("sound", 1);
  mixer.setSpeed(speed);
  mixer.play({ from: 0 });
  const out = new Float32Array(Math.ceil(y.length / speed / 128) * 128);
  const right = new Float32Array(128);
  const start = performance.now();
  for (let n = 0; n < out.length; n += 128) mixer.render(out.subarray(n, n + 128), right);
  return { out, seconds: (performance.now() - start) / 1000 };
}

/** Cents between the phase advance of a sine over a long stretch of the output and that of the input. */
function centsOff(hz, speed) {
  const { out } = slowed(Float32Array.from({ length: 8 * SR }, (_, i) => 0.5 * Math.sin((2 * Math.PI * hz * i) / SR)), SR, speed);
  const crossings = [];
  for (let i = SR; i < out.length - SR; i++) {
    if (out[i - 1] < 0 && out[i] >= 0) crossings.push(i - out[i] / (out[i] - out[i - 1]));
  }
  const period = (crossings.at(-1) - crossings[0]) / (crossings.length - 1);
  return 1200 * Math.log2(SR / period / hz);
}

/** Attacks of the original found in the slowed sound within 25 ms of their time: lost, doubled, and how far off. */
function attacks(y, sr, speed) {
  const block = Math.round(0.00134 * sr);
  const wanted = findAttacks(new Stretchable(y, 0), block);
  const { out, seconds } = slowed(y, sr, speed);
  const found = findAttacks(new Stretchable(out, 0), block);
  const off = [];
  let [lost, doubled] = [0, 0];
  for (const at of wanted) {
    const near = found.filter((one) => Math.abs(one - at / speed) < 0.025 * sr);
    if (!near.length) lost += 1;
    if (near.length > 1) doubled += 1;
    if (near.length) off.push(Math.min(...near.map((one) => Math.abs(one - at / speed))) / sr);
  }
  off.sort((a, b) => a - b);
  const share = (part) => (1e3 * off[Math.floor(part * (off.length - 1))] * speed).toFixed(1);
  return [wanted.length, lost, doubled, share(0.5), share(0.95), (y.length / sr / speed / seconds).toFixed(0)];
}

function pulses() {
  const y = new Float32Array(60 * SR);
  for (let k = 0; k < 220; k++) {
    const at = Math.round((0.3 + 0.26 * k + 0.004 * (k % 7)) * SR);
    for (let i = 0; i < 0.15 * SR; i++) y[at + i] += 0.5 * Math.exp(-i / (0.01 * SR)) * Math.cos((2 * Math.PI * 1320 * i) / SR);
  }
  return y;
}

console.log("A sine: cents off the pitch");
const TONES = [82.41, 220, 440, 1318.5, 3520];
console.log(["speed", ...TONES.map((hz) => `${hz} Hz`)].join("\t"));
for (const speed of SPEEDS) console.log([speed, ...TONES.map((hz) => centsOff(hz, speed).toFixed(3))].join("\t"));

const sounds = [["Pulses", pulses(), SR]];
for (const path of process.argv.slice(2)) {
  const file = readFileSync(path);
  const { sampleRate, channels } = decodeWav(file.buffer.slice(file.byteOffset, file.byteOffset + file.length));
  sounds.push([path.split("/").at(-1), channels[0].subarray(0, 120 * sampleRate), sampleRate]);
}
for (const [name, y, sr] of sounds) {
  console.log(`\n${name}: attacks of the original, in song time`);
  console.log("speed\tattacks\tlost\tdoubled\tmedian ms\t95 % ms\ttimes real time");
  for (const speed of SPEEDS) console.log([speed, ...attacks(y, sr, speed)].join("\t"));
}
