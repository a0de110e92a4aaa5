// Playing slower at pitch. Constructed signals; each tolerance is derived beside its check.
import assert from "node:assert/strict";
import test from "node:test";
import { Mixer } from "../../../src/obbligato/desk/web/lib/mix.js";

const SR = 48000;

function slowed(y, speed, { block = 128, right = y } = {}) {
  const mixer = new Mixer(SR);
  mixer.setSound("sound", [y, right]);
  mixer.setGain("sound", 1);
  mixer.setSpeed(speed);
  mixer.play({ from: 0 });
  const out = [new Float32Array(Math.ceil(y.length / speed)), new Float32Array(Math.ceil(y.length / speed))];
  let n = 0;
  for (; n + block <= out[0].length; n += block) mixer.render(out[0].subarray(n, n + block), out[1].subarray(n, n + block));
  return { left: out[0], right: out[1], mixer };
}

function sine(hz, seconds) {
  return Float32Array.from({ length: Math.round(seconds * SR) }, (_, i) => 0.5 * Math.sin((2 * Math.PI * hz * i) / SR));
}

/** Frequency by the advance of phase between two long windows far apart (unwrapped with the frequency sought). */
function measuredHz(y, near) {
  const n = SR / 2;
  const phase = (from, hz) => {
    let [re, im] = [0, 0];
    for (let i = 0; i < n; i++) {
      const w = 0.5 - 0.5 * Math.cos((2 * Math.PI * i) / n);
      re += w * y[from + i] * Math.cos((2 * Math.PI * hz * (from + i)) / SR);
      im -= w * y[from + i] * Math.sin((2 * Math.PI * hz * (from + i)) / SR);
    }
    return Math.atan2(im, re);
  };
  let hz = near;
  for (const step of [SR / 100, SR / 10, SR / 2]) {
    const from = Math.round(0.4 * y.length);
    const turn = phase(from + step, hz) - phase(from, hz);
    hz += ((Math.atan2(Math.sin(turn), Math.cos(turn)) / (2 * Math.PI)) * SR) / step;
  }
  return hz;
}

function pulses(times, seconds) {
  const y = new Float32Array(Math.round(seconds * SR));
  for (const t of times) {
    const at = Math.round(t * SR);
    for (let i = 0; i < 0.05 * SR && at + i < y.length; i++) {
      y[at + i] += 0.5 * Math.exp(-i / (0.01 * SR)) * Math.cos((2 * Math.PI * 1320 * i) / SR);
    }
  }
  return y;
}

/** Onsets: where the level of 1 ms first passes a tenth of the highest, after 15 ms below it. */
function onsets(y, share = 0.1) {
  const peak = y.reduce((most, v) => Math.max(most, Math.abs(v)), 0);
  const found = [];
  let quiet = Infinity;
  for (let i = 0; i < y.length; i++) {
    if (Math.abs(y[i]) > share * peak) {
      if (quiet > 0.015 * SR) found.push(i / SR);
      quiet = 0;
    } else quiet += 1;
  }
  return found;
}

test("at speed 1 the samples are the file's own", () => {
  const y = sine(440, 1);
  const { left } = slowed(y, 1);
  const from = 0.005 * SR; // the fade of starting
  for (let i = from; i < y.length - 256; i++) assert.equal(left[i], y[i]);
});

for (const speed of [0.6, 0.75, 0.9]) {
  for (const hz of [82.41, 440, 1318.5]) {
    // Two cents are asked for; a segment joined a whole sample off now and then turns the phase by no drift at all.
    test(`a sine of ${hz} Hz keeps its pitch at speed ${speed}`, () => {
      const { left } = slowed(sine(hz, 4), speed);
      const cents = 1200 * Math.log2(measuredHz(left, hz) / hz);
      assert.ok(Math.abs(cents) < 2, `${cents} cents`);
    });
  }

  test(`the length is right at speed ${speed}`, () => {
    const y = sine(330, 2);
    const { left, mixer } = slowed(Float32Array.from([...y, ...y]), speed);
    let last = left.length - 1;
    while (last > 0 && Math.abs(left[last]) < 1e-3) last -= 1;
    // The last segment may be taken from up to the search away, and is one hop long.
    assert.ok(Math.abs(last / SR - 4 / speed) < 0.04 / speed, `${last / SR} s`);
    assert.ok(mixer.position <= 4 * SR + 128);
  });

  test(`every pulse comes once, and in time, at speed ${speed}`, () => {
    const times = Array.from({ length: 23 }, (_, i) => 0.3 + 0.31 * i + 0.003 * (i % 5));
    const { left } = slowed(pulses(times, 8), speed);
    const found = onsets(left);
    assert.equal(found.length, times.length);
    // 3 ms of freedom for a good join and a block of 1.3 ms, in song time, come out divided by the speed.
    const late = found.map((at, i) => at - times[i] / speed);
    assert.ok(Math.max(...late.map(Math.abs)) < 0.005 / speed, `${late.map((l) => (1e3 * l).toFixed(1))} ms`);
  });
}

