/**
 * The mix: every sound of the song read at one place, so that none can drift from another.
 *
 * At speed 1 the samples are given out as they are; slower, the sum goes through `stretch.js`. A loop is read as one
 * endless sound: its end runs into its start within the last 3 ms, so that the first beat of every turn is whole.
 */

import { Stretch } from "./stretch.js";

/** Starting, stopping and jumping fade over this time. */
export const FADE_S = 0.005;
/** The end of a loop goes over into what stands before its start. */
export const LOOP_FADE_S = 0.003;
/** A slider moved at once is followed over this time. */
export const GAIN_RAMP_S = 0.02;
export const SLOWEST = 0.6;

/** All sounds at one place. Positions are in samples of the guide, and may be below 0 in a count-in. */
export class Mixer {
  /** @param {number} sampleRate in Hz, of the sounds and of what is given out */
  constructor(sampleRate) {
    this.sampleRate = sampleRate;
    this.sounds = new Map();
    this.speed = 1;
    this.loop = null;
    this.playing = false;
    this.until = null;
    this.ended = false;
    this.place = 0;
    this.fade = 0;
    this.jump = null;
    this.fadeStep = 1 / Math.max(1, Math.round(FADE_S * sampleRate));
    this.gainStep = 1 / Math.max(1, Math.round(GAIN_RAMP_S * sampleRate));
    this.stretch = new Stretch(sampleRate, (start, left, right) => this._sum(start, left, right, false));
    this.stretched = 0;
    this.stretching = false;
    this.scratch = [new Float32Array(0), new Float32Array(0)];
  }

  /**
   * Add a sound, or replace it where it plays.
   * @param {string} name
   * @param {Float32Array[]} channels one or two
   * @param {number} offset sample of the guide at which it starts
   */
  setSound(name, channels, offset = 0) {
    const known = this.sounds.get(name);
    const gain = known ? known.gain : 0;
    const target = known ? known.target : 0;
    this.sounds.set(name, { left: channels[0], right: channels[1] ?? channels[0], offset, gain, target });
  }

  dropSound(name) {
    this.sounds.delete(name);
  }

  /** Amplitude of a sound, 1 as it is in its file. */
  setGain(name, amplitude) {
    const sound = this.sounds.get(name);
    if (!sound) return;
    sound.target = amplitude;
    if (!this.playing) sound.gain = amplitude;
  }

  /** @param {number} speed 0.6 to 1; anything outside is brought inside */
  setSpeed(speed) {
    this.speed = Math.min(1, Math.max(SLOWEST, speed));
  }

  /** @param {{start: number, end: number} | null} loop whole samples */
  setLoop(loop) {
    const here = Math.round(this.position);
    const by = this._unwrapped() - this.position;
    this.place -= by;
    this.stretch.rebase(by);
    this.loop = loop && loop.end - loop.start > 2 * this._loopFade() ? loop : null;
    if (this.loop && here >= this.loop.end) this.seek(this.loop.start);
  }

  /** @param {{from?: number, until?: number | null}} where play from here (else from where it stands) up to there */
  play({ from, until = null } = {}) {
    this.until = until;
    this.ended = false;
    if (from !== undefined) this.seek(from);
    this.playing = true;
    if (this.fade === 0) for (const sound of this.sounds.values()) sound.gain = sound.target;
  }

  pause() {
    this.playing = false;
  }

  seek(position) {
    if (this.fade > 0) this.jump = Math.round(position);
    else this._goTo(Math.round(position));
  }

  /** Where it reads, inside the loop; while it jumps, where it jumps to. */
  get position() {
    return this.jump ?? this._wrapped(this._unwrapped());
  }

  get length() {
    let end = 0;
    for (const sound of this.sounds.values()) end = Math.max(end, sound.offset + sound.left.length);
    return end;
  }

  /** Whether nothing sounds and nothing is about to. */
  get still() {
    return !this.playing && this.fade === 0;
  }

  /**
   * Fill both arrays with what comes next.
   * @param {Float32Array} left
   * @param {Float32Array} right
   */
  render(left, right) {
    left.fill(0);
    right.fill(0);
    let done = 0;
    while (done < left.length) {
      if (this.fade === 0 && this.jump !== null) this._goTo(this.jump);
      if (this.still) break;
      const run = this._run(left.length - done);
      const [l, r] = [left.subarray(done, done + run), right.subarray(done, done + run)];
      this._read(l, r);
      this._shape(l, r);
      done += run;
    }
    return done;
  }

  /** How many samples can be read before something changes. */
  _run(most) {
    let run = most;
    if (this._fading()) run = Math.min(run, Math.max(1, Math.ceil(this.fade / this.fadeStep - 1e-9)));
    else if (this.fade < 1) run = Math.min(run, Math.max(1, Math.ceil((1 - this.fade) / this.fadeStep - 1e-9)));
    if (!this.stretching && this.speed < 1) {
      this.stretch.begin(this.place);
      this.stretching = true;
      this.stretched = this.stretch.hopSize;
    }
    if (this.stretching && this.stretched === this.stretch.hopSize) this._nextHop();
    if (this.stretching) run = Math.min(run, this.stretch.hopSize - this.stretched);
    const end = this.until ?? (this.loop && this.position < this.loop.end ? Infinity : this.length);
    const left = Math.ceil((end - this.position) / this.speed);
    if (this.playing && left <= 0) {
      this.playing = false;
      this.ended = true;
      return 1;
    }
    return this.playing && left > 0 ? Math.min(run, left) : run;
  }

  _nextHop() {
    if (this.speed === 1) {
      this.stretching = false;
      this.place = this.stretch.centre;
      return;
    }
    for (const sound of this.sounds.values()) sound.gain = sound.target;
    this.hopFrom = this.stretch.nominal;
    this.stretch.next(this.speed);
    this.stretched = 0;
  }

  _read(left, right) {
    if (this.stretching) {
      const to = this.stretched + left.length;
      left.set(this.stretch.left.subarray(this.stretched, to));
      right.set(this.stretch.right.subarray(this.stretched, to));
      this.stretched = to;
      return;
    }
    this._sum(this.place, left, right, true);
    this.place += left.length;
  }

  /** Fading out: towards a stop or a jump. */
  _fading() {
    return !this.playing || this.jump !== null;
  }

  _shape(left, right) {
    const step = this._fading() ? -this.fadeStep : this.fadeStep;
    if (this.fade === 1 && step > 0) return;
    for (let i = 0; i < left.length; i++) {
      left[i] *= this.fade;
      right[i] *= this.fade;
      this.fade = Math.min(1, Math.max(0, this.fade + step));
    }
    if (this.fade < 1e-6) this.fade = 0;
    if (this.fade > 1 - 1e-6) this.fade = 1;
  }

  _goTo(position) {
    this.place = position;
    this.jump = null;
    this.stretching = false;
  }

  _unwrapped() {
    if (!this.stretching) return this.place;
    const share = this.stretched / this.stretch.hopSize;
    return this.hopFrom + share * (this.stretch.nominal - this.hopFrom);
  }

  _wrapped(place) {
    if (!this.loop || place < this.loop.end) return place;
    const { start, end } = this.loop;
    return start + ((place - end) % (end - start));
  }

  _loopFade() {
    return Math.round(LOOP_FADE_S * this.sampleRate);
  }

  /** The sum of all sounds from an unwrapped place on; `ramp` lets gains that changed glide over this stretch. */
  _sum(place, left, right, ramp) {
    left.fill(0);
    right.fill(0);
    for (let done = 0; done < left.length; ) {
      let from = place + done;
      let run = left.length - done;
      if (this.loop) {
        from = this._wrapped(from);
        const fadeStart = this.loop.end - this._loopFade();
        if (from < fadeStart) run = Math.min(run, fadeStart - from);
        else if (from < this.loop.end) run = Math.min(run, this.loop.end - from);
        const [l, r] = [left.subarray(done, done + run), right.subarray(done, done + run)];
        if (from >= fadeStart && from < this.loop.end) this._joint(from, l, r, ramp);
        else this._add(from, l, r, ramp);
      } else {
        this._add(from, left, right, ramp);
      }
      done += run;
    }
  }

  /** The last of a loop, going over into what stands before its start. */
  _joint(from, left, right, ramp) {
    const { start, end } = this.loop;
    const n = left.length;
    if (this.scratch[0].length < n) this.scratch = [new Float32Array(n), new Float32Array(n)];
    const [l, r] = this.scratch.map((y) => y.subarray(0, n).fill(0));
    this._add(from - (end - start), l, r, false);
    this._add(from, left, right, ramp);
    for (let i = 0; i < n; i++) {
      const into = 1 - (end - from - i) / this._loopFade();
      left[i] += into * (l[i] - left[i]);
      right[i] += into * (r[i] - right[i]);
    }
  }

  _add(from, left, right, ramp) {
    const n = left.length;
    for (const sound of this.sounds.values()) {
      const { gain, target } = sound;
      const most = this.gainStep * n;
      const to = ramp ? gain + Math.min(most, Math.max(-most, target - gain)) : gain;
      sound.gain = to;
      if (gain === 0 && to === 0) continue;
      const at = from - sound.offset;
      const first = Math.max(0, -at);
      const last = Math.min(n, sound.left.length - at);
      const slope = (to - gain) / n;
      for (let i = first; i < last; i++) {
        const g = gain + slope * (i + 1);
        left[i] += g * sound.left[at + i];
        right[i] += g * sound.right[at + i];
      }
    }
  }
}