test("pulses over a held chord come once each at speed 0.6", () => {
  const times = Array.from({ length: 20 }, (_, i) => 0.3 + 0.25 * i);
  const y = pulses(times, 6);
  const chord = [sine(220, 6), sine(277.2, 6), sine(329.6, 6)];
  const right = pulses(times, 6);
  for (let i = 0; i < y.length; i++) y[i] = 0.6 * y[i] + 0.15 * (chord[0][i] + chord[1][i] + chord[2][i]);
  const { right: out } = slowed(y, 0.6, { right });
  const found = onsets(out, 0.3);
  assert.equal(found.length, times.length, `${found}`);
  const late = found.map((at, i) => at - times[i] / 0.6);
  assert.ok(Math.max(...late.map(Math.abs)) < 0.005 / 0.6, `${late.map((l) => (1e3 * l).toFixed(1))} ms`);
});

for (const hz of [82.4, 110, 147, 196]) {
  test(`struck tones of ${hz} Hz leave no ghost of a stroke at speed 0.6`, () => {
    const times = Array.from({ length: 40 }, (_, i) => 0.3 + 0.13 * i + 0.002 * (i % 7));
    const y = new Float32Array(6 * SR);
    for (const t of times) {
      const at = Math.round(t * SR);
      for (let i = 0; i < 0.3 * SR && at + i < y.length; i++) y[at + i] += 0.4 * Math.exp(-i / (0.03 * SR)) * Math.sin((2 * Math.PI * hz * i) / SR);
      for (let i = 0; i < 0.004 * SR; i++) y[at + i] += 0.3 * Math.exp(-i / (0.0005 * SR)) * Math.cos((2 * Math.PI * 5000 * i) / SR);
    }
    const { left } = slowed(y, 0.6);
    // The second difference of the stroke (0.3 at 5 kHz) is 0.3 (2 pi 5000 / 48000)^2 = 0.128; that of the tone at its
    // loudest, 0.4 and 196 Hz, 0.00026, or 0.002 of it; a join may add as much again. The stroke has died after 10 ms.
    const bend = Float32Array.from(left, (v, i) => (i > 1 ? Math.abs(v - 2 * left[i - 1] + left[i - 2]) : 0));
    const ghost = bend.reduce((most, v, i) => (times.some((t) => Math.abs(i / SR - t / 0.6) < 0.01) ? most : Math.max(most, v)), 0);
    assert.ok(ghost < 0.005 * 0.128, `${ghost / 0.128}`);
    assert.equal(onsets(bend, 0.25).length, times.length);
  });
}

test("two sounds slowed together stay together to the sample", () => {
  const y = pulses([0.5, 1.2, 1.9, 2.4], 3);
  const other = Float32Array.from(y, (v) => -0.3 * v);
  const { left, right } = slowed(y, 0.6, { right: other });
  for (let i = 0; i < left.length; i++) assert.ok(Math.abs(right[i] + 0.3 * left[i]) < 1e-6);
});

test("slowing is far quicker than real time", () => {
  const noise = Float32Array.from({ length: 4 * SR }, (_, i) => Math.sin(i * i * 0.37) * 0.3);
  const start = performance.now();
  slowed(noise, 0.6);
  const seconds = (performance.now() - start) / 1000;
  assert.ok(seconds < 4 / 0.6 / 4, `${seconds} s for ${4 / 0.6} s of sound`);
});
